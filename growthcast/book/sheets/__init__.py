"""The book in a spreadsheet and back: export, reading what came back, the merge and its check."""
