"""A forecast in words: heights and the conclusion."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

from growthcast.forecast.heights import LEVELS
from growthcast.forecast.report import AreaForecast
from growthcast.say.words import day_words, days_in_words

__all__ = [
    "area_sentence",
    "conclusion",
    "first_to_pass",
    "height_words",
    "unit",
]


def unit(area: AreaForecast) -> str:
    """Return the unit of an area's heights."""
    return "%" if area.is_cover else "cm"


def height_words(height: float) -> str:
    """Return a forecast height in as many digits as it is worth."""
    return f"{height:.1f}" if round(height, 1) < 10.0 else f"{height:.0f}"


def conclusion(area: AreaForecast, on: date, horizon_d: int) -> str:
    """Return when an area passes its height budget, as a clause without a subject."""
    budget = f"{area.budget_cm:g} {unit(area)}"
    early, middle, late = area.passes_budget_on
    last = on + timedelta(days=horizon_d)
    if early is None:
        return f"stays below {budget} within {days_in_words(horizon_d)}"
    if late is not None and late <= on:
        return f"stands over {budget} already"
    if middle is None and early <= on:
        return f"may be over {budget} already, more likely not"
    if middle is None:
        return f"may pass {budget} on {day_words(early, on)} or later"
    if middle <= on:
        sure = f" (9 times of 10 by {day_words(late, on)})" if late else ""
        return f"is probably over {budget} already{sure}"
    end = day_words(late, on) if late else f"after {day_words(last, on)}"
    return f"passes {budget} about {day_words(middle, on)} ({day_words(early, on)} to {end})"


def first_to_pass(areas: Sequence[AreaForecast]) -> int | None:
    """Return the place of the area that most likely passes its budget first, if one does."""
    passing = [(area.passes_budget_on[1], i) for i, area in enumerate(areas)]
    known = [(day, area_at_risk(areas[i]), i) for day, i in passing if day is not None]
    return min(known)[2] if known else None


def area_at_risk(area: AreaForecast) -> date:
    """Return the first day an area may be over its budget, for ranking."""
    return area.passes_budget_on[0] or date.max


def area_sentence(area: AreaForecast, label: str, last_reading: str, on: date, horizon: int) -> str:
    """Return what one panel shows, for those who cannot see it."""
    low, middle, high = (area.height_cm[-1, LEVELS.index(level)] for level in (0.10, 0.50, 0.90))
    measure = unit(area)
    return (
        f"{label}: {last_reading}; {conclusion(area, on, horizon)}; "
        f"on {day_words(area.at[-1], on)} most likely {height_words(middle)} {measure}, "
        f"8 times of 10 between {height_words(low)} and {height_words(high)} {measure}; "
        f"budget {area.budget_cm:g} {measure}, floor {area.floor_cm:g} {measure}."
    )
