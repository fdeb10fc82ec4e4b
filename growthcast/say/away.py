"""A time without visits in words."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from growthcast.say.cuts import TOO_MUCH, limits_of_cuts
from growthcast.say.words import (
    FINE,
    OVERDUE,
    TIGHT,
    Table,
    Words,
    and_list,
    as_chance,
    bare_for,
    capital,
    cut_text,
    day_words,
    days_in_words,
    no_row_words,
    percent,
    some_names,
    some_sentences,
    week_day_words,
)
from growthcast.service.visit.away import AwayArea, AwayTank

MARKS = {"lasts": FINE, "cut lower": TIGHT, "stand-in": OVERDUE}


def away_words(tanks: Sequence[tuple[AwayTank, str]], on: date, first: date, last: date) -> Words:
    """Yield how tanks come through; each has its conclusion beside it."""
    ended = [one.tank_id for one, _ in tanks if not one.areas]
    tanks = [item for item in tanks if item[0].areas]
    if not tanks:
        yield no_row_words(ended)
        return
    yield lead_words([tank for tank, _ in tanks], on, first, last)
    yield Table(
        "",
        ["tank", "client", "verdict", "as always>", "cut for it>", "stand-in by"],
        [
            [
                one.tank_id,
                one.client,
                f"{MARKS[one.state]} {one.state}",
                as_chance(one.chance_as_usual),
                "" if one.state == "lasts" else as_chance(one.chance_bridged),
                "" if one.stand_in_by is None else week_day_words(one.stand_in_by, on),
            ]
            for one, _ in tanks
        ],
        ["client"],
    )
    if ended:
        yield no_row_words(ended)
    worst_first = sorted(tanks, key=lambda item: [*MARKS].index(item[0].state), reverse=True)
    if any(one.state != "lasts" for one, _ in tanks):
        yield TOO_MUCH
    said = [(one.state, f"{one.tank_id}: {sentence}.") for one, sentence in worst_first]
    yield from some_sentences(
        [words for state, words in said if state == "stand-in"]
        + [words for state, words in said if state != "stand-in"],
        min(sum(state == "stand-in" for state, _ in said), 3),
    )
    for one, _ in tanks:
        if one.state != "lasts":
            yield Table(
                f"{one.tank_id}: what passes its height if cut as always, and the cut that bridges",
                ["area", "as always>", "over by", "at worst>", "cut for it>", "then inside>"],
                [_row(area, on) for area in one.areas],
            )
            if one.state == "stand-in" and (bare := bare_cuts(one)):
                yield bare
    yield (
        "At worst: over its height in one case of ten, on the day of the next visit. Chances are "
        f"those of the visit of {day_words(tanks[0][0].last_visit, on)}, from how areas will stand "
        "on that day; those of a steady rhythm are printed by growthcast interval."
    )


def lead_words(tanks: Sequence[AwayTank], on: date, first: date, last: date) -> str:
    """Say how many tanks last, which are to be cut lower for it, and which need somebody."""
    names: dict[str, list[str]] = {state: [] for state in MARKS}
    for tank in tanks:
        names[tank.state].append(tank.tank_id)
    lasts, lower, lost = (names[state] for state in MARKS)
    time = f"from {day_words(first, on)} to {day_words(last, on)}"
    said = []
    if lasts:
        said.append(f"{some_names(lasts)} last{'s' * (len(lasts) == 1)} as always")
    if lower:
        said.append(f"{some_names(lower)} last{'s' * (len(lower) == 1)} if cut lower before")
    if lost:
        said.append(f"{some_names(lost)} need{'s' * (len(lost) == 1)} a stand-in")
    if len(said) == 1 and len(tanks) > 2:
        said[0] = f"all {said[0]}"
    said[0] = f"{said[0]} {time}"
    return f"{capital('; '.join(said), [tank.tank_id for tank in tanks])}."


def _row(area: AwayArea, on: date) -> list[str]:
    unit = area.unit
    first, middle, _ = area.passes_on
    day = "stays inside"
    if first:
        day = day_words(middle, on) if middle else f"{day_words(first, on)} (1 in 10)"
    return [
        area.label,
        cut_text(area.usual_cut_cm, unit, area.floor_cm),
        day,
        f"{area.over_cm.p90:.1f} {unit}" if first else "",
        cut_text(area.bridging_cut_cm, unit, area.floor_cm),
        as_chance(area.chance_within),
    ]


def away_sentence(tank: AwayTank) -> str:
    """Conclude for a tank that nobody visits for a while: it lasts, if cut lower, or does not."""
    if not tank.areas:
        return "nothing is planted in this tank"
    usual, bridged = as_chance(tank.chance_as_usual), as_chance(tank.chance_bridged)
    span_d = (tank.next_visit - tank.last_visit).days
    last = day_words(tank.last_visit, tank.last_visit)
    until = f"until {day_words(tank.next_visit, tank.last_visit)} ({days_in_words(span_d)})"
    if tank.state == "lasts":
        return (
            f"lasts {until} when cut as always: every area stays inside with a chance of {usual}"
            f"{_and_limits(tank)}"
        )
    if tank.state == "cut lower":
        lower = [
            f"{area.label} to {cut_text(area.bridging_cut_cm, area.unit, area.floor_cm)}"
            for area in tank.areas
            if area.bridging_cut_cm < area.usual_cut_cm * 0.99
        ]
        return (
            f"lasts {until} with a chance of {bridged} (as always {usual}) when "
            f"{and_list(lower or ['every area'])} {'is' if len(lower) < 2 else 'are'} cut lower "
            f"on {last}"
            f"{_and_limits(tank)}"
        )
    worst = min(tank.areas, key=lambda area: area.chance_within)
    said = (
        f"does not last {until}: cut as low as still looks right on {last}, the chance "
        f"that every area stays inside is {bridged}, not {percent(tank.confidence)}; "
        f"{worst.label} goes over first"
    )
    if tank.stand_in_by is None:
        said += ". Not even one day holds: this tank needs a higher budget or a lower floor"
    else:
        said += f". A stand-in must come by {week_day_words(tank.stand_in_by, tank.last_visit)}"
    return said + _and_limits(tank)


def _and_limits(tank: AwayTank) -> str:
    return "".join(f". {limit}" for limit in limits_of_cuts(tank.areas))


def bare_cuts(tank: AwayTank) -> str:
    """Say which cuts would hold although they look bare, or for which area none does."""
    if none := [area.label for area in tank.areas if area.needed_cut_cm is None]:
        return f"Not even the lowest safe cut would hold {and_list(none)}."
    low = [
        f"{area.label} to {area.needed_cut_cm:.2g} {area.unit} ({bare_for(area.days_below_floor)})"
        for area in tank.areas
        if area.needed_cut_cm is not None and area.needed_cut_cm < 0.995 * area.floor_cm
    ]
    return f"Without a stand-in, cuts below the floor would hold: {and_list(low)}." if low else ""
