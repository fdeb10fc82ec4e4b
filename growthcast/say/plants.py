"""Plants compared for one area, in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import chain
from typing import Any

import numpy as np

from growthcast.book.words import some_of
from growthcast.fit.result import GrowthFit
from growthcast.plain import plain
from growthcast.say import words as tell
from growthcast.say.supposed import limits_words
from growthcast.service.effort.hours import Saving
from growthcast.service.holding import LIKELY
from growthcast.service.rescape.plants import Z_80, PlantAdvice
from growthcast.service.rescape.variants import LONGEST_D

LEAST_H = 0.05
MOST_SHOWN = 10
LEAST_PACE = 0.1
"""Growth a week [cm, or points of cover] that is told from none."""


def days_text(days: float) -> str:
    """Return a number of days in words."""
    return f"more than {LONGEST_D - 1} days" if days >= LONGEST_D else f"{days:.0f} days"


def saves_in_words(saves: Saving, currency: str) -> str:
    """Say what is saved in a year, or taken more, with its range."""
    (less, more), (cheaper, dearer) = ((of.p10, of.p90) for of in (saves.hours, saves.cost))
    if max(abs(less), abs(more)) < LEAST_H:
        return "takes as much time as now"
    hours, cost = sorted((abs(less), abs(more))), sorted((abs(cheaper), abs(dearer)))
    told = {"hours": _between(hours, int(hours[1] < tell.SMALL_H)), "cost": _between(cost, 0)}
    ends = {"less": -less, "more": more, "cheaper": -cheaper, "dearer": dearer, "priced": cost[1]}
    key = "saves_or_takes" if less < 0.0 < more else "saves" if less >= 0.0 else "takes"
    return tell.sentence(key, currency=currency, **told, **ends)


def _between(ends: Sequence[float], digits: int) -> str:
    return " to ".join(dict.fromkeys(f"{end:.{digits}f}" for end in ends))


def area_compared(fit: GrowthFit, place: int) -> dict[str, Any]:
    """Return what is said of the area at a place: its ids, and the heights that are agreed."""
    design = fit.design
    return {
        "tank_id": str(design.tank_id[design.tank[place]]),
        "area_id": str(design.area_id[place]),
        "floor_cm": float(design.traits.floor_cm[place]),
        "budget_cm": float(design.traits.budget_cm[place]),
    }


Plants = Sequence[PlantAdvice]


def plants_answer(
    area: Mapping[str, Any], unit: str, currency: str, shown: Plants, left_out: Plants
) -> tell.Answer:
    """Say how plants would do in an area, the best first; some that would not are left out."""
    area_id = area["area_id"]
    listed = [a for n, a in enumerate(shown) if n < MOST_SHOWN or a.is_there_now]
    fitting = [a for a in shown if a.fits and not a.is_there_now]
    first = [f"; the first, {one.species_id}: {plant_reason(one)}" for one in fitting[:1]]
    lead = f"{tell.count_of(len(fitting), 'other plant')} would do in {area_id}{''.join(first)}."
    rows, blanks = [_row(one) for one in listed], dict[str, Any](area=area, unit=unit)
    table = tell.table("plants_save", rows, currency=currency, **blanks)
    how = tell.sentence("plants_visit", ranges=tell.RANGES_HOLD)
    tables = stand_table(area_id, listed), tell.table("plants_grow", rows, **blanks)
    behind = chain(tables, _behind(listed, len(shown) - len(listed), currency, left_out))
    return tell.Answer(lead, table, [how], behind)


def stand_table(area_id: str, plants: Plants) -> tell.Table:
    """Return how plants would stand in an area, and how long they take from floor to budget."""
    return tell.table("plants_stand", map(_row, plants), area=area_id)


def _behind(listed: Plants, rest: int, currency: str, left_out: Plants) -> tell.Words:
    """Yield what each plant listed would do, which others there are, and what is not forecast."""
    yield tell.sentence("plants_how")
    if any(a.days_between[2] >= LONGEST_D for a in listed):
        yield f"{LONGEST_D}+ d: a year or more; no further ahead is looked."
    if any(a.look_d[2] is None for a in listed):
        yield "Never: in such a case its ceiling lies below the floor."
    for rank, one in enumerate(listed, start=1):
        saves = saves_in_words(one.saves, currency) if one.saves is not None and one.fits else ""
        number = f"{rank}." if rank <= MOST_SHOWN else "-"
        told = {"saves": saves, "why": plant_reason(one)}
        yield tell.sentence("plants_each", number=number, one=one, **told)
    if rest:
        yield f"And {rest} more that fit: --json lists all, --form and --plants narrow them."
    yield from _left_out_words(left_out)
    if wide := [a.species_id for a in listed if a.spreads_sideways]:
        which = "All of these" if len(wide) == len(listed) > 1 else some_of(wide)
        yield f"Spread sideways too, and width is not forecast: {which}."
    if any(a.regulated_in_places for a in listed):
        yield tell.Answer(beside=[tell.sentence("plants_regulated")])


def _left_out_words(left_out: Sequence[PlantAdvice]) -> tell.Words:
    """Name the plants that are not likely to do there, by what speaks against them."""
    why = tell.grouped((_against(one), one.species_id) for one in left_out)
    for reason, names in sorted(why.items(), key=lambda item: -len(item[1])):
        yield f"{reason}: {some_of(names)}."


def _against(one: PlantAdvice) -> str:
    parts = {
        "Too dark for": one.holding.light[0],
        "Too warm or cold for": one.holding.warmth[0],
        "Too little CO2 for": one.holding.co2[0],
        "Never fill the place": one.chance_fills_look,
        "Too tall for the budget": 0.0 if one.is_too_tall else 1.0,
    }
    return min(parts, key=lambda name: parts[name])


def _row(one: PlantAdvice) -> dict[str, Any]:
    """Return what the tables tell of a plant."""
    own, (low, middle, high) = one.own_interval_d, map(_pace, one.cm_per_week)
    return {
        "one": one,
        "saves": one.saves,
        "alone": f"{LONGEST_D}+ d" if own >= LONGEST_D else f"{own} d" if own else "under 1 d",
        "pace": middle if low == high else f"{middle} ({low}–{high})",
        "factor": np.exp(Z_80 * one.rate_sd),
    }


def _pace(per_week: float) -> str:
    return f"{per_week:.1f}" if per_week >= LEAST_PACE else f"<{LEAST_PACE}"


def plant_name(one: PlantAdvice) -> str:
    """Return a plant's name in words."""
    return one.common_name or one.species_id


