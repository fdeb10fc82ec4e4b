"""The names of a book's files: exact ones, and those that are nearly so."""

from __future__ import annotations

import os
from pathlib import Path

from growthcast.book.slugs import finding
from growthcast.book.tables import TABLES
from growthcast.book.words import is_one_slip, shown
from growthcast.errors import Finding

__all__ = ["FILES", "check_file_names"]

FILES: tuple[str, ...] = ("practice.toml", *(f"{name}.csv" for name in TABLES))


def check_file_names(folder: Path) -> list[Finding]:
    """Return a problem for each file that is named almost like one of a book's."""
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
