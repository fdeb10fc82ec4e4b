"""The practice on one page: every tank by urgency, with small pictures of its areas."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from growthcast.book.book import Book
from growthcast.book.checks.rounds import ClosedTime, closed_times, open_before, open_from
from growthcast.brief.letterhead import foot_of, letterhead_of
from growthcast.brief.page import (
    Block,
    Column,
    Heading,
    Page,
    Paragraph,
    Picture,
    Pictures,
    Table,
    named,
)
from growthcast.figures.pages import spark_picture
from growthcast.finite import finite_answer
from growthcast.fit.result import GrowthFit
from growthcast.forecast.report import AreaForecast, as_date, forecast_growth
from growthcast.say.locale import Locale
from growthcast.service.advice import OptionAdvice, TankAdvice
from growthcast.service.recommend import recommend
from growthcast.service.urgency import Due, chance_some_area_over, rhythms
from growthcast.service.watch.report import IndexPoint
from growthcast.service.watch.watch import watch_growth

__all__ = ["TankStanding", "build_overview", "tank_standings"]


SOON_D = 7
MOST_DRAWN = 40
"""Tanks of a large practice whose areas are drawn."""
DRAWN_D, DRAWN_EVERY_D = 28, 2
MONTHS_A_YEAR = 12.0


@dataclass(frozen=True, slots=True)
class TankStanding:
    """One tank on the day: its advice, the option worked to, when it is due, its risk and growth.

    ``due_on`` is None where no visit is planned, ``due_by`` tells by what it is due.
    ``risk`` is the chance that some area stands over its budget a week from the day; ``growth`` the
    growth against usual, as ``watch`` tells it (None: too few visits).
    """

    advice: TankAdvice
    place: int
    option: OptionAdvice | None
    due_on: date | None
    due_by: str
    risk: float
    growth: IndexPoint | None


@finite_answer
def tank_standings(book: Book, fit: GrowthFit) -> list[TankStanding]:
    """Return how every tank stands, the most urgent first.

    A tank is due as in ``growthcast rounds`` (see ``Due``), on a day on which it can be visited.
    """
    on = as_date(fit.design.on_day)
    tanks = np.arange(len(book.tanks))
    horizon = book.practice.horizon_d
    chances = chance_some_area_over(fit, tanks, np.arange(max(horizon, SOON_D) + 1))
    growth = {one.tank_id: one.recent for one in watch_growth(book, on, tanks).tanks}
    every, standings, closed = recommend(book, fit), [], closed_times(book)
    for place, (advice, rhythm) in enumerate(
        zip(every, rhythms(book, fit, every, fit.design.on_day), strict=True)
    ):
        days = advice.recommended_interval_d
        options = sorted(advice.options, key=lambda o: o.interval_d)
        chosen = next((o for o in options if o.interval_d == days), options[0] if options else None)
        due = rhythm.due(1.0 - chances[place], advice.confidence)
        standings.append(
            TankStanding(
                advice=advice,
                place=place,
                option=chosen,
                due_on=None if due is None else _due_on(due, on, closed.get(advice.tank_id, ())),
                due_by="" if due is None else due.by,
                risk=float(chances[place, SOON_D]),
                growth=growth[advice.tank_id],
            )
        )
    return sorted(
        standings,
        key=lambda s: (s.due_on or date.max, -s.risk, s.advice.tank_id),
    )


def _due_on(due: Due, on: date, closed: tuple[ClosedTime, ...]) -> date:
    """Return the day by which to come; what a chance says is due today at the earliest."""
    day = on + timedelta(days=max(due.day_d, 0) if due.by == "chance" else due.day_d)
    return day if day < on else open_before(closed, day, on) or open_from(closed, day)


def build_overview(book: Book, fit: GrowthFit, locale: Locale) -> Page:
    """Build the practice's own page.

    Parameters
    ----------
    book : Book
        The book.
    fit : GrowthFit
        Its fit.
    locale : Locale
        How its reader writes.

    Returns
    -------
    Page
        The page's content.
    """
    on = as_date(fit.design.on_day)
    standings = tank_standings(book, fit)
    planted = [standing for standing in standings if standing.option is not None]
    planned = [s for s in standings if s.option is not None or s.due_on is not None]
    blocks: list[Block] = [Paragraph(_lead(locale, planned, on), "lead")]
    hours = sum(s.option.year.hours for s in planted if s.option is not None) / MONTHS_A_YEAR
    blocks += [
        Heading(locale.say("overview_heading")),
        _table(locale, standings, on),
        Paragraph(locale.say("total_month", hours=locale.number(hours, 1))),
        Paragraph(locale.say("growth_note", date=locale.long_date(on)), "note"),
    ]
    blocks += _small_pictures(book, fit, locale, planted)
    return Page(
        language=locale.language,
        title=locale.say("overview_title"),
        under_title="",
        day=on.isoformat(),
        letterhead=letterhead_of(book.practice, book.folder),
        blocks=tuple(blocks),
        foot=foot_of(book, locale, on),
    )


def _lead(locale: Locale, planted: list[TankStanding], on: date) -> str:
    if not planted:
        return locale.say("overview_lead_empty", date=locale.long_date(on))
    until = on + timedelta(days=SOON_D)
    due = [s for s in planted if s.due_on is not None and s.due_on <= until]
    first = planted[0]
    said = {"date": locale.long_date(until), "tank": named(first.advice.tank_id)}
    if not due:
        day = locale.say("due_none") if first.due_on is None else locale.long_date(first.due_on)
        return locale.say("overview_lead_none", next=day, **said)
    ways = [s.due_by for s in due]
    by = ", ".join(
        locale.say("due_count", n=locale.number(ways.count(way)), by=locale.say(f"due_by_{way}"))
        for way in dict.fromkeys(ways)
    )
    counts = {"due": locale.number(len(due)), "all": locale.number(len(planted))}
    return locale.say("overview_lead", by=by, **counts, **said)


def _table(locale: Locale, standings: list[TankStanding], on: date) -> Table:
    names = ("tank", "client", "interval", "due", "limits", "risk", "month", "growth")
    columns = tuple(
        Column(
            locale.say(f"col_{name}"),
            numeric=name in {"risk", "month"},
            free=name in {"tank", "client", "limits"},
        )
        for name in names
    )
    return Table(
        locale.say("overview_caption"),
        columns,
        tuple(_row(locale, standing, on) for standing in standings),
    )


def _row(locale: Locale, standing: TankStanding, on: date) -> tuple[str, ...]:
    advice, option, none = standing.advice, standing.option, locale.say("due_none")
    head = (named(advice.tank_id), named(advice.client))
    if option is None:
        return (*head, none, _due_words(locale, standing, on), none, none, none, none)
    days = advice.recommended_interval_d
    labels = {area.area_id: named(area.label, area.area_id) for area in option.areas}
    limits = locale.say("limit_none") if advice.limited_by is None else ""
    growth = standing.growth
    return (
        *head,
        locale.say("no_listed") if days is None else locale.say("days_short", n=str(days)),
        _due_words(locale, standing, on),
        limits or labels.get(str(advice.limited_by), str(advice.limited_by)),
        locale.chance(standing.risk),
        locale.number(option.year.hours / MONTHS_A_YEAR, 1),
        none
        if growth is None
        else locale.say(
            "growth_range",
            middle=locale.share(growth.growth),
            low=locale.number(100.0 * growth.low),
            high=locale.share(growth.high),
        ),
    )


def _due_words(locale: Locale, standing: TankStanding, on: date) -> str:
    if standing.due_on is None:
        return locale.say("due_none")
    key = "due_overdue" if standing.due_on < on else "due_on"
    by = locale.say(f"due_by_{standing.due_by}")
    return locale.say(key, date=locale.short_date(standing.due_on), by=by)


def _small_pictures(
    book: Book, fit: GrowthFit, locale: Locale, planted: list[TankStanding]
) -> list[Block]:
    """Draw the areas of the most urgent tanks."""
    shown = planted[:MOST_DRAWN]
    if not shown:
        return []
    on = as_date(fit.design.on_day)
    reach = min(DRAWN_D, book.practice.horizon_d)
    steps = math.ceil(reach / DRAWN_EVERY_D)
    ahead = sorted({*(min(k * DRAWN_EVERY_D, reach) for k in range(steps + 1))})
    at = tuple(on + timedelta(days=d) for d in ahead)
    tanks = np.array(sorted(standing.place for standing in shown))
    by_tank: dict[str, list[AreaForecast]] = {}
    for forecast in forecast_growth(fit, at, book.practice.horizon_d, tanks):
        by_tank.setdefault(forecast.tank_id, []).append(forecast)
    labels = dict(zip(book.areas.text("area_id"), book.areas.text("label"), strict=True))
    blocks: list[Block] = [
        Heading(locale.say("areas_small_heading")),
        Paragraph(locale.say("areas_small_note", days=locale.number(reach)), "note"),
    ]
    if len(shown) < len(planted):
        counts = {"shown": locale.number(len(shown)), "all": locale.number(len(planted))}
        blocks.append(Paragraph(locale.say("areas_small_cut", **counts), "note"))
    for standing in shown:
        name = standing.advice.tank_id
        pictures = tuple(
            _spark(locale, area, named(labels[area.area_id], area.area_id), book, on)
            for area in by_tank[name]
        )
        blocks += [Heading(named(name), 3), Pictures(pictures, "", columns=5)]
    return blocks


def _spark(locale: Locale, area: AreaForecast, label: str, book: Book, on: date) -> Picture:
    unit = "% cover" if area.is_cover else "cm"
    now = locale.height(float(area.height_cm_now[1]), unit)
    passes = _passes(locale, area, unit, book.practice.horizon_d, on)
    alternative = locale.say(
        "spark_alt",
        area=label,
        now=now,
        budget=locale.exact(area.budget_cm, unit),
        floor=locale.exact(area.floor_cm, unit),
        passes=passes,
    )
    below = locale.say("spark_caption", now=now, passes=passes)
    return Picture(spark_picture(area, label, alternative), label, below, alternative)


def _passes(locale: Locale, area: AreaForecast, unit: str, horizon_d: int, on: date) -> str:
    early, middle, late = area.passes_budget_on
    budget = locale.exact(area.budget_cm, unit)
    last = on + timedelta(days=horizon_d)
    if early is None:
        return locale.say("spark_stays", budget=budget, days=locale.count("day", horizon_d))
    if late is not None and late <= on:
        return locale.say("spark_over", budget=budget)
    if middle is not None and middle <= on:
        return locale.say("spark_maybe_over", budget=budget)
    if middle is None:
        return locale.say("spark_from", budget=budget, when=locale.short_date(early))
    high = locale.short_date(late) if late else locale.say("after", date=locale.short_date(last))
    low = locale.short_date(early)
    when = locale.say("passes_range", middle=locale.short_date(middle), low=low, high=high)
    return locale.say("spark_passes", budget=budget, when=when)
