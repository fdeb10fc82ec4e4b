"""How often to visit a tank, in words: why, what a longer interval costs, how sure it is."""

from __future__ import annotations

from collections.abc import Mapping
from math import ceil, floor

from growthcast.say.supposed import none_holds_in_words, some_do_not_hold_in_words
from growthcast.say.texts import TERMINAL, Texts
from growthcast.say.words import named
from growthcast.service.advice import (
    AreaAdvice,
    Certainty,
    KnownArea,
    Mend,
    NextLonger,
    TankAdvice,
)
from growthcast.service.effort.hours import Range
from growthcast.service.effort.learn import MinutesBasis

WORTH_SAYING = 0.05


def reason(tank: TankAdvice, texts: Texts = TERMINAL) -> str:
    """Say why this interval is recommended, or why none is, and what that rests on."""
    if tank.set_by == "nothing grows":
        return texts.say("reason_empty", tank=tank)
    if tank.set_by == "none holds":
        return none_holds_in_words(tank.not_holding, texts)
    if tank.fails_at_d is not None:
        said = _fails(tank, tank.fails_at_d, texts)
        if tank.recommended_interval_d is None:
            said = texts.say("reason_short", fails=said)
    else:
        key = "reason_own" if tank.set_by == "its own limit" else "reason_all"
        said = texts.say(key, tank=tank)
    lost = some_do_not_hold_in_words(tank.not_holding, texts) if tank.not_holding else ""
    basis = [area.basis for area in tank.options[0].areas]
    table, elsewhere = (basis.count(of) for of in ("table", "tank"))
    rests = ""
    if table or elsewhere:
        counts = {"all": len(basis), "table": table, "elsewhere": elsewhere}
        rests = texts.say("reason_rests", both=table and elsewhere, **counts)
    return ". ".join(filter(None, [said, rests, lost]))


def _fails(tank: TankAdvice, interval_d: int, texts: Texts) -> str:
    """Say which chance an interval falls short of, where, and what would mend it."""
    chance = texts.near_miss(tank.option(interval_d).chance_all_within, tank.confidence)
    first, mended = tank.short[0], "; ".join(_mended(short, texts) for short in tank.short)
    blanks = {"days": interval_d, "chance": chance, "first": first, "mended": mended}
    blanks |= {"area": named(first.label, first.area_id), "unit": first.unit}
    said = texts.say("reason_fails", tank=tank, **blanks)
    limits = dict.fromkeys(limit_words(short, texts) for short in tank.short)
    return ". ".join([said, *filter(None, limits)])


def _mended(area: AreaAdvice, texts: Texts) -> str:
    """Say which height budget, or which floor, would let an area hold."""
    lower = area.cut_needed_cm
    budget = ceil(10.0 * (area.needed_budget_cm or 0.0) - 1e-6) / 10.0  # to the safe side
    least = None
    if lower is not None and lower < area.floor_cm:
        least = floor(10.0 * lower + 1e-6) / 10.0
    blanks = {"area": named(area.label, area.area_id), "unit": area.unit, "digits": 1}
    return texts.say("mended", budget=budget, floor=least, **blanks)


def limit_words(area: KnownArea, texts: Texts = TERMINAL) -> str:
    """Say which lowest cut keeps an area above its floor and how to change it, "" for none."""
    if (limit := area.limit) is None:
        return ""
    logged = limit.limit_cm < limit.table_cm
    return texts.say("limit", area=area, limit=limit, logged=logged, unit=area.unit)


def minutes_words(basis: MinutesBasis, texts: Texts = TERMINAL) -> str:
    """Say what the minutes of a visit rest on."""
    if not basis.visits:
        return texts.say("minutes_usual")
    reading, forms = basis.reading, ", ".join(basis.untimed_forms)
    of = reading and texts.say(f"minutes_of_{reading.whose}")
    return texts.say("minutes_rest", basis=basis, forms=forms, reading=reading, of=of)


