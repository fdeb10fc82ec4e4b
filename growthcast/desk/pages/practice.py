"""Pages of the practice: today, a tank, the weeks ahead, the watch, and phones."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from itertools import groupby
from typing import Any

import segno
from markupsafe import Markup
from starlette.responses import Response

from growthcast.desk.memory import PLANS, Known
from growthcast.desk.pages.asked import Asked, NotThere, download
from growthcast.desk.pages.visits import logged
from growthcast.figures.drawn import Frame
from growthcast.say.card import rounds_ics
from growthcast.say.locale import open_locale
from growthcast.say.overview import lead
from growthcast.say.reasons import next_longer_words, reason
from growthcast.say.rounds import hours_of, monday_of, rounds_notes
from growthcast.say.words import capital, named
from growthcast.service.pages.client import Course

WIDTH, HEIGHT, ROOM_ABOVE = 320.0, 84.0, 1.08
"""The desk's one picture: an area going up with growth and down with each visit."""


def tank_shown(known: Known, tank_id: str, every_d: int) -> dict[str, Any]:
    """Return a tank: its areas with their saws, its rhythms, the chosen one, and why."""
    locale, standing = open_locale(known.book.practice.locale), known.standings[tank_id]
    advice, practice = standing.advice, known.book.practice
    grows = bool(advice.options) and not advice.nothing_holds
    offered = sorted(advice.options, key=lambda one: one.interval_d) if grows else []
    usual = standing.option if grows else None
    chosen = next((one for one in offered if one.interval_d == every_d), usual)
    areas, plants, why = [], known.plants(), [reason(advice, locale)]
    if chosen is not None:
        for area, course in zip(chosen.areas, known.courses(standing, chosen), strict=True):
            look = known.forecasts[area.area_id]
            plant = named(plants.get(look.species_id, ""), look.species_id)
            saw = saw_lines(course, look.floor_cm, look.budget_cm)
            areas.append((area, plant, [float(cm) for cm in look.height_cm_now], saw))
    if advice.longer is not None:
        why.append(next_longer_words(advice, advice.longer, practice.currency, locale))
    return {
        "one": standing,
        "options": offered,
        "chosen": chosen,
        "areas": areas,
        "why": [f"{capital(sentence)}." for sentence in why],
    }


def saw_lines(saw: Course, floor_cm: float, budget_cm: float) -> dict[str, str]:
    """Return a sawtooth as lines in a picture ``WIDTH`` by ``HEIGHT``, its 80 % range as a band."""
    day, (low, middle, high) = saw.day, saw.height_cm
    top = ROOM_ABOVE * max(float(high.max()), budget_cm)
    frame = Frame(0.0, WIDTH, 0.0, HEIGHT, 0.0, float(day[-1]), top)
    return {
        "line": frame.points(day, middle),
        "band": f"{frame.points(day, high)} {frame.points(day[::-1], low[::-1])}",
        "budget": f"{frame.y(budget_cm):.1f}",
        "floor": f"{frame.y(floor_cm):.1f}",
    }


def today(asked: Asked) -> Response:
    """Show the tanks by urgency: what is due, why, and a button to visit."""
    known, locale = asked.known, asked.locale
    standings = known.standings.values()
    planned = [s for s in standings if s.option is not None or s.due_on is not None]
    said = lead(locale, planned, known.on)
    return asked.page("today.html", logged=logged(asked), lead=said)


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
    shown, ids = [], [window.tank_id for window in plan.tanks]
    for monday, visits in groupby(plan.visits, key=lambda one: monday_of(one.on)):
        days = [(on, list(of_day)) for on, of_day in groupby(visits, key=lambda one: one.on)]
        shown.append((monday, hours_of(plan, monday), days))
    notes = [f"{capital(note, ids)}." for note in rounds_notes(plan, locale)]
    given: dict[str, Any] = {"weeks": shown, "choices_of": sorted(PLANS), "plan": plan}
    return asked.page("weeks.html", number=number, notes=notes, **given)


def calendar(asked: Asked) -> Response:
    """Send the visits planned as a file for a calendar."""
    plan = asked.known.plan(asked.choice("weeks", PLANS, PLANS[0]))
    written, _ = rounds_ics(plan, datetime.now(UTC), asked.locale)
    return download(written, "text/calendar", "rounds.ics")


def watch(asked: Asked) -> Response:
    """Show how every tank grows against usual, and what to check where one has changed."""
    report, latin = asked.known.soon(Known.watched), asked.known.plants()
    findings = [
        replace(one, name=latin[one.species_id] or one.species_id) if one.kind == "species" else one
        for one in report.findings
    ]
    tanks = sorted(report.tanks, key=lambda one: not one.findings)
    return asked.page("watch.html", tanks=tanks, findings=findings, report=report)


def phones(asked: Asked, code: str = "") -> Response:
    """Show how a phone is let in, and which are."""
    if asked.share is None:
        raise NotThere(asked.locale.say("desk_not_shared"))
    drawn = Markup(segno.make(code).svg_inline(omitsize=True)) if code else ""
    return asked.page("phones.html", code=code, drawn=drawn)


def new_code(asked: Asked) -> Response:
    """Make a code to scan, for one phone and a few minutes."""
    return phones(asked, asked.share.new_code() if asked.share else "")
