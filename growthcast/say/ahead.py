"""A day to shine and a time without visits, in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from itertools import chain
from typing import Any

from growthcast.plain import Said
from growthcast.say import words as tell
from growthcast.say.cuts import HARD_CUT_SHARE, limits_of_cuts
from growthcast.say.reasons import limit_words
from growthcast.service.visit.away import AwayArea, AwayTank
from growthcast.service.visit.peak import PeakArea, PeakPlan

LIKELY = 0.5


def peaks_answer(plans: Sequence[PeakPlan], on: date) -> tell.Answer:
    """Say the plan of one tank, or how likely each of several tanks stands at its best."""
    much = [tell.sentence("cuts_too_much")] if any(map(_takes_much, plans)) else []
    each = [peak_answer(plan, on) for plan in plans]
    if len(plans) == 1:
        return replace(each[0], details=[*each[0].details, *much])
    best = sum(bool(plan.areas) and plan.chance_all_best >= LIKELY for plan in plans)
    many = tell.capital(tell.in_words(best))
    lead = tell.sentence("peak_lead", n=best, best=many, all=len(plans), day=plans[0].day, on=on)
    rows = []
    for plan in (plan for plan in plans if plan.areas):
        missed = [area.label for area in plan.areas if not area.reachable]
        counts = {"likely": len(plan.areas) - len(missed), "all": len(plan.areas)}
        fine = plan.chance_all_best >= LIKELY
        rows.append({"plan": plan, "fine": fine, "unlikely": ", ".join(missed), **counts})
    notes = ["The cuts on the way are those of one tank: --tank ID.", *much]
    return tell.Answer(lead, tell.table("peak_tanks", rows), notes, each)


def _takes_much(plan: PeakPlan) -> bool:
    """Whether more than half of the tank's plants come off on one of the days."""
    taken: dict[date, float] = {}
    for cut in (cut for area in plan.areas for cut in area.cuts):
        share = cut.removed_cm / max(cut.removed_cm + cut.cut_cm, 1e-9)
        taken[cut.on] = taken.get(cut.on, 0.0) + share
    return any(share > HARD_CUT_SHARE * len(plan.areas) for share in taken.values())


def peak_answer(plan: PeakPlan, on: date) -> tell.Answer:
    """Say how areas stand on the day, the cuts on the way, and what keeps one from its best."""
    lead = f"{plan.tank_id}: {peak_sentence(plan)}"
    if not plan.areas:
        return tell.Answer(lead)
    rows, why = [], []
    for area in plan.areas:
        held, last = _cuts(area, on)
        told = {"area": area, "unit": tell.sign(area.unit), "fine": area.reachable}
        rows.append({**told, "held": held, "last": last})
        if words := why_not_best(area):
            why.append(tell.sentence("peak_why", area=area, why=words))
    visits = ", ".join(tell.day_words(visit, on) for visit in plan.visits)
    best = tell.sentence("peak_best", plan=plan, ranges=tell.RANGES_HOLD)
    notes = [best, f"Visits counted on: {visits}.", *why[:1]]
    return tell.Answer(lead, tell.table("peak_areas", rows), notes, why[1:])


def _cuts(area: PeakArea, on: date) -> list[str]:
    """Return between which heights an area is held, and the cut that shapes it."""
    unit = tell.sign(area.unit)
    holds = [cut for cut in area.cuts if cut.purpose == "hold"]
    held, last = "", "leave uncut" if not area.cuts else ""
    if holds:
        heights = sorted(tell.hand_cut(cut.cut_cm, unit, 0.0) for cut in holds)
        held = " to ".join(dict.fromkeys(f"{height:g}" for height in (heights[0], heights[-1])))
        held += f" {unit}"
    for cut in area.cuts[len(holds) :]:
        word = "" if cut.chance_needed >= 0.5 else "trim above "
        last = f"{word}{tell.cut_text(cut.cut_cm, unit, 0.0)}, {tell.day_words(cut.on, on)}"
    return [held, last]


def peak_sentence(plan: PeakPlan) -> str:
    """Conclude which areas stand at their best on the day, and which are unlikely to."""
    if not plan.areas:
        return "nothing is planted in this tank, so there is nothing to bring to that day."
    missed = [area for area in plan.areas if not area.reachable]
    each, count = [tell.sentence("peak_missed", area=area) for area in missed], len(plan.areas)
    return tell.sentence(
        "peak_every", plan=plan, likely=count - len(each), count=count, missed=each
    )


def why_not_best(area: PeakArea) -> str:
    """Say with numbers what keeps an area from its best on the day, "" where nothing does."""
    if area.shows_cut:
        key = "peak_shows_cut"
    elif area.reachable:
        return ""
    elif area.uncut_on_day_cm.p50 < area.low_cm:
        key = "peak_too_late"
    else:
        key = "peak_too_fast" if area.height_on_day_cm.p50 > area.high_cm else "peak_unknown"
    new, limit = area.regrown_share or 0.0, limit_words(area)
    return tell.sentence(key, area=area, unit=area.unit, new=new, limit=limit)


