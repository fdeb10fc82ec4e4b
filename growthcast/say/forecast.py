"""Forecasts and the fit they rest on in words: heights, dates, what was learnt."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from typing import Any

import numpy as np

from growthcast.arrays import BoolArray
from growthcast.book.book import Book
from growthcast.fit.result import GrowthFit
from growthcast.fit.suspects import Suspect
from growthcast.forecast.heights import LEVELS
from growthcast.forecast.report import AreaForecast
from growthcast.say import words as tell

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
) -> tell.Words:
    """Yield which area passes its height first, then the areas in that order.

    With ``as_it_is``, the dates as things are stand beside those supposed; with ``heights``, the
    heights ahead belong to the answer.
    """
    if not areas:
        yield tell.Beside(f"No area is planted on {day}.")
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
    yield tell.Table(
        "",
        ["tank", "area", "now>", "height>", "passes it, uncut", *beside, "rests on"],
        [
            [
                area.tank_id,
                names[area.area_id],
                tell.quantile_words(area.height_cm_now, unit(area)),
                f"{area.budget_cm:g} {unit(area)}",
                _passes(area, day, horizon_d),
                *(today.get(area.area_id, "not planted") for _ in beside),
                RESTS_ON[area.basis],
            ]
            for area in listed
        ],
        ["rests on", *(["tank"] if one else []), f"now {tell.RANGES}", tell.RANGES],
    )
    if rest := len(areas) - len(listed):
        yield f"{tell.capital(tell.in_words(rest))} more pass it later: --tank names one tank's."
    yield f"Passes it: if nothing more is cut. {tell.RANGES_HOLD}"
    if not heights:
        yield tell.More()
    rows = []
    for area in [areas[n] for n in sorted(order)]:
        ahead = zip(area.at, area.height_cm, area.chance_over_budget, strict=True)
        for on, height, over in ahead:
            range_on = tell.quantile_words(height[LOW_TO_HIGH], unit(area))
            when = tell.day_words(on, day)
            rows.append([names[area.area_id], when, range_on, tell.percent(over)])
    yield tell.Table("Heights ahead, uncut", ["area", "on", "height>", "chance over>"], rows)


def lead_words(
    areas: Sequence[AreaForecast], names: Mapping[str, str], day: date, horizon_d: int
) -> str:
    """Say which area passes its height first, and how many stand over it or do so in a week."""
    over = [area for area in areas if _stands_over(area)]
    said = []
    if over:
        who = tell.some_names([names[area.area_id] for area in over], 3, "area")
        said.append(f"{who} {'stands' if len(over) == 1 else 'stand'} over already")
    passing = [(a.passes_budget_on[1], n) for n, a in enumerate(areas) if not _stands_over(a)]
    dated = [(on, n) for on, n in passing if on is not None]
    if dated:
        on, n = min(dated)
        soon = sum(on <= day + timedelta(days=7) for on, _ in dated)
        said.append(
            f"{names[areas[n].area_id]} ({areas[n].tank_id}) passes its height "
            f"{'next' if over else 'first'}, about {tell.week_day_words(on, day)}"
        )
        if soon > 1:
            said.append(f"{tell.in_words(soon)} of {len(areas)} areas do within a week")
    if not said:
        return f"No area passes its height within {horizon_d} days."
    return f"{tell.capital('; '.join(said))}."


def _stands_over(area: AreaForecast) -> bool:
    return bool(area.height_cm_now[1] > area.budget_cm)


def _passes(area: AreaForecast, day: date, horizon_d: int) -> str:
    over = _stands_over(area)
    return tell.passes_words(area.passes_budget_on, day, f"{horizon_d} days", over=over)


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
        return f"stays below {budget} within {tell.days_in_words(horizon_d)}"
    if late is not None and late <= on:
        return f"stands over {budget} already"
    if middle is None and early <= on:
        return f"may be over {budget} already, more likely not"
    if middle is None:
        return f"may pass {budget} on {tell.day_words(early, on)} or later"
    if middle <= on:
        sure = f" (9 times in 10 by {tell.day_words(late, on)})" if late else ""
        return f"is probably over {budget} already{sure}"
    end = tell.day_words(late, on) if late else f"after {tell.day_words(last, on)}"
    return (
        f"passes {budget} about {tell.day_words(middle, on)} ({tell.day_words(early, on)} to {end})"
    )


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
        f"on {tell.day_words(area.at[-1], on)} most likely {height_words(middle)} {measure}, "
        f"8 times in 10 between {height_words(low)} and {height_words(high)} {measure}; "
        f"budget {area.budget_cm:g} {measure}, floor {area.floor_cm:g} {measure}."
    )


FIT_RESTS_ON = {"log": "its own log", "tank": "its tank or species", "table": "the species table"}
SPREADS = {
    "tank": "between tanks, beyond their conditions",
    "area": "between areas of a tank",
    "species": "times what the species table says of its own rates",
    "interval": "one week's growth to the next",
    "drift": "a tank's slow drift",
    "height_error_cm": "a reading, cm",
    "height_error_share": "a reading, share of the height",
    "weight": "a weight",
}
MOST_ROWS_SAID = 20
Z_90 = 1.2816
"""The 90 % quantile of the standard normal: 8 times in 10 lie within so many deviations."""


def fit_words(answer: Mapping[str, Any], is_cover: BoolArray, last: date | None) -> tell.Words:
    """Yield what a fit found of areas, tanks and species.

    ``answer`` is the fit as JSON, ``is_cover`` (A,) which areas are measured by cover, ``last`` the
    last day of the log, if any.
    """
    own = sum(area["basis"] == "log" for area in answer["areas"])
    end = f"the log, which ends on {tell.full_date_words(last)}" if last else "an empty log"
    yield (
        f"Growth fitted to {end}: {own} of {len(answer['areas'])} areas rest on their own readings."
    )
    yield tell.Table(
        "",
        ["area", "rests on", "spans>", "a week>", "doubles in>", "ceiling>"],
        [_area(area, bool(cover)) for area, cover in zip(answer["areas"], is_cover, strict=True)],
        ["rests on", f"ceiling {tell.RANGES}", f"doubles in {tell.RANGES}", tell.RANGES],
    )
    yield tell.sentence("fit_how", ranges=tell.RANGES_HOLD)
    yield tell.More()
    for what, names, beside in (
        ("tank", "tanks", "How tanks differ from what their conditions say"),
        ("species", "species", "How species differ from the species table"),
    ):
        yield tell.Table(
            beside,
            [what, "growth against the table>"],
            [[one[f"{what}_id"], _times(one["effect"])] for one in answer[names]],
        )
    yield tell.Table(
        "How far things differ (log scale unless a unit is given)",
        ["what", "spread>", "how sure"],
        [[words, *_spread(name, answer["spread"])] for name, words in SPREADS.items()],
    )
    yield tell.Table(
        "Days of growth that a cut costs, by form",
        ["form", "days on average>", "give or take>"],
        [[form, f"{lag['mean']:.1f}", f"{lag['sd']:.1f}"] for form, lag in answer["lag_d"].items()],
    )
    factors = "; ".join(f"{form} {_times(of)}" for form, of in answer["log_settling"].items())
    yield f"Plants settle in so many times the days of the species table: {factors}."
    if offset := answer["photo_offset"]:
        yield offset_words(offset)
    left_out = answer["rows_left_out"]
    yield tell.Beside(
        f"{answer['rows_used']} log rows used, {len(left_out)} set aside or left out."
    )
    for row in left_out[:MOST_ROWS_SAID]:
        yield tell.Beside(f"    {row['file']}:{row['row']}: {row['why']}")
    if rest := left_out[MOST_ROWS_SAID:]:
        yield tell.Beside(f"    and {len(rest)} more (see --json)")


def offset_words(offset: Mapping[str, Any]) -> str:
    """Say how photos stand against the ruler."""
    if not offset["pairs"]:
        return tell.sentence("photo_unpaired")
    share, times = 100.0 * offset["share"], tell.count_of(offset["pairs"], "reading")
    return (
        f"Heights read off photos come out {abs(share):.1f} % {'above' if share > 0 else 'below'} "
        f"the ruler's, give or take {100.0 * offset['share_sd']:.1f} %, by {times} of both on one "
        "day; they are brought to the ruler."
    )


def rows_left_out_in_json(fit: GrowthFit) -> list[dict[str, Any]]:
    """Return the rows of the log that were not used, or set aside, each with why."""
    return [
        {
            "file": row.file,
            "row": row.row,
            "why": suspect_words(row) if isinstance(row, Suspect) else row.why,
        }
        for row in fit.rows_left_out
    ]


def suspect_words(suspect: Suspect) -> str:
    """Say why a row of the log was set aside."""
    unit = suspect.unit
    foreseen = f"{suspect.foreseen_cm:.1f} ± {suspect.foreseen_sd_cm:.1f} {unit} was foreseen"
    if suspect.removed_cm is not None:
        return (
            f"{suspect.area_id} had {suspect.removed_cm:.3g} {unit} taken off where {foreseen}: a "
            "slipped decimal, or a cut that is not in the log? The amount is not used"
        )
    read = f"was judged {suspect.look}"
    if suspect.reading_cm is not None:
        read = f"reads {suspect.reading_cm:.3g} {unit}"
    beyond = f"{suspect.area_id} {read} where {foreseen}"
    if suspect.unlogged_cut:
        return f"{beyond}: a cut that is not in the log? The span before it is not used"
    return f"{beyond}: a slipped decimal or another area's reading? It has next to no weight"


def _range(effect: Mapping[str, float]) -> list[float]:
    """Return what a normal on the log scale lies within 8 times in 10: low, middle and high."""
    deviations = np.array([-1.0, 0.0, 1.0]) * Z_90
    values: list[float] = np.exp(effect["mean"] + deviations * effect["sd"]).tolist()
    return values


def _area(area: Mapping[str, Any], is_cover: bool) -> list[str]:
    unit = "%" if is_cover else "cm"
    fast, usual, slow = (np.log(2.0) / rate for rate in reversed(_range(area["log_rate"])))
    return [
        area["area_id"],
        FIT_RESTS_ON[area["basis"]] + ("" if area["converged"] else " (did not settle)"),
        str(area["spans"]),
        tell.quantile_words(area["cm_per_week"].values(), unit),
        f"{usual:.0f} d ({fast:.0f}–{slow:.0f})",
        tell.quantile_words(_range(area["log_ceiling"]), unit, digits=0),
    ]


def _times(effect: Mapping[str, float]) -> str:
    """Return an effect on the log rate as a factor with its range."""
    return tell.quantile_words(_range(effect), "times", digits=2)


def _spread(name: str, spread: Mapping[str, Any]) -> list[str]:
    value, sd = spread[name], spread["log_sd"].get("span" if name == "interval" else name)
    if sd is None:
        return [f"{value:.2f}", "stated, not learnt"]
    low, _, high = _range({"mean": np.log(value), "sd": sd})
    return [f"{value:.2f}", f"learnt, {low:.2f} to {high:.2f}"]
