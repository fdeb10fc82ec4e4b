"""Names of a book's files and of practice.toml's keys: exact ones and those that are nearly so."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from growthcast.book.findings import finding
from growthcast.book.tables import KEYS, TABLES
from growthcast.book.words import did_you_mean, is_one_slip, shown
from growthcast.errors import Finding

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
        return [finding("unreadable-file", folder.name, None, None, "folder", found, "a book", fix)]
    named = ((name, _about(name, there)) for name in there if name not in FILES)
    return [
        finding(about[0], name, None, None, "file", about[1], about[3], about[2])
        for name, about in named
        if about is not None
    ]


def _about(name: str, there: list[str]) -> tuple[str, str, str, str] | None:
    """Return what is odd about a file's name: slug, what was found, how to mend it, what is meant.

    There is nothing where it is a name of no file of a book.
    """
    if meant := _meant(name, there):
        fix = f"did you mean {shown(meant)}? Rename the file"
        return "file-name", f"a file named {shown(name)}", fix, meant
    if meant := _copied_from(name):
        found = f"a file named {shown(name)}, a second version of {meant}, which alone is read"
        fix = f"compare the two, put rows that are missing into {meant}, then remove the copy"
        return "conflict-copy", found, fix, meant
    if (meant := _in_another_form(name, there)) is None:
        return None
    sheet = name.casefold().rpartition(".")[2].strip() in _SPREADSHEETS
    what = "spreadsheet" if sheet else "text file"
    if meant in there:
        found = f"a {what} named {shown(name)} beside {meant}, which alone is read"
        fix = f"nothing to do; export it again as {meant} after changing it"
        return "spreadsheet-beside", found, fix, meant
    fix = f"rename it to {meant}"
    if sheet:
        fix = f"write it as {meant}" if meant == PRACTICE else f"export it as CSV named {meant}"
    return "not-csv", f"a {what} named {shown(name)} and no {meant}", fix, meant


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


def odd_key_names(
    content: Mapping[str, Any], lines: Mapping[tuple[str, str], int]
) -> Iterator[Finding]:
    """Yield what is odd about the sections and keys of practice.toml.

    ``lines`` are those of each section and name.
    """
    absent = [name for name in KEYS if name not in content]
    for name, value in content.items():
        line = lines.get(("", name))
        if name in KEYS and isinstance(value, dict):
            yield from _odd_keys(name, content, lines)
        elif name in KEYS:
            found = f"{shown(name)} as a key"
            fix = f"write it as a section: [{name}]"
            yield finding("wrong-kind", PRACTICE, line, name, name, found, "a section", fix)
        elif isinstance(value, dict):
            yield _odd(name, absent, lines.get((name, "")), "section", name)
        else:
            homes = [home for home in KEYS if name in _known(home)]
            fix = f"move it under [{homes[0]}]" if homes else "nothing to do; the key is kept"
            slug = "near-key" if homes else "unknown-key"
            found = f"{shown(name)} outside any section"
            yield finding(slug, PRACTICE, line, name, "key", found, "a key in its section", fix)


def _known(section: str) -> list[str]:
    return [key.name for key in KEYS[section]]


def _odd_keys(
    section: str, content: Mapping[str, Any], lines: Mapping[tuple[str, str], int]
) -> Iterator[Finding]:
    sections = {home: content.get(home) for home in KEYS}
    absent = {
        home: [name for name in _known(home) if not isinstance(there, dict) or name not in there]
        for home, there in sections.items()
    }
    homes = {name: home for home, names in absent.items() for name in names if home != section}
    for name in content[section]:
        line = lines.get((section, name))
        slip = next((other for other in homes if is_one_slip(name, other)), None)
        if name in _known(section):
            continue
        if slip and not any(is_one_slip(name, other) for other in absent[section]):
            found = f"{shown(name)} under [{section}]"
            fix = f"move it under [{homes[slip]}]" + ("" if name == slip else f" and write {slip}")
            expected = "a key of its section"
            yield finding("near-key", PRACTICE, line, name, "key", found, expected, fix)
        else:
            yield _odd(name, absent[section], line, "key", name)


def _odd(name: str, absent: list[str], line: int | None, what: str, column: str) -> Finding:
    slip = next((known for known in absent if is_one_slip(name, known)), None)
    if slip:
        fix = f"did you mean {shown(slip)}?"
        expected = f"a known {what}"
        return finding("near-key", PRACTICE, line, column, what, shown(name), expected, fix)
    fix = did_you_mean(name, absent, f"nothing to do; the {what} is kept as it is")
    found = f"{shown(name)}, a {what} nobody asked for"
    return finding(f"unknown-{what}", PRACTICE, line, column, what, found, f"a known {what}", fix)
