"""The sentences of a client's page."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from typing import Any

import numpy as np

from growthcast.book.book import Practice
from growthcast.say.cuts import HARD_CUT_SHARE
from growthcast.say.locale import Locale
from growthcast.say.reasons import mend_words
from growthcast.say.strip import apart, days_of_100, month_of
from growthcast.say.words import capital, hand_cut, named
from growthcast.service.advice import Mend, OptionAdvice
from growthcast.service.effort.hours import Range
from growthcast.service.living import bare_below
from growthcast.service.pages.client import AreaFacts, Course, TankFacts
from growthcast.service.pages.record import RANGE_HOLDS, Record

MAY_WELL = 0.2
"""Chance from which another rhythm is said to be possible."""
SEEN_CM, SEEN_PART = 2.0, 0.10
"""Least change of a height that a client is offered [cm], and as a share of the height."""
FEW_AREAS = 2
"""A change of more areas than these is told after those of fewer."""
LEAST_OVER = 0.02
"""Share of its agreed height by which an area must pass it to be called too tall."""
RARE = 0.05
"""Chance below which fewer readings in their ranges than meant are no chance."""
STAYS = 0.995
"""Chance from which an area is said to stay within its height."""


def area_name(area: AreaFacts) -> str:
    """Return an area's label, or its id where it has none."""
    return named(area.label, area.forecast.area_id)


def place_words(locale: Locale, tank: TankFacts) -> str:
    """Return what the client calls a tank; its id is nothing to them."""
    return locale.say("place", name=capital(named(tank.name)), site=named(tank.site))


def headline(locale: Locale, tank: TankFacts) -> str:
    """Return the answer of a page: which tank, how often."""
    key = "headline_unplanted" if tank.option is None else "headline"
    return locale.say(key, place=place_words(locale, tank), tank=tank)


def next_visit_key(tanks: Sequence[TankFacts]) -> str:
    """Return the text that names the next visit: before any was measured it is the first."""
    return "fact_next_first" if all(tank.first_estimate for tank in tanks) else "fact_next"


def argument(locale: Locale, tank: TankFacts) -> list[str]:
    """Return why this rhythm is proposed, honestly where it is not the plants that ask for it."""
    option, plants_d = tank.option, tank.plants_d
    if option is None:
        return [locale.say("nothing_planted", tank=tank)]
    said = [locale.say("first_estimate")] if tank.first_estimate else []
    if plants_d is None:
        area = area_name(tank.areas[tank.limiting])
        return [*said, locale.say("none_fits", area=area, option=option)]
    if not tank.asked:
        if tank.longer is None:
            return [*said, locale.say("why_limit", reason=named(tank.reason))]
        return [*said, *_why_not_less(locale, tank, option, tank.longer)]
    needed = next(row for row in tank.rows if row.interval_d == plants_d)
    between = apart(locale, tank, option, needed)
    if plants_d < option.interval_d:
        return [*said, locale.say("asked_long", tank=tank, added=between)]
    at_tank = _minutes(locale, option.minutes_per_visit - tank.travel_min)
    spent = {"minutes": at_tank, "fixed": _minutes(locale, tank.fixed_min)}
    reason = named(tank.reason)
    return [*said, locale.say("asked_short", tank=tank, saved=between, reason=reason, **spent)]


def _minutes(locale: Locale, minutes: float) -> str:
    return locale.say("minutes", n=locale.number(minutes))


def _why_not_less(
    locale: Locale, tank: TankFacts, option: OptionAdvice, longer: OptionAdvice
) -> list[str]:
    """Return which rule proposes a rhythm, and what it buys: the numbers are those of the strip."""
    said = [locale.say("why_longest", option=option, tank=tank)]
    days, now = (days_of_100(locale, o.share_of_days_presentable) for o in (longer, option))
    held, saved = longer.chance_all_within, apart(locale, tank, option, longer)
    blanks = {"days": days, "now": now, "same": days == now}
    said.append(locale.say("why_less", longer=longer, saved=saved, held=held, **blanks))
    unit = tank.areas[tank.limiting].unit
    cuts = (one.areas[tank.limiting] for one in (option, longer))
    now_cut, then_cut = (hand_cut(cut.cut_cm, unit, cut.least_cut_cm) for cut in cuts)
    if now_cut > (1.0 + SEEN_PART) * then_cut:
        said.append(locale.say("why_cut", now=now_cut, then=then_cut, unit=unit))
    return [capital(one) for one in said]


