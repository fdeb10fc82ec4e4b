"""The list of checks of a book; none of them stops at the first thing it finds."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from growthcast.book.checks.areas import AREA_CHECKS
from growthcast.book.checks.ids import ID_CHECKS
from growthcast.book.checks.log import LOG_CHECKS
from growthcast.book.checks.together import Tables
from growthcast.errors import Finding

__all__ = ["CHECKS", "run_checks"]

CHECKS: tuple[Callable[[Tables], Iterator[Finding]], ...] = (*ID_CHECKS, *AREA_CHECKS, *LOG_CHECKS)


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
