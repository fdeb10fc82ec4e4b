"""A visit in words: the sheet of today, a time without visits, a day to shine."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from growthcast.say.words import (
    about_days,
    and_list,
    as_chance,
    days_in_words,
    percent,
    range_words,
)
from growthcast.service.reasons import limit_in_words
from growthcast.service.visit.away import AwayArea, AwayTank
from growthcast.service.visit.cuts import AreaCut, CutSheet
from growthcast.service.visit.peak import PeakArea, PeakPlan

__all__ = [
    "away_sentence",
    "bare_cuts",
    "cautions",
    "peak_sentence",
    "sheet_sentence",
    "watch_list",
    "why_not_best",
]

CAUTIONS = (
    "Switch the mains off before hands go into the water, and on again before you leave.",
    "Rinse tools between tanks and keep one sponge for each tank: algae, snails, diseases travel.",
    "Net out the trimmings and bin or compost them: never into waterways, ponds or drains.",
)
"""Cautions of every visit (common practice, no source)."""
HARD_CUT_SHARE = 0.5
"""More than this off at once makes a plant pause (an estimate of the trade)."""
WIDE_SHARE = 0.35
"""A height is worth measuring first when its range is wider than this share of it."""


def sheet_sentence(sheet: CutSheet) -> str:
    """Say whether the cuts last until the next visit, what a rhythm gives, and what would last."""
    if sheet.rhythm is None:
        return "Nothing is planted in this tank today, so there is nothing to cut."
    until = f"{sheet.next_on} ({days_in_words(sheet.interval_d)})"
    shown, wanted = as_chance(sheet.chance_all_within), percent(sheet.confidence)
    if sheet.feasible:
        return (
            f"Cut as below, every area stays inside its height until {until} "
            f"with a chance of {shown} (wanted: {wanted}).{_rhythm_sentence(sheet)}"
        )
    if shown == wanted:  # a near miss must not read like a hit
        shown = percent(sheet.chance_all_within, digits=1)
    worst = min(sheet.areas, key=lambda area: area.chance_within)
    said = (
        f"Even cut as low as still looks right, the chance that every area stays inside its height "
        f"until {until} is {shown}, not {wanted}; {worst.label} is the "
        f"first to go over.{_rhythm_sentence(sheet)}"
    )
    if sheet.holds_until is None:
        return (
            said + " Not even tomorrow would hold: this tank needs a higher budget or lower floor."
        )
    return said + f" A next visit by {sheet.holds_until} would hold."


def _rhythm_sentence(sheet: CutSheet) -> str:
    """Say what regular visits would give where that is not the same, and why."""
    rhythm, chance = sheet.rhythm, sheet.chance_all_within
    if rhythm is None or as_chance(rhythm.chance_all_within) == as_chance(chance):
        return ""
    regular, lower = as_chance(rhythm.chance_all_within), rhythm.height_share < 1.0
    said = f" At a steady rhythm of {days_in_words(sheet.interval_d)} it would be {regular}"
    off = round(100 * abs(rhythm.height_share - 1.0))
    if chance > rhythm.chance_all_within:
        follows = "have more room" if lower else "are cut harder and rest longer"
    else:
        follows = "are cut less and grow on sooner" if lower else ""
    if off and follows:
        said += (
            f": today the areas stand on average {off} % {'lower' if lower else 'higher'} than a "
            f"regular visit finds them, so they {follows}"
        )
    return f"{said}."


def watch_list(sheet: CutSheet) -> list[str]:
    """Say what to look at in today's visit, the pressing first."""
    areas = sheet.areas
    said = [*_outside_bounds(areas)]
    if not sheet.feasible:
        said += [sentence for area in areas for sentence in _falls_short(area)]
        said += [f"{limit}." for limit in _limits(areas)]
    said += _hard_cuts(areas)
    said += _measure(areas)
    if unsettled := [area.label for area in areas if not area.settled]:
        said.append(f"The fit did not settle for {and_list(unsettled)}: trust the ruler, not this.")
    if logged := [area.label for area in areas if area.logged_today]:
        said.append(
            f"The log already has rows of today for {and_list(logged)}; heights are after them."
        )
    return said


