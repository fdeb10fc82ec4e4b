"""CELLS: a file to text, text to a grid of cells, cells to checked columns."""
