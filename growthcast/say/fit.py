"""What was learnt from the log, in words."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

import numpy as np

from growthcast.arrays import BoolArray
from growthcast.fit.result import GrowthFit
from growthcast.fit.suspects import Suspect
from growthcast.say.words import (
    RANGES,
    RANGES_HOLD,
    Beside,
    More,
    Table,
    Words,
    count_of,
    full_date_words,
    quantile_words,
)

RESTS_ON = {"log": "its own log", "tank": "its tank or species", "table": "the species table"}
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


def fit_words(answer: Mapping[str, Any], is_cover: BoolArray, last: date | None) -> Words:
    """Yield what a fit found of areas, tanks and species.

    ``answer`` is the fit as JSON, ``is_cover`` (A,) which areas are measured by cover, ``last`` the
    last day of the log, if any.
    """
    own = sum(area["basis"] == "log" for area in answer["areas"])
    end = f"the log, which ends on {full_date_words(last)}" if last else "an empty log"
    yield (
        f"Growth fitted to {end}: {own} of {len(answer['areas'])} areas rest on their own readings."
    )
    yield Table(
        "",
        ["area", "rests on", "spans>", "a week>", "doubles in>", "ceiling>"],
        [_area(area, bool(cover)) for area, cover in zip(answer["areas"], is_cover, strict=True)],
        ["rests on", f"ceiling {RANGES}", f"doubles in {RANGES}", RANGES],
    )
    yield (
        "A week: growth just now, midway between floor and height, cuts and rests after them "
        f"aside; doubles in: days in which a low stand doubles. {RANGES_HOLD}"
    )
    yield More()
    for what, names, beside in (
        ("tank", "tanks", "How tanks differ from what their conditions say"),
        ("species", "species", "How species differ from the species table"),
    ):
        yield Table(
            beside,
            [what, "growth against the table>"],
            [[one[f"{what}_id"], _times(one["effect"])] for one in answer[names]],
        )
    yield Table(
        "How far things differ (log scale unless a unit is given)",
        ["what", "spread>", "how sure"],
        [[words, *_spread(name, answer["spread"])] for name, words in SPREADS.items()],
    )
    yield Table(
        "Days of growth that a cut costs, by form",
        ["form", "days on average>", "give or take>"],
        [[form, f"{lag['mean']:.1f}", f"{lag['sd']:.1f}"] for form, lag in answer["lag_d"].items()],
    )
    factors = "; ".join(f"{form} {_times(of)}" for form, of in answer["log_settling"].items())
    yield f"Plants settle in so many times the days of the species table: {factors}."
    if offset := answer["photo_offset"]:
        yield offset_words(offset)
    left_out = answer["rows_left_out"]
    yield Beside(f"{answer['rows_used']} log rows used, {len(left_out)} set aside or left out.")
    for row in left_out[:MOST_ROWS_SAID]:
        yield Beside(f"    {row['file']}:{row['row']}: {row['why']}")
    if rest := left_out[MOST_ROWS_SAID:]:
        yield Beside(f"    and {len(rest)} more (see --json)")


def offset_words(offset: Mapping[str, Any]) -> str:
    """Say how photos stand against the ruler."""
    if not offset["pairs"]:
        return (
            "Heights read off photos are taken as they are: no area was read by photo and by ruler "
            "on the same day. A ruler beside a photo now and then shows whether both agree."
        )
    share, times = 100.0 * offset["share"], count_of(offset["pairs"], "reading")
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
        RESTS_ON[area["basis"]] + ("" if area["converged"] else " (did not settle)"),
        str(area["spans"]),
        quantile_words(area["cm_per_week"].values(), unit),
        f"{usual:.0f} d ({fast:.0f}–{slow:.0f})",
        quantile_words(_range(area["log_ceiling"]), unit, digits=0),
    ]


def _times(effect: Mapping[str, float]) -> str:
    """Return an effect on the log rate as a factor with its range."""
    return quantile_words(_range(effect), "times", digits=2)


def _spread(name: str, spread: Mapping[str, Any]) -> list[str]:
    value, sd = spread[name], spread["log_sd"].get("span" if name == "interval" else name)
    if sd is None:
        return [f"{value:.2f}", "stated, not learnt"]
    low, _, high = _range({"mean": np.log(value), "sd": sd})
    return [f"{value:.2f}", f"learnt, {low:.2f} to {high:.2f}"]