def cautions(sheet: CutSheet) -> list[str]:
    """Say the cautions of a visit: the usual ones, and those of the plants, each once."""
    plants: dict[str, dict[str, None]] = {}
    for area in sheet.areas:
        if area.caution:
            plants.setdefault(area.caution, {})[area.scientific_name] = None
    return [*CAUTIONS, *(f"{and_list(list(names))}: {text}" for text, names in plants.items())]


def _limits(areas: Sequence[AreaCut] | Sequence[AwayArea]) -> list[str]:
    """Say once which lowest cuts keep areas above their floors that no safe cut holds."""
    limits = [limit_in_words(area.limit) for area in areas if area.needed_cut_cm is None]
    return [limit for limit in dict.fromkeys(limits) if limit]


def _outside_bounds(areas: Sequence[AreaCut]) -> Iterator[str]:
    """Say which areas stand outside their bounds today."""

    def listed(some: Sequence[AreaCut], bound: str) -> str:
        return and_list(
            [
                f"{area.label} ({range_words(area.height_now_cm, area.unit)} against "
                f"{getattr(area, bound):g})"
                for area in some
            ]
        )

    if over := [area for area in areas if area.chance_over_now >= 0.5]:
        yield f"Probably over its height already: {listed(over, 'budget_cm')}."
    if maybe := [area for area in areas if 0.1 <= area.chance_over_now < 0.5]:
        named = [f"{area.label} (chance {as_chance(area.chance_over_now)})" for area in maybe]
        yield f"Perhaps over its height already: {and_list(named)}."
    if low := [area for area in areas if area.height_now_cm.p90 < area.floor_cm]:
        yield f"Still below its floor, so leave it: {listed(low, 'floor_cm')}."


def _falls_short(area: AreaCut) -> Iterator[str]:
    """Say which cut would last although it looks bare."""
    if area.needed_cut_cm is None:
        yield (
            f"{area.label} does not last until the next visit even from its lowest safe cut, "
            f"{area.lowest_safe_cut_cm:g} {area.unit}."
        )
    elif area.needed_cut_cm < area.least_cut_cm - 0.05:
        yield (
            f"{area.label} would last from {area.needed_cut_cm:.1f} {area.unit}, below its floor "
            f"of {area.floor_cm:g} {area.unit}; it would look bare for "
            f"{about_days(area.days_below_floor)}."
        )


def _hard_cuts(areas: Sequence[AreaCut]) -> Iterator[str]:
    hard = [
        f"{area.label} ({percent(area.removed_share)})"
        for area in areas
        if area.action == "cut" and round(100 * area.removed_share) > 100 * HARD_CUT_SHARE
    ]
    if hard:
        yield (
            f"More than half comes off {and_list(hard)}: growth may pause for some days, and "
            "shaded lower leaves may show."
        )


def _measure(areas: Sequence[AreaCut]) -> Iterator[str]:
    """Name the areas whose height is worth a ruler."""
    new = [area.label for area in areas if area.basis != "log"]
    if new:
        yield f"Measure {and_list(new)} before and after: little of their own is logged yet."
    wide = [
        area.label
        for area in areas
        if area.basis == "log"
        and area.height_now_cm.p90 - area.height_now_cm.p10 > WIDE_SHARE * area.height_now_cm.p50
    ]
    if wide:
        yield f"Measure {and_list(wide)} first: the height today is not known well."


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
            f"lasts {until} when {and_list(lower or [area.label for area in tank.areas])} "
            f"{'is' if len(lower) == 1 else 'are'} cut lower on {tank.last_visit} "
            f"(chance {bridged}; as always {usual}){_and_limits(tank)}"
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
    return "".join(f". {limit}" for limit in _limits(tank.areas))


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


def peak_sentence(plan: PeakPlan) -> str:
    """Conclude which areas stand at their best on the day, and which cannot any more."""
    if not plan.areas:
        return "Nothing is planted in this tank, so there is nothing to bring to that day."
    missed = [area.label for area in plan.areas if not area.reachable]
    count = len(plan.areas)
    said = (
        f"On {plan.day} every area stands at its best at once with a chance of "
        f"{as_chance(plan.chance_all_best)}; {count - len(missed)} of {count} areas more likely "
        "than not."
    )
    if missed:
        said += f" Out of reach by then: {and_list(missed)}."
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
        limit = limit_in_words(area.limit)
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
