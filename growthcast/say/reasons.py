"""How often to visit a tank, in words: why, what a longer interval costs, how sure it is."""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil, floor

from growthcast.say.supposed import none_holds_in_words, some_do_not_hold_in_words
from growthcast.say.words import percent
from growthcast.service.advice import (
    AreaAdvice,
    Certainty,
    CutLimit,
    Mend,
    NextLonger,
    ShortArea,
    TankAdvice,
)
from growthcast.service.effort.learn import MinutesBasis, Reading
from growthcast.service.effort.visits import Range

WORTH_SAYING = 0.05
WHOSE = {
    "all": "the trimming of all areas",
    "untimed": "the trimming of all areas not timed by themselves",
    "unlogged": "the trimming of areas without a row of their own",
}


def reason(tank: TankAdvice) -> str:
    """Say why this interval is recommended, or why none is, and what that rests on."""
    cap = tank.longest_interval_d
    if tank.set_by == "nothing grows":
        limit = "the tank's own limit" if tank.own_limit else "the longest listed interval"
        return f"this tank has no planted area any more, so {limit} of {cap} days stands"
    if tank.set_by == "none holds":
        return none_holds_in_words(tank.not_holding)
    if tank.fails_at_d is not None:
        said = _fails(tank, tank.fails_at_d)
        if tank.recommended_interval_d is None:
            said = f"no listed interval is short enough: {said}"
    elif tank.set_by == "its own limit":
        said = f"the plants would hold longer; {cap} days is this tank's own limit"
        said += " (longest_interval_d)"
    else:
        said = (
            "every area stays inside its height with at least "
            f"{percent(tank.confidence)} chance even at the longest interval, "
            f"{tank.recommended_interval_d} days"
        )
    said += _rests_on(tank.options[0].areas)
    if tank.not_holding:
        said += f". {some_do_not_hold_in_words(tank.not_holding)}"
    return said


def _fails(tank: TankAdvice, interval_d: int) -> str:
    """Say which chance an interval falls short of, where, and what would mend it."""
    chance_all = tank.option(interval_d).chance_all_within
    wanted, chance = percent(tank.confidence), percent(chance_all)
    if chance == wanted:  # a near miss must not read like a hit
        chance = percent(chance_all, digits=1)
    first = tank.short[0]
    mended = "; ".join(_mended(short) for short in tank.short)
    limits = dict.fromkeys(limit_words(short.limit) for short in tank.short if short.limit)
    return (
        f"at {interval_d} days the chance that every area stays inside its height is {chance}, "
        f"not {wanted}; {first.area.label} is the first to go over "
        f"({percent(first.area.chance_within)} when cut to {first.least_cut_cm:.3g} "
        f"{first.area.unit}). {'. '.join([f'{interval_d} days would hold with {mended}', *limits])}"
    )


def _mended(short: ShortArea) -> str:
    """Say which height budget, or which floor, would let an area hold."""
    area, lower = short.area, short.area.cut_needed_cm
    budget = ceil(10.0 * short.needed_budget_cm - 1e-6) / 10.0  # to the safe side
    of = "" if area.unit == "% cover" else " of height"
    way = f"{budget:.1f} {area.unit}{of} for {area.label}"
    if lower is not None and lower < short.floor_cm:
        way += f" (or a floor of {floor(10.0 * lower + 1e-6) / 10.0:.1f} {area.unit})"
    return way


def _rests_on(areas: Sequence[AreaAdvice]) -> str:
    """Say so where areas have too little log of their own."""
    basis = [area.basis for area in areas]
    ways = {"table": "the species table alone", "tank": "their tank or species elsewhere"}
    parts = [
        f"{basis.count(name)} of {len(basis)} areas on {way}"
        for name, way in ways.items()
        if name in basis
    ]
    if not parts:
        return ""
    return f". This rests for {' and for '.join(parts)}: log their trims to be surer"


def limit_words(limit: CutLimit | None) -> str:
    """Say which lowest cut keeps an area above its floor and how to change it, "" for none."""
    if limit is None:
        return ""
    said = (
        f"The species table says that {limit.species_id} is not cut below "
        f"{limit.table_cm:.3g} {limit.unit}"
    )
    if limit.limit_cm < limit.table_cm:
        said += f"; the log shows {limit.area_id} growing on from {limit.limit_cm:.3g} {limit.unit}"
    return (
        f"{said}. Where yours stands lower cuts, write lowest_cut_cm in species.csv, or log two "
        "such cuts (after_cm) from which it grows again"
    )


def minutes_words(basis: MinutesBasis) -> str:
    """Say what the minutes of a visit rest on."""
    if not basis.visits:
        return (
            "minutes of trimming are common practice, not your own: log minutes and they are fitted"
        )
    visits = "1 timed visit" if basis.visits == 1 else f"{basis.visits} timed visits"
    said = f"minutes of trimming are fitted from {visits} in the log"
    if basis.untimed_forms:
        forms = ", ".join(basis.untimed_forms)
        said += f"; for {forms}, never timed, from common practice at your pace"
    if basis.reading is not None:
        said += f"; whole-tank minutes are read as {_reading_words(basis.reading)}"
    return said


