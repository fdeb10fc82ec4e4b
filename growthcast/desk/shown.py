"""What the pages of today and of a tank show, as plain data in the reader's words."""

from __future__ import annotations

from typing import Any

from growthcast.desk.memory import Known
from growthcast.say.locale import Locale, open_locale
from growthcast.say.overview import due_why, growth_words, lead
from growthcast.say.reasons import next_longer_words, reason
from growthcast.say.strip import days_of_100
from growthcast.say.words import named
from growthcast.service.advice import OptionAdvice, TankAdvice
from growthcast.service.pages.course import Course
from growthcast.service.pages.overview import TankStanding

WIDTH, HEIGHT, ROOM_ABOVE = 320.0, 84.0, 1.08
"""The desk's one picture: an area going up with growth and down with each visit."""


def today_shown(known: Known, locale: Locale) -> dict[str, Any]:
    """Return the tanks by urgency: what is due, and why."""
    planned = [s for s in known.standings if s.option is not None or s.due_on is not None]
    tanks = [
        _tank(locale, one, known)
        | {
            "late": one.due_on is not None and one.due_on <= known.on,
            "risk": locale.chance(one.risk) if one.option else "",
        }
        for one in known.standings
    ]
    day = locale.long_date(known.on)
    return {"lead": lead(locale, planned, known.on), "day": day, "tanks": tanks}


def _tank(locale: Locale, one: TankStanding, known: Known) -> dict[str, Any]:
    return {
        "id": one.advice.tank_id,
        "name": named(one.advice.tank_id),
        "client": named(one.advice.client),
        "due": due_why(locale, one, known.on),
        "growth": growth_words(locale, one.growth) if one.growth else "",
    }


def tank_shown(known: Known, tank_id: str, every_d: int) -> dict[str, Any]:
    """Return a tank: its areas, its rhythms with looks, hours and price, and why."""
    locale, standing = open_locale(known.book.practice.locale), known.standing(tank_id)
    assert standing is not None
    advice = standing.advice
    grows = bool(advice.options) and not advice.nothing_holds
    offered = sorted(advice.options, key=lambda one: one.interval_d) if grows else []
    usual = standing.option if grows else None
    option = next((one for one in offered if one.interval_d == every_d), usual)
    options = [_option(known, one, option, advice, locale) for one in offered]
    return {
        "tank": _tank(locale, standing, known),
        "options": options,
        "chosen": next((one for one in options if one["chosen"]), None),
        "areas": [] if option is None else _areas(known, standing, option, locale),
        "why": _why(advice, known.book.practice.currency, locale),
    }


def _why(advice: TankAdvice, currency: str, locale: Locale) -> list[str]:
    """Say why this rhythm, why not longer, and what would allow it."""
    why = [reason(advice, locale)]
    if advice.longer is not None:
        why.append(next_longer_words(advice, advice.longer, currency, locale))
    return [f"{locale.sentence_case(one)}." for one in why]


def _option(
    known: Known,
    one: OptionAdvice,
    chosen: OptionAdvice | None,
    advice: TankAdvice,
    locale: Locale,
) -> dict[str, Any]:
    practice = known.book.practice
    priced = practice.labour_rate_per_h > 0.0
    return {
        "days": one.interval_d,
        "every": locale.count("every", one.interval_d),
        "best": one.interval_d == advice.recommended_interval_d,
        "chosen": chosen is not None and one.interval_d == chosen.interval_d,
        "presentable": days_of_100(locale, one.share_of_days_presentable),
        "chance": locale.chance(one.chance_all_within),
        "minutes": locale.say("minutes", n=locale.number(one.minutes_per_visit)),
        "hours": locale.say("hours", n=locale.number(one.year.hours)),
        "cost": locale.money(one.year.cost, practice.currency) if priced else "",
    }


def _areas(
    known: Known, standing: TankStanding, option: OptionAdvice, locale: Locale
) -> list[dict[str, Any]]:
    species = known.book.species
    plants = dict(zip(species.text("species_id"), species.text("scientific_name"), strict=True))
    areas, drawn = [], known.courses(standing, option)
    for area, saw in zip(option.areas, drawn, strict=True):
        forecast = known.forecasts()[area.area_id]
        low, middle, high = (float(cm) for cm in forecast.height_cm_now)
        is_cut = area.removed_share > 0.005
        areas.append(
            {
                "label": named(area.label),
                "plant": named(plants.get(forecast.species_id, ""), forecast.species_id),
                "now": locale.range(low, middle, high, area.unit),
                "cut": locale.height(area.cut_cm, area.unit) if is_cut else "",
                "within": locale.chance(area.chance_within),
                "saw": saw_lines(saw, forecast.floor_cm, forecast.budget_cm),
            }
        )
    return areas


def saw_lines(saw: Course, floor_cm: float, budget_cm: float) -> dict[str, str]:
    """Return a sawtooth as lines in a picture ``WIDTH`` by ``HEIGHT``, its 80 % range as a band."""
    low, middle, high = (heights.tolist() for heights in saw.height_cm)
    top = ROOM_ABOVE * max(*high, budget_cm)
    days = [WIDTH * day / saw.day[-1] for day in saw.day.tolist()]

    def y(cm: float) -> str:
        return f"{HEIGHT * (1.0 - cm / top):.1f}"

    def points(heights: list[float]) -> list[str]:
        return [f"{x:.1f},{y(cm)}" for x, cm in zip(days, heights, strict=True)]

    return {
        "line": " ".join(points(middle)),
        "band": " ".join([*points(high), *reversed(points(low))]),
        "budget": y(budget_cm),
        "floor": y(floor_cm),
    }