def plan(locale: Locale, tank: TankFacts) -> list[str]:
    """Return the doubt as a plan: what may do or be needed instead, and when it is gone over."""
    option = tank.option
    if option is None or tank.review_on is None:
        return []
    said = [locale.say("plan_start", tank=tank)]
    certainty = tank.advice.certainty
    best = certainty.best if certainty is not None and not tank.asked and tank.fits else {}
    for key, longer in (("plan_longer", True), ("plan_shorter", False)):
        others = [row for row in tank.rows if row is not option]
        others = [row for row in others if (row.interval_d > option.interval_d) == longer]
        row = max(others, key=lambda row: best.get(row.interval_d, 0.0), default=option)
        if row is not option and best.get(row.interval_d, 0.0) >= MAY_WELL:
            said.append(locale.say(key, row=row, amount=month_of(locale, tank, row)))
    return said


def visit_words(locale: Locale, tank: TankFacts, practice: Practice) -> list[str]:
    """Return what longer gaps do to glass and water, and what a visit is, where that is not told.

    The owner's words where there are some; else what is left out, and the time and aim of a visit.
    """
    said = [locale.say("gaps_unsaid")] if len(tank.rows) > 1 else []
    if practice.longer_gaps:
        gaps = locale.say("gaps", said=named(practice.longer_gaps))
        said = [gaps] if tank.longer is not None else []
    if tank.option is not None and not practice.includes:
        minutes = _minutes(locale, tank.option.minutes_per_visit - tank.travel_min)
        said.append(locale.say("visit_known", minutes=minutes))
    return said


def size_words(locale: Locale, size: str, unit: str) -> str:
    """Return a height in words, or how much of the surface a floating plant covers."""
    return size if unit == "cm" else locale.say("covered", share=size)


def picture_words(
    locale: Locale, tank: TankFacts, place: int, course: Course, option: OptionAdvice | None
) -> tuple[str, str]:
    """Return the finding of a picture and what it shows to those who hear it.

    ``place`` is that of its area, ``option`` the rhythm shown, None for the days until the next
    visit.
    """
    area = tank.areas[place]
    unit, budget, floor = area.unit, area.forecast.budget_cm, area.forecast.floor_cm
    blanks = dict[str, Any](area=area_name(area), budget=budget, unit=unit, option=option)
    if option is None:
        low, middle, high = (float(height) for height in course.height_cm[:, -1])
        now = float(course.height_cm[1, 0])
        blanks |= {"bare": now < bare_below(np.array(floor)), "above": now > budget}
        key = "picture_unmeasured" if area.forecast.basis == "table" else "picture_now"
        blanks |= {"now": now, "day": tank.on + timedelta(days=int(course.day[-1]))}
    else:
        mine = option.areas[place]
        low, middle, high = mine.found.p10, mine.found.p50, mine.found.p90
        visits, held = (round(option.year.visits * share) for share in (1.0, mine.chance_within))
        case = "" if held < visits else "_nearly"
        case = "_inside" if mine.chance_within >= STAYS else case
        case = "_over" if middle - budget > LEAST_OVER * budget else case
        key = f"picture{case or '_held'}" if place == tank.limiting else f"picture_beside{case}"
        blanks |= {"visits": visits, "held": held, "over": middle - budget}
    blanks |= {"floor": floor, "low": low, "middle": middle, "high": high}
    title = capital(locale.say(key, **blanks))
    whole = title if place != tank.limiting else f"{blanks['area']}: {title}"
    return title, locale.say("picture_alt", title=whole, **blanks)


