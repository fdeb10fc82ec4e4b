"""Plants in words: compared for one area, or as the species table has them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from growthcast.book.columns import UNIT_WORDS
from growthcast.book.tables import TABLES
from growthcast.fit.result import GrowthFit
from growthcast.plain import plain
from growthcast.say.rescape import days_text, days_with_range, saves_in_words
from growthcast.say.supposed import limits_words
from growthcast.say.words import (
    FINE,
    RANGES,
    RANGES_HOLD,
    TIGHT,
    Beside,
    More,
    Table,
    Words,
    count_of,
    percent,
    with_range,
)
from growthcast.service.holding import LIKELY
from growthcast.service.rescape.plants import Z_80, PlantAdvice
from growthcast.service.rescape.variants import LONGEST_D

MOST_SHOWN = 10
LEAST_PACE = 0.1
"""Growth a week [cm, or points of cover] that is told from none."""


def plants_words(
    fit: GrowthFit,
    place: int,
    currency: str,
    shown: Sequence[PlantAdvice],
    left_out: Sequence[PlantAdvice],
) -> Words:
    """Yield how plants would do in an area, the best first."""
    design = fit.design
    area_id = design.area_id[place]
    unit = "%" if design.is_cover[place] else "cm"
    listed = [a for n, a in enumerate(shown) if n < MOST_SHOWN or a.is_there_now]
    fitting = [a for a in shown if a.fits and not a.is_there_now]
    yield (
        f"{count_of(len(fitting), 'other plant')} would do in {area_id}"
        + (f"; the first, {fitting[0].species_id}: {plant_reason(fitting[0])}." if fitting else ".")
    )
    yield Table(
        f"Plants for {area_id} of {design.tank_id[design.tank[place]]}: floor "
        f"{design.traits.floor_cm[place]:g} {unit}, budget {design.traits.budget_cm[place]:g} "
        f"{unit}",
        ["plant", "alone>", "tank>", "floor to budget>", f"{unit} a week>", "to look>", "holds>"],
        [_lasting_row(a) for a in listed],
        [RANGES, "floor to budget"],
    )
    yield (
        "Alone: the longest time between visits that this area holds by itself; tank: the longest "
        f"listed interval that the whole tank holds with it. {RANGES_HOLD}"
    )
    yield More()
    takes = ["plant", "litres a year>", "min a year>", "rate known>", "rate from"]
    yield Table(f"What {area_id} takes", takes, [_effort_row(a) for a in listed])
    yield from _meaning(listed)
    for rank, one in enumerate(listed, start=1):
        mark = " (there now)" if one.is_there_now else ""
        number = f"{rank}." if rank <= MOST_SHOWN else "-"
        saves = ""
        if one.saves is not None and one.fits:
            saves = f"; the tank {saves_in_words(one.saves, currency)}"
        yield f"{number} {one.species_id}{mark}: {plant_reason(one)}{saves}."
    if len(shown) > len(listed):
        rest = len(shown) - len(listed)
        yield f"And {rest} more that fit: --json lists all, --form and --plants narrow them."
    if left_out:
        yield f"Left out, since they are not likely to do there: {_why_left_out(left_out)}."
    if any(a.regulated_in_places for a in listed):
        yield Beside(
            "Plants that are, or whose relatives are, regulated in some places: the rules of your "
            "place decide; trimmings never into waterways."
        )


def _meaning(listed: Sequence[PlantAdvice]) -> Words:
    """Say what the columns mean."""
    yield "Rate known: it may be this many times more or less; rate from: what tells it."
    if any(a.days_between[2] >= LONGEST_D for a in listed):
        yield f"{LONGEST_D}+ d: a year or more; no further ahead is looked."
    if any(a.look_d[2] is None for a in listed):
        yield "Never: in such a case its ceiling lies below the floor."


def _why_left_out(left_out: Sequence[PlantAdvice]) -> str:
    why: Counter[str] = Counter()
    for one in left_out:
        holds = one.holding
        parts = {
            "too dark": float(holds.light[0]),
            "too warm or cold": float(holds.warmth[0]),
            "too little CO2": float(holds.co2[0]),
        }
        parts["too low for the floor"] = one.chance_reaches_look
        parts["too tall for the budget"] = 0.0 if one.is_too_tall else 1.0
        why[min(parts, key=lambda name: parts[name])] += 1
    return ", ".join(f"{count} {words}" for words, count in why.most_common())


def _name(one: PlantAdvice) -> str:
    return one.species_id + (" (now)" if one.is_there_now else "")


def _lasting_row(one: PlantAdvice) -> list[str]:
    own, days = one.own_interval_d, one.tank_interval_d
    alone = f"{LONGEST_D}+ d" if own >= LONGEST_D else f"{own} d" if own else "under 1 d"
    whole = "none" if days is None else f"{days} d"
    low, middle, high = (_pace(value) for value in one.cm_per_week)
    return [
        _name(one),
        "-" if one.is_lost else alone,
        "-" if one.is_lost else whole,
        days_with_range(one.days_between),
        middle if low == high else f"{middle} ({low}–{high})",
        "there now" if one.is_there_now else days_with_range(one.look_d),
        f"{FINE if one.chance_holds >= LIKELY else TIGHT} {percent(one.chance_holds)}",
    ]


def _pace(per_week: float) -> str:
    return f"{per_week:.1f}" if per_week >= LEAST_PACE else f"<{LEAST_PACE}"


def _effort_row(one: PlantAdvice) -> list[str]:
    litres = one.litres_per_year
    return [
        _name(one),
        "by cover" if litres is None else with_range(litres),
        with_range(one.minutes_per_year),
        f"×/÷ {np.exp(Z_80 * one.rate_sd):.2f}",
        one.basis,
    ]


def plant_reason(one: PlantAdvice) -> str:
    """Say what a plant allows, what speaks against it, and what that rests on."""
    said = []
    if limits := one.holding.limits(0):
        said.append(f"{percent(one.chance_holds)} to hold: {limits_words(limits)}")
    if one.is_lost:
        return "; ".join([*said, "so no interval is named"])
    unit = "% cover" if one.is_cover else "cm"
    limit = f"by the species table it stands no cut below {one.lowest_cut_cm:.3g} {unit}"
    if one.chance_reaches_look < LIKELY:
        said.append(
            f"{percent(one.chance_reaches_look)} to grow up to the floor, its ceiling is low"
        )
    if one.is_too_tall:
        said.append(
            f"{limit}, and the budget is {one.budget_cm:.3g} {unit}: where yours stands lower "
            "cuts, write lowest_cut_cm in species.csv"
        )
        return "; ".join(said)
    own = f"alone it allows {days_text(one.own_interval_d)}"
    if one.own_interval_d < one.tank.options[0].interval_d:
        own += ", less than the shortest listed interval"
        own += f" ({limit})" if one.lowest_cut_cm > one.floor_cm else ""
    if one.tank_interval_d is None:
        said.append(f"{own}; no listed interval holds for the tank")
    elif one.limits_tank:
        said.append(f"{own}; it is what keeps the tank at {one.tank_interval_d} days")
    elif one.limited_by is not None:
        said.append(f"{own}; the tank stays at {one.tank_interval_d} days for {one.limited_by}")
    else:
        said.append(f"{own}; the whole tank holds {one.tank_interval_d} days, the longest asked")
    if one.waits_long and one.look_d[1] is not None:
        said.append(f"slow to the look: {days_text(one.look_d[1])}")
    if one.caution:
        said.append(one.caution.rstrip("."))
    return "; ".join(said)


def plants_in_json(
    fit: GrowthFit,
    place: int,
    currency: str,
    shown: Sequence[PlantAdvice],
    left_out: Sequence[PlantAdvice],
) -> dict[str, Any]:
    """Return the answer for programs."""
    design = fit.design
    return {
        "tank_id": str(design.tank_id[design.tank[place]]),
        "area_id": str(design.area_id[place]),
        "floor_cm": float(design.traits.floor_cm[place]),
        "budget_cm": float(design.traits.budget_cm[place]),
        "currency": currency,
        "plants": [_plant_dict(a, rank) for rank, a in enumerate(shown, start=1)],
        "left_out": [_plant_dict(a, None) for a in left_out],
    }


def _plant_dict(one: PlantAdvice, rank: int | None) -> dict[str, Any]:
    litres, minutes = plain(one.litres_per_year, 1), plain(one.minutes_per_year, 1)
    return {
        "rank": rank,
        **plain(one),
        "own_interval_is_at_least": one.own_interval_d >= LONGEST_D,
        "litres_per_year": litres and litres["p50"],
        "litres_per_year_range": litres,
        "minutes_per_year": minutes["p50"],
        "minutes_per_year_range": minutes,
        "chance_light_enough": plain(float(one.holding.light[0]), 4),
        "chance_warmth_right": plain(float(one.holding.warmth[0]), 4),
        "chance_co2_enough": plain(float(one.holding.co2[0]), 4),
        "reason": plant_reason(one),
    }


BASIS_WORDS = {
    "published": "published: the rate is printed in a scientific paper",
    "growers": "growers: the rate fits a cutting interval or doubling time told by growers",
    "estimate": "estimate: the rate was put to the plant from memory; no figure for it was read",
}
FROM_BOOK = "from the book's own species.csv"
SAID_ELSEWHERE = {"species_id", "scientific_name", "common_name", "caution", "basis", "source"}


MOST_LISTED = 14
ESSENTIAL = (
    *("form", "ceiling_cm", "rate_per_day", "light_k_umol", "needs_co2", "temp_min_c"),
    *("temp_max_c", "lowest_cut_cm", "cut_practice", "settle_d", "pause_d"),
)
"""What most people ask of a plant."""


def list_words(plants: Sequence[Mapping[str, Any]], what: str, *, all_of_them: bool) -> Words:
    """Yield a table with a line for each plant; ``what`` says which they are and in which order."""
    listed = plants if all_of_them else plants[:MOST_LISTED]
    if not plants:
        yield Beside("No species fits all of these; ask for less.")
        return
    yield f"{len(plants)} species{what}."
    rows = []
    for plant in listed:
        cover = plant["measure"] == "cover_pct"
        ceiling = "surface" if plant["reaches_surface"] else f"{plant['ceiling_cm']:g} cm"
        rows.append(
            (
                plant["species_id"],
                plant["common_name"] or "",
                plant["form"],
                f"{plant['fastest_cm_per_week']:.1f} {'%' if cover else 'cm'}",
                f"{plant['low_stand_doubles_d']:.0f} d",
                "full cover" if cover else ceiling,
                plant["light"],
                plant["needs_co2"],
                plant["basis"],
            )
        )
    headings = ("species", "name", "form", "a week>", "low stand doubles in>")
    yield Table(
        "",
        (*headings, "ceiling>", "light", "CO2", "rate from"),
        rows,
        ("rate from", "low stand doubles in", "CO2", "name"),
    )
    yield "A week: growth at best, under good light and CO2."
    if rest := len(plants) - len(listed):
        yield (
            f"{rest} more: growthcast species WORD searches, --form, --light and --needs-co2 "
            "narrow, --all lists all."
        )


def species_words(plant: Mapping[str, Any]) -> Words:
    """Yield how fast a plant grows and what is most asked of it, then all the table says."""
    cover = plant["measure"] == "cover_pct"
    name = plant["scientific_name"] or plant["species_id"]
    if plant["common_name"]:
        name += f" ({plant['common_name']})"
    at_best = f"{plant['fastest_cm_per_week']:.1f} {'points of cover' if cover else 'cm'} a week"
    where = " in water of 45 cm" if plant["reaches_surface"] else ""
    yield f"{name} grows at best {at_best}{where}, at half of its ceiling."
    essential: list[tuple[str, ...]] = []
    others: list[tuple[str, ...]] = []
    for column in TABLES["species"]:
        value = plant[column.name]
        if column.name in SAID_ELSEWHERE or value is None:
            continue
        sure = "estimate" if column.name in plant["estimated"] else ""
        sure = FROM_BOOK if column.name in plant["from_book"] else sure
        value = 100 * value if column.unit == "share" else value
        told = f"{_cell(value)} {_unit(column.unit, cover)}".rstrip()
        part = essential if column.name in ESSENTIAL else others
        part.append((column.name, column.meaning, told, sure))
    heads, gives_way = ("column", "what it is", "value", "how sure"), ("column",)
    yield Table("", heads, essential, gives_way)
    yield f"Basis: {BASIS_WORDS[plant['basis']]}."
    if plant["caution"]:
        yield f"Caution: {plant['caution']}"
    yield More()
    yield Table("", heads, others, gives_way)
    if plant["source_text"]:
        yield f"Source, {plant['source']}: {plant['source_text']}"
    elif plant["source"]:
        yield f"Source: {plant['source']}"


def _unit(unit: str, cover: bool) -> str:
    """Return a column's unit in words; plants measured by cover have their own."""
    if unit == "share":
        return "%"
    if unit == "g/l":
        return "grams per dm² at full cover" if cover else "grams per litre"
    if unit == "cm" and cover:
        return "% cover"
    return UNIT_WORDS[unit].removeprefix("a rate ") if unit else ""


def _cell(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:.4g}" if isinstance(value, float) else str(value)
