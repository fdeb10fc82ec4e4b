"""The sentences of a client's page."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

from growthcast.forecast.report import AreaForecast
from growthcast.forecast.verdict import LEAST_READINGS
from growthcast.say.locale import Locale
from growthcast.say.words import named
from growthcast.service.advice import OptionAdvice
from growthcast.service.pages.client import AreaFacts, TankFacts
from growthcast.service.pages.record import Record
from growthcast.service.sawtooth import Sawtooth

WORTH_NAMING = 0.05
"""Chance from which another rhythm is worth a word."""


def area_name(area: AreaFacts) -> str:
    """Return an area's label, or its id where it has none."""
    return named(area.label, area.forecast.area_id)


def days_of_100(locale: Locale, share: float) -> str:
    """Return a share of days as days of a hundred; less than all never reads as all."""
    nearly_all = round(100.0 * share) == 100 and share < 0.9995
    return locale.number(100.0 * share, 1 if nearly_all else 0)


def chance_words(locale: Locale, option: OptionAdvice, wanted: float) -> str:
    """Return the chance that a visit finds all inside; a near miss does not read like a hit."""
    chance = locale.chance(option.chance_all_within)
    if not option.feasible and chance == locale.share(wanted):
        return locale.share(option.chance_all_within, 1)
    return chance


def _looks(locale: Locale, option: OptionAdvice) -> dict[str, str]:
    """Return a rhythm and its days presentable, as blanks of a sentence."""
    return {
        "every": locale.count("every", option.interval_d),
        "presentable": days_of_100(locale, option.share_of_days_presentable),
    }


def conclusion(locale: Locale, tank: TankFacts, on: date) -> list[str]:
    """Return the conclusion: the sentence that carries the page, and what qualifies it."""
    option = tank.option
    if option is None:
        return [locale.say("nothing_planted", date=locale.long_date(on))]
    looks = _looks(locale, option)
    if not tank.recommended:
        area = area_name(tank.limiting) if tank.limiting is not None else ""
        wanted = locale.share(tank.advice.confidence)
        return [locale.say("no_interval", area=area, wanted=wanted, **looks)]
    key = "keeps_all" if len(option.areas) > 1 else "keeps_one"
    rhythm = locale.sentence_case(locale.count("rhythm", option.interval_d))
    lead = locale.say(key, rhythm=rhythm, **looks)
    if tank.longer is not None:
        lead += _longer(locale, tank.longer)
    chance = locale.say("chance_sentence", chance=locale.chance(option.chance_all_within))
    return [f"{lead}.", chance, *_why_no_longer(locale, tank)]


def _longer(locale: Locale, option: OptionAdvice) -> str:
    """Return what the longer rhythm gives, and how bare the cut leaves what would hold it."""
    looks = _looks(locale, option)
    bare = max(option.areas, key=lambda area: area.days_below_floor)
    lost = [area for area in option.areas if area.cut_needed_cm is None]
    if lost:
        worst = min(lost, key=lambda area: area.chance_within)
        return locale.say("longer_no_cut", area=named(worst.label, worst.area_id), **looks)
    if round(bare.days_below_floor) >= 1:
        days = locale.count("day", round(bare.days_below_floor))
        label = named(bare.label, bare.area_id)
        return locale.say("longer_bare", area=label, days=days, **looks)
    return locale.say("longer", **looks)


def _why_no_longer(locale: Locale, tank: TankFacts) -> list[str]:
    """Return why no longer rhythm is recommended, where the conclusion does not show it."""
    near, advice = tank.next_longer, tank.advice
    if near is None:
        return [locale.say("longest_compared")]
    if near.interval_d > advice.longest_interval_d:
        return [locale.say("capped", every=locale.count("every", advice.longest_interval_d))]
    if near is tank.longer:
        return []
    wanted = locale.share(advice.confidence)
    chance = locale.chance(near.chance_all_within)
    if chance == wanted:
        chance = locale.share(near.chance_all_within, 1)
    return [locale.say("near_miss", chance=chance, wanted=wanted, **_looks(locale, near))]


