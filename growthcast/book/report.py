"""Findings in words, as every command prints them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import groupby

from growthcast.errors import LEVELS, Finding

MOST_PER_FILE = 20
MOST_NOTES = 5
_WAYS_OF_READING = ("encoding", "line-ends", "delimiter", "decimal-comma-file")
_SEE = "see growthcast check"


def format_finding(item: Finding) -> str:
    """Return a finding as its line and its indented hints."""
    place = item.file
    if item.row is not None:
        place += f":{item.row}"
        if item.column is not None and item.column != item.heading:
            place += f":{item.column}"
    first = f"{place}: {item.heading}: found {item.found} [{item.slug}]"
    if item.level == "remark":
        return first
    return f"{first}\n    expected: {item.expected}\n    fix:      {item.fix}"


def format_findings(findings: Iterable[Finding]) -> str:
    """Return findings as lines, at most 20 a file and then a count."""
    return "\n".join(_lines(findings))


def _lines(findings: Iterable[Finding]) -> Iterator[str]:
    for file, items in groupby(findings, key=lambda item: item.file):
        listed = list(items)
        # what stops the fit is shown first when not everything can be
        if len(listed) > MOST_PER_FILE:
            listed.sort(key=lambda item: LEVELS.index(item.level))
        for item in listed[:MOST_PER_FILE]:
            yield format_finding(item)
        rest = listed[MOST_PER_FILE:]
        if rest:
            yield f"{file}: and {len(rest)} more ({count_of(rest)})"


def count_of(findings: Iterable[Finding]) -> str:
    """Return how many problems, notes and remarks there are, in words."""
    levels = [item.level for item in findings]
    parts = []
    for level in LEVELS:
        number = levels.count(level)
        if number or level == "problem":
            noun = level if number == 1 else level + "s"
            parts.append(f"{number or 'no'} {noun}")
    return ", ".join(parts)


def summary_for_commands(findings: Iterable[Finding]) -> str:
    """Return findings as a command says them beside its answer, ``''`` where there are none.

    Notes stand in full, at most five and then a count; all remarks together are one line.
    """
    listed = list(findings)
    remarks = [item for item in listed if item.level == "remark"]
    others = [item for item in listed if item.level != "remark"]
    lines = [format_finding(item) for item in others[:MOST_NOTES]]
    if rest := others[MOST_NOTES:]:
        noun = "note" if len(rest) == 1 else "notes"
        lines.append(f"And {len(rest)} more {noun}: {_SEE}")
    if remarks:
        lines.append(_in_one_line(remarks))
    return "\n".join(lines)


def _in_one_line(remarks: list[Finding]) -> str:
    """Return remarks as one sentence: how the files were read, then everything else."""
    kinds = {slug: [i.found for i in remarks if i.slug == slug] for slug in _WAYS_OF_READING}
    ways = [_way(found) for slug in _WAYS_OF_READING for found in dict.fromkeys(kinds[slug])]
    parts = [f"read as {', '.join(ways)}"] if ways else []
    rest = (item.found for item in remarks if item.slug not in _WAYS_OF_READING)
    parts += dict.fromkeys(rest)
    sentence = "; ".join(parts)
    return f"{sentence[:1].upper()}{sentence[1:]}: {_SEE}"


def _way(found: str) -> str:
    """Return how a file was read, in fewer words."""
    for words in ("text in ", "cells separated by ", "numbers with "):
        found = found.removeprefix(words)
    return found
