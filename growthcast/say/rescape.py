"""Layouts of a tank side by side, and the swaps that reach an interval, in words."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from growthcast.plain import plain
from growthcast.say import words as tell
from growthcast.say.interval import effort_cells, takes_columns
from growthcast.say.plants import days_with_range, saves_in_words
from growthcast.say.supposed import (
    limits_words,
    none_holds_in_words,
    not_holding_in_json,
    some_do_not_hold_in_words,
)
from growthcast.service.holding import NOT_LIKELY
from growthcast.service.rescape.layouts import LayoutAdvice
from growthcast.service.rescape.swaps import SwapAdvice, SwapSearch
from growthcast.service.rescape.variants import Days

WORTH_NAMING = 0.01
"""A chance below this is no way to come nearer, a change of light below it none."""


def layouts_words(tank_id: str, currency: str, advice: Sequence[LayoutAdvice]) -> tell.Words:
    """Yield what each layout of a tank allows beside the tank as it is."""
    for one in advice:
        if one.ground_share is not None and one.ground_share > 1.0:
            yield tell.Beside(
                f"{one.name}: its areas together are {tell.percent(one.ground_share)} of the "
                "tank's ground; check area_cm2."
            )
    reasons = []
    for one in advice:
        saves = ""
        if one.saves is not None and not one.nothing_holds:
            saves = f"; against the tank as it is it {saves_in_words(one.saves, currency)}"
        lit = ""
        if abs(one.light_below - 1.0) >= WORTH_NAMING:
            lit = f"; what floats leaves {tell.percent(one.light_below)} of today's light below it"
        reasons.append(f"{one.name}: {_reason(one)}{lit}{saves}.")
    best = max(advice, key=lambda one: one.interval_d or 0)
    if best.interval_d is not None:
        yield f"{best.name} holds longest: a visit every {best.interval_d} days."
    heads = ["layout", "areas>", "visit every", "all inside>", "presentable>", "limited by"]
    title = f"Layouts of {tank_id}, each at the longest interval it holds"
    yield tell.Table(title, heads, [_looks_row(one) for one in advice])
    yield from reasons[:3]
    for one in advice:
        for area in one.areas:
            if area.doubts and area.chance_holds >= NOT_LIKELY:  # else it is in the answer
                yield tell.Beside(f"{one.name}, {area.area_id}: {limits_words(area.doubts)}.")
            if area.caution and not area.keeps_its_log:
                yield tell.Beside(f"{one.name}, {area.area_id}: {area.caution}")
    yield tell.More()
    yield from reasons[3:]
    if named := [one for one in advice if not one.nothing_holds]:
        yield from _takes(tank_id, currency, named)


def _takes(tank_id: str, currency: str, named: Sequence[LayoutAdvice]) -> tell.Words:
    heads = ["layout", *takes_columns(currency)]
    title = "What they take at that interval (time includes travel)"
    yield tell.Table(title, heads, [[one.name, *effort_cells(one.answer.chosen)] for one in named])
    rows = [
        [
            "" if n else one.name,
            f"{o.interval_d} days",
            tell.percent(o.chance_at_least_cut),
            tell.with_range(o.year.hours_range, "h"),
            tell.with_range(o.year.cost_range),
        ]
        for one in named
        for n, o in enumerate(one.answer.options)
    ]
    columns = ["layout", "every>", "at the floor>", "a year>", f"{currency} a year>"]
    yield tell.Table(f"{tank_id}: each listed interval", columns, rows)
    for one in named:
        if one.interval_d is None:
            shortest = one.answer.chosen.interval_d
            yield (f"{one.name}: none of the listed intervals holds; {shortest} days are shown.")
    yield tell.sentence("layouts_how", ranges=tell.RANGES_HOLD)


def _looks_row(one: LayoutAdvice) -> list[str]:
    chosen, days = one.answer.chosen, one.interval_d
    every = "none" if days is None else f"{days} days"
    if one.nothing_holds:
        return [one.name, f"{len(one.areas)}", "none", "", "", "not likely to hold"]
    return [
        one.name,
        f"{len(one.areas)}",
        every,
        tell.percent(chosen.chance_all_within),
        tell.percent(chosen.share_of_days_presentable),
        "nothing" if one.limited_by is None else one.areas[one.limited_by].area_id,
    ]


def _reason(one: LayoutAdvice) -> str:
    answer, days = one.answer, one.interval_d
    if one.nothing_holds:
        return none_holds_in_words(one.lost)
    new = [area.area_id for area in one.areas if not area.keeps_its_log]
    rests = f"; new, so without a log of their own: {', '.join(new)}" if new else ""
    if one.lost:
        rests += f". {some_do_not_hold_in_words(one.lost)}"
    if one.limited_by is None:
        return f"every area stays inside even at {answer.options[-1].interval_d} days{rests}"
    area = one.areas[one.limited_by]
    failing = next(o for o in answer.options if days is None or o.interval_d > days)
    held = "no listed interval is short enough" if days is None else f"{days} days hold"
    within = failing.chance_within[one.limited_by]
    return (
        f"{held}; at {failing.interval_d} days {area.area_id} ({area.species_id}) is the first to "
        f"go over: {100 * within:.0f} % when cut to its floor, "
        f"{100 * failing.chance_all_within:.0f} % for all areas{rests}"
    )


def layout_in_json(one: LayoutAdvice) -> dict[str, Any]:
    """Return a layout's answer for programs, with its reason."""
    limited = None if one.limited_by is None else one.areas[one.limited_by].area_id
    made = plain(one)
    for row, area in zip(made["areas"], one.areas, strict=True):
        row["doubts"] = [limits_words([limit]) for limit in area.doubts]
    return {
        **made,
        "recommended_interval_d": one.interval_d,
        "limited_by": limited,
        "reason": _reason(one),
    }


