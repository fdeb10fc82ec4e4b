"""Working days, days off and the weekdays that clients insist on."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from types import MappingProxyType
from typing import Any

import numpy as np

from growthcast.book.book import Practice, Table
from growthcast.book.slugs import finding
from growthcast.book.tables import WEEKDAYS
from growthcast.book.words import did_you_mean, shown
from growthcast.errors import Finding

__all__ = ["LISTS", "ListKind", "check_visit_weekdays"]

Found = Callable[[str, str, str], tuple[None, list[Finding]]]


@dataclass(frozen=True, slots=True)
class ListKind:
    """A list in ``practice.toml``: what is expected of it and how its entries are read."""

    expected: str
    example: str
    entry: Callable[[Any], Any]

    def read(self, value: Any, found: Found) -> tuple[Any, list[Finding]]:
        """Return the entries in order, or everything that is wrong with them."""
        if not isinstance(value, list) or (not value and self is WEEKDAY_LIST):
            what = "an empty list" if isinstance(value, list) else f"{shown(value)}, not a list"
            return found("wrong-kind", what, f"write a list such as {self.example}")
        findings: list[Finding] = []
        entries: list[Any] = []
        for item in value:
            entry = self.entry(item)
            if isinstance(entry, tuple):
                findings += found(*entry)[1]
            elif entry in entries:
                findings += found("double-day", f"{shown(item)} twice in the list", "remove one")[1]
            else:
                entries.append(entry)
        order = WEEKDAYS.index if self is WEEKDAY_LIST else None
        return (None if findings else tuple(sorted(entries, key=order))), findings


def _weekday(item: Any) -> str | tuple[str, str, str]:
    if item in WEEKDAYS:
        return str(item)
    short = str(item).strip().casefold()[:3]
    fix = (
        f'write "{short}"'
        if short in WEEKDAYS
        else did_you_mean(str(item), WEEKDAYS, 'write as "mon"')
    )
    return "not-a-choice", f"{shown(item)} in the list", fix


def _day(item: Any) -> date | tuple[str, str, str]:
    if isinstance(item, datetime):
        return "date-with-time", f"{shown(item)} in the list", f"write {item.date()}"
    if isinstance(item, date):
        return item
    if not isinstance(item, str) or not re.fullmatch(r"\d{4}-\d{2}-\d{2}", item, re.ASCII):
        return "date-form", f"{shown(item)} in the list", 'write as 2026-12-25 or "2026-12-25"'
    try:
        return date.fromisoformat(item)
    except ValueError:
        return "no-such-day", f"{shown(item)}, a day the calendar does not have", "change it"


WEEKDAY_LIST = ListKind(
    f"a list of weekdays out of {', '.join(WEEKDAYS)}, each in quotes", '["mon", "thu"]', _weekday
)
LISTS: Mapping[str, ListKind] = MappingProxyType(
    {
        "weekdays": WEEKDAY_LIST,
        "dates": ListKind("a list of dates as 2026-12-25", "[2026-12-25, 2027-01-01]", _day),
    }
)


def check_visit_weekdays(practice: Practice | None, tanks: Table) -> Iterator[Finding]:
    """Yield a note for every tank whose fixed weekday is no working day."""
    if practice is None:
        return
    days = tanks.text("visit_weekday")
    work = practice.working_days
    for place in np.flatnonzero((days != "") & ~np.isin(days.astype(str), work)).tolist():
        yield finding(
            "visit-day-off",
            tanks.name,
            int(tanks.rows[place]),
            tanks.letters.get("visit_weekday"),
            "visit_weekday",
            f"{shown(days[place])}, on which nobody works",
            f"a working day: one of {', '.join(work)}",
            "add it to working_days under [rounds] in practice.toml, or agree on another weekday; "
            "until then rounds plans the tank on any working day",
        )