def _reading_words(reading: Reading) -> str:
    stated = ", as [log] whole_tank_minutes says" if reading.stated else ""
    fixed = " and the fixed part of a visit" if reading.fixed else ""
    return f"{WHOSE[reading.whose]}{stated}{fixed}"


def next_longer_words(tank: TankAdvice, longer: NextLonger, currency: str) -> str:
    """Say what the next longer interval would save, and what it would cost in looks."""
    hours, cost = longer.saved.hours, longer.saved.cost
    if longer.hours_saved < 0.0:
        saves = (
            f"takes {_in_a_year(-longer.hours_saved, 'h', hours.times(-1.0))} and "
            f"{_in_a_year(-longer.cost_saved, currency, cost.times(-1.0))} a year more"
        )
    else:
        saves = (
            f"saves {_in_a_year(longer.hours_saved, 'h', hours)} and "
            f"{_in_a_year(longer.cost_saved, currency, cost)} a year"
        )
    now, then = (tank.option(d) for d in (tank.recommended_interval_d or 0, longer.interval_d))
    said = (
        f"every {then.interval_d} days instead of {now.interval_d} {saves}; some area would be "
        f"found over its height at {then.visits_over_per_year:.0f} of {then.year.visits:.0f} "
        f"visits a year (now {now.visits_over_per_year:.0f} of {now.year.visits:.0f}), and "
        f"{max(longer.presentable_days_lost, 0.0):.0f} more days a year would not be presentable"
    )
    if longer.lost_areas:
        return f"{said}. Not even the lowest safe cut would hold {' or '.join(longer.lost_areas)}"
    if longer.bare_areas:
        cuts = "; ".join(_bare_words(area) for area in longer.bare_areas)
        return f"{said}. Cutting below the floor would hold it: {cuts}"
    return said


def _bare_words(area: AreaAdvice) -> str:
    days = max(area.days_below_floor, 1.0)
    return (
        f"{area.label} to {area.cut_needed_cm:.1f}, bare for about {days:.0f} "
        f"day{'' if days < 1.5 else 's'} after each visit"
    )


def _in_a_year(value: float, unit: str, bounds: Range) -> str:
    low, high = sorted((bounds.p10, bounds.p90))
    return f"{value:.0f} {unit} ({low:.0f} to {high:.0f})"


def mend_words(tank: TankAdvice, mend: Mend) -> str:
    """Say which change would make an interval feasible."""
    named = {area.area_id: area for area in tank.option(mend.interval_d).areas}
    areas = [named[area_id] for area_id in mend.area_ids]
    if mend.kind == "light":
        [before], [dimmed] = mend.before, mend.values
        share = percent(1.0 - float(dimmed) / before)
        return (
            f"less light: {dimmed:.0f} instead of {before:.0f} umol at the substrate ({share} less)"
        )
    if mend.kind == "plant":
        scientific, common = mend.plant
        return f"a slower plant: {scientific} ({common}) as {areas[0].label}"
    way, one = {
        "budget": ("a higher budget", "{label} up by {by:.1f} to {to:.1f} {unit}"),
        "floor": ("a lower floor", "{label} down by {by:.1f} to {to:.1f} {unit}"),
        "lowest cut": (
            "a lower cut, if the plants stand it",
            "{label} to {to:.1f} instead of {now:.1f} {unit}",
        ),
    }[mend.kind]
    if mend.kind == "floor" and all(area.unit == "% cover" for area in areas):
        way = "floating plants cut back further"
    said = [
        one.format(label=area.label, unit=area.unit, now=now, to=to, by=abs(float(to) - now))
        for area, now, to in zip(areas, mend.before, mend.values, strict=True)
    ]
    return f"{way}: {'; '.join(said)}"


def certainty_words(tank: TankAdvice, certainty: Certainty) -> str:
    """Say how sure a recommendation is, and which other interval it might be."""
    chosen = tank.recommended_interval_d or 0
    ranked = sorted(certainty.best.items(), key=lambda item: -item[1])
    others = "".join(
        f", {_named(days)} with {percent(chance)}"
        for days, chance in ranked
        if days != chosen and chance >= WORTH_SAYING
    )
    said = [
        f"How sure: {_named(chosen)} is best with a chance of {percent(certainty.chance_best)}"
        f"{others}."
    ]
    freed = certainty.best_from_floor or certainty.best
    if abs(freed[chosen] - certainty.chance_best) >= WORTH_SAYING:
        likely, chance = max(freed.items(), key=lambda item: item[1])
        said.append(
            "This takes the lowest cuts known from the species table or log as certain: if the "
            f"plants stand their floors, {_named(likely)} is best with {percent(chance)}."
        )
    likeliest = ranked[0][0]
    if likeliest > chosen:
        said.append(
            f"The likelier one, {_named(likeliest)}, does not reach the wanted chance with this "
            "doubt counted in."
        )
    elif others and chosen:
        said.append("The wanted chance is kept with this doubt counted in.")
    return " ".join(said)


def _named(days: int) -> str:
    return "no listed interval" if days == 0 else f"{days} days"
