"""A day to shine and a time without visits, in words."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from growthcast.say import words as tell
from growthcast.say.cuts import HARD_CUT_SHARE, limits_of_cuts
from growthcast.say.reasons import limit_words
from growthcast.service.visit.away import AwayArea, AwayTank
from growthcast.service.visit.peak import PeakArea, PeakPlan

LIKELY = 0.5


def peaks_words(plans: Sequence[PeakPlan], on: date) -> tell.Words:
    """Yield the plan of one tank, or how likely each of several tanks stands at its best."""
    much = [tell.sentence("cuts_too_much")] if any(map(_takes_much, plans)) else []
    if len(plans) == 1:
        yield from peak_words(plans[0], on)
        yield from much
        return
    best = [plan.tank_id for plan in plans if plan.areas and plan.chance_all_best >= LIKELY]
    day = tell.week_day_words(plans[0].day, on)
    yield (
        f"{tell.capital(tell.in_words(len(best)))} of {len(plans)} tanks more likely than not "
        f"{'stands' if len(best) == 1 else 'stand'} at {'its' if len(best) == 1 else 'their'} "
        f"best on {day}, every area at once."
    )
    rows = [
        [
            plan.tank_id,
            tell.chance_cell(plan.chance_all_best, fine=plan.chance_all_best >= LIKELY),
            f"{sum(area.reachable for area in plan.areas)} of {len(plan.areas)}",
            ", ".join(area.label for area in plan.areas if not area.reachable),
        ]
        for plan in plans
        if plan.areas
    ]
    yield tell.Table("", ["tank", "all at once>", "likely areas>", "unlikely by then"], rows)
    yield "The cuts on the way are those of one tank: --tank ID."
    yield from much
    yield tell.More()
    for plan in plans:
        yield from peak_words(plan, on)


def _takes_much(plan: PeakPlan) -> bool:
    """Whether more than half of the tank's plants come off on one of the days."""
    taken: dict[date, float] = {}
    for cut in (cut for area in plan.areas for cut in area.cuts):
        share = cut.removed_cm / max(cut.removed_cm + cut.cut_cm, 1e-9)
        taken[cut.on] = taken.get(cut.on, 0.0) + share
    return any(share > HARD_CUT_SHARE * len(plan.areas) for share in taken.values())


def peak_words(plan: PeakPlan, on: date) -> tell.Words:
    """Yield how areas stand on the day, the cuts on the way, and what keeps one from its best."""
    yield f"{plan.tank_id}: {peak_sentence(plan)}"
    if not plan.areas:
        return
    heads = ["area", "now>", "hold it at", "last cut", "on the day>", "at its best>", "chance>"]
    rows, why = [], []
    for area in plan.areas:
        now, then = area.height_now_cm, area.height_on_day_cm
        heights = [tell.range_words(height, _unit(area)) for height in (now, then)]
        best = f"{area.low_cm:.1f}–{area.high_cm:.1f}"
        chance = tell.chance_cell(area.chance_best, fine=area.reachable)
        rows.append([area.label, heights[0], *_cuts(area, on), heights[1], best, chance])
        if words := why_not_best(area):
            later = f" (left uncut, at its best from {area.best_from})" if area.best_from else ""
            why.append(f"{area.label}: {words}{later}.")
    yield tell.Table("", heads, rows, [f"now {tell.RANGES}", "now", "at its best", tell.RANGES])
    visits = ", ".join(tell.day_words(visit, on) for visit in plan.visits)
    yield (
        f"Slowest first; at its best is {tell.percent(plan.target_share)} of the height budget. "
        f"{tell.RANGES_HOLD}"
    )
    yield f"Visits counted on: {visits}."
    yield from tell.some_sentences(why, 1)


def _unit(area: PeakArea) -> str:
    return "cm" if area.unit == "cm" else "%"


def _cuts(area: PeakArea, on: date) -> list[str]:
    """Return between which heights an area is held, and the cut that shapes it."""
    holds = [cut for cut in area.cuts if cut.purpose == "hold"]
    held, last = "", "leave uncut" if not area.cuts else ""
    if holds:
        heights = sorted(tell.hand_cut(cut.cut_cm, _unit(area), 0.0) for cut in holds)
        held = " to ".join(dict.fromkeys(f"{height:g}" for height in (heights[0], heights[-1])))
        held += f" {_unit(area)}"
    for cut in area.cuts[len(holds) :]:
        word = "" if cut.chance_needed >= 0.5 else "trim above "
        last = f"{word}{tell.cut_text(cut.cut_cm, _unit(area), 0.0)}, {tell.day_words(cut.on, on)}"
    return [held, last]


