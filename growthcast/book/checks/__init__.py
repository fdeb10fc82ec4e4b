"""CHECKS: what is wrong or odd between the rows of a book, as one visible list."""
