"""THE BOOK: text to rows. Files and findings, no maths."""

from growthcast.book.book import Book, Coded, Practice, Table
from growthcast.book.read import inspect_book, read_book
from growthcast.book.report import format_finding, format_findings
from growthcast.book.shipped import demo_dir, find_book, shipped_species_dir

__all__ = [
    "Book",
    "Coded",
    "Practice",
    "Table",
    "demo_dir",
    "find_book",
    "format_finding",
    "format_findings",
    "inspect_book",
    "read_book",
    "shipped_species_dir",
]
