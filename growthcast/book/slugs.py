"""Findings of the kinds that ``slugs.toml`` lists, each with its level and what it means."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType

from growthcast.book.tables import TABLES
from growthcast.book.words import printable
from growthcast.errors import LEVELS, Finding, Level

_LISTED = tomllib.loads(Path(__file__).with_name("slugs.toml").read_text(encoding="utf-8"))
SLUGS: Mapping[str, tuple[Level, str]] = MappingProxyType(
    {slug: (level, means) for level in LEVELS for slug, means in _LISTED[level].items()}
)
_FILES = ("", "practice.toml", *(f"{name}.csv" for name in TABLES if name != "species"))


def finding(
    slug: str,
    file: str,
    row: int | None,
    column: str | None,
    heading: str,
    found: str,
    expected: str,
    fix: str,
) -> Finding:
    """Return a finding of a listed slug, at the level the list gives it."""
    level = SLUGS[slug][0]
    column = None if column is None else printable(column)
    return Finding(
        printable(file),
        row,
        column,
        printable(heading),
        printable(found),
        printable(expected),
        printable(fix),
        slug,
        level,
    )


def note_order(item: Finding) -> tuple[int, str, int, int, str, str]:
    """Sort key: file by file as a book lists them, then by place."""
    rank = _FILES.index(item.file) if item.file in _FILES else len(_FILES)
    column = item.column or ""
    return (rank, item.file, item.row or 0, len(column), column, item.slug)
