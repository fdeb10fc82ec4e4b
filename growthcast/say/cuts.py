"""The sheet of today's visit in words."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from datetime import date
from typing import Any

from growthcast.plain import Said
from growthcast.say import words as tell
from growthcast.say.reasons import limit_words
from growthcast.say.texts import TERMINAL
from growthcast.service.urgency import TankDue
from growthcast.service.visit.away import AwayArea
from growthcast.service.visit.cuts import AreaCut, CutSheet

HARD_CUT_SHARE = 0.5
"""More than this off at once makes a plant pause (an estimate of the trade)."""
WIDE_SHARE = 0.35
"""A height is worth measuring first when its range is wider than this share of it."""


def sheets_answer(sheets: Sequence[CutSheet]) -> tell.Answer:
    """Say the sheets of a day, then what else to watch in each tank and the cautions."""
    if not sheets:
        return tell.Answer()
    lead, details = "", []
    if len(sheets) > 1:
        visits, names = tell.capital(tell.in_words(len(sheets))), [one.tank_id for one in sheets]
        minutes = sum(sum(sheet.whole_minutes) for sheet in sheets)
        blanks = {"visits": visits, "minutes": minutes, "names": names}
        lead = tell.sentence("cuts_visits", on=sheets[0].on, **blanks)
    for sheet in sheets:
        for title, lines in (("watch", watch_list(sheet)[1:]), ("cautions", cautions(sheet))):
            if lines:
                details += [f"{sheet.tank_id}, {title}:", *(f"  - {line}" for line in lines)]
    in_short = f"{tell.sentence('cuts_in_short')} {tell.RANGES_HOLD}"
    return tell.Answer(lead, notes=[*map(sheet_answer, sheets), in_short], details=details)


ACTIONS = {"cut": "cut to {}", "trim what stands above": "trim above {}", "leave": "leave uncut"}


def sheet_answer(sheet: CutSheet) -> tell.Answer:
    """Say the sheet: what to cut in which order, how long it takes, the first to look at."""
    lead = f"{sheet.tank_id}, {tell.week_day_words(sheet.on, sheet.on)}. {sheet_sentence(sheet)}"
    table = None
    if sheet.areas:
        rows = []
        for area, minutes in zip(sheet.areas, sheet.area_minutes, strict=True):
            told = {"area": area, "unit": tell.sign(area.unit), "minutes": minutes}
            do, fine = ACTIONS[area.action].format(cut_of(area)), area.chance_within
            rows.append({**told, "do": do, "fine": fine >= sheet.confidence})
        table = tell.table("cuts_table", rows)
    whole, several = sheet.whole_minutes, len(sheet.areas) > 1
    time = tell.sentence("cuts_minutes", several=several, all=sum(whole), whole=whole, sheet=sheet)
    return tell.Answer(lead, table, [*watch_list(sheet)[:1], time])


def cut_of(area: AreaCut) -> str:
    """Return the height to cut an area to as a hand can cut it, a cover in percent."""
    return tell.cut_text(area.cut_cm, tell.sign(area.unit), area.least_cut_cm)


def _of_sheet(sheet: CutSheet) -> dict[str, Any]:
    said = {"sentence": sheet_sentence(sheet), "watch": watch_list(sheet)}
    return {**said, "cautions": cautions(sheet)}


SAID: Said = {CutSheet: _of_sheet}


def no_visit_words(tank_ids: Sequence[str], dues: Sequence[TankDue], day: date) -> str:
    """Say that no tank is due by a day, and which is the next."""
    listed = [(due.due_on, name) for name, due in zip(tank_ids, dues, strict=True) if due.due_on]
    due, name = min(listed, default=(None, ""))
    return tell.sentence("cuts_none_due", on=day, due=due, name=name)


def sheet_sentence(sheet: CutSheet) -> str:
    """Say whether the cuts last until the next visit, what a rhythm gives, and what would last."""
    if sheet.rhythm is None:
        return "Nothing is planted in this tank today, so there is nothing to cut."
    key = "cuts_hold" if sheet.feasible else "cuts_short"
    worst = min(sheet.areas, key=lambda area: area.chance_within)
    chance = TERMINAL.near_miss(sheet.chance_all_within, sheet.confidence)
    said = tell.sentence(key, sheet=sheet, on=sheet.on, chance=chance, worst=worst)
    said += _rhythm_sentence(sheet)
    return said if sheet.feasible else said + tell.sentence("cuts_until", sheet=sheet, on=sheet.on)


def _rhythm_sentence(sheet: CutSheet) -> str:
    """Say what regular visits would give where that is not the same, and why."""
    rhythm, chance = sheet.rhythm, sheet.chance_all_within
    if rhythm is None or tell.as_chance(rhythm.chance_all_within) == tell.as_chance(chance):
        return ""
    lower, more = rhythm.height_share < 1.0, chance > rhythm.chance_all_within
    off, apart = abs(rhythm.height_share - 1.0), ""
    if off >= 0.005 and (more or lower):
        apart = tell.sentence("cuts_apart", off=off, lower=lower, more=more)
    return tell.sentence("cuts_rhythm", sheet=sheet, apart=apart)


def watch_list(sheet: CutSheet) -> list[str]:
    """Say what to look at in today's visit, the pressing first."""
    areas = sheet.areas
    said = _named("outside_over", areas, lambda area: area.chance_over_now >= 0.5)
    said += _named("outside_maybe", areas, lambda area: 0.1 <= area.chance_over_now < 0.5)
    said += _named("outside_low", areas, lambda area: area.height_now_cm.p90 < area.floor_cm)
    if not sheet.feasible:
        said += [sentence for area in areas for sentence in _falls_short(area)]
        said += [f"{limit}." for limit in limits_of_cuts(areas)]
    said += _still_settling(areas)
    said += _named("cuts_hard", areas, takes_half)
    said += _named("measure_new", areas, lambda area: area.basis != "log")
    wide = [area for area in areas if area.basis == "log"]
    said += _named("measure_wide", wide, worth_measuring)
    said += _named("cuts_unsettled", areas, lambda area: not area.settled)
    return said + _named("cuts_logged", areas, lambda area: area.logged_today)


