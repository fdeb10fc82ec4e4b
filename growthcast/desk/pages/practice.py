"""Pages of the practice: today, a tank, the weeks ahead, the watch, and phones."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from itertools import groupby
from typing import Any

import segno
from markupsafe import Markup
from starlette.responses import Response

from growthcast.desk.memory import PLANS, Known
from growthcast.desk.pages.asked import Asked, NotThere, download
from growthcast.desk.pages.visits import logged
from growthcast.say.calendar import rounds_ics
from growthcast.say.locale import Locale, open_locale
from growthcast.say.overview import due_why, growth_words, lead
from growthcast.say.reasons import next_longer_words, reason
from growthcast.say.rounds import rounds_notes
from growthcast.say.strip import days_of_100
from growthcast.say.watch import checks_for, noticed_sentence, tank_sentence
from growthcast.say.words import capital, named
from growthcast.service.advice import OptionAdvice, TankAdvice
from growthcast.service.pages.course import Course
from growthcast.service.pages.overview import TankStanding
from growthcast.service.rounds.plan import LateVisit, PlannedVisit
from growthcast.service.watch.report import Finding

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
    plants, areas, drawn = known.plants(), [], known.courses(standing, option)
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


def today(asked: Asked) -> Response:
    """Show the tanks by urgency: what is due, why, and a button to visit."""
    return asked.page("today.html", logged=logged(asked), **today_shown(asked.known, asked.locale))


def tank(asked: Asked) -> Response:
    """Show a tank: its areas, its rhythm as a choice, looks, hours and price at once."""
    advice = asked.standing(asked.get("id")).advice
    every = asked.choice("every", [one.interval_d for one in advice.options], 0)
    shown = asked.known.soon(tank_shown, advice.tank_id, every)
    return asked.page("tank.html", logged=logged(asked, advice.tank_id), **shown)


def weeks(asked: Asked) -> Response:
    """Show the visits planned, week by week and day by day, late ones marked."""
    number = asked.choice("weeks", PLANS, PLANS[0])
    plan, locale = asked.known.soon(Known.plan, number), asked.locale
    minutes = dict(zip(plan.dates, plan.minutes_per_day, strict=True))
    by_week: dict[date, list[PlannedVisit]] = defaultdict(list)
    for visit in plan.visits:
        by_week[visit.on - timedelta(days=visit.on.weekday())].append(visit)
    shown, ids = [], [window.tank_id for window in plan.tanks]
    for monday, visits in by_week.items():
        week = [day for day in minutes if 0 <= (day - monday).days < 7]
        hours = sum(minutes[day] for day in week) / 60.0, len(week) * plan.hours_per_day
        days = groupby(visits, key=lambda one: one.on)
        shown.append(
            {
                "title": locale.say("desk_week", date=locale.long_date(monday)),
                "hours": locale.say(
                    "desk_of_hours", used=locale.number(hours[0], 1), all=locale.number(hours[1], 1)
                ),
                "days": [
                    (locale.full_date(on), [_planned(locale, one) for one in of_day])
                    for on, of_day in days
                ],
            }
        )
    return asked.page(
        "weeks.html",
        weeks=shown,
        number=number,
        choices_of=sorted(PLANS),
        late=[_late(locale, one) for one in plan.late],
        over=locale.number(plan.area_days_over, 1),
        notes=[f"{capital(note, ids)}." for note in rounds_notes(plan, locale)],
    )


def _planned(locale: Locale, visit: PlannedVisit) -> dict[str, Any]:
    late = locale.say("desk_days_late", days=locale.count("day", visit.days_late))
    where = dict.fromkeys(named(part) for part in (visit.client, visit.site) if part)
    return {
        "id": visit.tank_id,
        "name": named(visit.tank_id),
        "where": ", ".join(where),
        "minutes": locale.say("minutes", n=locale.number(visit.minutes)),
        "due": locale.short_date(visit.due_on),
        "why": locale.say(f"desk_by_{visit.due_by}"),
        "over": locale.chance(visit.chance_over),
        "late": late if visit.days_late else "",
    }


def _late(locale: Locale, one: LateVisit) -> str:
    """Say what a late visit loses, in numbers."""
    return locale.say(
        "desk_late_without" if one.on is None else "desk_late_visit",
        tank=named(one.tank_id),
        due=locale.short_date(one.due_on),
        on="" if one.on is None else locale.short_date(one.on),
        before=locale.chance(one.chance_over_when_due),
        over=locale.chance(one.chance_over),
        days=locale.number(one.area_days_over, 1),
    )


def calendar(asked: Asked) -> Response:
    """Send the visits planned as a file for a calendar."""
    plan = asked.known.plan(asked.choice("weeks", PLANS, PLANS[0]))
    written, _ = rounds_ics(plan, datetime.now(UTC), asked.locale)
    return download(written, "text/calendar", "rounds.ics")


def watch(asked: Asked) -> Response:
    """Show how every tank grows against usual, and what to check where one has changed."""
    report, locale = asked.known.soon(Known.watched), asked.locale
    plants, tanks = asked.known.plants(), []
    for one in report.tanks:
        recent, verdict = one.recent, "waiting"
        if recent is not None:
            verdict = "changed" if one.findings else recent.standing.replace(" ", "_")
        usual = [] if recent is None else [recent.usual_low, recent.usual_high]
        tanks.append(
            {
                "id": one.tank_id,
                "name": named(one.tank_id),
                "growth": "" if recent is None else growth_words(locale, recent),
                "usual": "–".join(locale.share(end) for end in usual),
                "visits": locale.number(one.visits),
                "verdict": locale.say(f"desk_grows_{verdict}"),
                "changed": bool(one.findings),
                "why": tank_sentence(one, locale) if recent is None else "",
            }
        )
    return asked.page(
        "watch.html",
        tanks=sorted(tanks, key=lambda one: not one["changed"]),
        findings=[_changed(locale, one, plants) for one in report.findings],
        alarms=locale.number(report.false_alarms_a_year, 1),
        usual_until="" if report.usual_until is None else locale.long_date(report.usual_until),
    )


def _changed(locale: Locale, one: Finding, plants: Mapping[str, str]) -> dict[str, Any]:
    """Say what has changed, of a species under its botanical name, and what to check."""
    if one.kind == "species":
        one = replace(one, name=plants[one.species_id] or one.species_id)
    return {
        "where": ", ".join(map(named, one.tank_ids)),
        "said": locale.sentence_case(noticed_sentence(one, locale)),
        "checks": checks_for(one, locale),
    }


def phones(asked: Asked, code: str = "") -> Response:
    """Show how a phone is let in, and which are."""
    if asked.share is None:
        raise NotThere(asked.locale.say("desk_not_shared"))
    return asked.page(
        "phones.html",
        address=asked.share.address,
        code=code,
        drawn=Markup(segno.make(code).svg_inline(omitsize=True)) if code else "",
        phones=asked.share.phones(),
    )


def new_code(asked: Asked) -> Response:
    """Make a code to scan, for one phone and a few minutes."""
    return phones(asked, asked.share.new_code() if asked.share else "")