def next_longer_words(
    tank: TankAdvice, longer: NextLonger, currency: str, texts: Texts = TERMINAL
) -> str:
    """Say what the next longer interval would save, and what it would cost in looks."""
    sign = 1.0 if longer.hours_saved >= 0.0 else -1.0
    now, then = (tank.option(d) for d in (tank.recommended_interval_d or 0, longer.interval_d))
    hours = _in_a_year(sign * longer.hours_saved, "h", longer.saved.hours.times(sign), texts)
    cost = _in_a_year(sign * longer.cost_saved, currency, longer.saved.cost.times(sign), texts)
    cuts = []
    for area in longer.bare_areas:
        days = texts.count("day", round(max(area.days_below_floor, 1.0)))
        cut = {"cut": area.cut_needed_cm or 0.0, "unit": area.unit, "digits": 1}
        cut |= {"bare": area.days_below_floor > 0.0, "days": days}
        cuts.append(texts.say("longer_bare_area", area=named(area.label, area.area_id), **cut))
    key = "longer_saves" if sign > 0.0 else "longer_takes"
    said = texts.say(key, then=then, now=now, hours=hours, cost=cost)
    lost = max(longer.presentable_days_lost, 0.0)
    said = f"{said}; {texts.say('longer_looks', then=then, now=now, days=lost)}"
    if longer.lost_areas:
        return f"{said}. {texts.say('longer_lost', areas=longer.lost_areas)}"
    return f"{said}. {texts.say('longer_bare', cuts='; '.join(cuts))}" if cuts else said


def _in_a_year(value: float, unit: str, bounds: Range, texts: Texts) -> str:
    low, high = sorted((bounds.p10, bounds.p90))
    return texts.say("longer_range", middle=value, unit=unit, low=low, high=high)


def mend_words(
    mend: Mend, areas: Mapping[str, tuple[str, str]], texts: Texts = TERMINAL, *, lamp: bool = True
) -> str:
    """Say which change would make an interval feasible.

    ``areas`` are the names and units of a tank's areas by id; ``lamp`` says the light in numbers.
    """
    names = [areas[area_id] for area_id in mend.area_ids]
    if mend.kind == "light":
        [before], [dimmed] = mend.before, mend.values
        share, key = 1.0 - float(dimmed) / before, "mend_lamp" if lamp else "mend_light"
        return texts.say(key, share=share, to=float(dimmed), now=before)
    if mend.kind == "plant":
        return texts.say("mend_plant", plant=mend.plant, area=names[0][0])
    key = {"budget": "mend_budget", "floor": "mend_floor", "lowest cut": "mend_lowest"}[mend.kind]
    each = [
        texts.say(key, area=name, to=float(to), now=now, unit=unit)
        for (name, unit), to, now in zip(names, mend.values, mend.before, strict=True)
    ]
    return texts.listed(each)


def certainty_words(tank: TankAdvice, certainty: Certainty, texts: Texts = TERMINAL) -> str:
    """Say how sure a recommendation is, and which other interval it might be."""
    chosen = tank.recommended_interval_d or 0
    ranked = sorted(certainty.best.items(), key=lambda item: -item[1])

    def say(key: str, days: int, chance: float = 0.0, **blanks: str) -> str:
        named_days = texts.say("sure_days", days=days)
        return texts.say(key, days=named_days, chance=chance, **blanks)

    others = "".join(
        say("sure_other", days, chance)
        for days, chance in ranked
        if days != chosen and chance >= WORTH_SAYING
    )
    said = [say("sure", chosen, certainty.chance_best, others=others)]
    freed = certainty.best_from_floor or certainty.best
    if abs(freed[chosen] - certainty.chance_best) >= WORTH_SAYING:
        said.append(say("sure_floor", *max(freed.items(), key=lambda item: item[1])))
    if (likeliest := ranked[0][0]) > chosen:
        said.append(say("sure_likelier", likeliest))
    elif others and chosen:
        said.append(texts.say("sure_kept"))
    return " ".join(said)
