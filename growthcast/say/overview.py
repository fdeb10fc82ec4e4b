"""The sentences of the practice's own page."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from datetime import date, timedelta

from growthcast.say.locale import Locale
from growthcast.say.words import named
from growthcast.service.pages.overview import SOON_D, DayOff, TankStanding
from growthcast.service.watch.readings import IndexPoint

MONTHS_A_YEAR = 12.0


def lead(locale: Locale, planned: Sequence[TankStanding], on: date) -> str:
    """Return how many tanks are due soon, and which is the most urgent."""
    if not planned:
        return locale.say("overview_lead_empty", on=on)
    until = on + timedelta(days=SOON_D)
    blanks = {"until": until, "tank": named(planned[0].advice.tank_id)}
    due = [s for s in planned if s.due_on is not None and s.due_on <= until]
    if not due:
        return locale.say("overview_lead_none", next=planned[0].due_on, **blanks)
    ways = Counter(locale.say(f"due_by_{s.due_by}") for s in due).items()
    by = ", ".join(locale.say("due_count", n=n, by=way) for way, n in ways)
    return locale.say("overview_lead", by=by, due=len(due), all=len(planned), **blanks)


def due_words(locale: Locale, standing: TankStanding) -> str:
    """Return the day by which to visit a tank, and why."""
    if standing.due_on is None:
        return locale.say("due_none")
    return locale.say("due_on", standing=standing, by=locale.say(f"due_by_{standing.due_by}"))


def month_words(locale: Locale, hours: float, cost: float) -> str:
    """Return what hours and cost of a year come to in a month; no cost without a price."""
    said = locale.say("hours", n=locale.number(hours / MONTHS_A_YEAR, 1))
    return f"{said}, {locale.money(cost / MONTHS_A_YEAR)}" if locale.currency else said


def off_words(locale: Locale, days: Sequence[DayOff]) -> tuple[str, ...]:
    """Return the days ahead on which somebody cannot be visited, those of a kind in a sentence."""
    by_kind: dict[tuple[str, tuple[str, ...]], list[str]] = {}
    for off in days:
        when = locale.short_date(off.first)
        if off.last != off.first:
            when = locale.say("off_times", first=when, last=locale.short_date(off.last))
        said = f"{when} ({off.name})" if off.name else when
        by_kind.setdefault((off.kind, off.tanks), []).append(said)
    sentences = []
    for (kind, tanks), times in by_kind.items():
        whose = locale.listed([*map(named, tanks)])
        sentences.append(locale.say(f"off_{kind}", days=locale.listed(times), tanks=whose))
    return tuple(sentences) or (locale.say("off_none"),)


def due_why(locale: Locale, standing: TankStanding, on: date) -> str:
    """Return the day by which to visit a tank, and why, as a clause."""
    if standing.due_on is None:
        return locale.say("desk_none")
    key = "desk_overdue" if standing.due_on < on else "desk_due"
    why = locale.say(f"desk_by_{standing.due_by}")
    return locale.say(key, date=locale.short_date(standing.due_on), why=why)


def growth_words(locale: Locale, growth: IndexPoint | None) -> str:
    """Return growth against usual with its range."""
    if growth is None:
        return locale.say("due_none")
    low, high = locale.number(100.0 * growth.low), locale.share(growth.high)
    return locale.say("range", middle=locale.share(growth.growth), low=low, high=high)
