"""From a drawn figure to a file, whole or not at all."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Literal

from growthcast.book.book import Book
from growthcast.book.tables import TABLES
from growthcast.book.words import printable
from growthcast.errors import UsageError

__all__ = ["check_target", "figure_form", "write_whole"]

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


@contextmanager
def _said_of(file: Path) -> Iterator[None]:
    """Turn what the system says of a file into a sentence."""
    try:
        yield
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise UsageError(f'"{printable(str(file))}" cannot be written: {reason}') from error


def check_target(book: Book, file: Path) -> None:
    """Refuse a place where a figure cannot or must not be written."""
    named = printable(str(file))
    with _said_of(file):
        if not file.parent.is_dir():
            raise UsageError(f'there is no folder for "{named}"; make it first')
        if file.is_dir():
            raise UsageError(f'"{named}" is a folder; name a file in it')
        for name in BOOK_FILES:
            kept = book.folder / name
            if file.exists() and kept.exists() and file.samefile(kept):
                raise UsageError(f'"{named}" is {name} of the book; write elsewhere')


def write_whole(file: Path, content: bytes) -> None:
    """Write a file in one step: a reader finds the old one or the new one, never a part."""
    beside = file.parent / f".growthcast-{os.getpid()}{file.suffix}"
    with _said_of(file):
        try:
            with beside.open("xb") as kept:
                kept.write(content)
                kept.flush()
                os.fsync(kept.fileno())
            beside.replace(file)
        except BaseException:
            beside.unlink(missing_ok=True)
            raise
