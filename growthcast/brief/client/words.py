"""The sentences of a client's page."""

from __future__ import annotations

from datetime import date

from growthcast.brief.client.gather import AreaFacts, TankFacts
from growthcast.brief.client.record import Record
from growthcast.brief.page import named
from growthcast.forecast.verdict import LEAST_READINGS
from growthcast.say.locale import Locale
from growthcast.service.advice import OptionAdvice

__all__ = [
    "conclusion",
    "days_of_100",
    "difference",
    "every",
    "passes",
    "record_sentences",
    "rhythm",
    "standing",
    "unknowns",
]


def every(locale: Locale, days: int) -> str:
    """Return an interval as people say it: every week, every 10 days."""
    if (key := f"every_{days}") in locale.text:
        return locale.say(key)
    return locale.count("every", days)


def rhythm(locale: Locale, days: int) -> str:
    """Return an interval as the subject of a sentence: Weekly visits."""
    key = f"rhythm_{days}"
    if key in locale.text:
        return locale.say(key)
    return locale.say("rhythm_other", days=locale.number(days))


def rhythm_inside(locale: Locale, days: int) -> str:
    """Return an interval as the subject inside a sentence: weekly visits."""
    for key in (f"rhythm_{days}_inside", *(() if f"rhythm_{days}" in locale.text else _OTHER)):
        if key in locale.text:
            return locale.say(key, days=locale.number(days))
    return rhythm(locale, days)


_OTHER = ("rhythm_other_inside",)
WORTH_NAMING = 0.05
"""Chance from which another rhythm is worth a word."""


def days_of_100(locale: Locale, share: float) -> str:
    """Return a share of days as days of a hundred; less than all never reads as all."""
    nearly_all = round(100.0 * share) == 100 and share < 0.9995
    return locale.number(100.0 * share, 1 if nearly_all else 0)


def conclusion(locale: Locale, tank: TankFacts, on: date) -> list[str]:
    """Return the conclusion: the sentence that carries the page, and what qualifies it."""
    option = tank.option
    if option is None:
        return [locale.say("nothing_planted", date=locale.long_date(on))]
    area = tank.limiting.label if tank.limiting is not None else ""
    presentable = _days(locale, option)
    if not tank.recommended:
        said = locale.say(
            "no_interval",
            every=every(locale, option.interval_d),
            presentable=presentable,
            area=area,
            wanted=locale.share(tank.advice.confidence),
        )
        return [said]
    key = "keeps_all" if len(option.areas) > 1 else "keeps_one"
    said = locale.say(key, rhythm=rhythm(locale, option.interval_d), presentable=presentable)
    if tank.longer is not None:
        said += _longer(locale, tank.longer)
    return [f"{said}.", *_beside(locale, tank, option)]


def _days(locale: Locale, option: OptionAdvice) -> str:
    return days_of_100(locale, option.share_of_days_presentable)


def _longer(locale: Locale, option: OptionAdvice) -> str:
    """Return what the longer rhythm gives, and how bare the cut leaves what would hold it."""
    said = {"every": every(locale, option.interval_d), "presentable": _days(locale, option)}
    bare = max(option.areas, key=lambda area: area.days_below_floor)
    lost = [area for area in option.areas if area.cut_needed_cm is None]
    if lost:
        worst = min(lost, key=lambda area: area.chance_within)
        return locale.say("longer_no_cut", area=named(worst.label, worst.area_id), **said)
    if round(bare.days_below_floor) >= 1:
        days = locale.count("day", round(bare.days_below_floor))
        label = named(bare.label, bare.area_id)
        return locale.say("longer_bare", area=label, days=days, **said)
    return locale.say("longer", **said)


def _beside(locale: Locale, tank: TankFacts, option: OptionAdvice) -> list[str]:
    """Return what stands beside the conclusion: its chance, and a near miss."""
    chance = locale.chance(option.chance_all_within)
    said = [locale.say("chance_sentence", chance=chance)]
    near = tank.next_longer
    advice = tank.advice
    if near is None:
        said.append(locale.say("longest_compared"))
    elif near.interval_d > advice.longest_interval_d:
        cap = every(locale, advice.longest_interval_d)
        said.append(locale.say("capped", every=cap))
    elif near is not tank.longer:
        near_chance = locale.chance(near.chance_all_within)
        wanted = locale.share(advice.confidence)
        if near_chance == wanted:
            near_chance = locale.share(near.chance_all_within, 1)
        said.append(
            locale.say(
                "near_miss",
                every=every(locale, near.interval_d),
                presentable=_days(locale, near),
                chance=near_chance,
                wanted=wanted,
            )
        )
    return said


