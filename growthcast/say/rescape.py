"""Layouts of a tank side by side, and the swaps that reach an interval, in words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from growthcast.plain import Said, plain
from growthcast.say import supposed
from growthcast.say import words as tell
from growthcast.say.plants import saves_in_words
from growthcast.say.supposed import limits_words, none_holds_in_words
from growthcast.service.holding import NOT_LIKELY
from growthcast.service.rescape.layouts import LayoutAdvice, LayoutArea
from growthcast.service.rescape.swaps import SwapAdvice, SwapSearch
from growthcast.service.rescape.variants import Days

WORTH_NAMING = 0.01
"""A chance below this is no way to come nearer, a change of light below it none."""


def layouts_answer(tank_id: str, currency: str, advice: Sequence[LayoutAdvice]) -> tell.Answer:
    """Say what each layout of a tank allows beside the tank as it is."""
    crowded = (one for one in advice if one.ground_share is not None and one.ground_share > 1.0)
    beside = [tell.sentence("layouts_ground", one=one) for one in crowded]
    reasons = []
    for one in advice:
        worth = one.saves is not None and not one.nothing_holds
        saves = saves_in_words(one.saves, currency) if worth and one.saves else ""
        lit, why = abs(one.light_below - 1.0) >= WORTH_NAMING, _reason(one)
        reasons.append(tell.sentence("layouts_reason", one=one, why=why, lit=lit, saves=saves))
    best = max(advice, key=lambda one: one.interval_d or 0)
    lead = f"{best.name} holds longest: a visit every {best.interval_d} days."
    if best.interval_d is None:
        lead = "None of them holds at a listed interval."
    table = tell.table("layouts_look", map(_looks_row, advice), tank=tank_id)
    for one in advice:
        for area in one.areas:
            if area.doubts and area.chance_holds >= NOT_LIKELY:  # else it is in the answer
                beside.append(f"{one.name}, {area.area_id}: {limits_words(area.doubts)}.")
            if area.caution and not area.keeps_its_log:
                beside.append(f"{one.name}, {area.area_id}: {area.caution}")
    named = [one for one in advice if not one.nothing_holds]
    details = [*reasons[3:], *(_takes(tank_id, currency, named) if named else ())]
    return tell.Answer(lead, table, reasons[:3], details, beside)


def _takes(tank_id: str, currency: str, named: Sequence[LayoutAdvice]) -> tell.Words:
    chosen = [{"name": one.name, "option": one.answer.chosen} for one in named]
    yield tell.table("layouts_take", chosen, currency=currency)
    rows = [
        {"name": "" if n else one.name, "option": option}
        for one in named
        for n, option in enumerate(one.answer.options)
    ]
    yield tell.table("layouts_each", rows, tank=tank_id, currency=currency)
    for one in named:
        if one.interval_d is None:
            shortest = one.answer.chosen.interval_d
            yield (f"{one.name}: none of the listed intervals holds; {shortest} days are shown.")
    yield tell.sentence("layouts_how", ranges=tell.RANGES_HOLD)


def _looks_row(one: LayoutAdvice) -> dict[str, Any]:
    area = None if one.limited_by is None else one.areas[one.limited_by]
    chosen = None if one.nothing_holds else one.answer.chosen
    return {"one": one, "areas": len(one.areas), "area": area, "chosen": chosen}


def _reason(one: LayoutAdvice) -> str:
    if one.nothing_holds:
        return none_holds_in_words(one.lost)
    options, days = one.answer.options, one.interval_d
    if (limit := one.limited_by) is None:
        held = tell.sentence("layouts_all", longest=options[-1].interval_d)
    else:
        failing = next(o for o in options if days is None or o.interval_d > days)
        told = {"area": one.areas[limit], "within": one.answer.limited_within}
        held = tell.sentence("layouts_fails", days=days, failing=failing, **told)
    new = ", ".join(area.area_id for area in one.areas if not area.keeps_its_log)
    lost = supposed.some_do_not_hold_in_words(one.lost) if one.lost else ""
    return tell.sentence("layouts_new", held=held, new=new, lost=lost)


def _of_layout(one: LayoutAdvice) -> dict[str, Any]:
    limited = None if one.limited_by is None else one.areas[one.limited_by].area_id
    said = {"recommended_interval_d": one.interval_d, "limited_by": limited}
    return {**said, "reason": _reason(one)}


SAID: Said = {
    LayoutAdvice: _of_layout,
    LayoutArea: lambda area: {"doubts": [limits_words([limit]) for limit in area.doubts]},
}


def swaps_answer(
    tank_id: str, currency: str, found: SwapSearch, plants: Sequence[str], form: str | None
) -> tell.Answer:
    """Say the fewest swaps with which a tank holds an interval."""
    table, rows, notes = None, [], []
    for number, one in enumerate(found.proposals, start=1):
        rows.append({"number": number, "one": one, "look": _wait(one)})
        notes.append(f"{number}. {_words(one)}; {saves_in_words(one.saves, currency)}.")
    if rows:
        table = tell.table("swaps_table", rows, reach=found.reach_d, currency=currency)
        days = found.recommended_now_d
        now = "at the shortest listed interval" if days is None else f"every {days} days"
        notes.append(f"{tell.RANGES_HOLD} Saved: against the tank as it is {now}.")
    if not found.nothing_holds:
        notes.append(f"Searched: {_searched(found, plants, form)}.")
    swaps = [swap for one in found.proposals for swap in one.swaps if swap.caution]
    cautions = dict.fromkeys(f"{swap.to_species_id}: {swap.caution}" for swap in swaps)
    return tell.Answer(f"{tank_id}: {_conclusion(found)}.", table, notes, beside=cautions)


def _wait(one: SwapAdvice) -> Days:
    """Days to the look of the swap that takes most in the middle case; never comes last."""
    return max((s.look_d for s in one.swaps), key=lambda d: np.inf if d[1] is None else d[1])


def _words(one: SwapAdvice) -> str:
    said = (f"{s.label}: {s.to_species_id} instead of {s.from_species_id}" for s in one.swaps)
    return "; ".join(said)


def _conclusion(found: SwapSearch) -> str:
    if found.nothing_holds:
        return none_holds_in_words(found.not_holding)
    said = "; ".join(_of_the_interval(found))
    lost = supposed.some_do_not_hold_in_words(found.not_holding) if found.not_holding else ""
    return ". ".join(filter(None, [said, lost]))


def _of_the_interval(found: SwapSearch) -> Iterator[str]:
    """Yield whether the interval holds, and which swaps reach it or come nearest."""
    chance = found.now.options[0].chance_all_within
    if found.holds_already:
        yield tell.sentence("swaps_hold", found=found, chance=chance)
        return
    yield tell.sentence("swaps_reach", found=found, chance=chance)
    if found.proposals:
        best = found.proposals[0]
        n = len(best.swaps)
        yield tell.sentence("swaps_best", n=n, many=tell.in_words(n), best=_words(best))
        return
    pinned = ", ".join(f"{name} ({tell.percent(c)})" for name, c in found.pinned_short)
    yield tell.sentence("swaps_none_reach", pinned=pinned)
    near = found.nearest
    if near is not None and near.chance_all_within >= WORTH_NAMING:
        yield tell.sentence("swaps_near", near=near, swaps=_words(near))


TRIED = ("single swap", "single swap and pair", "single swap, pair and three")


def _searched(found: SwapSearch, plants: Sequence[str], form: str | None) -> str:
    if found.holds_already:
        return "nothing, since nothing has to change"
    which = tell.sentence("swaps_named" if plants else "swaps_of_form", form=form)
    if not found.combinations_tried:
        return tell.sentence("swaps_none", which=which, plants=plants)
    what = TRIED[found.most_swaps - 1]
    return tell.sentence("swaps_searched", found=found, what=what, which=which, plants=plants)


def swaps_in_json(
    tank_id: str, currency: str, found: SwapSearch, keep: Sequence[str]
) -> dict[str, Any]:
    """Return the answer for programs, with its conclusion."""
    searched = {"plants": found.plants_tried, "combinations": found.combinations_tried}
    whole = {**plain(found, said=supposed.SAID), "tank_id": tank_id, "currency": currency}
    whole |= {"kept": keep, "conclusion": _conclusion(found)}
    return whole | {"searched": searched | {"most_swaps": found.most_swaps}}
