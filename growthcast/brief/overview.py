"""The practice on one page: every tank by urgency, with small pictures of its areas."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np

from growthcast.book.book import Book
from growthcast.brief.letterhead import foot_of, letterhead_of
from growthcast.brief.page import (
    Block,
    Heading,
    Page,
    Paragraph,
    Picture,
    Pictures,
    Table,
    columns,
)
from growthcast.figures.pages import spark_picture
from growthcast.fit.result import GrowthFit
from growthcast.forecast.report import AreaForecast, as_date, forecast_growth
from growthcast.say.client import passes
from growthcast.say.locale import Locale
from growthcast.say.overview import due_words, growth_words, lead
from growthcast.say.words import named
from growthcast.service.pages.overview import TankStanding, tank_standings

MOST_DRAWN = 40
"""Tanks of a large practice whose areas are drawn."""
DRAWN_D, DRAWN_EVERY_D = 28, 2
MONTHS_A_YEAR = 12.0


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
    planned = [s for s in standings if s.option is not None or s.due_on is not None]
    hours = sum(s.option.year.hours for s in standings if s.option is not None) / MONTHS_A_YEAR
    blocks: list[Block] = [
        Paragraph(lead(locale, planned, on), "lead"),
        Heading(locale.say("overview_heading")),
        _table(locale, standings, on),
        Paragraph(locale.say("total_month", hours=locale.number(hours, 1))),
        Paragraph(locale.say("growth_note", date=locale.long_date(on)), "note"),
    ]
    if planted := [standing for standing in standings if standing.option is not None]:
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


def _table(locale: Locale, standings: Sequence[TankStanding], on: date) -> Table:
    names = "tank client interval due limits risk month growth"
    heads = columns(locale, "col", names, "risk month", "tank client limits")
    rows = tuple(_row(locale, standing, on) for standing in standings)
    return Table(locale.say("overview_caption"), heads, rows)


def _row(locale: Locale, standing: TankStanding, on: date) -> tuple[str, ...]:
    advice, option, none = standing.advice, standing.option, locale.say("due_none")
    head, due = (named(advice.tank_id), named(advice.client)), due_words(locale, standing, on)
    if option is None:
        return (*head, none, due, none, none, none, none)
    days, limit = advice.recommended_interval_d, advice.limited_by
    labels = {area.area_id: named(area.label, area.area_id) for area in option.areas}
    return (
        *head,
        locale.say("no_listed") if days is None else locale.say("days_short", n=str(days)),
        due,
        locale.say("limit_none") if limit is None else labels.get(limit, limit),
        locale.chance(standing.risk),
        locale.number(option.year.hours / MONTHS_A_YEAR, 1),
        growth_words(locale, standing.growth),
    )


def _small_pictures(
    book: Book, fit: GrowthFit, locale: Locale, planted: Sequence[TankStanding]
) -> list[Block]:
    """Draw the areas of the most urgent tanks."""
    on, horizon = as_date(fit.design.on_day), book.practice.horizon_d
    shown = planted[:MOST_DRAWN]
    reach = min(DRAWN_D, horizon)
    steps = math.ceil(reach / DRAWN_EVERY_D)
    at = tuple(on + timedelta(days=min(k * DRAWN_EVERY_D, reach)) for k in range(steps + 1))
    tanks = np.array(sorted(standing.place for standing in shown))
    labels = dict(zip(book.areas.text("area_id"), book.areas.text("label"), strict=True))
    by_tank: dict[str, list[Picture]] = {}
    for area in forecast_growth(fit, at, horizon, tanks):
        picture = _spark(locale, area, named(labels[area.area_id], area.area_id), horizon, on)
        by_tank.setdefault(area.tank_id, []).append(picture)
    blocks: list[Block] = [
        Heading(locale.say("areas_small_heading")),
        Paragraph(locale.say("areas_small_note", days=locale.number(reach)), "note"),
    ]
    if len(shown) < len(planted):
        counts = {"shown": locale.number(len(shown)), "all": locale.number(len(planted))}
        blocks.append(Paragraph(locale.say("areas_small_cut", **counts), "note"))
    for standing in shown:
        name = standing.advice.tank_id
        blocks += [Heading(named(name), 3), Pictures(tuple(by_tank[name]), "", columns=5)]
    return blocks


def _spark(locale: Locale, area: AreaForecast, label: str, horizon_d: int, on: date) -> Picture:
    unit = "% cover" if area.is_cover else "cm"
    blanks = {
        "area": label,
        "now": locale.height(float(area.height_cm_now[1]), unit),
        "budget": locale.exact(area.budget_cm, unit),
        "floor": locale.exact(area.floor_cm, unit),
        "passes": passes(locale, "spark", area, horizon_d, on),
    }
    alternative = locale.say("spark_alt", **blanks)
    svg = spark_picture(area, label, alternative)
    return Picture(svg, label, locale.say("spark_caption", **blanks), alternative)