SAID: Said = {
    PeakArea: lambda area: {"why": why_not_best(area)},
    PeakPlan: lambda plan: {"sentence": peak_sentence(plan)},
}
MARKS = {"lasts": tell.FINE, "cut lower": tell.TIGHT, "stand-in": tell.OVERDUE}


def away_answer(
    tanks: Sequence[tuple[AwayTank, str]], on: date, first: date, last: date
) -> tell.Answer:
    """Say how tanks come through; each has its conclusion beside it."""
    ended = [one.tank_id for one, _ in tanks if not one.areas]
    tanks = [item for item in tanks if item[0].areas]
    if not tanks:
        return tell.Answer(tell.no_row_words(ended))
    lead = lead_words([tank for tank, _ in tanks], on, first, last)
    rows = [
        {"tank": one, "mark": mark, "bridged": None if one.state == "lasts" else one.chance_bridged}
        for one, mark in ((one, MARKS[one.state]) for one, _ in tanks)
    ]
    notes = [tell.no_row_words(ended)] if ended else []
    worst_first = sorted(tanks, key=lambda item: [*MARKS].index(item[0].state), reverse=True)
    if any(one.state != "lasts" for one, _ in tanks):
        notes.append(tell.sentence("cuts_too_much"))
    said = [f"{one.tank_id}: {sentence}." for one, sentence in worst_first]
    at_once = min(sum(one.state == "stand-in" for one, _ in tanks), 3)
    details = chain(said[at_once:], _behind([tank for tank, _ in tanks], on))
    return tell.Answer(lead, tell.table("away_tanks", rows, on=on), notes + said[:at_once], details)


def _behind(tanks: Sequence[AwayTank], on: date) -> tell.Words:
    """Yield what passes its height in tanks that do not last as always, and how to read it."""
    for one in tanks:
        if one.state != "lasts":
            rows = [_row(area, on) for area in one.areas]
            yield tell.table("away_areas", rows, tank=one)
            if one.state == "stand-in" and (bare := bare_cuts(one)):
                yield bare
    yield tell.sentence("away_how", day=tanks[0].last_visit, on=on)


def lead_words(tanks: Sequence[AwayTank], on: date, first: date, last: date) -> str:
    """Say how many tanks last, which are to be cut lower for it, and which need somebody."""
    names = tell.grouped((tank.state, tank.tank_id) for tank in tanks)
    ways = ("last", "as always"), ("last", "if cut lower before"), ("need", "a stand-in")
    said = [
        f"{tell.some_names(who)} {verb}{'s' * (len(who) == 1)} {how}"
        for state, (verb, how) in zip(MARKS, ways, strict=True)
        if (who := names.get(state))
    ]
    if len(said) == 1 and len(tanks) > 2:
        said[0] = f"all {said[0]}"
    said[0] += f" from {tell.day_words(first, on)} to {tell.day_words(last, on)}"
    return f"{tell.capital('; '.join(said), [tank.tank_id for tank in tanks])}."


def _row(area: AwayArea, on: date) -> dict[str, Any]:
    first, middle, _ = area.passes_on
    rare = " (1 in 10)" if first and not middle else ""
    over = {"day": middle or first, "rare": rare, "over": area.over_cm.p90 if first else None}
    return {**over, "area": area, "on": on, "unit": area.unit, "least": area.floor_cm}


def away_sentence(tank: AwayTank) -> str:
    """Conclude for a tank that nobody visits for a while: it lasts, if cut lower, or does not."""
    if not tank.areas:
        return "nothing is planted in this tank"
    limits = "".join(f". {limit}" for limit in limits_of_cuts(tank.areas))
    lower = [
        tell.sentence("away_lower_each", area=area, unit=area.unit, least=area.floor_cm)
        for area in tank.areas
        if area.bridging_cut_cm < area.usual_cut_cm * 0.99
    ]
    state = tank.state.replace(" ", "_").replace("-", "_")
    worst = min(tank.areas, key=lambda area: area.chance_within)
    blanks = {"on": tank.last_visit, "days": (tank.next_visit - tank.last_visit).days}
    blanks |= {"lower": lower or ["every area"], "many": len(lower) > 1}
    return tell.sentence(f"bridged_{state}", tank=tank, worst=worst, **blanks) + limits


def bare_cuts(tank: AwayTank) -> str:
    """Say which cuts would hold although they look bare, or for which area none does."""
    if none := [area.label for area in tank.areas if area.needed_cut_cm is None]:
        return tell.sentence("away_none", areas=none)
    low = [
        tell.sentence("away_bare_each", area=area)
        for area in tank.areas
        if area.needed_cut_cm is not None and area.needed_cut_cm < 0.995 * area.floor_cm
    ]
    return tell.sentence("away_bare", areas=low) if low else ""
