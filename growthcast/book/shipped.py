"""Where the files that ship are: inside the wheel, or in the checkout."""

from __future__ import annotations

import tomllib
from pathlib import Path

from growthcast.errors import MissingBook

_PACKAGE = Path(__file__).resolve().parent.parent


def _shipped(in_wheel: str, in_checkout: str) -> Path:
    wheel = _PACKAGE / "_shipped" / in_wheel
    return wheel if wheel.is_dir() else _PACKAGE.parent / in_checkout


def shipped_species_dir() -> Path:
    """Return the folder of the species table that ships."""
    return _shipped("species", "species")


def reference_conditions() -> dict[str, float]:
    """Return the conditions under which the species table's rates hold, by column name."""
    text = (shipped_species_dir() / "reference.toml").read_text(encoding="utf-8")
    conditions: dict[str, float] = tomllib.loads(text)["conditions"]
    return conditions


def demo_dir() -> Path:
    """Return the folder of the demo book that ships."""
    return _shipped("demo", "data/demo")


def book_folder(named: str | Path) -> Path:
    """Return a folder that is there; raise ``MissingBook`` with what is there instead."""
    folder = Path(named)
    try:
        if folder.is_dir():
            return folder
        seen = "is not a folder" if folder.exists() else "does not exist"
    except OSError as error:  # a name too long, a folder that may not be looked into
        seen = f"cannot be opened ({(error.strerror or str(error)).lower()})"
    raise MissingBook(f"no book at {folder}: it {seen}; name the folder of a book")


def _is_here() -> bool:
    """Whether the current folder holds a book."""
    try:
        return (Path.cwd() / "practice.toml").exists()
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise MissingBook(
            f"this folder cannot be opened ({reason}); name the folder of a book"
        ) from error


def find_book(argument: str | Path | None) -> tuple[Path, str | None]:
    """Return the book's folder and, where it is the demo, a line that says so."""
    if argument is not None:
        return book_folder(argument), None
    if _is_here():
        return Path.cwd(), None
    demo = demo_dir()
    if not demo.is_dir():
        raise MissingBook("this folder holds no practice.toml, and no demo book is installed")
    return demo, f"this folder holds no practice.toml: using the demo book at {demo}"


def find_own_book(argument: str | Path | None) -> Path:
    """Return the folder of a book to write in: the one named, or this one; never the demo."""
    if argument is not None or _is_here():
        return find_book(argument)[0]
    raise MissingBook(
        "this folder holds no practice.toml; name the folder of your book, or begin one with "
        "growthcast start my-book"
    )
