"""The list of checks of a book; none of them stops at the first thing it finds."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

from growthcast.book.checks.areas import AREA_CHECKS
from growthcast.book.checks.ids import ID_CHECKS
from growthcast.book.checks.log import LOG_CHECKS
from growthcast.book.checks.readings import READING_CHECKS
from growthcast.book.checks.rounds import CLOSED_CHECKS
from growthcast.book.checks.together import Tables, expected_cover
from growthcast.book.checks.water import WATER_CHECKS
from growthcast.errors import Finding

CHECKS: tuple[Callable[[Tables], Iterator[Finding]], ...] = (
    *ID_CHECKS,
    *AREA_CHECKS,
    *LOG_CHECKS,
    *READING_CHECKS,
    *WATER_CHECKS,
    *CLOSED_CHECKS,
)


def run_checks(tables: Tables, before: list[Finding]) -> list[Finding]:
    """Return everything that every check finds.

    A row whose amounts could not be read, as found ``before``, is not called empty as well.
    """
    unread = {(item.file, item.row) for item in before if item.level == "problem"}
    return [
        item
        for check in CHECKS
        for item in check(tables)
        if item.slug != "empty-row" or (item.file, item.row) not in unread
    ]


def in_percent_cover(findings: list[Finding], tables: Tables) -> list[Finding]:
    """Return the findings, with percent cover instead of centimetres where cover is measured."""
    pairs = ((tables.areas, tables.cover_areas), (tables.trims, tables.cover_trims))
    named = {item.file for item in findings if item.row is not None}
    rows = {t.name: set(t.rows[cover].tolist()) for t, cover in pairs if t.name in named}
    return [_of_cover(item) if item.row in rows.get(item.file, ()) else item for item in findings]


def _of_cover(item: Finding) -> Finding:
    expected = expected_cover(item.file, item.heading)
    if expected is None:
        return item
    said, fix = item.expected, item.fix.replace("centimetres", "percent cover")
    return replace(item, expected=expected if "centimetres" in said else said, fix=fix)
