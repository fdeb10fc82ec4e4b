"""A time without visits in words."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from growthcast.say.cuts import limits_of_cuts
from growthcast.say.words import (
    Table,
    Words,
    about_days,
    and_list,
    as_chance,
    days_in_words,
    percent,
)
from growthcast.service.visit.away import AwayArea, AwayTank


def away_words(tanks: Sequence[tuple[AwayTank, str]], first: date, last: date) -> Words:
    """Yield how tanks come through; each has its conclusion beside it."""
    yield Table(
        f"Without visits from {first} to {last}",
        ["tank", "client", "verdict", "as always>", "cut for it>", "stand-in by"],
        [
            [
                one.tank_id,
                one.client,
                one.state,
                as_chance(one.chance_as_usual),
                "" if one.state == "lasts" else as_chance(one.chance_bridged),
                "" if one.stand_in_by is None else str(one.stand_in_by),
            ]
            for one, _ in tanks
        ],
    )
    for one, sentence in tanks:
        yield f"{one.tank_id}: {sentence}."
        if one.areas and one.state != "lasts":
            yield Table(
                f"{one.tank_id}: what passes its height if cut as always, and the cut that bridges",
                ["area", "as always>", "over by", "at worst over>", "cut for it>", "then inside>"],
                [_row(area) for area in one.areas],
            )
            yield "At worst over: in one case of ten, on the day of the next visit."
            if one.state == "stand-in" and (bare := bare_cuts(one)):
                yield bare
    yield (
        f"Chances are those of the visit of {tanks[0][0].last_visit}, from how areas will stand on "
        "that day; those of a steady rhythm are printed by growthcast interval."
    )


def _row(area: AwayArea) -> list[str]:
    unit = area.unit
    first, middle, _ = area.passes_on
    day = f"{middle}" if middle else f"{first} (1 in 10)" if first else "stays inside"
    return [
        area.label,
        f"{area.usual_cut_cm:.1f} {unit}",
        day,
        f"{area.over_cm.p90:.1f} {unit}" if first else "",
        f"{area.bridging_cut_cm:.1f} {unit}",
        as_chance(area.chance_within),
    ]


def away_sentence(tank: AwayTank) -> str:
    """Conclude for a tank that nobody visits for a while: it lasts, if cut lower, or does not."""
    if not tank.areas:
        return "nothing is planted in this tank"
    usual, bridged = as_chance(tank.chance_as_usual), as_chance(tank.chance_bridged)
    span_d = (tank.next_visit - tank.last_visit).days
    until = f"until {tank.next_visit} ({days_in_words(span_d)})"
    if tank.state == "lasts":
        return (
            f"lasts {until} when cut as always: every area stays inside with a chance of {usual}"
            f"{_and_limits(tank)}"
        )
    if tank.state == "cut lower":
        lower = [
            f"{area.label} to {area.bridging_cut_cm:.1f} {area.unit}"
            for area in tank.areas
            if area.bridging_cut_cm < area.usual_cut_cm * 0.99
        ]
        return (
            f"lasts {until} with a chance of {bridged} (as always {usual}) when cut lower on "
            f"{tank.last_visit}: {and_list(lower or [area.label for area in tank.areas])}"
            f"{_and_limits(tank)}"
        )
    worst = min(tank.areas, key=lambda area: area.chance_within)
    said = (
        f"does not last {until}: cut as low as still looks right on {tank.last_visit}, the chance "
        f"that every area stays inside is {bridged}, not {percent(tank.confidence)}; "
        f"{worst.label} goes over first"
    )
    if tank.stand_in_by is None:
        said += ". Not even one day holds: this tank needs a higher budget or a lower floor"
    else:
        said += f". A stand-in must come by {tank.stand_in_by}"
    return said + _and_limits(tank)


def _and_limits(tank: AwayTank) -> str:
    return "".join(f". {limit}" for limit in limits_of_cuts(tank.areas))


def bare_cuts(tank: AwayTank) -> str:
    """Say which cuts would hold although they look bare, or for which area none does."""
    if none := [area.label for area in tank.areas if area.needed_cut_cm is None]:
        return f"Not even the lowest safe cut would hold {and_list(none)}."
    low = [
        f"{area.label} to {area.needed_cut_cm:.2g} {area.unit} "
        f"(bare for {about_days(area.days_below_floor)})"
        for area in tank.areas
        if area.needed_cut_cm is not None and area.needed_cut_cm < 0.995 * area.floor_cm
    ]
    return f"Without a stand-in, cuts below the floor would hold: {and_list(low)}." if low else ""