def swaps_words(
    tank_id: str, currency: str, found: SwapSearch, plants: Sequence[str], form: str | None
) -> tell.Words:
    """Yield the fewest swaps with which a tank holds an interval."""
    yield f"{tank_id}: {_conclusion(found)}."
    if found.proposals:
        yield from _proposals(currency, found)
    if not found.nothing_holds:
        yield f"Searched: {_searched(found, plants, form)}."
    swaps = [swap for one in found.proposals for swap in one.swaps if swap.caution]
    for caution in dict.fromkeys(f"{swap.to_species_id}: {swap.caution}" for swap in swaps):
        yield tell.Beside(caution)


def _proposals(currency: str, found: SwapSearch) -> tell.Words:
    yield tell.Table(
        f"Swaps with which a visit every {found.reach_d} days holds: as few as will do, the "
        "cheapest in a year first",
        ["", "replanted>", "all inside>", "to the look>", *takes_columns(currency)[1:]],
        [
            [
                f"{number}.",
                f"{one.replanted_cm2:.0f} cm²",
                tell.percent(one.chance_all_within),
                days_with_range(_wait(one)),
                tell.with_range(one.year.hours_range, "h"),
                tell.with_range(one.year.cost_range),
            ]
            for number, one in enumerate(found.proposals, start=1)
        ],
    )
    for number, one in enumerate(found.proposals, start=1):
        saves = saves_in_words(one.saves, currency)
        yield f"{number}. {'; '.join(_words(one))}; {saves}."
    days = found.recommended_now_d
    now = "at the shortest listed interval" if days is None else f"every {days} days"
    yield f"{tell.RANGES_HOLD} Saved: against the tank as it is {now}."


def _wait(one: SwapAdvice) -> Days:
    """Days to the look of the swap that takes most in the middle case; never comes last."""
    return max((s.look_d for s in one.swaps), key=lambda d: np.inf if d[1] is None else d[1])


def _words(one: SwapAdvice) -> list[str]:
    return [
        f"{swap.label}: {swap.to_species_id} instead of {swap.from_species_id}"
        for swap in one.swaps
    ]


def _conclusion(found: SwapSearch) -> str:
    if found.nothing_holds:
        return none_holds_in_words(found.not_holding)
    said = _of_the_interval(found)
    if found.not_holding:
        said += f". {some_do_not_hold_in_words(found.not_holding)}"
    return said


def _of_the_interval(found: SwapSearch) -> str:
    wanted = tell.percent(found.confidence)
    chance = tell.percent(found.now.options[0].chance_all_within)
    if found.holds_already:
        return f"a visit every {found.reach_d} days holds as it is ({chance}, {wanted} is wanted)"
    today = found.recommended_now_d
    now = "no listed interval holds today" if today is None else f"today {today} days hold"
    said = f"{now}; a visit every {found.reach_d} days has a chance of {chance}, {wanted} is wanted"
    if found.proposals:
        best = found.proposals[0]
        count = ("one swap", "two swaps", "three swaps")[len(best.swaps) - 1]
        return f"{said}; {count} would reach it: {'; '.join(_words(best))}"
    said += "; no swap of up to three plants reaches it"
    if found.pinned_short:
        names = ", ".join(f"{name} ({100 * c:.0f} %)" for name, c in found.pinned_short)
        said += f", since what is kept does not hold that long by itself: {names}"
    if found.nearest is not None and found.nearest.chance_all_within >= WORTH_NAMING:
        near = found.nearest
        said += f"; nearest, {100 * near.chance_all_within:.0f} %: {'; '.join(_words(near))}"
    return said


def _searched(found: SwapSearch, plants: Sequence[str], form: str | None) -> str:
    if found.holds_already:
        return "nothing, since nothing has to change"
    which = "the plants named" if plants else f"plants of the form {form}" if form else ""
    which = which or "plants of the form that stands in each area now"
    rules = "" if plants else ", without those that local rules may forbid"
    what = ("single swap", "single swap and pair", "single swap, pair and three")
    if not found.combinations_tried:
        return tell.sentence("swaps_none", which=which, rules=rules)
    return (
        f"every {what[found.most_swaps - 1]} among {which}, if they likely hold there and come "
        f"up to the look{rules}: {tell.count_of(found.plants_tried, 'plant')}, "
        f"{tell.count_of(found.combinations_tried, 'way')}; "
        "as few swaps as will do, the cheapest in a year first"
    )


def swaps_in_json(
    tank_id: str, currency: str, found: SwapSearch, keep: Sequence[str]
) -> dict[str, Any]:
    """Return the answer for programs, with its conclusion."""
    return {
        **plain(found),
        "not_holding": not_holding_in_json(found.not_holding),
        "tank_id": tank_id,
        "currency": currency,
        "kept": keep,
        "conclusion": _conclusion(found),
        "searched": {
            "plants": found.plants_tried,
            "combinations": found.combinations_tried,
            "most_swaps": found.most_swaps,
        },
    }
