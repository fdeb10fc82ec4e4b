"""Findings in words, as every command prints them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import groupby

from growthcast.errors import Finding

__all__ = ["MOST_PER_FILE", "count_of", "format_finding", "format_findings"]

MOST_PER_FILE = 20


def format_finding(item: Finding) -> str:
    """Return a finding as its line and its indented hints."""
    place = item.file
    if item.row is not None:
        place += f":{item.row}"
        if item.column is not None:
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
            levels = ("problem", "note", "remark")
            listed.sort(key=lambda item: levels.index(item.level))
        for item in listed[:MOST_PER_FILE]:
            yield format_finding(item)
        rest = listed[MOST_PER_FILE:]
        if rest:
            yield f"{file}: and {len(rest)} more ({count_of(rest)})"


def count_of(findings: Iterable[Finding]) -> str:
    """Return how many problems, notes and remarks there are, in words."""
    levels = [item.level for item in findings]
    parts = []
    for level in ("problem", "note", "remark"):
        number = levels.count(level)
        if number or level == "problem":
            noun = level if number == 1 else level + "s"
            parts.append(f"{number or 'no'} {noun}")
    return ", ".join(parts)
