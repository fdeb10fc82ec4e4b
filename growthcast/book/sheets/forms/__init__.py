"""The two forms sheets are written in: Excel workbook and OpenDocument spreadsheet."""
