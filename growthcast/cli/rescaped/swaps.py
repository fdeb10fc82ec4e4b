"""Swaps that reach a wanted interval, as tables and JSON."""

from __future__ import annotations

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
from growthcast.service.rescape.notes import none_holds_in_words, some_do_not_hold_in_words
from growthcast.service.rescape.swaps import Swap, SwapAdvice, SwapSearch, swaps_to_reach

__all__ = ["answer_swaps"]

WORTH_NAMING = 0.01
"""A chance below this is no way to come nearer."""


def answer_swaps(
    book: Book,
    fit: GrowthFit,
    tank: int,
    reach_d: int,
    keep: list[str],
    plants: list[str],
    form: str | None,
    *,
    as_json: bool,
) -> None:
    """Print the fewest swaps with which a tank holds an interval."""
    design = fit.design
    tank_id = str(design.tank_id[tank])
    living = design.alive & (design.tank == tank)
    if not living.any():
        day = np.datetime64(int(design.on_day), "D")
        raise UsageError(f"nothing is planted in {tank_id} on {day}, so there is nothing to swap")
    cap = float(book.tanks.number("longest_interval_d")[tank])
    if reach_d > cap:
        raise UsageError(
            f"--reach {reach_d}: tank {tank_id} is visited every {cap:g} days at the longest "
            "(longest_interval_d), whatever grows in it"
        )
    found = swaps_to_reach(book, fit, tank, reach_d, keep, plants=plants, form=form)
    if as_json:
        print_json(_as_dict(book, tank_id, found, keep), fit)
        return
    print_line(f"{tank_id}: {_conclusion(found)}.")
    if found.proposals:
        _table(book, found)
    if not found.nothing_holds:
        print_line(f"Searched: {_searched(found, plants, form)}.")
    for caution in dict.fromkeys(
        f"{swap.to_species_id}: {swap.caution}"
        for one in found.proposals
        for swap in one.swaps
        if swap.caution
    ):
        say(caution)


def _table(book: Book, found: SwapSearch) -> None:
    currency = book.practice.currency
    print_table(
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
                f"{100 * one.chance_all_within:.0f} %",
                days_with_range(max(one.swaps, key=_wait).look_d),
                with_range(one.year.hours_range, "h"),
                with_range(one.year.cost_range),
            ]
            for number, one in enumerate(found.proposals, start=1)
        ],
    )
    for number, one in enumerate(found.proposals, start=1):
        saves = saves_in_words(one.saves, currency)
        print_line(f"{number}. {'; '.join(_words(one))}; {saves}.")
    print_line(f"{HELD} Saved: against the tank as it is {_rhythm_now(found)}.")


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
    wanted = f"{100 * found.confidence:.0f} %"
    chance = f"{100 * found.now.options[0].chance_all_within:.0f} %"
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


def _searched(found: SwapSearch, plants: list[str], form: str | None) -> str:
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
        f"up to the look{rules}: {_count(found.plants_tried, 'plant')}, "
        f"{_count(found.combinations_tried, 'way')}; "
        "as few swaps as will do, the cheapest in a year first"
    )


def _count(number: int, name: str) -> str:
    return f"{number} {name}{'' if number == 1 else 's'}"


def _as_dict(book: Book, tank_id: str, found: SwapSearch, keep: list[str]) -> dict[str, Any]:
    return {
        **plain(found),
        "tank_id": tank_id,
        "currency": book.practice.currency,
        "kept": keep,
        "conclusion": _conclusion(found),
        "searched": {
            "plants": found.plants_tried,
            "combinations": found.combinations_tried,
            "most_swaps": found.most_swaps,
        },
    }