def plant_reason(one: PlantAdvice) -> str:
    """Say what a plant allows, what speaks against it, and what that rests on."""
    limits, look_d = one.holding.limits(0), one.look_d[1]
    parts = {
        "plants_hold": bool(limits),
        "plants_lost": one.is_lost,
        "plants_fill": not one.is_lost and one.chance_fills_look < LIKELY,
        "plants_too_tall": not one.is_lost and one.is_too_tall,
    }
    caution = ""
    if not one.is_lost and not one.is_too_tall:
        short = one.own_interval_d < one.tank.options[0].interval_d
        parts["plants_short" if short else "plants_alone"] = True
        parts[_kept(one)] = True
        parts["plants_hard_water"] = one.lacks_soft_water
        parts["plants_slow"] = one.waits_long and look_d is not None
        caution = one.caution.rstrip(".")
    told: dict[str, Any] = {"one": one, "why": limits_words(limits) if limits else ""}
    told |= {"own": days_text(one.own_interval_d), "unit": "% cover" if one.is_cover else "cm"}
    told |= {"above": one.lowest_cut_cm > one.floor_cm, "waits": look_d and days_text(look_d)}
    said = [tell.sentence(key, **told) for key, holds in parts.items() if holds]
    return "; ".join(filter(None, [*said, caution]))


def _kept(one: PlantAdvice) -> str:
    """Return which text says what keeps the whole tank at its interval."""
    if one.tank_interval_d is None:
        return "plants_none_holds"
    if one.limits_tank:
        return "plants_limits"
    return "plants_longest" if one.limited_by is None else "plants_limited"


def plants_in_json(
    area: Mapping[str, Any], currency: str, shown: Plants, left_out: Plants
) -> dict[str, Any]:
    """Return the answer for programs."""
    plants = [_plant_dict(one, rank) for rank, one in enumerate(shown, start=1)]
    others = [_plant_dict(one, None) for one in left_out]
    return {**area, "currency": currency, "plants": plants, "left_out": others}


def _plant_dict(one: PlantAdvice, rank: int | None) -> dict[str, Any]:
    litres, minutes = plain(one.litres_per_year, 1), plain(one.minutes_per_year, 1)
    chances = {"chance_light_enough": one.holding.light, "chance_warmth_right": one.holding.warmth}
    chances |= {"chance_co2_enough": one.holding.co2}
    return {
        "rank": rank,
        **plain(one),
        "own_interval_is_at_least": one.own_interval_d >= LONGEST_D,
        "litres_per_year": litres and litres["p50"],
        "litres_per_year_range": litres,
        "minutes_per_year": minutes["p50"],
        "minutes_per_year_range": minutes,
        **{name: round(float(chance[0]), 4) for name, chance in chances.items()},
        "reason": plant_reason(one),
    }


def nothing_to_compare(
    given: Mapping[str, object], fit: GrowthFit, place: int, plants: Sequence[str]
) -> str:
    """Say that no plant is left for an area; ``given`` are the options that narrow the choice."""
    area_id = str(fit.design.area_id[place])
    narrowed = " or ".join(name for name, value in given.items() if value is not None)
    if plants and narrowed:
        return tell.sentence("plants_narrowed", narrowed=narrowed)
    if plants:
        return tell.sentence("plants_is_there", named=plants[0], area=area_id)
    how = "percent cover" if fit.design.is_cover[place] else "height"
    return tell.sentence("plants_none", area=area_id, how=how, narrowed=narrowed)
