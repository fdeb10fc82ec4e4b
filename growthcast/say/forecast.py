"""A forecast in words: tables of heights and dates, and the conclusion of a picture."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, timedelta

from growthcast.book.book import Book
from growthcast.forecast.heights import LEVELS
from growthcast.forecast.report import AreaForecast
from growthcast.say.words import (
    OVERDUE,
    RANGES,
    RANGES_HOLD,
    Beside,
    More,
    Table,
    Words,
    capital,
    day_words,
    days_in_words,
    in_words,
    percent,
    quantile_words,
    some_names,
    week_day_words,
)

RESTS_ON = {"log": "own log", "tank": "tank, species", "table": "table"}
LOW_TO_HIGH = [LEVELS.index(level) for level in (0.10, 0.50, 0.90)]
MOST_ROWS = 14
"""Areas listed without being asked for: as many as a screen holds."""


def forecast_words(
    book: Book,
    day: date,
    areas: Sequence[AreaForecast],
    as_it_is: Sequence[AreaForecast] | None,
    *,
    all_areas: bool = False,
    heights: bool = False,
) -> Words:
    """Yield which area passes its height first, then the areas in that order.

    With ``as_it_is``, the dates as things are stand beside those supposed; with ``heights``, the
    heights ahead belong to the answer.
    """
    if not areas:
        yield Beside(f"No area is planted on {day}.")
        return
    labels = dict(zip(book.areas.text("area_id"), book.areas.text("label"), strict=True))
    names = {area.area_id: labels[area.area_id] or area.area_id for area in areas}
    horizon_d = book.practice.horizon_d
    today = {area.area_id: _passes(area, day, horizon_d) for area in as_it_is or ()}
    beside = ["passes it, as things are"] if as_it_is is not None else []
    order = sorted(range(len(areas)), key=lambda n: (areas[n].passes_budget_on[1] or date.max, n))
    one = len({area.tank_id for area in areas}) == 1
    order = order if all_areas else order[:MOST_ROWS]
    listed = [areas[n] for n in order]
    yield lead_words(areas, names, day, horizon_d)
    yield Table(
        "",
        ["tank", "area", "now>", "height>", "passes it, uncut", *beside, "rests on"],
        [
            [
                area.tank_id,
                names[area.area_id],
                quantile_words(area.height_cm_now, unit(area)),
                f"{area.budget_cm:g} {unit(area)}",
                _passes(area, day, horizon_d),
                *(today.get(area.area_id, "not planted") for _ in beside),
                RESTS_ON[area.basis],
            ]
            for area in listed
        ],
        ["rests on", *(["tank"] if one else []), f"now {RANGES}", RANGES],
    )
    if rest := len(areas) - len(listed):
        yield f"{capital(in_words(rest))} more pass it later: --tank names one tank's."
    yield f"Passes it: if nothing more is cut. {RANGES_HOLD}"
    if not heights:
        yield More()
    rows = []
    for area in [areas[n] for n in sorted(order)]:
        ahead = zip(area.at, area.height_cm, area.chance_over_budget, strict=True)
        for on, height, over in ahead:
            range_on = quantile_words(height[LOW_TO_HIGH], unit(area))
            rows.append([names[area.area_id], day_words(on, day), range_on, percent(over)])
    yield Table("Heights ahead, uncut", ["area", "on", "height>", "chance over>"], rows)


def lead_words(
    areas: Sequence[AreaForecast], names: Mapping[str, str], day: date, horizon_d: int
) -> str:
    """Say which area passes its height first, and how many stand over it or do so in a week."""
    over = [area for area in areas if _stands_over(area)]
    said = []
    if over:
        verb = "stands" if len(over) == 1 else "stand"
        said.append(
            f"{some_names([names[a.area_id] for a in over], 3, 'area')} {verb} over already"
        )
    passing = [(a.passes_budget_on[1], n) for n, a in enumerate(areas) if not _stands_over(a)]
    dated = [(on, n) for on, n in passing if on is not None]
    if dated:
        on, n = min(dated)
        soon = sum(on <= day + timedelta(days=7) for on, _ in dated)
        said.append(
            f"{names[areas[n].area_id]} ({areas[n].tank_id}) passes its height "
            f"{'next' if over else 'first'}, about {week_day_words(on, day)}"
        )
        if soon > 1:
            said.append(f"{in_words(soon)} of {len(areas)} areas do within a week")
    if not said:
        return f"No area passes its height within {horizon_d} days."
    return f"{capital('; '.join(said))}."


def _stands_over(area: AreaForecast) -> bool:
    return bool(area.height_cm_now[1] > area.budget_cm)


def _passes(area: AreaForecast, day: date, horizon_d: int) -> str:
    early, middle, late = area.passes_budget_on
    if early is None:
        return f"not within {horizon_d} days"
    if _stands_over(area):
        return f"{OVERDUE} stands over it already"
    usual = day_words(middle, day) if middle else f"after {horizon_d} days"
    end = day_words(late, day) if late else "later"
    return f"{usual} ({day_words(early, day)}–{end})"


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
        sure = f" (9 times in 10 by {day_words(late, on)})" if late else ""
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
        f"8 times in 10 between {height_words(low)} and {height_words(high)} {measure}; "
        f"budget {area.budget_cm:g} {measure}, floor {area.floor_cm:g} {measure}."
    )
