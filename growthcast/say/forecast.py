"""A forecast in words: tables of heights and dates, and the conclusion of a picture."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

from growthcast.book.book import Book
from growthcast.forecast.heights import LEVELS
from growthcast.forecast.report import AreaForecast
from growthcast.say.words import (
    Beside,
    Table,
    Words,
    day_words,
    days_in_words,
    percent,
    quantile_words,
)

PASSES = "passes it, if nothing more is cut"
RESTS_ON = {"log": "own log", "tank": "tank, species", "table": "table"}
LOW_TO_HIGH = [LEVELS.index(level) for level in (0.10, 0.50, 0.90)]


def forecast_words(
    book: Book,
    day: date,
    areas: Sequence[AreaForecast],
    as_it_is: Sequence[AreaForecast] | None,
    mark: str,
) -> Words:
    """Yield two tables a tank; with ``as_it_is``, the dates as things are beside those supposed."""
    if not areas:
        yield Beside(f"No area is planted on {day}.")
        return
    labels = dict(zip(book.areas.text("area_id"), book.areas.text("label"), strict=True))
    horizon_d = book.practice.horizon_d
    today = {area.area_id: _passes(area, horizon_d) for area in as_it_is or ()}
    beside = ["passes it, as things are"] if as_it_is is not None else []
    for tank_id in dict.fromkeys(area.tank_id for area in areas):
        outlook, heights = [], []
        for area in areas:
            if area.tank_id != tank_id:
                continue
            name = labels[area.area_id] or area.area_id
            outlook.append(
                [
                    name,
                    quantile_words(area.height_cm_now, unit(area)),
                    f"{area.budget_cm:g} {unit(area)}",
                    _passes(area, horizon_d),
                    RESTS_ON[area.basis],
                    *(today.get(area.area_id, "not planted") for _ in beside),
                ]
            )
            ahead = zip(area.at, area.height_cm, area.chance_over_budget, strict=True)
            for on, height, over in ahead:
                range_on = quantile_words(height[LOW_TO_HIGH], unit(area))
                heights.append([name, on.isoformat(), range_on, percent(over)])
        yield Table(
            f"{tank_id} on {day}{mark} (ranges hold 8 times of 10)",
            ["area", "height now>", "budget>", PASSES, "rests on", *beside],
            outlook,
        )
        yield Table(
            f"{tank_id}{mark}: heights ahead, if nothing more is cut",
            ["area", "on", "height>", "chance over budget>"],
            heights,
        )


def _passes(area: AreaForecast, horizon_d: int) -> str:
    early, middle, late = area.passes_budget_on
    if early is None:
        return f"not within {horizon_d} days"
    if area.height_cm_now[1] > area.budget_cm:
        return "stands over it already"
    usual = middle.isoformat() if middle else f"after {horizon_d} days"
    end = late.isoformat() if late else f"more than {horizon_d} days"
    return f"{usual} ({early} to {end})"


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
    known = [(day, _area_at_risk(areas[i]), i) for day, i in passing if day is not None]
    return min(known)[2] if known else None


def _area_at_risk(area: AreaForecast) -> date:
    """Return the first day an area may be over its budget, for ranking."""
    return area.passes_budget_on[0] or date.max


def area_sentence(area: AreaForecast, label: str, last_reading: str, on: date, horizon: int) -> str:
    """Return what one panel shows, for those who cannot see it."""
    low, middle, high = area.height_cm[-1, LOW_TO_HIGH]
    measure = unit(area)
    return (
        f"{label}: {last_reading}; {conclusion(area, on, horizon)}; "
        f"on {day_words(area.at[-1], on)} most likely {height_words(middle)} {measure}, "
        f"8 times of 10 between {height_words(low)} and {height_words(high)} {measure}; "
        f"budget {area.budget_cm:g} {measure}, floor {area.floor_cm:g} {measure}."
    )
