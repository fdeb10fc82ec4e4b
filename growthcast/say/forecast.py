"""Forecasts and the fit they rest on in words: heights, dates, what was learnt."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import date, timedelta
from math import exp, log
from typing import Any

from growthcast.arrays import BoolArray
from growthcast.book.book import Book
from growthcast.fit.result import GrowthFit
from growthcast.fit.suspects import Suspect
from growthcast.forecast.heights import LEVELS
from growthcast.forecast.report import AreaForecast
from growthcast.say import words as tell
from growthcast.say.texts import Texts

Areas = Sequence[AreaForecast]
LOW_TO_HIGH = [LEVELS.index(level) for level in (0.10, 0.50, 0.90)]
MOST_ROWS = 14
"""Areas listed without being asked for: as many as a screen holds."""


def forecast_answer(
    book: Book, day: date, areas: Areas, as_it_is: Areas | None, *, all_areas: bool, heights: bool
) -> tell.Answer:
    """Say which area passes its height first, then the areas in that order.

    With ``as_it_is``, the dates as things are stand beside those supposed; with ``heights``, the
    heights ahead belong to the answer.
    """
    if not areas:
        return tell.Answer(beside=[f"No area is planted on {day}."])
    labels = dict(zip(book.areas.text("area_id"), book.areas.text("label"), strict=True))
    names = {area.area_id: labels[area.area_id] or area.area_id for area in areas}
    horizon_d = book.practice.horizon_d
    today = {area.area_id: _passes(area, day, horizon_d) for area in as_it_is or ()}
    order = sorted(range(len(areas)), key=lambda n: (areas[n].passes_budget_on[1] or date.max, n))
    one = len({area.tank_id for area in areas}) == 1
    order = order if all_areas else order[:MOST_ROWS]
    rows, notes = [], []
    for area in (areas[n] for n in order):
        told = {"area": area, "name": names[area.area_id], "unit": unit(area)}
        told |= {"passes": _passes(area, day, horizon_d), "today": today.get(area.area_id)}
        rows.append(told)
    without = ["passes it, as things are"] if as_it_is is None else []
    table = tell.table("forecast_areas", rows, without, one=one)
    if rest := len(areas) - len(order):
        many = tell.capital(tell.in_words(rest))
        notes.append(f"{many} more pass it later: --tank names one tank's.")
    notes.append(f"Passes it: if nothing more is cut. {tell.RANGES_HOLD}")
    lead, ahead = lead_words(areas, names, day, horizon_d), _ahead(areas, sorted(order), names, day)
    if heights:
        return tell.Answer(lead, table, [*notes, *ahead])
    return tell.Answer(lead, table, notes, ahead)


def _ahead(
    areas: Areas, places: Sequence[int], names: Mapping[str, str], day: date
) -> Iterator[tell.Table]:
    """Yield the table of the heights of areas on the days asked for."""
    ahead = [
        {"name": names[area.area_id], "day": at, "height": height, "over": over, "unit": unit(area)}
        for area in (areas[n] for n in places)
        for at, height, over in zip(
            area.at, area.height_cm[:, LOW_TO_HIGH], area.chance_over_budget, strict=True
        )
    ]
    yield tell.table("forecast_ahead", ahead, on=day)


def lead_words(areas: Areas, names: Mapping[str, str], day: date, horizon_d: int) -> str:
    """Say which area passes its height first, and how many stand over it or do so in a week."""
    over = [names[area.area_id] for area in areas if _stands_over(area)]
    passing = [(a.passes_budget_on[1], n) for n, a in enumerate(areas) if not _stands_over(a)]
    dated = [(on, n) for on, n in passing if on is not None]
    first, n = min(dated, default=(None, 0))
    soon = sum(on <= day + timedelta(days=7) for on, _ in dated)
    blanks: dict[str, Any] = {"first": first, "tank": areas[n].tank_id, "all": len(areas)}
    blanks |= {"over": over and tell.some_names(over, 3, "area"), "one": len(over) == 1}
    blanks |= {"soon": soon > 1 and tell.in_words(soon), "area": names[areas[n].area_id]}
    return tell.capital(tell.sentence("forecast_lead", on=day, days=horizon_d, **blanks))


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


def passes(texts: Texts, key: str, area: AreaForecast, on: date, horizon_d: int) -> str:
    """Return when an area passes its budget, with its range, in the texts that begin so."""
    early, middle, late = area.passes_budget_on
    days = {"early": early, "middle": middle, "late": late, "last": on + timedelta(days=horizon_d)}
    budget = texts.exact(area.budget_cm, "% cover" if area.is_cover else "cm")
    blanks = {"on": on, "budget": budget, "within": texts.count("day", horizon_d)}
    return texts.say(f"{key}_{tell.passing(area.passes_budget_on, on)}", **days, **blanks)


SPREADS: tuple[str, ...] = ("tank", "area", "species", "interval", "drift")
SPREADS += ("height_error_cm", "height_error_share", "weight")
MOST_ROWS_SAID = 20
Z_90 = 1.2816
"""The 90 % quantile of the standard normal: 8 times in 10 lie within so many deviations."""


def fit_answer(found: Mapping[str, Any], is_cover: BoolArray, last: date | None) -> tell.Answer:
    """Say what a fit found of areas, tanks and species.

    ``found`` is the fit as JSON, ``is_cover`` (A,) which areas are measured by cover, ``last`` the
    last day of the log, if any.
    """
    own = sum(area["basis"] == "log" for area in found["areas"])
    end = f"the log, which ends on {tell.full_date_words(last)}" if last else "an empty log"
    lead = tell.sentence("fit_rests", end=end, own=own, all=len(found["areas"]))
    areas = map(_area, found["areas"], is_cover.tolist())
    how = tell.sentence("fit_how", ranges=tell.RANGES_HOLD)
    return tell.Answer(lead, tell.table("fit_areas", areas), [how], _behind(found))


def _behind(found: Mapping[str, Any]) -> tell.Words:
    """Yield how tanks and species differ, what a cut costs, and which rows were not used."""
    for what, names in ("tank", "tanks"), ("species", "species"):
        rows = [{"id": one[f"{what}_id"], "times": _range(one["effect"])} for one in found[names]]
        yield tell.table("fit_effects", rows, what=what, unit="times", digits=2)
    yield tell.table("fit_spreads", [_spread(name, found["spread"]) for name in SPREADS])
    lags = ({"form": form, "lag": lag} for form, lag in found["lag_d"].items())
    yield tell.table("fit_lags", lags)
    settling = found["log_settling"].items()
    factors = [f"{form} {tell.quantile_words(_range(of), 'times', 2)}" for form, of in settling]
    yield tell.sentence("fit_settling", factors="; ".join(factors))
    if offset := found["photo_offset"]:
        yield offset_words(offset)
    left_out = found["rows_left_out"]
    said = [f"{found['rows_used']} log rows used, {len(left_out)} set aside or left out."]
    said += [f"    {row['file']}:{row['row']}: {row['why']}" for row in left_out[:MOST_ROWS_SAID]]
    if rest := left_out[MOST_ROWS_SAID:]:
        said.append(f"    and {len(rest)} more (see --json)")
    yield tell.Answer(beside=said)


def offset_words(offset: Mapping[str, Any]) -> str:
    """Say how photos stand against the ruler."""
    if not offset["pairs"]:
        return tell.sentence("photo_unpaired")
    share = offset["share"]
    return tell.sentence("photo_offset", share=abs(share), above=share > 0, offset=offset)


def rows_left_out_in_json(fit: GrowthFit) -> list[dict[str, Any]]:
    """Return the rows of the log that were not used, or set aside, each with why."""
    why = (suspect_words(r) if isinstance(r, Suspect) else r.why for r in fit.rows_left_out)
    rows = zip(fit.rows_left_out, why, strict=True)
    return [{"file": row.file, "row": row.row, "why": why} for row, why in rows]


def suspect_words(suspect: Suspect) -> str:
    """Say why a row of the log was set aside."""
    if suspect.removed_cm is not None:
        return tell.sentence("suspect_removed", suspect=suspect)
    read = "look" if suspect.reading_cm is None else "reads"
    beyond = tell.sentence(f"suspect_{read}", suspect=suspect)
    return beyond + tell.sentence("suspect_unlogged" if suspect.unlogged_cut else "suspect_slip")


def _range(effect: Mapping[str, float]) -> list[float]:
    """Return what a normal on the log scale lies within 8 times in 10: low, middle and high."""
    return [exp(effect["mean"] + off * effect["sd"]) for off in (-Z_90, 0.0, Z_90)]


def _area(area: Mapping[str, Any], is_cover: bool) -> dict[str, Any]:
    return {
        "area": area,
        "weekly": area["cm_per_week"].values(),
        "doubles": [log(2.0) / rate for rate in reversed(_range(area["log_rate"]))],
        "ceiling": tell.quantile_words(_range(area["log_ceiling"]), "%" if is_cover else "cm", 0),
        "unit": "%" if is_cover else "cm",
    }


def _spread(name: str, spread: Mapping[str, Any]) -> dict[str, Any]:
    value, sd = spread[name], spread["log_sd"].get("span" if name == "interval" else name)
    low, _, high = [None] * 3 if sd is None else _range({"mean": log(value), "sd": sd})
    return {"what": tell.sentence(f"spread_{name}"), "value": value, "low": low, "high": high}
