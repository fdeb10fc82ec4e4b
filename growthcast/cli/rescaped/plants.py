"""Plants compared for one area, as tables and JSON."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np

from growthcast.book.book import Book
from growthcast.cli.output import (
    print_json,
    print_line,
    print_table,
    say,
)
from growthcast.cli.rescaped.answers import (
    HELD,
    days_with_range,
    saves_in_words,
)
from growthcast.errors import UsageError
from growthcast.fit.result import GrowthFit
from growthcast.plain import plain
from growthcast.say.words import with_range
from growthcast.service.rescape.candidates import Z_80, PlantAdvice, compare_plants, pool_of
from growthcast.service.rescape.outlook import LONGEST_D
from growthcast.service.rescape.reasons import fits

__all__ = ["answer_plants"]

MOST_SHOWN = 10
LEAST_PACE = 0.1
"""Growth a week [cm, or points of cover] that is told from none."""


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
        raise UsageError(_nothing_to_compare(fit, place, plants, form))
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
        print_json(_as_dict(book, fit, place, shown, left_out), fit)
        return
    _tables(book, fit, place, shown, left_out)


def _nothing_to_compare(fit: GrowthFit, place: int, plants: list[str], form: str | None) -> str:
    area_id = str(fit.design.area_id[place])
    if plants and form is not None:
        return f"none of the plants named is of the form {form}; leave out --plants or --form"
    if plants:
        return f"{plants[0]} is what stands in {area_id} now; name others with --plants"
    how = "percent cover" if fit.design.is_cover[place] else "height"
    return (
        f"no plant of the form {form} can be compared for {area_id}, which is measured by its "
        f"{how}; name another --form"
    )


def _tables(
    book: Book,
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
        f"{unit}",
        ["plant", "alone>", "tank>", "floor to budget>", "holds>"],
        [_lasting_row(a) for a in listed],
    )
    print_table(
        f"How they grow in {area_id}",
        ["plant", f"{unit} a week>", "to the look>", "rate known>"],
        [_growth_row(a) for a in listed],
    )
    takes = ["plant", "litres a year>", "min a year>", "rate from"]
    print_table(f"What {area_id} takes", takes, [_effort_row(a) for a in listed])
    for line in _meaning(listed):
        print_line(line)
    _reasons(book, listed)
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


def _meaning(listed: list[PlantAdvice]) -> list[str]:
    """Say what the columns mean."""
    said = [
        "Alone: the longest time between visits that this area holds by itself; tank: the longest "
        "listed interval that the whole tank holds with it. Rate known: its rate may be this many "
        f"times more or less; rate from: what tells it. {HELD}"
    ]
    if any(a.days_between[2] >= LONGEST_D for a in listed):
        said.append(f"{LONGEST_D}+ d: a year or more; no further ahead is looked.")
    if any(a.look_d[2] is None for a in listed):
        said.append("Never: in such a case its ceiling lies below the floor.")
    return said


def _reasons(book: Book, listed: list[PlantAdvice]) -> None:
    for rank, one in enumerate(listed, start=1):
        mark = " (there now)" if one.plant.is_there_now else ""
        number = f"{rank}." if rank <= MOST_SHOWN else "-"
        saves = ""
        if one.saves is not None and fits(one.plant):
            saves = f"; the tank {saves_in_words(one.saves, book.practice.currency)}"
        print_line(f"{number} {one.plant.species_id}{mark}: {one.reason}{saves}.")


def _why_left_out(left_out: list[PlantAdvice]) -> str:
    why: Counter[str] = Counter()
    for one in left_out:
        light, warmth, co2 = one.holding
        parts = {"too dark": light, "too warm or cold": warmth, "too little CO2": co2}
        parts["too low for the floor"] = one.plant.reaches_look_chance
        parts["too tall for the budget"] = 0.0 if one.plant.is_too_tall else 1.0
        why[min(parts, key=lambda name: parts[name])] += 1
    return ", ".join(f"{count} {words}" for words, count in why.most_common())


def _name(one: PlantAdvice) -> str:
    return one.plant.species_id + (" (now)" if one.plant.is_there_now else "")


def _lasting_row(one: PlantAdvice) -> list[str]:
    plant = one.plant
    own, days = plant.own_interval_d, plant.tank_interval_d
    alone = f"{LONGEST_D}+ d" if own >= LONGEST_D else f"{own} d" if own else "under 1 d"
    whole = "none" if days is None else f"{days} d"
    return [
        _name(one),
        "-" if plant.is_lost else alone,
        "-" if plant.is_lost else whole,
        days_with_range(one.days_between),
        f"{100 * plant.holds_chance:.0f} %",
    ]


def _growth_row(one: PlantAdvice) -> list[str]:
    low, middle, high = (_pace(value) for value in one.cm_per_week)
    return [
        _name(one),
        middle if low == high else f"{middle} ({low}–{high})",
        "there now" if one.plant.is_there_now else days_with_range(one.look_d),
        f"×/÷ {np.exp(Z_80 * one.rate_sd):.2f}",
    ]


def _pace(per_week: float) -> str:
    return f"{per_week:.1f}" if per_week >= LEAST_PACE else f"<{LEAST_PACE}"


def _effort_row(one: PlantAdvice) -> list[str]:
    litres = one.litres_per_year
    return [
        _name(one),
        "by cover" if litres is None else with_range(litres),
        with_range(one.minutes_per_year),
        one.plant.basis,
    ]


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
    light, warmth, co2 = plain(one.holding, 4)
    litres, minutes = plain(one.litres_per_year, 1), plain(one.minutes_per_year, 1)
    return {
        "rank": rank,
        **plain(one),
        "own_interval_is_at_least": one.plant.own_interval_d >= LONGEST_D,
        "litres_per_year": litres and litres["p50"],
        "litres_per_year_range": litres,
        "minutes_per_year": minutes["p50"],
        "minutes_per_year_range": minutes,
        "chance_light_enough": light,
        "chance_warmth_right": warmth,
        "chance_co2_enough": co2,
    }