def peak_sentence(plan: PeakPlan) -> str:
    """Conclude which areas stand at their best on the day, and which are unlikely to."""
    if not plan.areas:
        return "nothing is planted in this tank, so there is nothing to bring to that day."
    missing, count = [area for area in plan.areas if not area.reachable], len(plan.areas)
    missed = [f"{area.label} ({tell.as_chance(area.chance_best)})" for area in missing]
    said = (
        f"on {tell.full_date_words(plan.day)} every area stands at its best at once with a chance "
        f"of {tell.as_chance(plan.chance_all_best)}; {count - len(missed)} of {count} areas more "
        "likely than not."
    )
    if missed:
        said += f" Unlikely by then: {tell.and_list(missed)}."
    if not plan.visits:
        said += " There is no visit before it, so nothing can be cut."
    return said


def why_not_best(area: PeakArea) -> str:
    """Say with numbers what keeps an area from its best on the day, "" where nothing does."""
    if area.reachable and not area.shows_cut:
        return ""
    stands, uncut = (
        tell.range_words(height, area.unit)
        for height in (area.height_on_day_cm, area.uncut_on_day_cm)
    )
    if area.shows_cut:
        return tell.sentence(
            "peak_shows", stands=stands, new=tell.percent(area.regrown_share or 0.0), uncut=uncut
        )
    if area.uncut_on_day_cm.p50 < area.low_cm:
        return (
            f"too little time: even left uncut it stands at {uncut} on the day, and is at its "
            f"best from {area.low_cm:.1f} {area.unit} (chance {tell.as_chance(area.chance_best)})"
        )
    if area.height_on_day_cm.p50 > area.high_cm:
        limit = limit_words(area.limit)
        return (
            f"it grows too fast for the visits left: it stands at {stands} on the day, above "
            f"{area.high_cm:.1f} {area.unit}, even from the lowest cut that looks right; a visit "
            f"closer to the day would mend it{f'. {limit}' if limit else ''}"
        )
    return tell.sentence(
        "peak_unknown", stands=stands, low=area.low_cm, high=area.high_cm, unit=area.unit
    )


MARKS = {"lasts": tell.FINE, "cut lower": tell.TIGHT, "stand-in": tell.OVERDUE}


def away_words(
    tanks: Sequence[tuple[AwayTank, str]], on: date, first: date, last: date
) -> tell.Words:
    """Yield how tanks come through; each has its conclusion beside it."""
    ended = [one.tank_id for one, _ in tanks if not one.areas]
    tanks = [item for item in tanks if item[0].areas]
    if not tanks:
        yield tell.no_row_words(ended)
        return
    yield lead_words([tank for tank, _ in tanks], on, first, last)
    rows = [
        [
            one.tank_id,
            one.client,
            f"{MARKS[one.state]} {one.state}",
            tell.as_chance(one.chance_as_usual),
            "" if one.state == "lasts" else tell.as_chance(one.chance_bridged),
            "" if one.stand_in_by is None else tell.week_day_words(one.stand_in_by, on),
        ]
        for one, _ in tanks
    ]
    heads = ["tank", "client", "verdict", "as always>", "cut for it>", "stand-in by"]
    yield tell.Table("", heads, rows, ["client"])
    if ended:
        yield tell.no_row_words(ended)
    worst_first = sorted(tanks, key=lambda item: [*MARKS].index(item[0].state), reverse=True)
    if any(one.state != "lasts" for one, _ in tanks):
        yield tell.sentence("cuts_too_much")
    said = [f"{one.tank_id}: {sentence}." for one, sentence in worst_first]
    needy = sum(one.state == "stand-in" for one, _ in tanks)
    yield from tell.some_sentences(said, min(needy, 3))
    for one, _ in tanks:
        if one.state != "lasts":
            yield tell.Table(
                f"{one.tank_id}: what passes its height if cut as always, and the cut that bridges",
                ["area", "as always>", "over by", "at worst>", "cut for it>", "then inside>"],
                [_row(area, on) for area in one.areas],
            )
            if one.state == "stand-in" and (bare := bare_cuts(one)):
                yield bare
    yield tell.sentence("away_how", day=tell.day_words(tanks[0][0].last_visit, on))


