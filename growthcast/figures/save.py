"""From a drawn figure to a file, whole or not at all."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Literal

from growthcast.book.book import Book
from growthcast.book.words import printable
from growthcast.book.writing.replace import check_place, write_whole
from growthcast.errors import UsageError
from growthcast.say.words import tidy

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from growthcast.say.figures import Caption


def check_target(book: Book, file: Path) -> None:
    """Refuse a place where a figure cannot or must not be written."""
    check_place(book.folder, file)


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