def mends_words(locale: Locale, tank: TankFacts) -> tuple[str, tuple[str, ...]]:
    """Return what lets the next longer rhythm hold; where none holds, a lead and all ways.

    Where a rhythm holds, a change too small to see argues the proposal away; it is the owner's.
    """
    option, advice = tank.option, tank.advice
    if option is None or advice.fails_at_d is None or tank.asked:
        return "", ()
    holding = [mend for mend in advice.mends if mend.holds]
    holding.sort(key=lambda mend: mend.kind != "light" and len(mend.area_ids) > FEW_AREAS)
    if tank.fits:
        holding = [mend for mend in holding[:1] if _worth_offering(mend)]
    names = {area.forecast.area_id: (area_name(area), area.unit) for area in tank.areas}
    said = [mend_words(mend, names, locale, lamp=False) for mend in holding]
    row = advice.option(advice.fails_at_d)
    amount = month_of(locale, tank, row)
    if tank.fits:
        leads = (locale.say("mends_lead", mend=mend, row=row, amount=amount) for mend in said)
        return "".join(leads), ()
    if tank.longer is not None:
        less = apart(locale, tank, option, tank.longer)
        said.append(locale.say("mend_trial", tank=tank, saved=less))
    lead = locale.say("mends_none_lead", row=row, amount=amount)
    return (lead, tuple(said)) if said else ("", ())


def _worth_offering(mend: Mend) -> bool:
    """Tell whether a client would see a change: of a height, at least 2 cm or a tenth of it."""
    if mend.kind in ("light", "plant"):
        return True
    pairs = zip(mend.values, mend.before, strict=True)
    return any(abs(float(to) - now) >= min(SEEN_CM, SEEN_PART * now) for to, now in pairs)


def record_sentences(locale: Locale, record: Record) -> list[str]:
    """Return how often past forecasts for a tank were right."""
    if not record.enough:
        return [locale.say("record_few")]
    meant = RANGE_HOLDS * record.readings
    key = "record_cover" if record.is_cover else "record"
    said = [locale.say(key, record=record, meant=meant)]
    if record.inside < meant - 1.0:
        said.append(locale.say("record_chance" if record.chance >= RARE else "record_narrow"))
    return [*said, *([locale.say("record_large")] if record.alone else [])]


def unknowns(locale: Locale, tanks: Sequence[TankFacts], cost: Range | None) -> tuple[str, ...]:
    """Return what a page does not know; ``cost`` is that of a year, None without a price."""
    bases = [area.forecast.basis for tank in tanks for area in tank.areas]
    counts = {basis: bases.count(basis) for basis in ("table", "tank") if basis in bases}
    told = {basis: n for basis, n in counts.items() if (basis, n) != ("table", len(bases))}
    sentences = [locale.say(f"unknown_{of}", n=n, all=len(bases)) for of, n in told.items()]
    sentences.append(locale.say("unknown_change"))
    if cost is not None:
        sentences.append(locale.say("unknown_cost", cost=cost))
    # An agreed price holds whatever it takes.
    timed = any(made.visits for tank in tanks if (made := tank.advice.minutes) is not None)
    if not timed and (cost is not None or not locale.currency):
        sentences.append(locale.say("unknown_time"))
    return (*sentences, locale.say("unknown_health"))


def cautions(locale: Locale, tanks: Sequence[TankFacts]) -> tuple[str, ...]:
    """Return the usual cautions, that of much cut at once, and the plants that rules may name."""
    sentences = [locale.say("caution_work")]
    asked = [[area.removed_share for area in o.areas] for tank in tanks if (o := tank.option)]
    if any(shares and sum(shares) / len(shares) > HARD_CUT_SHARE for shares in asked):
        sentences.append(locale.say("caution_much"))
    areas = [area for tank in tanks for area in tank.areas]
    if ruled := [area.plant for area in areas if "egulated" in area.caution]:
        sentences.append(locale.say("caution_regulated", plants=[*dict.fromkeys(ruled)]))
    return tuple(sentences)
