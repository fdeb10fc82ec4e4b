"""Swaps of plants that reach a wanted interval, in words."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from growthcast.plain import plain
from growthcast.say.rescape import HELD, days_with_range, saves_in_words
from growthcast.say.supposed import (
    none_holds_in_words,
    not_holding_in_json,
    some_do_not_hold_in_words,
)
from growthcast.say.words import Beside, Table, Words, count_of, percent, with_range
from growthcast.service.rescape.swaps import Swap, SwapAdvice, SwapSearch

WORTH_NAMING = 0.01
"""A chance below this is no way to come nearer."""


def swaps_words(
    tank_id: str, currency: str, found: SwapSearch, plants: Sequence[str], form: str | None
) -> Words:
    """Yield the fewest swaps with which a tank holds an interval."""
    yield f"{tank_id}: {_conclusion(found)}."
    if found.proposals:
        yield from _proposals(currency, found)
    if not found.nothing_holds:
        yield f"Searched: {_searched(found, plants, form)}."
    swaps = [swap for one in found.proposals for swap in one.swaps if swap.caution]
    for caution in dict.fromkeys(f"{swap.to_species_id}: {swap.caution}" for swap in swaps):
        yield Beside(caution)


def _proposals(currency: str, found: SwapSearch) -> Words:
    yield Table(
        f"Swaps with which a visit every {found.reach_d} days holds: as few as will do, the "
        "cheapest in a year first",
        [
            "",
            "replanted>",
            "all inside>",
            "to the look>",
            "a year>",
            f"{currency} a year>",
        ],
        [
            [
                f"{number}.",
                f"{one.replanted_cm2:.0f} cm²",
                percent(one.chance_all_within),
                days_with_range(max(one.swaps, key=_wait).look_d),
                with_range(one.year.hours_range, "h"),
                with_range(one.year.cost_range),
            ]
            for number, one in enumerate(found.proposals, start=1)
        ],
    )
    for number, one in enumerate(found.proposals, start=1):
        saves = saves_in_words(one.saves, currency)
        yield f"{number}. {'; '.join(_words(one))}; {saves}."
    yield f"{HELD} Saved: against the tank as it is {_rhythm_now(found)}."


def _wait(swap: Swap) -> float:
    """Days that a swap takes to the look in the middle case; never comes last."""
    days = swap.look_d[1]
    return np.inf if days is None else days


def _rhythm_now(found: SwapSearch) -> str:
    days = found.recommended_now_d
    return "at the shortest listed interval" if days is None else f"every {days} days"


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
    wanted = percent(found.confidence)
    chance = percent(found.now.options[0].chance_all_within)
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
        return (
            f"{which}{rules}: none of them is measured as its areas are, likely to hold there and "
            "to come up to the look"
        )
    return (
        f"every {what[found.most_swaps - 1]} among {which}, if they likely hold there and come "
        f"up to the look{rules}: {count_of(found.plants_tried, 'plant')}, "
        f"{count_of(found.combinations_tried, 'way')}; "
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
