"""Plants compared for one area, in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from growthcast.book.words import some_of
from growthcast.fit.result import GrowthFit
from growthcast.nouns import dataclass
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
    if less >= 0.0:
        return f"saves {_both((less, more), (cheaper, dearer), currency)} a year"
    if more <= 0.0:
        return f"takes {_both((-more, -less), (-dearer, -cheaper), currency)} a year more"
    said = f"takes between {-less:.1f} h a year more and {more:.1f} h less"
    money = f" ({-cheaper:.0f} {currency} more to {dearer:.0f} {currency} less)"
    return said + money if dearer else said


def _both(hours: tuple[float, float], cost: tuple[float, float], currency: str) -> str:
    """Hours, and money where an hour has a price."""
    said = f"{_between(*hours, 1 if hours[1] < tell.SMALL_H else 0)} h"
    return f"{said} and {_between(*cost, 0)} {currency}" if cost[1] else said


def _between(low: float, high: float, digits: int) -> str:
    ends = dict.fromkeys(f"{end:.{digits}f}" for end in (low, high))
    return " to ".join(ends)


@dataclass(frozen=True, slots=True)
class Compared:
    """Plants compared for the area at a place: those shown, the best first, and the others."""

    fit: GrowthFit
    place: int
    currency: str
    shown: Sequence[PlantAdvice]
    left_out: Sequence[PlantAdvice]

    def area(self) -> dict[str, Any]:
        """Return what is said of the area: its ids, and the heights that are agreed."""
        design, place = self.fit.design, self.place
        return {
            "tank_id": str(design.tank_id[design.tank[place]]),
            "area_id": str(design.area_id[place]),
            "floor_cm": float(design.traits.floor_cm[place]),
            "budget_cm": float(design.traits.budget_cm[place]),
        }


def plants_words(answer: Compared) -> tell.Words:
    """Yield how plants would do in an area, the best first."""
    area, shown, currency = answer.area(), answer.shown, answer.currency
    area_id, unit = area["area_id"], "%" if answer.fit.design.is_cover[answer.place] else "cm"
    listed = [a for n, a in enumerate(shown) if n < MOST_SHOWN or a.is_there_now]
    fitting = [a for a in shown if a.fits and not a.is_there_now]
    first = [f"; the first, {one.species_id}: {plant_reason(one)}" for one in fitting[:1]]
    yield f"{tell.count_of(len(fitting), 'other plant')} would do in {area_id}{''.join(first)}."
    rows, blanks = [_row(one) for one in listed], dict[str, Any](area=area, unit=unit)
    yield tell.table("plants_save", rows, currency=currency, **blanks)
    yield tell.sentence("plants_visit", ranges=tell.RANGES_HOLD)
    yield tell.More()
    yield tell.table("plants_stand", rows, **blanks)
    yield tell.table("plants_grow", rows, **blanks)
    yield from _meaning(listed)
    for rank, one in enumerate(listed, start=1):
        mark = " (there now)" if one.is_there_now else ""
        number = f"{rank}." if rank <= MOST_SHOWN else "-"
        saves = ""
        if one.saves is not None and one.fits:
            saves = f"the tank {saves_in_words(one.saves, currency)}; "
        yield f"{number} {one.species_id}{mark}: {saves}{plant_reason(one)}."
    if len(shown) > len(listed):
        rest = len(shown) - len(listed)
        yield f"And {rest} more that fit: --json lists all, --form and --plants narrow them."
    yield from _left_out_words(answer.left_out)
    if wide := [a.species_id for a in listed if a.spreads_sideways]:
        which = "All of these" if len(wide) == len(listed) > 1 else some_of(wide)
        yield f"Spread sideways too, and width is not forecast: {which}."
    if any(a.regulated_in_places for a in listed):
        yield tell.Beside(tell.sentence("plants_regulated"))


def _meaning(listed: Sequence[PlantAdvice]) -> tell.Words:
    """Say what the columns mean."""
    yield tell.sentence("plants_how")
    if any(a.days_between[2] >= LONGEST_D for a in listed):
        yield f"{LONGEST_D}+ d: a year or more; no further ahead is looked."
    if any(a.look_d[2] is None for a in listed):
        yield "Never: in such a case its ceiling lies below the floor."


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
    said = []
    if limits := one.holding.limits(0):
        said.append(f"{tell.percent(one.chance_holds)} to hold: {limits_words(limits)}")
    if one.is_lost:
        return "; ".join([*said, "so no interval is named"])
    unit = "% cover" if one.is_cover else "cm"
    limit = tell.sentence("plants_limit", one=one, unit=unit)
    if one.chance_fills_look < LIKELY:
        said.append(f"{tell.percent(one.chance_fills_look)} to fill the place, its ceiling is low")
    if one.is_too_tall:
        return "; ".join([*said, limit + tell.sentence("plants_too_tall", one=one, unit=unit)])
    own = f"alone it allows {days_text(one.own_interval_d)}"
    if one.own_interval_d < one.tank.options[0].interval_d:
        own += ", less than the shortest listed interval"
        own += f" ({limit})" if one.lowest_cut_cm > one.floor_cm else ""
    keeps = f"keeps the tank at {one.tank_interval_d} days"
    if one.tank_interval_d is None:
        keeps = "no listed interval holds for the tank"
    elif one.limits_tank:
        keeps = f"it is what {keeps}"
    elif one.limited_by is not None:
        keeps = f"{one.limited_by} {keeps}"
    else:
        keeps = f"the whole tank holds {one.tank_interval_d} days, the longest asked"
    said.append(f"{own}; {keeps}")
    if one.lacks_soft_water:
        said.append("the book knows of no soft water in the tank (kh_dkh)")
    if one.waits_long and one.look_d[1] is not None:
        said.append(f"slow to the look: {days_text(one.look_d[1])}")
    if one.caution:
        said.append(one.caution.rstrip("."))
    return "; ".join(said)


def plants_in_json(answer: Compared) -> dict[str, Any]:
    """Return the answer for programs."""
    plants = [_plant_dict(one, rank) for rank, one in enumerate(answer.shown, start=1)]
    left_out = [_plant_dict(one, None) for one in answer.left_out]
    whole = {**answer.area(), "currency": answer.currency}
    return whole | {"plants": plants, "left_out": left_out}


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
        return f"none of the plants named is left by {narrowed}; leave that out, or --plants"
    if plants:
        return f"{plants[0]} is what stands in {area_id} now; name others with --plants"
    how = "percent cover" if fit.design.is_cover[place] else "height"
    return tell.sentence("plants_none", area=area_id, how=how, others=narrowed or "--place")