def difference(locale: Locale, tank: TankFacts, currency: str, *, priced: bool) -> str | None:
    """Return what the client gets for the dearer rhythm; None where there is nothing to compare."""
    mine, other = tank.option, tank.longer
    if mine is None or other is None or not tank.recommended:
        return None
    days = 365.0 * (mine.share_of_days_presentable - other.share_of_days_presentable)
    visits = locale.count("visit", round(mine.year.visits - other.year.visits))
    blanks = {
        "every": locale.count("every", other.interval_d),
        "recommended": locale.count("rhythm", mine.interval_d),
        "visits": f"+{visits}",
        "days": locale.number(days),
        "hours": locale.number(mine.year.hours - other.year.hours),
        "cost": locale.money(mine.year.cost - other.year.cost, currency),
        "chance": locale.chance(mine.chance_all_within),
        "other_chance": locale.chance(other.chance_all_within),
    }
    if not priced:
        return locale.say("difference_hours", **blanks)
    return locale.say("difference_none" if round(days) < 1 else "difference", **blanks)


def bare_words(locale: Locale, option: OptionAdvice) -> str:
    """Return how long the barest area looks bare after the cut that would hold."""
    if option.feasible:
        return locale.say("no_bare")
    if any(area.cut_needed_cm is None for area in option.areas):
        return locale.say("bare_no_cut")
    longest = max((area.days_below_floor for area in option.areas), default=0.0)
    if round(longest) == 0:
        return locale.say("bare_under" if longest > 0.0 else "no_bare")
    return locale.count("day", round(longest))


def sawtooth_sentence(locale: Locale, area: AreaFacts, saw: Sawtooth, option: OptionAdvice) -> str:
    """Return what the picture of one rhythm shows, for those who hear it."""
    low, middle, high = (
        locale.height(saw.before_visit_cm(level), area.unit) for level in (0.10, 0.50, 0.90)
    )
    return locale.say(
        "panel_alt",
        area=area_name(area),
        every=locale.count("every", saw.interval_d),
        weeks=locale.number(round(float(saw.day[-1]) / 7.0)),
        cut=locale.height(saw.cut_cm, area.unit),
        middle=middle,
        low=low,
        high=high,
        budget=locale.exact(area.forecast.budget_cm, area.unit),
        floor=locale.exact(area.forecast.floor_cm, area.unit),
        inside=days_of_100(locale, option.share_of_days_presentable),
    )


def sawtooth_caption(locale: Locale, tank: TankFacts, area: AreaFacts, chosen_d: int) -> str:
    """Return how high the limiting area stands at the chosen interval [d] and at a longer one."""
    before = {saw.interval_d: saw.before_visit_cm(0.90) for saw in tank.saws}
    budget = area.forecast.budget_cm
    blanks = {
        "area": area_name(area),
        "recommended": locale.count("every", chosen_d),
        "before": locale.height(before[chosen_d], area.unit),
        "budget": locale.exact(budget, area.unit),
    }
    too_high = [days for days, height in before.items() if height > budget and days > chosen_d]
    if not too_high and tank.longer is None:
        return locale.say("sawtooth_caption_alone", **blanks)
    days = min(too_high) if too_high or tank.longer is None else tank.longer.interval_d
    after = locale.height(before[days], area.unit)
    every = locale.count("every", days)
    return locale.say("sawtooth_caption", longer=every, after=after, **blanks)


def cost_sentences(
    locale: Locale, tank: TankFacts, chosen: OptionAdvice, currency: str, *, priced: bool
) -> tuple[str, str]:
    """Return the line below the picture of looks and cost, and what it shows to those who hear."""

    def cost(option: OptionAdvice) -> str:
        if priced:
            return locale.money(option.year.cost, currency)
        return locale.say("hours", n=locale.number(option.year.hours))

    points = [
        locale.say("cost_point", cost=cost(option), **_looks(locale, option))
        for option in tank.options
    ]
    looks = _looks(locale, chosen)
    blanks = {
        "recommended": locale.sentence_case(looks["every"]),
        "presentable": looks["presentable"],
        "cost": cost(chosen),
    }
    line = locale.say("cost_caption_alone", **blanks)
    if (other := tank.longer) is not None:
        blanks |= {"every": locale.count("every", other.interval_d), "other_cost": cost(other)}
        blanks["other_presentable"] = days_of_100(locale, other.share_of_days_presentable)
        line = locale.say("cost_caption", **blanks)
    return line, locale.say("cost_alt", points="; ".join(points))


