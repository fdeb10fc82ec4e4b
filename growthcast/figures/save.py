"""From a drawn figure to a file, whole or not at all."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from growthcast.book.book import Book
from growthcast.book.tables import TABLES
from growthcast.book.words import printable
from growthcast.book.writing.whole import said_of
from growthcast.errors import UsageError

__all__ = ["check_target", "figure_form"]

BOOK_FILES = ("practice.toml", *(f"{name}.csv" for name in TABLES))


def figure_form(file: Path) -> Literal["svg", "png"]:
    """Return the form of figure that a file's name asks for."""
    suffix = file.suffix.lower()
    if suffix == ".svg":
        return "svg"
    if suffix == ".png":
        return "png"
    raise UsageError(
        f'a figure is written as .svg or .png, and "{printable(file.name)}" ends in neither'
    )


def check_target(book: Book, file: Path) -> None:
    """Refuse a place where a figure cannot or must not be written."""
    named = printable(str(file))
    with said_of(file):
        if not file.parent.is_dir():
            raise UsageError(f'there is no folder for "{named}"; make it first')
        if file.is_dir():
            raise UsageError(f'"{named}" is a folder; name a file in it')
        for name in BOOK_FILES:
            kept = book.folder / name
            if file.exists() and kept.exists() and file.samefile(kept):
                raise UsageError(f'"{named}" is {name} of the book; write elsewhere')
