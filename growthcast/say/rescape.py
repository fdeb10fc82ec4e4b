"""What the answers about a rescape share: days to something, and what is saved in a year."""

from __future__ import annotations

from collections.abc import Iterable

from growthcast.service.effort.visits import Range, Saving
from growthcast.service.rescape.variants import LONGEST_D

HELD = "Ranges hold in 8 cases of 10."
SMALL_H, LEAST_H = 10.0, 0.05


def days_text(days: float) -> str:
    """Return a number of days in words."""
    return f"more than {LONGEST_D - 1} days" if days >= LONGEST_D else f"{days:.0f} days"


def days_with_range(days: Iterable[float | None]) -> str:
    """Return days from one thing to another with what they lie within 8 times of 10."""
    low, middle, high = (_days(value) for value in days)
    return f"{middle} d" if low == high else f"{middle} d ({low}–{high})"


def _days(days: float | None) -> str:
    if days is None:
        return "never"
    return f"{days:.0f}" if days < LONGEST_D else f"{LONGEST_D}+"


def saves_in_words(saves: Saving, currency: str) -> str:
    """Say what is saved in a year, or taken more, with its range."""
    hours = saves.hours
    if max(abs(hours.p10), abs(hours.p90)) < LEAST_H:
        return "takes as much time as now"
    if hours.p10 >= 0.0:
        return f"saves {_both(saves, currency)} a year"
    if hours.p90 <= 0.0:
        more = Saving(hours=_turned(hours), cost=_turned(saves.cost))
        return f"takes {_both(more, currency)} a year more"
    return (
        f"takes between {-hours.p10:.1f} h a year more and {hours.p90:.1f} h less"
        f"{_money(saves, currency)}"
    )


def _both(saves: Saving, currency: str) -> str:
    """Hours, and money where an hour has a price."""
    hours = f"{_between(saves.hours)} h"
    return f"{hours} and {_between(saves.cost, 0)} {currency}" if saves.cost.p90 else hours


def _money(saves: Saving, currency: str) -> str:
    if not saves.cost.p90:
        return ""
    return f" ({-saves.cost.p10:.0f} {currency} more to {saves.cost.p90:.0f} {currency} less)"


def _between(values: Range, digits: int | None = None) -> str:
    if digits is None:
        digits = 1 if values.p90 < SMALL_H else 0
    low, high = f"{values.p10:.{digits}f}", f"{values.p90:.{digits}f}"
    return low if low == high else f"{low} to {high}"


def _turned(values: Range) -> Range:
    return Range(-values.p90, -values.p50, -values.p10)
