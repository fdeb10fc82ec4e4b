"""The tables of a client's page: options side by side, areas, and planned visits."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from growthcast.brief.client.gather import TankFacts
from growthcast.brief.client.words import days_of_100, every, passes, standing
from growthcast.brief.page import Column, Table, named
from growthcast.brief.visits import PlannedVisit
from growthcast.say.locale import Locale
from growthcast.service.advice import OptionAdvice

__all__ = ["areas_table", "options_table", "visits_table"]


def options_table(locale: Locale, tank: TankFacts, currency: str, *, priced: bool) -> Table:
    """Return looks, risk, visits, hours and cost of each rhythm, the recommended one marked."""
    names = ["every", "presentable", "chance", "bare", "visits", "minutes", "hours"]
    names += ["cost"] if priced else []
    columns = tuple(Column(locale.say(f"col_{name}"), name != "every") for name in names)
    rows = []
    for option in tank.options:
        row = [
            every(locale, option.interval_d),
            days_of_100(locale, option.share_of_days_presentable),
            _chance(locale, option, tank.advice.confidence),
            _bare(locale, option),
            locale.number(option.year.visits),
            locale.say("minutes", n=locale.number(option.minutes_per_visit)),
            locale.say("hours", n=locale.number(option.year.hours)),
        ]
        rows.append(tuple(row + ([locale.money(option.year.cost, currency)] if priced else [])))
    days = tank.advice.recommended_interval_d
    marked = next((i for i, o in enumerate(tank.options) if o.interval_d == days), None)
    caption = locale.say("options_caption")
    return Table(caption, columns, tuple(rows), marked, locale.say("recommended"))


def _chance(locale: Locale, option: OptionAdvice, wanted: float) -> str:
    """Return the chance; a near miss does not read like a hit."""
    chance = locale.chance(option.chance_all_within)
    if not option.feasible and chance == locale.share(wanted):
        return locale.share(option.chance_all_within, 1)
    return chance


def _bare(locale: Locale, option: OptionAdvice) -> str:
    """Return how long the barest area looks bare after the cut that would hold."""
    if option.feasible:
        return locale.say("no_bare")
    if any(area.cut_needed_cm is None for area in option.areas):
        return locale.say("bare_no_cut")
    longest = max((area.days_below_floor for area in option.areas), default=0.0)
    if round(longest) == 0:
        return locale.say("bare_under" if longest > 0.0 else "no_bare")
    return locale.count("day", round(longest))


def areas_table(locale: Locale, tank: TankFacts, horizon_d: int, on: date) -> Table:
    """Return what grows in a tank, how fast, and when it passes its agreed height."""
    names = ["area", "plant", "speed", "now", "budget", "passes"]
    told = any(area.forecast.basis != "log" for area in tank.areas)
    names += ["rests"] if told else []
    columns = tuple(
        Column(
            locale.say(f"col_{name}"),
            numeric=name in {"speed", "now", "budget"},
            free=name in {"area", "plant"},
        )
        for name in names
    )
    rows = []
    for area in tank.areas:
        low, middle, high = (locale.number(float(speed), 1) for speed in area.speed)
        unit = "cm" if area.unit == "cm" else "cover"
        rows.append(
            (
                area.label,
                _plant(locale, area.plant, area.common_name),
                locale.say(f"range_speed_{unit}", middle=middle, low=low, high=high),
                standing(locale, area),
                locale.exact(area.forecast.budget_cm, area.unit),
                passes(locale, area, horizon_d, on),
                *([locale.say(f"rests_{area.forecast.basis}")] if told else []),
            )
        )
    return Table(locale.say("areas_caption"), columns, tuple(rows))


def _plant(locale: Locale, plant: str, common_name: str) -> str:
    """Return the botanical name; the common one beside it where the page is in its language."""
    if locale.language != "en" or not common_name:
        return plant
    return f"{plant} ({common_name})"


def visits_table(locale: Locale, visits: Sequence[PlannedVisit]) -> Table:
    """Return the planned visits to a page's tanks."""
    columns = (Column(locale.say("col_date")), Column(locale.say("col_why"), free=True))
    rows = tuple((locale.long_date(visit.on), named(visit.tank_id)) for visit in visits)
    return Table(locale.say("visits_caption"), columns, rows)
