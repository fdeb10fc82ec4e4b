"""Where the files of a book are and what they are called, and which names are nearly so."""

from __future__ import annotations

import os
import re
import tomllib
from pathlib import Path

from growthcast.book.findings import finding
from growthcast.book.tables import TABLES
from growthcast.book.words import is_one_slip
from growthcast.errors import Finding, MissingBook

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


PRACTICE = "practice.toml"
FILES: tuple[str, ...] = (PRACTICE, *(f"{name}.csv" for name in TABLES))
_SPREADSHEETS = frozenset({"xlsx", "xls", "xlsm", "xlsb", "ods", "fods", "numbers"})
_CONFLICTS = ("conflict", "konflikt", "conflit")
_NUMBERED = re.compile(
    r" ?\([0-9]{1,2}\)| [0-9]{1,2}|(?: -|_)? ?(?:copy|kopie|copie)(?: ?\(?[0-9]+\)?)?"
)
_TEXTS = frozenset({"csv", "toml", "txt", "tsv", "tab"})


def check_file_names(folder: Path) -> list[Finding]:
    """Return what is odd about the names of files; ``expected`` is the name that was meant."""
    try:
        there = sorted(os.listdir(folder))  # noqa: PTH208 - names as they are written
    except OSError as error:
        reason = error.strerror or "no reason given"
        found = f"a folder that cannot be listed ({reason})"
        fix = "name the folder of a book, or change its permissions"
        said = {"found": found, "expected": "a book", "fix": fix}
        return [finding("unreadable-file", folder.name, None, None, "folder", **said)]
    odd = ((name, _about(name, there)) for name in there if name not in FILES)
    return [finding(about.pop("slug"), name, name=name, **about) for name, about in odd if about]


def _about(name: str, there: list[str]) -> dict[str, str]:
    """Return what is odd about a file's name: a slug, the name that is meant, what it is.

    There is nothing where it is a name of no file of a book.
    """
    if meant := _meant(name, there):
        return {"slug": "file-name", "meant": meant}
    if meant := _copied_from(name):
        return {"slug": "conflict-copy", "meant": meant}
    if (meant := _in_another_form(name, there)) is None:
        return {}
    sheet = name.casefold().rpartition(".")[2].strip() in _SPREADSHEETS
    about = {"meant": meant, "what": "spreadsheet" if sheet else "text file"}
    if meant in there:
        return {"slug": "spreadsheet-beside", **about}
    fix = f"rename it to {meant}"
    if sheet:
        fix = f"write it as {meant}" if meant == PRACTICE else f"export it as CSV named {meant}"
    return {"slug": "not-csv", "fix": fix, **about}


def _meant(name: str, there: list[str]) -> str | None:
    for known in FILES:
        if name.casefold().strip() == known:
            return known
        stem, _, ending = name.rpartition(".")
        known_stem, _, known_ending = known.rpartition(".")
        same_ending = ending.casefold() == known_ending
        if known not in there and same_ending and is_one_slip(stem, known_stem):
            return known
    return None


def _copied_from(name: str) -> str | None:
    """Return the book's file of which this one is a copy that a sync program left over."""
    folded = name.casefold()
    for known in FILES:
        stem, _, ending = known.partition(".")
        rest = folded.removeprefix(known if folded.startswith(known) else stem)
        if rest == folded or rest[:1].isalnum():
            continue
        if ending in folded and any(word in rest for word in _CONFLICTS):
            return known
        if folded.endswith(f".{ending}") and _NUMBERED.fullmatch(rest.removesuffix(f".{ending}")):
            return known
    return None


def _in_another_form(name: str, there: list[str]) -> str | None:
    """Return the book's file which this one holds as a spreadsheet or under more endings."""
    stem, *endings = name.strip().casefold().split(".")
    if not endings or not set(endings) <= _SPREADSHEETS | _TEXTS:
        return None
    for known in FILES:
        known_stem, _, _ = known.partition(".")
        slip = known not in there and is_one_slip(stem, known_stem)
        if stem.strip() == known_stem or slip:
            return known
    return None