def _named(key: str, areas: Sequence[AreaCut], which: Callable[[AreaCut], bool]) -> list[str]:
    """Name the areas to which a sentence applies, none where there are none."""
    each = [tell.sentence(f"{key}_each", area=a, unit=a.unit) for a in areas if which(a)]
    return [tell.sentence(key, areas=each)] if each else []


def takes_half(area: AreaCut) -> bool:
    """Whether more than half of an area comes off, as a person reads its share."""
    return area.action == "cut" and round(100 * area.removed_share) > 100 * HARD_CUT_SHARE


def cautions(sheet: CutSheet) -> list[str]:
    """Say the cautions of a visit: the usual ones, and those of the plants, each once."""
    plants = tell.grouped((a.caution, a.scientific_name) for a in sheet.areas if a.caution)
    taken = [area.removed_share if area.action == "cut" else 0.0 for area in sheet.areas]
    said = tell.sentence("cuts_always").splitlines()
    if taken and sum(taken) / len(taken) > HARD_CUT_SHARE:
        said.append(tell.sentence("cuts_too_much"))
    each = {text: [*dict.fromkeys(names)] for text, names in plants.items()}
    return said + [f"{tell.and_list(names)}: {text}" for text, names in each.items()]


def limits_of_cuts(areas: Sequence[AreaCut] | Sequence[AwayArea]) -> list[str]:
    """Say once which lowest cuts keep areas above their floors that no safe cut holds."""
    limits = [limit_words(area) for area in areas if area.needed_cut_cm is None]
    return [limit for limit in dict.fromkeys(limits) if limit]


def _still_settling(areas: Sequence[AreaCut]) -> Iterator[str]:
    """Say which areas were planted lately, and what to expect of them."""
    for area in areas:
        if area.since_planted_d >= area.settles_d:
            continue
        crypt = area.scientific_name.startswith("Cryptocoryne")
        how = "melt" if crypt and area.start != "submerged" else area.start
        known = how in ("melt", "emersed", "in-vitro", "tops")
        expected = tell.sentence(f"cuts_expect_{how}") if known else ""
        yield tell.sentence("cuts_settling", area=area, expected=expected)


def _falls_short(area: AreaCut) -> Iterator[str]:
    """Say which cut would last although it looks bare."""
    if area.needed_cut_cm is None:
        yield tell.sentence("cuts_lowest", area=area)
    elif area.needed_cut_cm < area.least_cut_cm - 0.05:
        yield tell.sentence("cuts_below", area=area)


def worth_measuring(area: AreaCut) -> bool:
    """Whether an area is worth a ruler before any cut: its own log tells little of its height."""
    now = area.height_now_cm
    return area.basis != "log" or now.p90 - now.p10 > WIDE_SHARE * now.p50
