"""A client's page: how often to visit, what it costs, and what it buys."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from growthcast.arrays import IntArray
from growthcast.book.book import Book
from growthcast.brief.letterhead import foot_of, letterhead_of
from growthcast.brief.page import (
    Block,
    Heading,
    Items,
    Page,
    Paragraph,
    Picture,
    Pictures,
    Table,
    columns,
)
from growthcast.brief.visits import PlannedVisit
from growthcast.errors import UsageError
from growthcast.figures.lettering import drawable
from growthcast.figures.pages import CostPoint, SawtoothWords, cost_picture, sawtooth_picture
from growthcast.fit.result import GrowthFit
from growthcast.forecast.report import as_date
from growthcast.say.client import (
    area_name,
    bare_words,
    cautions,
    chance_words,
    conclusion,
    cost_sentences,
    days_of_100,
    difference,
    passes,
    record_sentences,
    sawtooth_caption,
    sawtooth_sentence,
    unknowns,
)
from growthcast.say.locale import Locale
from growthcast.say.reasons import reason
from growthcast.say.words import named
from growthcast.service.advice import OptionAdvice
from growthcast.service.pages.client import AreaFacts, TankFacts, gather_tank
from growthcast.service.pages.record import Record, past_records

MOST_VISITS = 12
WORTH_A_NOTE = 0.01
"""Shorter rhythms that look this much worse than the recommended one are explained."""
ROOM_ABOVE = 1.06


def build_brief(
    book: Book,
    fit: GrowthFit,
    tanks: IntArray,
    locale: Locale,
    *,
    client: str | None = None,
    visits: Sequence[PlannedVisit] | None = None,
) -> Page:
    """Build the page of one tank, or of all tanks of a client.

    Parameters
    ----------
    book : Book
        The book.
    fit : GrowthFit
        Its fit.
    tanks : int array
        Places of the tanks in the book.
    locale : Locale
        How its reader writes.
    client : str, optional
        The client whose tanks these are; the page is then titled with the client's name.
    visits : sequence of PlannedVisit, optional
        The plan of visits, None where none was made.

    Returns
    -------
    Page
        The page's content.
    """
    on = as_date(fit.design.on_day)
    facts = [gather_tank(book, fit, tank) for tank in tanks.tolist()]
    for tank in facts:
        if tank.advice.nothing_holds:
            raise UsageError(f"no page for {tank.tank_id}: {reason(tank.advice)}")
    records = past_records(book, [tank.tank_id for tank in facts])
    blocks: list[Block] = []
    for tank in facts:
        if client is not None:
            parts = (named(tank.tank_id), named(tank.site))
            blocks.append(Heading(" – ".join(part for part in parts if part)))
        level = 2 if client is None else 3
        blocks += _tank_blocks(book, locale, tank, records[tank.tank_id], level)
    blocks += [Heading(locale.say("unknown_heading")), Items(unknowns(locale, facts))]
    blocks += _next_visits(locale, visits, {tank.tank_id for tank in facts}, on)
    blocks += [Heading(locale.say("cautions_heading")), Items(cautions(locale, facts))]
    if client is None:
        title = locale.say("brief_title_tank", name=named(facts[0].tank_id))
        whose = named(str(book.tanks.text("client")[tanks[0]]))
        under = [locale.say("for_client", client=whose) if whose else "", named(facts[0].site)]
    else:
        title, under = locale.say("brief_title_client", name=named(client)), []
    return Page(
        language=locale.language,
        title=title,
        under_title=", ".join(part for part in under if part),
        day=on.isoformat(),
        letterhead=letterhead_of(book.practice, book.folder),
        blocks=tuple(blocks),
        foot=foot_of(book, locale, on),
    )


def _tank_blocks(
    book: Book, locale: Locale, tank: TankFacts, record: Record, level: int
) -> list[Block]:
    practice, option = book.practice, tank.option
    priced, currency = practice.labour_rate_per_h > 0.0, practice.currency
    lead, *beside = conclusion(locale, tank, tank.on)
    blocks: list[Block] = [Paragraph(lead, "lead")]
    if beside:
        blocks.append(Paragraph(" ".join(beside)))
    if option is None:
        return blocks
    if tank.limiting is not None:
        pictures = [
            *_sawtooth_pictures(locale, tank, tank.limiting),
            _cost_picture(locale, tank, option, currency, priced=priced),
        ]
        caption = sawtooth_caption(locale, tank, tank.limiting, option.interval_d)
        blocks.append(Heading(locale.say("picture_heading"), level))
        blocks.append(Pictures(tuple(pictures), caption, columns=3))
    blocks.append(Heading(locale.say("options_heading"), level))
    blocks.append(_options_table(locale, tank, currency, priced=priced))
    if bought := difference(locale, tank, currency, priced=priced):
        blocks.append(Paragraph(bought))
    least = option.share_of_days_presentable - WORTH_A_NOTE
    shorter = [o for o in tank.options if o.interval_d < option.interval_d]
    if any(o.share_of_days_presentable < least for o in shorter):
        blocks.append(Paragraph(locale.say("shorter_note"), "note"))
    if not priced:
        blocks.append(Paragraph(locale.say("no_rate"), "note"))
    blocks += [
        Heading(locale.say("areas_heading"), level),
        _areas_table(locale, tank, practice.horizon_d),
        Heading(locale.say("record_heading"), level),
        Paragraph(" ".join(record_sentences(locale, record))),
    ]
    return blocks


def _sawtooth_pictures(locale: Locale, tank: TankFacts, area: AreaFacts) -> list[Picture]:
    """Draw how the limiting area goes at each interval."""
    budget, floor = area.forecast.budget_cm, area.forecast.floor_cm
    top = ROOM_ABOVE * max([budget, *(float(saw.height_cm[-1].max()) for saw in tank.saws)])
    day = drawable(locale.short_date(tank.on), otherwise=tank.on.isoformat())
    words = SawtoothWords(
        height=locale.say("axis_height" if area.unit == "cm" else "axis_cover"),
        weeks=locale.say("axis_weeks", date=day),
        budget=f"{locale.say('label_budget')}\n{locale.exact(budget, area.unit)}",
        floor=f"{locale.say('label_floor')}\n{locale.exact(floor, area.unit)}",
    )
    pictures = []
    for saw, option in zip(tank.saws, tank.options, strict=True):
        marked = saw.interval_d == tank.advice.recommended_interval_d
        key = "panel_recommended" if marked else "panel_title"
        title = locale.say(key, every=locale.count("every", saw.interval_d))
        alternative = sawtooth_sentence(locale, area, saw, option)
        svg = sawtooth_picture(saw, (floor, budget, top), words, title, alternative)
        inside = days_of_100(locale, option.share_of_days_presentable)
        below = locale.say("panel_inside", cut=locale.height(saw.cut_cm, area.unit), inside=inside)
        pictures.append(Picture(svg, locale.sentence_case(title), below, alternative, marked))
    return pictures


def _cost_picture(
    locale: Locale, tank: TankFacts, chosen: OptionAdvice, currency: str, *, priced: bool
) -> Picture:
    """Draw the share of days presentable against cost a year, or against hours without a price."""
    points = [
        CostPoint(
            option.interval_d,
            option.year.cost if priced else option.year.hours,
            option.share_of_days_presentable,
            option.interval_d == tank.advice.recommended_interval_d,
        )
        for option in tank.options
    ]
    axis = locale.say("axis_cost", currency=currency) if priced else locale.say("axis_hours")
    axes = (axis, locale.say("axis_presentable"))
    title = locale.say("cost_title")
    below, alternative = cost_sentences(locale, tank, chosen, currency, priced=priced)
    svg = cost_picture(points, axes, locale.number, title, alternative)
    return Picture(svg, title, below, alternative)


def _options_table(locale: Locale, tank: TankFacts, currency: str, *, priced: bool) -> Table:
    """Return looks, risk, visits, hours and cost of each rhythm, the recommended one marked."""
    numbers = f"presentable chance bare visits minutes hours{' cost' if priced else ''}"
    rows = []
    for option in tank.options:
        cost = (locale.money(option.year.cost, currency),) if priced else ()
        row = (
            locale.count("every", option.interval_d),
            days_of_100(locale, option.share_of_days_presentable),
            chance_words(locale, option, tank.advice.confidence),
            bare_words(locale, option),
            locale.number(option.year.visits),
            locale.say("minutes", n=locale.number(option.minutes_per_visit)),
            locale.say("hours", n=locale.number(option.year.hours)),
        )
        rows.append(row + cost)
    intervals = [option.interval_d for option in tank.options]
    days = tank.advice.recommended_interval_d
    return Table(
        locale.say("options_caption"),
        columns(locale, "col", f"every {numbers}", numbers),
        tuple(rows),
        intervals.index(days) if days in intervals else None,
        locale.say("recommended"),
    )


def _areas_table(locale: Locale, tank: TankFacts, horizon_d: int) -> Table:
    """Return what grows in a tank, how fast, and when it passes its agreed height."""
    with_basis = any(area.forecast.basis != "log" for area in tank.areas)
    rows = []
    for area in tank.areas:
        low, middle, high = (locale.number(float(speed), 1) for speed in area.speed)
        lowest, likely, highest = (float(height) for height in area.forecast.height_cm_now)
        speed = f"range_speed_{'cm' if area.unit == 'cm' else 'cover'}"
        row = (
            area_name(area),
            _plant(locale, area),
            locale.say(speed, middle=middle, low=low, high=high),
            locale.range(lowest, likely, highest, area.unit),
            locale.exact(area.forecast.budget_cm, area.unit),
            passes(locale, "passes", area.forecast, horizon_d, tank.on),
        )
        rows.append((*row, locale.say(f"rests_{area.forecast.basis}")) if with_basis else row)
    names = f"area plant speed now budget passes{' rests' if with_basis else ''}"
    heads = columns(locale, "col", names, "speed now budget", "area plant")
    return Table(locale.say("areas_caption"), heads, tuple(rows))


def _plant(locale: Locale, area: AreaFacts) -> str:
    """Return the botanical name; the common one beside it where the page is in its language."""
    if locale.language != "en" or not area.common_name:
        return named(area.plant)
    return f"{named(area.plant)} ({named(area.common_name)})"


def _next_visits(
    locale: Locale, visits: Sequence[PlannedVisit] | None, tank_ids: set[str], on: date
) -> list[Block]:
    if visits is None:
        return []
    heading = Heading(locale.say("visits_heading"))
    mine = [visit for visit in visits if visit.tank_id in tank_ids and visit.on >= on]
    if not mine:
        return [heading, Paragraph(locale.say("visits_none", date=locale.long_date(on)))]
    rows = tuple((locale.long_date(v.on), named(v.tank_id)) for v in mine[:MOST_VISITS])
    heads = columns(locale, "col", "date why", free="why")
    return [heading, Table(locale.say("visits_caption"), heads, rows)]
