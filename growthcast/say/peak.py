"""A day to shine in words."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from growthcast.say.cuts import HARD_CUT_SHARE, TOO_MUCH
from growthcast.say.reasons import limit_words
from growthcast.say.words import (
    FINE,
    RANGES,
    RANGES_HOLD,
    TIGHT,
    More,
    Table,
    Words,
    and_list,
    as_chance,
    capital,
    cut_text,
    day_words,
    full_date_words,
    hand_cut,
    in_words,
    percent,
    range_words,
    some_sentences,
    week_day_words,
)
from growthcast.service.visit.peak import PeakArea, PeakPlan

LIKELY = 0.5


def peaks_words(plans: Sequence[PeakPlan], on: date) -> Words:
    """Yield the plan of one tank, or how likely each of several tanks stands at its best."""
    much = [TOO_MUCH] if any(map(_takes_much, plans)) else []
    if len(plans) == 1:
        yield from peak_words(plans[0], on)
        yield from much
        return
    best = [plan.tank_id for plan in plans if plan.areas and plan.chance_all_best >= LIKELY]
    day = week_day_words(plans[0].day, on)
    yield (
        f"{capital(in_words(len(best)))} of {len(plans)} tanks more likely than not "
        f"{'stands' if len(best) == 1 else 'stand'} at {'its' if len(best) == 1 else 'their'} "
        f"best on {day}, every area at once."
    )
    yield Table(
        "",
        ["tank", "all at once>", "likely areas>", "unlikely by then"],
        [
            [
                plan.tank_id,
                f"{FINE if plan.chance_all_best >= LIKELY else TIGHT} "
                f"{as_chance(plan.chance_all_best)}",
                f"{sum(area.reachable for area in plan.areas)} of {len(plan.areas)}",
                ", ".join(area.label for area in plan.areas if not area.reachable),
            ]
            for plan in plans
            if plan.areas
        ],
    )
    yield "The cuts on the way are those of one tank: --tank ID."
    yield from much
    yield More()
    for plan in plans:
        yield from peak_words(plan, on)


def _takes_much(plan: PeakPlan) -> bool:
    """Whether more than half of the tank's plants come off on one of the days."""
    taken: dict[date, float] = {}
    for cut in (cut for area in plan.areas for cut in area.cuts):
        share = cut.removed_cm / max(cut.removed_cm + cut.cut_cm, 1e-9)
        taken[cut.on] = taken.get(cut.on, 0.0) + share
    return any(share > HARD_CUT_SHARE * len(plan.areas) for share in taken.values())


def peak_words(plan: PeakPlan, on: date) -> Words:
    """Yield how areas stand on the day, the cuts on the way, and what keeps one from its best."""
    yield f"{plan.tank_id}: {peak_sentence(plan)}"
    if not plan.areas:
        return
    yield Table(
        "",
        ["area", "now>", "hold it at", "last cut", "on the day>", "at its best>", "chance>"],
        [
            [
                area.label,
                range_words(area.height_now_cm, _unit(area)),
                *_cuts(area, on),
                range_words(area.height_on_day_cm, _unit(area)),
                f"{area.low_cm:.1f}–{area.high_cm:.1f}",
                f"{FINE if area.reachable else TIGHT} {as_chance(area.chance_best)}",
            ]
            for area in plan.areas
        ],
        [f"now {RANGES}", "now", "at its best", RANGES],
    )
    why = [
        f"{area.label}: {words}"
        f"{f' (left uncut, at its best from {area.best_from})' if area.best_from else ''}."
        for area in plan.areas
        if (words := why_not_best(area))
    ]
    visits = ", ".join(day_words(visit, on) for visit in plan.visits)
    yield (
        f"Slowest first; at its best is {percent(plan.target_share)} of the height budget. "
        f"{RANGES_HOLD}"
    )
    yield f"Visits counted on: {visits}."
    yield from some_sentences(why, 1)


def _unit(area: PeakArea) -> str:
    return "cm" if area.unit == "cm" else "%"


def _cuts(area: PeakArea, on: date) -> list[str]:
    """Return between which heights an area is held, and the cut that shapes it."""
    holds = [cut for cut in area.cuts if cut.purpose == "hold"]
    held, last = "", "leave uncut" if not area.cuts else ""
    if holds:
        heights = sorted(hand_cut(cut.cut_cm, _unit(area), 0.0) for cut in holds)
        held = " to ".join(dict.fromkeys(f"{height:g}" for height in (heights[0], heights[-1])))
        held += f" {_unit(area)}"
    for cut in area.cuts[len(holds) :]:
        word = "" if cut.chance_needed >= 0.5 else "trim above "
        last = f"{word}{cut_text(cut.cut_cm, _unit(area), 0.0)}, {day_words(cut.on, on)}"
    return [held, last]


def peak_sentence(plan: PeakPlan) -> str:
    """Conclude which areas stand at their best on the day, and which are unlikely to."""
    if not plan.areas:
        return "nothing is planted in this tank, so there is nothing to bring to that day."
    missed = [
        f"{area.label} ({as_chance(area.chance_best)})" for area in plan.areas if not area.reachable
    ]
    count = len(plan.areas)
    said = (
        f"on {full_date_words(plan.day)} every area stands at its best at once with a chance of "
        f"{as_chance(plan.chance_all_best)}; {count - len(missed)} of {count} areas more likely "
        "than not."
    )
    if missed:
        said += f" Unlikely by then: {and_list(missed)}."
    if not plan.visits:
        said += " There is no visit before it, so nothing can be cut."
    return said


def why_not_best(area: PeakArea) -> str:
    """Say with numbers what keeps an area from its best on the day, "" where nothing does."""
    if area.reachable and not area.shows_cut:
        return ""
    stands, uncut = (
        range_words(height, area.unit) for height in (area.height_on_day_cm, area.uncut_on_day_cm)
    )
    if area.shows_cut:
        return (
            f"too little time to hide the cut: {stands} on the day, but only "
            f"{percent(area.regrown_share or 0.0)} of that is new growth, so the cut will show; "
            f"left uncut it would stand at {uncut}"
        )
    if area.uncut_on_day_cm.p50 < area.low_cm:
        return (
            f"too little time: even left uncut it stands at {uncut} on the day, and is at its "
            f"best from {area.low_cm:.1f} {area.unit} (chance {as_chance(area.chance_best)})"
        )
    if area.height_on_day_cm.p50 > area.high_cm:
        limit = limit_words(area.limit)
        return (
            f"it grows too fast for the visits left: it stands at {stands} on the day, above "
            f"{area.high_cm:.1f} {area.unit}, even from the lowest cut that looks right; a visit "
            f"closer to the day would mend it{f'. {limit}' if limit else ''}"
        )
    return (
        f"its growth is not known well enough: {stands} on the day, and at its best only between "
        f"{area.low_cm:.1f} and {area.high_cm:.1f} {area.unit}; measure it at the next visit and "
        "ask again"
    )