def passes(locale: Locale, key: str, area: AreaForecast, horizon_d: int, on: date) -> str:
    """Return when an area passes its budget, with its range, in the texts that begin so."""
    early, middle, late = area.passes_budget_on
    blanks = {
        "budget": locale.exact(area.budget_cm, "% cover" if area.is_cover else "cm"),
        "days": locale.count("day", horizon_d),
    }
    if early is None:
        return locale.say(f"{key}_never", **blanks)
    if late is not None and late <= on:
        return locale.say(f"{key}_over", **blanks)
    if middle is not None and middle <= on:
        return locale.say(f"{key}_maybe_over", **blanks)
    low = locale.short_date(early)
    if middle is None:
        return locale.say(f"{key}_from", low=low, **blanks)
    last = locale.short_date(on + timedelta(days=horizon_d))
    high = locale.short_date(late) if late else locale.say("after", date=last)
    low, high = (end.replace(" ", "\N{NO-BREAK SPACE}") for end in (low, high))
    return locale.say(
        f"{key}_range", middle=locale.short_date(middle), low=low, high=high, **blanks
    )


def record_sentences(locale: Locale, record: Record) -> list[str]:
    """Return how often past forecasts for a tank were right."""
    readings = locale.number(record.readings)
    if not record.enough:
        return [locale.say("record_few", n=readings, needed=locale.number(LEAST_READINGS))]
    error = record.error if record.is_cover else max(record.error, 0.1)
    right = locale.say(
        "record_cover" if record.is_cover else "record",
        n=readings,
        inside=locale.number(record.inside),
        share=locale.share(record.inside / record.readings),
        error=locale.number(error, 1),
    )
    how = locale.say("record_how", splits=locale.number(record.splits))
    return [right, how, *([locale.say("record_large")] if record.alone else [])]


def _how_sure(locale: Locale, tank: TankFacts) -> str | None:
    """Return how likely the advice is the best there is, and what else it might be."""
    certainty, days = tank.advice.certainty, tank.advice.recommended_interval_d
    if certainty is None or days is None:
        return None
    others = {other: share for other, share in certainty.best.items() if other != days}
    likeliest = max(others, key=lambda other: (others[other], -other), default=None)
    other = ""
    if likeliest is not None and others[likeliest] >= WORTH_NAMING:
        chance = locale.chance(others[likeliest])
        other = locale.say("unknown_none")
        if likeliest:
            every = locale.count("every", likeliest)
            other = locale.say("unknown_other", every=every, chance=chance)
    return locale.say(
        "unknown_sure",
        tank=named(tank.tank_id),
        every=locale.count("every", days),
        chance=locale.chance(certainty.chance_best),
        other=other,
    )


def unknowns(locale: Locale, tanks: Sequence[TankFacts]) -> tuple[str, ...]:
    """Return what a page does not know."""
    bases = [area.forecast.basis for tank in tanks for area in tank.areas]
    sentences = [sure for tank in tanks if (sure := _how_sure(locale, tank)) is not None]
    for basis in ("table", "tank"):
        if count := bases.count(basis):
            numbers = {"n": locale.number(count), "all": locale.number(len(bases))}
            sentences.append(locale.say(f"unknown_{basis}", **numbers))
    own = any(made.visits for tank in tanks if (made := tank.advice.minutes) is not None)
    time = "time_own" if own else "time"
    sentences += [locale.say(f"unknown_{name}") for name in ("change", "winter", time, "health")]
    return tuple(sentences)


def cautions(locale: Locale, tanks: Sequence[TankFacts]) -> tuple[str, ...]:
    """Return the usual cautions, with the plants that rules may name."""
    names = ("tools", "mains", "waterways", "share")
    sentences = [locale.say(f"caution_{name}") for name in names]
    areas = [area for tank in tanks for area in tank.areas]
    regulated = dict.fromkeys(area.plant for area in areas if "egulated" in area.caution)
    if regulated:
        sentences.append(locale.say("caution_regulated", plants=locale.listed(list(regulated))))
    return tuple(sentences)
