"""The names of a book's files: exact ones, those that are nearly so, and tables not yet in CSV."""

from __future__ import annotations

import os
import re
from pathlib import Path

from growthcast.book.slugs import finding
from growthcast.book.tables import TABLES
from growthcast.book.words import is_one_slip, shown
from growthcast.errors import Finding

__all__ = ["FILES", "check_file_names"]

FILES: tuple[str, ...] = ("practice.toml", *(f"{name}.csv" for name in TABLES))
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
        return [finding("unreadable-file", folder.name, None, None, "folder", found, "a book", fix)]
    findings = []
    for name in there:
        meant = _meant(name, there)
        if meant:
            fix = f"did you mean {shown(meant)}? Rename the file"
            found = f"a file named {shown(name)}"
            findings.append(finding("file-name", name, None, None, "file", found, meant, fix))
        elif other := _copied_from(name):
            findings.append(_conflict(name, other))
        elif other := _in_another_form(name, there):
            findings.append(_to_export(name, other, there))
    return findings


def _meant(name: str, there: list[str]) -> str | None:
    if name in FILES:
        return None
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
        if rest == folded or rest[:1].isalnum() or name in FILES:
            continue
        if ending in folded and any(word in rest for word in _CONFLICTS):
            return known
        if folded.endswith(f".{ending}") and _NUMBERED.fullmatch(rest.removesuffix(f".{ending}")):
            return known
    return None


def _conflict(name: str, meant: str) -> Finding:
    found = f"a file named {shown(name)}, a second version of {meant}, which alone is read"
    fix = f"compare the two, put rows that are missing into {meant}, then remove the copy"
    return finding("conflict-copy", name, None, None, "file", found, meant, fix)


def _in_another_form(name: str, there: list[str]) -> str | None:
    """Return the book's file which this one holds as a spreadsheet or under more endings."""
    stem, *endings = name.strip().casefold().split(".")
    if name in FILES or not endings or not set(endings) <= _SPREADSHEETS | _TEXTS:
        return None
    for known in FILES:
        known_stem, _, _ = known.partition(".")
        slip = known not in there and is_one_slip(stem, known_stem)
        if stem.strip() == known_stem or slip:
            return known
    return None


def _to_export(name: str, meant: str, there: list[str]) -> Finding:
    sheet = name.casefold().rpartition(".")[2].strip() in _SPREADSHEETS
    what = "spreadsheet" if sheet else "text file"
    if meant in there:
        found = f"a {what} named {shown(name)} beside {meant}, which alone is read"
        fix = f"nothing to do; export it again as {meant} after changing it"
        return finding("spreadsheet-beside", name, None, None, "file", found, meant, fix)
    found = f"a {what} named {shown(name)} and no {meant}"
    fix = f"rename it to {meant}"
    if sheet:
        fix = f"export it as CSV named {meant}" if meant != FILES[0] else f"write it as {meant}"
    return finding("not-csv", name, None, None, "file", found, meant, fix)
