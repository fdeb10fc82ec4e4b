"""Where the files of a book are and what they are called, and which names are nearly so."""

from __future__ import annotations

import os
import re
import tomllib
from pathlib import Path

from growthcast.book.findings import finding, refusal
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
        raise MissingBook(refusal("no-folder-to-read", reason=reason)) from error


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
    raise MissingBook(refusal("no-book-here"))


PRACTICE = "practice.toml"
FILES: tuple[str, ...] = (PRACTICE, *(f"{name}.csv" for name in TABLES))
_SPREADSHEETS = frozenset({"xlsx", "xls", "xlsm", "xlsb", "ods", "fods", "numbers"})
_CONFLICTS = ("conflict", "konflikt", "conflit")
_NUMBERED = r" ?\([0-9]{1,2}\)| [0-9]{1,2}|(?: -|_)? ?(?:copy|kopie|copie)(?: ?\(?[0-9]+\)?)?"
_TEXTS = frozenset({"csv", "toml", "txt", "tsv", "tab"})


def check_file_names(folder: Path) -> list[Finding]:
    """Return what is odd about the names of files; ``expected`` is the name that was meant."""
    try:
        there = sorted(os.listdir(folder))  # noqa: PTH208 - names as they are written
    except OSError as error:
        reason = error.strerror or "no reason given"
        what = f"a folder that cannot be listed ({reason})"
        fix = "name the folder of a book, or change its permissions"
        said = {"found": what, "expected": "a book", "fix": fix}
        return [finding("unreadable-file", folder.name, None, None, "folder", **said)]
    odd = []
    for name in (name for name in there if name not in FILES):
        kinds = [
            (_ODD.index(kind), known) for known in FILES if (kind := _kind(name, known, there))
        ]
        if kinds:
            place, meant = min(kinds, key=lambda one: one[0])
            odd.append(_about(name, _ODD[place], meant, there))
    return odd


_ODD = ("file-name", "conflict-copy", "not-csv")
"""What a name may be of a file of the book: nearly its own, a copy's, another form's."""


def _kind(name: str, known: str, there: list[str]) -> str | None:
    """Return what a name is of a file of the book, none where it is nothing of it."""
    folded, is_absent = name.casefold(), known not in there
    stem, _, ending = known.rpartition(".")
    typed, _, typed_ending = folded.rpartition(".")
    slip = is_absent and typed_ending == ending and is_one_slip(typed, stem)
    if slip or folded.strip() == known:
        return "file-name"
    rest = folded.removeprefix(known if folded.startswith(known) else stem)
    if rest != folded and not rest[:1].isalnum():  # a sync program left it over
        if ending in folded and any(word in rest for word in _CONFLICTS):
            return "conflict-copy"
        if typed_ending == ending and re.fullmatch(_NUMBERED, rest.removesuffix(f".{ending}")):
            return "conflict-copy"
    bare, *endings = folded.strip().split(".")
    alike = bare.strip() == stem or (is_absent and is_one_slip(bare, stem))
    return "not-csv" if endings and alike and set(endings) <= _SPREADSHEETS | _TEXTS else None


def _about(name: str, slug: str, meant: str, there: list[str]) -> Finding:
    about = {"name": name, "meant": meant}
    if slug == "not-csv":
        sheet = name.casefold().rpartition(".")[2].strip() in _SPREADSHEETS
        about |= {"what": "spreadsheet" if sheet else "text file"}
        if meant in there:
            return finding("spreadsheet-beside", name, **about)
        way = ("write it as" if meant == PRACTICE else "export it as CSV named") if sheet else ""
        about |= {"fix": f"{way or 'rename it to'} {meant}"}
    return finding(slug, name, **about)
