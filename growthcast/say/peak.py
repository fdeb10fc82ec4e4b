"""A day to shine in words."""

from __future__ import annotations

from growthcast.say.reasons import limit_words
from growthcast.say.words import Table, Words, and_list, as_chance, percent, range_words
from growthcast.service.effort.visits import Range
from growthcast.service.visit.peak import PeakArea, PeakPlan


def peak_words(plan: PeakPlan) -> Words:
    """Yield how areas stand on the day, the cuts on the way, and what keeps one from its best."""
    best = percent(plan.target_share)
    yield f"{plan.tank_id}: at its best on {plan.day} ({best} of every height budget)"
    yield peak_sentence(plan)
    if not plan.areas:
        return
    yield Table(
        "Slowest first (heights in cm, or % cover; in brackets 8 times in 10)",
        ["area", "now>", "a week>", "on the day>", "at its best>", "chance>"],
        [
            [
                area.label,
                f"{area.height_now_cm.p50:.1f} {area.unit}",
                f"+ {area.cm_per_week:.1f}",
                _height(area.height_on_day_cm, area.unit),
                f"{area.low_cm:.1f}-{area.high_cm:.1f}",
                as_chance(area.chance_best),
            ]
            for area in plan.areas
        ],
    )
    yield Table(
        "Cuts on the way", ["area", "visit", "do"], [row for a in plan.areas for row in _cuts(a)]
    )
    for area in plan.areas:
        if why := why_not_best(area):
            later = f" (left uncut, at its best from {area.best_from})" if area.best_from else ""
            yield f"{area.label}: {why}{later}."
    yield f"Visits counted on: {', '.join(str(visit) for visit in plan.visits)}."


def _cuts(area: PeakArea) -> list[list[str]]:
    """Rows of an area's cuts: those that hold it in one row, then the one that shapes it."""
    holds = [cut for cut in area.cuts if cut.purpose == "hold"]
    rows = []
    if holds:
        low, high = min(cut.cut_cm for cut in holds), max(cut.cut_cm for cut in holds)
        to = f"{low:.1f}" if high - low < 0.1 else f"{low:.1f}-{high:.1f}"
        until = "" if len(holds) == 1 else "until "
        rows.append([area.label, f"{until}{holds[-1].on}", f"hold it at {to} {area.unit}"])
    for cut in area.cuts[len(holds) :]:
        word = "cut to" if cut.chance_needed >= 0.5 else "trim what stands above"
        rows.append([area.label, str(cut.on), f"{word} {cut.cut_cm:.1f} {area.unit}"])
    return rows or [[area.label, "", "leave uncut"]]


def _height(height: Range, unit: str) -> str:
    cover = "" if unit == "cm" else " %"
    return f"{height.p50:.1f}{cover} ({height.p10:.1f}-{height.p90:.1f})"


def peak_sentence(plan: PeakPlan) -> str:
    """Conclude which areas stand at their best on the day, and which are unlikely to."""
    if not plan.areas:
        return "Nothing is planted in this tank, so there is nothing to bring to that day."
    missed = [
        f"{area.label} ({as_chance(area.chance_best)})" for area in plan.areas if not area.reachable
    ]
    count = len(plan.areas)
    said = (
        f"On {plan.day} every area stands at its best at once with a chance of "
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
