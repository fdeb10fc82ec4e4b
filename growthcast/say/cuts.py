"""The sheet of today's visit in words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date
from typing import Any

from growthcast.plain import plain
from growthcast.say import words as tell
from growthcast.say.reasons import limit_words
from growthcast.service.urgency import TankDue
from growthcast.service.visit.away import AwayArea
from growthcast.service.visit.cuts import AreaCut, CutSheet

HARD_CUT_SHARE = 0.5
"""More than this off at once makes a plant pause (an estimate of the trade)."""
WIDE_SHARE = 0.35
"""A height is worth measuring first when its range is wider than this share of it."""


def sheets_words(sheets: Sequence[CutSheet]) -> tell.Words:
    """Yield the sheets of a day, then what else to watch in each tank and the cautions."""
    if len(sheets) > 1:
        names = tell.and_list([sheet.tank_id for sheet in sheets])
        minutes = sum(sum(sheet.whole_minutes) for sheet in sheets)
        day = tell.week_day_words(sheets[0].on, sheets[0].on)
        number = tell.capital(tell.in_words(len(sheets)))
        yield f"{number} visits on {day}, about {minutes} min: {names}."
    for sheet in sheets:
        yield from sheet_words(sheet)
    if sheets:
        yield f"{tell.sentence('cuts_in_short')} {tell.RANGES_HOLD}"
        yield tell.More()
    for sheet in sheets:
        for title, lines in (("watch", watch_list(sheet)[1:]), ("cautions", cautions(sheet))):
            if lines:
                yield f"{sheet.tank_id}, {title}:"
            for line in lines:
                yield f"  - {line}"


def sheet_words(sheet: CutSheet) -> tell.Words:
    """Yield the sheet: what to cut in which order, how long it takes, the first to look at."""
    yield f"{sheet.tank_id}, {tell.week_day_words(sheet.on, sheet.on)}. {sheet_sentence(sheet)}"
    if sheet.areas:
        rows = [
            [*_row(area, sheet.confidence), f"{part}"]
            for area, part in zip(sheet.areas, sheet.area_minutes, strict=True)
        ]
        heads = ["area", "now>", "do", "never below>", "next visit>", "inside>", "min>"]
        yield tell.Table("", heads, rows, ["min", f"now {tell.RANGES}", tell.RANGES])
    trimming, (on_road, before, trim) = sheet.trimming_min, sheet.whole_minutes
    yield from watch_list(sheet)[:1]
    order = "In the order of work. " if len(sheet.areas) > 1 else ""
    yield (
        f"{order}About {on_road + before + trim} min: {on_road} on the road, {before} at the tank "
        f"before trimming, {trim} trimming ({trimming.p10:.0f}–{trimming.p90:.0f})."
    )


def _row(area: AreaCut, confidence: float) -> list[str]:
    unit = "cm" if area.unit == "cm" else "%"
    cut = tell.cut_text(area.cut_cm, unit, area.least_cut_cm)
    mark = tell.TIGHT if area.chance_within < confidence else tell.FINE
    words = {"cut": f"cut to {cut}", "trim what stands above": f"trim above {cut}"}
    return [
        area.label,
        tell.range_words(area.height_now_cm, unit),
        words.get(area.action, "leave uncut"),
        f"{area.lowest_safe_cut_cm:g} {unit}",
        tell.range_words(area.height_next_cm, unit),
        f"{mark} {tell.as_chance(area.chance_within)}",
    ]


def sheet_json(sheet: CutSheet) -> dict[str, Any]:
    """Return the sheet with its sentences, as ``--json`` prints it."""
    made: dict[str, Any] = plain(sheet)
    said = {"sentence": sheet_sentence(sheet), "watch": watch_list(sheet)}
    return made | said | {"cautions": cautions(sheet)}


def no_visit_words(tank_ids: Sequence[str], dues: Sequence[TankDue], day: date) -> str:
    """Say that no tank is due by a day, and which is the next."""
    listed = [(due.due_on, name) for name, due in zip(tank_ids, dues, strict=True) if due.due_on]
    if not listed:
        return f"No tank is due by {tell.day_words(day, day)}, and none is planned."
    next_on, name = min(listed)
    due = tell.week_day_words(next_on, day)
    return f"No tank is due by {tell.day_words(day, day)}; the next is {name}, due on {due}."


def sheet_sentence(sheet: CutSheet) -> str:
    """Say whether the cuts last until the next visit, what a rhythm gives, and what would last."""
    if sheet.rhythm is None:
        return "Nothing is planted in this tank today, so there is nothing to cut."
    next_on = tell.week_day_words(sheet.next_on, sheet.on)
    until = f"{next_on} ({tell.days_in_words(sheet.interval_d)})"
    shown, wanted = tell.as_chance(sheet.chance_all_within), tell.percent(sheet.confidence)
    if sheet.feasible:
        return (
            f"Cut as below, every area stays inside its height until {until} "
            f"with a chance of {shown} (wanted: {wanted}).{_rhythm_sentence(sheet)}"
        )
    if shown == wanted:  # a near miss must not read like a hit
        shown = tell.percent(sheet.chance_all_within, digits=1)
    worst = min(sheet.areas, key=lambda area: area.chance_within)
    said = (
        f"Even cut as low as still looks right, the chance that every area stays inside its height "
        f"until {until} is {shown}, not {wanted}; {worst.label} is the "
        f"first to go over.{_rhythm_sentence(sheet)}"
    )
    if sheet.holds_until is None:
        return f"{said} {tell.sentence('cuts_never')}"
    return said + f" A next visit by {tell.week_day_words(sheet.holds_until, sheet.on)} would hold."


def _rhythm_sentence(sheet: CutSheet) -> str:
    """Say what regular visits would give where that is not the same, and why."""
    rhythm, chance = sheet.rhythm, sheet.chance_all_within
    if rhythm is None or tell.as_chance(rhythm.chance_all_within) == tell.as_chance(chance):
        return ""
    regular, lower = tell.as_chance(rhythm.chance_all_within), rhythm.height_share < 1.0
    said = f" At a steady rhythm of {tell.days_in_words(sheet.interval_d)} it would be {regular}"
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
        said += [f"{limit}." for limit in limits_of_cuts(areas)]
    said += _still_settling(areas)
    said += _hard_cuts(areas)
    said += _measure(areas)
    if unsettled := [area.label for area in areas if not area.settled]:
        said.append(tell.sentence("cuts_unsettled", areas=tell.and_list(unsettled)))
    if logged := [area.label for area in areas if area.logged_today]:
        rows = f"The log already has rows of today for {tell.and_list(logged)}"
        said.append(f"{rows}; heights are after them.")
    return said


def cautions(sheet: CutSheet) -> list[str]:
    """Say the cautions of a visit: the usual ones, and those of the plants, each once."""
    plants: dict[str, dict[str, None]] = {}
    for area in sheet.areas:
        if area.caution:
            plants.setdefault(area.caution, {})[area.scientific_name] = None
    taken = [area.removed_share if area.action == "cut" else 0.0 for area in sheet.areas]
    said = tell.sentence("cuts_always").splitlines()
    if taken and sum(taken) / len(taken) > HARD_CUT_SHARE:
        said.append(tell.sentence("cuts_too_much"))
    return said + [f"{tell.and_list(list(names))}: {text}" for text, names in plants.items()]


def limits_of_cuts(areas: Sequence[AreaCut] | Sequence[AwayArea]) -> list[str]:
    """Say once which lowest cuts keep areas above their floors that no safe cut holds."""
    limits = [limit_words(area.limit) for area in areas if area.needed_cut_cm is None]
    return [limit for limit in dict.fromkeys(limits) if limit]


def _outside_bounds(areas: Sequence[AreaCut]) -> Iterator[str]:
    """Say which areas stand outside their bounds today."""

    def listed(some: Sequence[AreaCut], bound: str) -> str:
        heights = [tell.range_words(area.height_now_cm, area.unit) for area in some]
        both = zip(some, heights, strict=True)
        return tell.and_list(
            [f"{a.label} ({now} against {getattr(a, bound):g})" for a, now in both]
        )

    if over := [area for area in areas if area.chance_over_now >= 0.5]:
        yield f"Probably over its height already: {listed(over, 'budget_cm')}."
    if maybe := [area for area in areas if 0.1 <= area.chance_over_now < 0.5]:
        named = [f"{area.label} (chance {tell.as_chance(area.chance_over_now)})" for area in maybe]
        yield f"Perhaps over its height already: {tell.and_list(named)}."
    if low := [area for area in areas if area.height_now_cm.p90 < area.floor_cm]:
        yield f"Still below its floor, so leave it: {listed(low, 'floor_cm')}."


def _still_settling(areas: Sequence[AreaCut]) -> Iterator[str]:
    """Say which areas were planted lately, and what to expect of them."""
    for area in areas:
        if area.since_planted_d >= area.settles_d:
            continue
        crypt = area.scientific_name.startswith("Cryptocoryne")
        how = "melt" if crypt and area.start != "submerged" else area.start
        known = how in ("melt", "emersed", "in-vitro", "tops")
        expected = tell.sentence(f"cuts_expect_{how}") if known else ""
        leave = ": leave it" if area.action == "leave" else ""
        yield (
            f"{area.label}: planted {days_ago(area.since_planted_d)}{leave}. {expected}It grows at "
            f"full pace {tell.about_days(area.settles_d)} after planting (an estimate)."
        )


def days_ago(days: float) -> str:
    """Return how long ago something was."""
    return f"{tell.days_in_words(days)} ago" if days >= 1.0 else "today"


def _falls_short(area: AreaCut) -> Iterator[str]:
    """Say which cut would last although it looks bare."""
    if area.needed_cut_cm is None:
        lowest = f"{area.lowest_safe_cut_cm:g} {area.unit}"
        yield tell.sentence("cuts_lowest", area=area.label, lowest=lowest)
    elif area.needed_cut_cm < area.least_cut_cm - 0.05:
        yield (
            f"{area.label} would last from {area.needed_cut_cm:.1f} {area.unit}, below its floor "
            f"of {area.floor_cm:g} {area.unit}; it would look "
            f"{tell.bare_for(area.days_below_floor)}."
        )


def _hard_cuts(areas: Sequence[AreaCut]) -> Iterator[str]:
    hard = [
        f"{area.label} ({tell.percent(area.removed_share)})"
        for area in areas
        if area.action == "cut" and round(100 * area.removed_share) > 100 * HARD_CUT_SHARE
    ]
    if hard:
        yield tell.sentence("cuts_hard", areas=tell.and_list(hard))


def _measure(areas: Sequence[AreaCut]) -> Iterator[str]:
    """Name the areas whose height is worth a ruler."""
    new = [area.label for area in areas if area.basis != "log"]
    if new:
        yield f"Measure {tell.and_list(new)} before and after: little of their own is logged yet."
    if wide := [area.label for area in areas if area.basis == "log" and worth_measuring(area)]:
        yield f"Measure {tell.and_list(wide)} first: the height today is not known well."


def worth_measuring(area: AreaCut) -> bool:
    """Whether an area is worth a ruler before any cut: its own log tells little of its height."""
    now = area.height_now_cm
    return area.basis != "log" or now.p90 - now.p10 > WIDE_SHARE * now.p50
