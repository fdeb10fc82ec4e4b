"""The practice on one page: every tank by urgency, with small pictures of its areas."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np

from growthcast.book.book import Book
from growthcast.brief import page
from growthcast.brief.letterhead import page_of
from growthcast.figures.drawn import spark_picture
from growthcast.fit.result import GrowthFit
from growthcast.forecast.report import AreaForecast, as_date, forecast_growth
from growthcast.say.forecast import passes
from growthcast.say.locale import Locale
from growthcast.say.overview import due_words, growth_words, lead, month_words, off_words
from growthcast.say.words import named
from growthcast.service.pages.overview import TankStanding, days_off

MOST_DRAWN = 40
"""Tanks of a large practice whose areas are drawn."""
DRAWN_D, DRAWN_EVERY_D = 28, 2


def build_overview(
    book: Book, fit: GrowthFit, standings: Sequence[TankStanding], locale: Locale
) -> page.Page:
    """Build the practice's own page.

    Parameters
    ----------
    book : Book
        The book.
    fit : GrowthFit
        Its fit.
    standings : sequence of TankStanding
        How every tank stands, the most urgent first.
    locale : Locale
        How its reader writes.

    Returns
    -------
    Page
        The page's content.
    """
    on = as_date(fit.design.on_day)
    planned = [s for s in standings if s.option is not None or s.due_on is not None]
    years = [s.option.year for s in standings if s.option is not None]
    hours, cost = sum(year.hours for year in years), sum(year.cost for year in years)
    blocks: list[page.Block] = [
        page.Paragraph(lead(locale, planned, on), "lead"),
        page.Heading(locale.say("overview_heading")),
        _table(locale, standings),
        page.Paragraph(locale.say("total_month", month=month_words(locale, hours, cost))),
        page.Paragraph(locale.say("growth_note", date=locale.long_date(on)), "note"),
        page.Heading(locale.say("off_heading", days=locale.number(DRAWN_D))),
        page.Items(off_words(locale, days_off(book, on, DRAWN_D, locale.language))),
    ]
    if planted := [standing for standing in standings if standing.option is not None]:
        blocks += _small_pictures(book, fit, locale, planted)
    return page_of(book, locale, on, locale.say("overview_title"), "", blocks)


def _table(locale: Locale, standings: Sequence[TankStanding]) -> page.Table:
    names = "tank state due where interval limits risk month growth"
    heads = page.columns(locale, names, "risk month", "tank where limits")
    rows = tuple(_row(locale, standing) for standing in standings)
    return page.Table(locale.say("overview_caption"), heads, rows)


def _row(locale: Locale, standing: TankStanding) -> tuple[str, ...]:
    advice, option, none = standing.advice, standing.option, locale.say("due_none")
    whose = ", ".join(named(part) for part in (standing.site, advice.client) if part)
    state, due = locale.say(f"state_{standing.state}"), due_words(locale, standing)
    head = (named(advice.tank_id), state, due, whose)
    if option is None:
        return (*head, none, none, none, none, none)
    days, limit = advice.recommended_interval_d, advice.limited_by
    labels = {area.area_id: named(area.label, area.area_id) for area in option.areas}
    return (
        *head,
        locale.say("no_listed") if days is None else locale.say("days_short", n=str(days)),
        locale.say("limit_none") if limit is None else labels.get(limit, limit),
        locale.chance(standing.risk),
        month_words(locale, option.year.hours, option.year.cost),
        growth_words(locale, standing.growth),
    )


def _small_pictures(
    book: Book, fit: GrowthFit, locale: Locale, planted: Sequence[TankStanding]
) -> list[page.Block]:
    """Draw the areas of the most urgent tanks."""
    on, horizon = as_date(fit.design.on_day), book.practice.horizon_d
    shown = planted[:MOST_DRAWN]
    reach = min(DRAWN_D, horizon)
    steps = math.ceil(reach / DRAWN_EVERY_D)
    at = tuple(on + timedelta(days=min(k * DRAWN_EVERY_D, reach)) for k in range(steps + 1))
    tanks = np.array(sorted(standing.place for standing in shown))
    labels = dict(zip(book.areas.text("area_id"), book.areas.text("label"), strict=True))
    visits = {standing.advice.tank_id: _visits(standing, on, reach) for standing in shown}
    by_tank: dict[str, list[page.Picture]] = {}
    for area in forecast_growth(fit, at, horizon, tanks):
        label = named(labels[area.area_id], area.area_id)
        picture = _spark(locale, area, label, horizon, visits[area.tank_id])
        by_tank.setdefault(area.tank_id, []).append(picture)
    blocks: list[page.Block] = [
        page.Heading(locale.say("areas_small_heading")),
        page.Paragraph(locale.say("areas_small_note", days=locale.number(reach)), "note"),
    ]
    if len(shown) < len(planted):
        counts = {"shown": locale.number(len(shown)), "all": locale.number(len(planted))}
        blocks.append(page.Paragraph(locale.say("areas_small_cut", **counts), "note"))
    for standing in shown:
        name = standing.advice.tank_id
        blocks += [page.Heading(named(name), 3), page.Pictures(tuple(by_tank[name]), "", columns=4)]
    return blocks


def _visits(standing: TankStanding, on: date, days: int) -> list[date]:
    """Visits of the days ahead at the tank's rhythm, one that is overdue on the first of them."""
    first, option = standing.due_on, standing.option
    if first is None or option is None:
        return []
    dates = (max(first, on) + timedelta(days=k) for k in range(0, days, option.interval_d))
    return [day for day in dates if (day - on).days <= days]


def _spark(
    locale: Locale, area: AreaForecast, label: str, horizon_d: int, visits: Sequence[date]
) -> page.Picture:
    unit = "% cover" if area.is_cover else "cm"
    blanks = {
        "area": label,
        "now": locale.height(float(area.height_cm_now[1]), unit),
        "budget": locale.exact(area.budget_cm, unit),
        "floor": locale.exact(area.floor_cm, unit),
        "passes": passes(locale, "spark", area, area.at[0], horizon_d),
    }
    alternative = locale.say("spark_alt", **blanks)
    words = locale.short_date(area.at[0]), locale.short_date(area.at[-1]), locale.share(1.0)
    svg = spark_picture(area, visits, words, label, alternative)
    return page.Picture(svg, label, locale.say("spark_caption", **blanks), alternative)
