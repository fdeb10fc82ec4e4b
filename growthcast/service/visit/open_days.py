"""Days on which a practice works."""

from __future__ import annotations

from datetime import date, timedelta

from growthcast.book.book import Practice
from growthcast.book.checks.rounds import public_holidays
from growthcast.book.tables import WEEKDAYS
from growthcast.errors import UsageError


def working_dates(practice: Practice, start: date, days: int) -> list[date]:
    """Return the dates of a plan on which someone works.

    Parameters
    ----------
    practice : Practice
        With its working days, days off and holidays.
    start : date
        First day of the plan.
    days : int
        Days of the plan [d].

    Returns
    -------
    list of date
        In their order, at least one.

    Raises
    ------
    UsageError
        Nobody works on any of them.
    """
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
