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
from growthcast.desk.shown import tank_shown, today_shown
from growthcast.say.card import rounds_ics
from growthcast.say.locale import Locale
from growthcast.say.overview import growth_words
from growthcast.say.rounds import rounds_notes
from growthcast.say.watch import checks_for, noticed_sentence, tank_sentence
from growthcast.say.words import capital, named
from growthcast.service.rounds.plan import LateVisit, PlannedVisit
from growthcast.service.watch.report import Finding


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