def difference(locale: Locale, tank: TankFacts, currency: str, *, priced: bool) -> str | None:
    """Return what the client gets for the dearer rhythm; None where there is nothing to compare."""
    mine, other = tank.option, tank.longer
    if mine is None or other is None or not tank.recommended:
        return None
    days = 365.0 * (mine.share_of_days_presentable - other.share_of_days_presentable)
    visits = locale.count("visit", round(mine.year.visits - other.year.visits))
    said = {
        "every": every(locale, other.interval_d),
        "recommended": rhythm_inside(locale, mine.interval_d),
        "visits": f"+{visits}",
    }
    if not priced:
        hours = locale.number(mine.year.hours - other.year.hours)
        return locale.say("difference_hours", hours=hours, days=locale.number(days), **said)
    cost = locale.money(mine.year.cost - other.year.cost, currency)
    if round(days) < 1:
        return locale.say(
            "difference_none",
            cost=cost,
            chance=locale.chance(mine.chance_all_within),
            other_chance=locale.chance(other.chance_all_within),
            **said,
        )
    return locale.say("difference", cost=cost, days=locale.number(days), **said)


def standing(locale: Locale, area: AreaFacts) -> str:
    """Return the height an area stands at, with its range."""
    low, middle, high = (float(value) for value in area.forecast.height_cm_now)
    return locale.say(
        "range",
        middle=locale.height(middle, area.unit),
        low=locale.bare_height(low, area.unit),
        high=locale.height(high, area.unit),
    )


def passes(locale: Locale, area: AreaFacts, horizon_d: int, on: date) -> str:
    """Return when an area passes its agreed height, with its range."""
    early, middle, late = area.forecast.passes_budget_on
    if early is None:
        return locale.say("passes_never", days=locale.count("day", horizon_d))
    if late is not None and late <= on:
        return locale.say("passes_over")
    if middle is not None and middle <= on:
        return locale.say("passes_maybe_over")
    if middle is None:
        return locale.say("passes_from", low=locale.short_date(early))
    last = date.fromordinal(on.toordinal() + horizon_d)
    high = locale.short_date(late) if late else locale.say("after", date=locale.short_date(last))
    return locale.say(
        "passes_range",
        middle=locale.short_date(middle),
        low=_unbroken(locale.short_date(early)),
        high=_unbroken(high),
    )


def _unbroken(text: str) -> str:
    return text.replace(" ", "\N{NO-BREAK SPACE}")


def record_sentences(locale: Locale, record: Record) -> list[str]:
    """Return how often past forecasts for a tank were right."""
    if not record.enough:
        count, needed = locale.number(record.readings), locale.number(LEAST_READINGS)
        return [locale.say("record_few", n=count, needed=needed)]
    counts = {"n": locale.number(record.readings), "inside": locale.number(record.inside)}
    counts["share"] = locale.share(record.inside / record.readings)
    if record.is_cover:
        said = locale.say("record_cover", error=locale.number(record.error, 1), **counts)
    else:
        said = locale.say("record", error=_error(locale, record.error), **counts)
    how = locale.say("record_how", splits=locale.number(record.splits))
    return [said, how, *([locale.say("record_large")] if record.alone else [])]


def _error(locale: Locale, error_cm: float) -> str:
    return f"{locale.number(max(error_cm, 0.1), 1)}\N{NO-BREAK SPACE}cm"


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
            other = locale.say("unknown_other", every=every(locale, likeliest), chance=chance)
    return locale.say(
        "unknown_sure",
        tank=named(tank.tank_id),
        every=every(locale, days),
        chance=locale.chance(certainty.chance_best),
        other=other,
    )


def unknowns(locale: Locale, tanks: list[TankFacts]) -> tuple[str, ...]:
    """Return what a page does not know."""
    bases = [area.forecast.basis for tank in tanks for area in tank.areas]
    said = [sure for tank in tanks if (sure := _how_sure(locale, tank)) is not None]
    for basis in ("table", "tank"):
        if count := bases.count(basis):
            numbers = {"n": locale.number(count), "all": locale.number(len(bases))}
            said.append(locale.say(f"unknown_{basis}", **numbers))
    time = "time_own" if any(tank.advice.timed_visits for tank in tanks) else "time"
    said += [locale.say(f"unknown_{name}") for name in ("change", "winter", time, "health")]
    return tuple(said)
