"""From a drawn figure to a file, whole or not at all."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Literal

from growthcast.book.book import Book
from growthcast.book.tables import TABLES
from growthcast.book.words import printable
from growthcast.book.writing.replace import refusals_in_words, write_whole
from growthcast.errors import UsageError
from growthcast.say.words import tidy

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from growthcast.say.figures import Caption


BOOK_FILES = ("practice.toml", *(f"{name}.csv" for name in TABLES))


def check_target(book: Book, file: Path) -> None:
    """Refuse a place where a figure cannot or must not be written."""
    named = printable(str(file))
    with refusals_in_words(file):
        if not file.parent.is_dir():
            raise UsageError(f'there is no folder for "{named}"; make it first')
        if file.is_dir():
            raise UsageError(f'"{named}" is a folder; name a file in it')
        for name in BOOK_FILES:
            kept = book.folder / name
            if file.exists() and kept.exists() and file.samefile(kept):
                raise UsageError(f'"{named}" is {name} of the book; write elsewhere')


def check_picture(book: Book, file: Path) -> Literal["svg", "png"]:
    """Refuse a file that no picture can be written to; return the form its name asks for."""
    check_target(book, file)
    suffix = file.suffix.lower()
    if suffix not in {".svg", ".png"}:
        raise UsageError(
            f'a figure is written as .svg or .png, and "{printable(file.name)}" ends in neither'
        )
    return "svg" if suffix == ".svg" else "png"


def save_picture(book: Book, file: Path, figure: Figure, caption: Caption) -> None:
    """Write a figure, the same bytes for the same figure; an earlier file is replaced.

    Raises
    ------
    UsageError
        The file is of another form, cannot be written, or is a file of the book.
    """
    from growthcast.figures.style import figure_bytes

    form = check_picture(book, file)
    write_whole(file, figure_bytes(figure, form, tidy(caption.title), tidy(caption.description)))
