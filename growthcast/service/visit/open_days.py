"""Days on which a practice works and its clients can be visited."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from growthcast.book.book import Book, Practice
from growthcast.book.checks.rounds import public_holidays
from growthcast.book.tables import WEEKDAYS
from growthcast.errors import UsageError
from growthcast.service.visit.words import and_list

__all__ = [
    "ClosedTime",
    "closed_on",
    "closed_times",
    "holidays_met",
    "open_before",
    "open_from",
    "working_dates",
]


def working_dates(practice: Practice, start: date, days: int) -> list[date]:
    """Return the dates of a plan on which someone works; ``UsageError`` if there are none."""
    dates = [start + timedelta(days=n) for n in range(days)]
    after = [dates[-1] + timedelta(days=n) for n in range(1, 731)]
    off: set[date] = set(practice.days_off)
    if practice.holidays:
        off |= public_holidays(practice.holidays, start, after[-1]).keys()

    def works(day: date) -> bool:
        return WEEKDAYS[day.weekday()] in practice.working_days and day not in off

    found = [day for day in dates if works(day)]
    if not found:
        first = next((day for day in after if works(day)), None)
        hint = "" if first is None else f"; the first working day after it is {first}"
        raise UsageError(
            f"nobody works between {start} and {dates[-1]}: every day of it is under days_off or "
            f"holidays, or outside working_days in practice.toml{hint}"
        )
    return found


def holidays_met(practice: Practice, dates: list[date]) -> list[str]:
    """Name the public holidays that a plan takes for working days, where no region is given."""
    if practice.holidays:
        return []
    country = practice.locale.partition("-")[2]
    met = public_holidays(country, dates[0], dates[-1])
    named = [f"{day} ({name})" for day, name in met.items() if day in dates]
    if not named:
        return []
    verb = "is a public holiday" if len(named) == 1 else "are public holidays"
    return [
        f"{and_list(named)} {verb} in {country}, the country of the locale, and planned like any "
        f'working day: write holidays = "{country}", or the code of a part of it, under [rounds] '
        "in practice.toml to keep such days free"
    ]


@dataclass(frozen=True, slots=True)
class ClosedTime:
    """First and last day on which a tank cannot be visited."""

    first: date
    last: date

    def __str__(self) -> str:
        return f"from {self.first} to {self.last}"


def closed_times(book: Book) -> dict[str, tuple[ClosedTime, ...]]:
    """Times in which tanks cannot be visited, by tank, in order; tanks without any are left out.

    A row of ``closed.csv`` that names a tank is for that one, else for all tanks of its client.
    """
    closed, found = book.closed, dict[str, list[ClosedTime]]()
    first, last = (
        closed.date(name).astype("datetime64[D]").tolist() for name in ("from_date", "to_date")
    )
    rows = zip(closed.text("client"), closed.text("tank_id"), first, last, strict=True)
    tanks = list(zip(book.tanks.text("tank_id"), book.tanks.text("client"), strict=True))
    for client, tank_id, begin, end in rows:
        for name, owner in tanks:
            if name == tank_id or (not tank_id and owner == client):
                found.setdefault(str(name), []).append(ClosedTime(begin, end))
    return {
        name: tuple(sorted(times, key=lambda time: (time.first, time.last)))
        for name, times in found.items()
    }


def closed_on(times: tuple[ClosedTime, ...], day: date) -> ClosedTime | None:
    """Return the time that holds a day, None where the tank can be visited."""
    return next((time for time in times if time.first <= day <= time.last), None)


def open_before(times: tuple[ClosedTime, ...], day: date, earliest: date) -> date | None:
    """Return the last day from ``earliest`` to ``day`` on which a tank can be visited, if any."""
    while (time := closed_on(times, day)) is not None:
        day = time.first - timedelta(days=1)
    return day if day >= earliest else None


def open_from(times: tuple[ClosedTime, ...], day: date) -> date:
    """Return the first day from ``day`` on which a tank can be visited."""
    while (time := closed_on(times, day)) is not None:
        day = time.last + timedelta(days=1)
    return day