def lead_words(tanks: Sequence[AwayTank], on: date, first: date, last: date) -> str:
    """Say how many tanks last, which are to be cut lower for it, and which need somebody."""
    names: dict[str, list[str]] = {state: [] for state in MARKS}
    for tank in tanks:
        names[tank.state].append(tank.tank_id)
    ways = ("last", "as always"), ("last", "if cut lower before"), ("need", "a stand-in")
    said = [
        f"{tell.some_names(who)} {verb}{'s' * (len(who) == 1)} {how}"
        for who, (verb, how) in zip(names.values(), ways, strict=True)
        if who
    ]
    if len(said) == 1 and len(tanks) > 2:
        said[0] = f"all {said[0]}"
    said[0] += f" from {tell.day_words(first, on)} to {tell.day_words(last, on)}"
    return f"{tell.capital('; '.join(said), [tank.tank_id for tank in tanks])}."


def _row(area: AwayArea, on: date) -> list[str]:
    unit = area.unit
    first, middle, _ = area.passes_on
    day = "stays inside"
    if first:
        day = tell.day_words(middle, on) if middle else f"{tell.day_words(first, on)} (1 in 10)"
    return [
        area.label,
        tell.cut_text(area.usual_cut_cm, unit, area.floor_cm),
        day,
        f"{area.over_cm.p90:.1f} {unit}" if first else "",
        tell.cut_text(area.bridging_cut_cm, unit, area.floor_cm),
        tell.as_chance(area.chance_within),
    ]


def away_sentence(tank: AwayTank) -> str:
    """Conclude for a tank that nobody visits for a while: it lasts, if cut lower, or does not."""
    if not tank.areas:
        return "nothing is planted in this tank"
    usual, bridged = tell.as_chance(tank.chance_as_usual), tell.as_chance(tank.chance_bridged)
    span_d = (tank.next_visit - tank.last_visit).days
    last, until = (
        tell.day_words(day, tank.last_visit) for day in (tank.last_visit, tank.next_visit)
    )
    until = f"until {until} ({tell.days_in_words(span_d)})"
    limits = "".join(f". {limit}" for limit in limits_of_cuts(tank.areas))
    if tank.state == "lasts":
        said = f"lasts {until} when cut as always: every area stays inside with a chance of"
        return f"{said} {usual}{limits}"
    if tank.state == "cut lower":
        lower = [
            f"{area.label} to {tell.cut_text(area.bridging_cut_cm, area.unit, area.floor_cm)}"
            for area in tank.areas
            if area.bridging_cut_cm < area.usual_cut_cm * 0.99
        ]
        return (
            f"lasts {until} with a chance of {bridged} (as always {usual}) when "
            f"{tell.and_list(lower or ['every area'])} {'is' if len(lower) < 2 else 'are'} cut "
            f"lower on {last}{limits}"
        )
    worst = min(tank.areas, key=lambda area: area.chance_within)
    said = (
        f"does not last {until}: cut as low as still looks right on {last}, the chance "
        f"that every area stays inside is {bridged}, not {tell.percent(tank.confidence)}; "
        f"{worst.label} goes over first"
    )
    if tank.stand_in_by is None:
        said += ". Not even one day holds: this tank needs a higher budget or a lower floor"
    else:
        by = tell.week_day_words(tank.stand_in_by, tank.last_visit)
        said += f". A stand-in must come by {by}"
    return said + limits


def bare_cuts(tank: AwayTank) -> str:
    """Say which cuts would hold although they look bare, or for which area none does."""
    if none := [area.label for area in tank.areas if area.needed_cut_cm is None]:
        return f"Not even the lowest safe cut would hold {tell.and_list(none)}."
    low = [
        f"{area.label} to {area.needed_cut_cm:.2g} {area.unit} "
        f"({tell.bare_for(area.days_below_floor)})"
        for area in tank.areas
        if area.needed_cut_cm is not None and area.needed_cut_cm < 0.995 * area.floor_cm
    ]
    return (
        f"Without a stand-in, cuts below the floor would hold: {tell.and_list(low)}." if low else ""
    )
