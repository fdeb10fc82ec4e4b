"""What all sentences share: shares, chances, lists, days and dates in words."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Sequence
from datetime import date
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from growthcast.service.effort.visits import Range
    from growthcast.service.rounds.plan import PlannedVisit
    from growthcast.service.visit.cuts import CutSheet


MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
YEAR_SETTLED_D = 300
"""A day and month this near to a known date can be of one year only."""
SURELY, HARDLY = 0.995, 0.005


class Table(NamedTuple):
    """A table of an answer; a column whose name ends in ``>`` is aligned to the right."""

    title: str
    columns: Sequence[str]
    rows: Sequence[Sequence[str]]


class Beside(NamedTuple):
    """A sentence beside the answer: it goes to stderr."""

    sentence: str


Words = Iterable[str | Table | Beside]
"""An answer as a person reads it: sentences and tables, in their order."""


def percent(share: float, digits: int = 0) -> str:
    """Return a share [0-1] as percent."""
    return f"{100 * share:.{digits}f} %"


def as_chance(chance: float) -> str:
    """Return a chance [0-1] in percent, never claiming certainty."""
    if chance >= SURELY:
        return "over 99 %"
    return "under 1 %" if chance < HARDLY else percent(chance)


def count_of(number: int, noun: str) -> str:
    """Return a number of things."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def quantile_words(quantiles: Iterable[float], unit: str, digits: int = 1) -> str:
    """Return what is most likely, and what it lies between 8 times of 10."""
    low, middle, high = quantiles
    return f"{middle:.{digits}f} {unit} ({low:.{digits}f} to {high:.{digits}f})"


def with_range(values: Range, unit: str = "") -> str:
    """Return what is most likely with what it lies within 8 times of 10, in whole numbers."""
    middle = f"{values.p50:.0f} {unit}".rstrip()
    return f"{middle} ({values.p10:.0f}–{values.p90:.0f})"


def range_words(height: Range, unit: str) -> str:
    """Return a height with its range, as in ``12.4 cm (11.1 to 14.0)``."""
    return quantile_words((height.p10, height.p50, height.p90), unit)


def and_list(names: Sequence[str]) -> str:
    """Join names as a sentence does."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def days_in_words(days: float) -> str:
    """Return a number of days as a person says it."""
    whole = round(days)
    return "less than a day" if whole < 1 else "1 day" if whole == 1 else f"{whole} days"


def about_days(days: float) -> str:
    """Return a number of days that is not known for sure as a person says it."""
    said = days_in_words(days)
    return said if days < 0.5 else f"about {said}"


def full_date_words(day: date) -> str:
    """Return a date with its year."""
    return f"{day.day} {MONTHS[day.month - 1]} {day.year}"


def day_words(day: date, on: date) -> str:
    """Return a date as people say it; the year only where ``on`` does not settle it."""
    short = f"{day.day} {MONTHS[day.month - 1]}"
    return short if abs((day - on).days) < YEAR_SETTLED_D else full_date_words(day)


def tidy(text: str) -> str:
    """Return a person's text on one line, without characters that do not print."""
    one_line = " ".join(unicodedata.normalize("NFC", text).split())
    return "".join(char for char in one_line if char.isprintable())


FIRST_STRONG, END_ISOLATE = "\N{FIRST STRONG ISOLATE}", "\N{POP DIRECTIONAL ISOLATE}"


def named(text: str, otherwise: str = "") -> str:
    """Return a person's text on one line, kept from turning the text around it."""
    clean = tidy(text).strip() or tidy(otherwise).strip()
    if any("\u0590" <= char <= "\u08ff" or "\ufb1d" <= char <= "\ufefc" for char in clean):
        return f"{FIRST_STRONG}{clean}{END_ISOLATE}"
    return clean


def place_of(stop: CutSheet | PlannedVisit, stops: Sequence[CutSheet | PlannedVisit]) -> str:
    """Return where a tank stands and whose it is.

    Of several of a client that stand there, what the client calls it tells which.
    """
    where = [named(part) for part in (stop.site, stop.name) if part] or [named(stop.tank_id)]
    alike = [one for one in stops if (one.site, one.client) == (stop.site, stop.client)]
    place = ", ".join(where if len(alike) > 1 else where[:1])
    return f"{place} ({named(stop.client)})" if stop.client else place
