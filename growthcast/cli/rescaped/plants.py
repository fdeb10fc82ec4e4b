"""Plants compared for one area, as tables and JSON."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np

from growthcast.book.book import Book
from growthcast.cli.output import print_json, print_line, print_table, say
from growthcast.cli.rescaped.answers import answer_dict, quantiles
from growthcast.errors import UsageError
from growthcast.fit.result import GrowthFit
from growthcast.service.rescape.candidates import PlantAdvice, compare_plants, pool_of
from growthcast.service.rescape.outlook import LONGEST_D
from growthcast.service.rescape.reasons import days_text, fits

__all__ = ["answer_plants"]

MOST_SHOWN = 15


def answer_plants(
    book: Book,
    fit: GrowthFit,
    place: int,
    plants: list[str],
    form: str | None,
    planted_cm: float | None,
    plot: Path | None,
    as_json: bool,
) -> None:
    """Print how plants would do in an area, the best first."""
    pool = pool_of(fit, place, form)
    here = str(fit.design.species_id[fit.design.species[place]])
    wanted = [name for name in plants if name != here] if plants else pool
    if form is not None and plants:
        wanted = [name for name in wanted if name in pool]
    if not wanted:
        raise UsageError(
            "no plant is left to compare; name others with --plants, or another --form"
        )
    advice = compare_plants(book, fit, place, wanted, planted_cm)
    shown, left_out = advice, []
    if not plants:
        shown = [a for a in advice if fits(a.plant) or a.plant.is_there_now]
        left_out = [a for a in advice if a not in shown]
    if plot is not None:
        from growthcast.figures.rescaped.plants import save_plants_figure

        save_plants_figure(book, fit, place, shown, plot)
        say(f"Wrote {plot}")
    if as_json:
        print_json(_as_dict(book, fit, place, shown, left_out))
        return
    _tables(fit, place, shown, left_out)


def _tables(
    fit: GrowthFit,
    place: int,
    shown: list[PlantAdvice],
    left_out: list[PlantAdvice],
) -> None:
    design = fit.design
    area_id = design.area_id[place]
    unit = "%" if design.is_cover[place] else "cm"
    listed = shown[:MOST_SHOWN]
    listed += [a for a in shown[MOST_SHOWN:] if a.plant.is_there_now]
    print_table(
        f"Plants for {area_id} of {design.tank_id[design.tank[place]]}: floor "
        f"{design.traits.floor_cm[place]:g} {unit}, budget {design.traits.budget_cm[place]:g} "
        f"{unit}; ranges hold 8 times of 10",
        [
            "plant",
            "alone, every>",
            "from floor to budget>",
            "tank, every>",
            f"{unit} a week>",
            "to the look>",
            "litres, min a year>",
            "holds>",
            "rate known",
        ],
        [_row(a) for a in listed],
    )
    for rank, one in enumerate(listed, start=1):
        mark = " (there now)" if one.plant.is_there_now else ""
        number = f"{rank}." if rank <= MOST_SHOWN else "-"
        print_line(f"{number} {one.plant.species_id}{mark}: {one.reason}.")
    if len(shown) > len(listed):
        rest = len(shown) - len(listed)
        print_line(f"And {rest} more that fit: --json lists all, --form and --plants narrow them.")
    if left_out:
        print_line(f"Left out, since they are not likely to do there: {_why_left_out(left_out)}.")
    if any(a.plant.is_regulated for a in listed):
        say(
            "Plants that are, or whose relatives are, regulated in some places: the rules of your "
            "place decide; trimmings never into waterways."
        )


def _why_left_out(left_out: list[PlantAdvice]) -> str:
    why: Counter[str] = Counter()
    for one in left_out:
        light, warmth, co2 = one.holding
        parts = {"too dark": light, "too warm or cold": warmth, "too little CO2": co2}
        parts["too low for the floor"] = one.plant.reaches_look_chance
        parts["too tall for the budget"] = 0.0 if one.plant.is_too_tall else 1.0
        why[min(parts, key=lambda name: parts[name])] += 1
    return ", ".join(f"{count} {words}" for words, count in why.most_common())


def _row(one: PlantAdvice) -> list[str]:
    plant = one.plant
    low, middle, high = one.days_between
    unit_per_week = "–".join(f"{v:.1f}" for v in one.cm_per_week[[0, 2]])
    days = plant.tank_interval_d
    litres = "" if one.litres_per_year is None else f"{one.litres_per_year:.0f} L, "
    look = one.look_d
    return [
        plant.species_id + (" (now)" if plant.is_there_now else ""),
        "over a year" if plant.own_interval_d >= LONGEST_D else days_text(plant.own_interval_d),
        "over a year"
        if low >= LONGEST_D
        else f"{_short(middle)} d ({_short(low)} to {_short(high)})",
        "no listed interval" if days is None else f"{days} days",
        f"{one.cm_per_week[1]:.1f} ({unit_per_week})",
        "there now"
        if plant.is_there_now
        else f"{_short(look[1])} d ({_short(look[0])} to {_short(look[2])})",
        f"{litres}{plant.minutes_per_year:.0f} min",
        f"{100 * plant.holds_chance:.0f} %",
        f"{plant.basis}, ×/÷ {np.exp(1.2816 * one.rate_sd):.2f}",
    ]


def _short(days: float) -> str:
    if not np.isfinite(days):
        return "never"
    return f"{days:.0f}" if days < LONGEST_D else f"{LONGEST_D}+"


def _as_dict(
    book: Book,
    fit: GrowthFit,
    place: int,
    shown: list[PlantAdvice],
    left_out: list[PlantAdvice],
) -> dict[str, Any]:
    design = fit.design
    return {
        "tank_id": str(design.tank_id[design.tank[place]]),
        "area_id": str(design.area_id[place]),
        "floor_cm": float(design.traits.floor_cm[place]),
        "budget_cm": float(design.traits.budget_cm[place]),
        "currency": book.practice.currency,
        "plants": [_plant_dict(a, rank) for rank, a in enumerate(shown, start=1)],
        "left_out": [_plant_dict(a, None) for a in left_out],
    }


def _plant_dict(one: PlantAdvice, rank: int | None) -> dict[str, Any]:
    plant, (light, warmth, co2) = one.plant, one.holding
    more = plant.own_interval_d >= LONGEST_D
    return {
        "rank": rank,
        "species_id": plant.species_id,
        "common_name": plant.common_name,
        "form": plant.form,
        "is_there_now": plant.is_there_now,
        "reason": one.reason,
        "own_interval_d": plant.own_interval_d,
        "own_interval_is_at_least": more,
        "own_listed_interval_d": one.own_listed_d,
        "days_floor_to_budget": quantiles(one.days_between, 1, most=LONGEST_D),
        "tank_interval_d": plant.tank_interval_d,
        "tank_limited_by": one.tank_limited_by,
        "tank": answer_dict(one.tank),
        "cm_per_week": quantiles(one.cm_per_week, 2),
        "days_to_look": quantiles(one.look_d, 1),
        "litres_per_year": None if one.litres_per_year is None else round(one.litres_per_year, 1),
        "minutes_per_year": round(plant.minutes_per_year, 0),
        "chance_holds": round(plant.holds_chance, 4),
        "chance_light_enough": round(light, 4),
        "chance_warmth_right": round(warmth, 4),
        "chance_co2_enough": round(co2, 4),
        "chance_reaches_look": round(plant.reaches_look_chance, 4),
        "basis": plant.basis,
        "spans_in_practice": one.spans,
        "rate_per_day": quantiles(one.rate_per_day, 5),
        "log_rate_sd": round(one.rate_sd, 4),
        "regulated_in_places": plant.is_regulated,
        "caution": plant.caution or None,
    }
