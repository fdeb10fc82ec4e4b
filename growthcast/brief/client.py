"""A client's page: how often to visit, what it costs, and what it buys."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from growthcast.book.book import Book, Practice
from growthcast.brief import page
from growthcast.brief.contract import contract_blocks, includes, next_visits, vat_words, yes_fact
from growthcast.brief.letterhead import page_of
from growthcast.brief.photos import photo_blocks, photos_of
from growthcast.brief.visits import Plan
from growthcast.figures.pages import BESIDE_MM, COURSE_MM, course_picture
from growthcast.fit.result import GrowthFit
from growthcast.forecast.report import as_date
from growthcast.say import client as tell
from growthcast.say import strip
from growthcast.say.forecast import passes
from growthcast.say.locale import Locale
from growthcast.say.words import named
from growthcast.service.advice import OptionAdvice
from growthcast.service.pages.client import AreaFacts, Course, TankFacts
from growthcast.service.pages.contract import Contract
from growthcast.service.pages.record import Record, past_records

Drawn = tuple[int, Course, OptionAdvice | None]
"""The place of an area, how it goes, and the rhythm at which it does."""
ROOM_ABOVE = 1.3
"""Height of a picture's axis, as a share of the agreed height: room to see what is too tall."""


def build_brief(
    book: Book,
    fit: GrowthFit,
    facts: Sequence[TankFacts],
    locale: Locale,
    *,
    client: str | None = None,
    contract: Contract | None = None,
    visits: Plan = None,
) -> page.Page:
    """Build the page of one tank, or of all tanks of a client.

    Parameters
    ----------
    book : Book
        The book.
    fit : GrowthFit
        Its fit.
    facts : sequence of TankFacts
        The tanks, as ``gather_facts`` gathers them.
    locale : Locale
        How its reader writes.
    client : str, optional
        The client whose tanks these are; the page is then titled with the client's name.
    contract : Contract, optional
        What they come to together.
    visits : sequence of PlannedVisit, optional
        The plan of visits, None where none was made.

    Returns
    -------
    Page
        The page's content: what is proposed on the first page, what it rests on after it.
    """
    on = as_date(fit.design.on_day)
    records = past_records(book, [tank.tank_id for tank in facts])
    level = 2 if client is None else 3
    blocks: list[page.Block] = []
    if contract is not None:
        blocks += contract_blocks(locale, book.practice, facts, contract)
        blocks += includes(locale, book.practice)
    for tank in facts:
        if client is not None:
            blocks.append(page.Heading(tell.headline(locale, tank)))
        blocks += proposal(locale, tank, book.practice, level, whole=contract is None)
    grown = [tank for tank in facts if tank.option is not None]
    if client is None:
        blocks += includes(locale, book.practice, new_sheet=bool(grown))
    new_sheet = client is not None or not book.practice.includes
    for tank in grown:
        if client is not None:
            blocks.append(page.Heading(tell.place_words(locale, tank), new_sheet=new_sheet))
            new_sheet = False
        head = page.Heading(locale.say("areas_heading"), level, new_sheet)
        record, horizon_d = records[tank.tank_id], book.practice.horizon_d
        blocks += background(locale, tank, record, horizon_d, head)
        blocks += photo_blocks(locale, photos_of(book, [tank.tank_id])[0], level)
    years = [tank.option.year.cost_range for tank in grown if tank.option is not None]
    cost = contract.cost if contract is not None else next(iter(years), None)
    open_price = cost if locale.currency and not book.practice.terms else None
    blocks += [
        page.Heading(locale.say("unknown_heading")),
        page.Items(tell.unknowns(locale, facts, open_price)),
        *next_visits(locale, visits, facts, on),
        page.Heading(locale.say("cautions_heading")),
        page.Items(tell.cautions(locale, facts)),
    ]
    whose = named(client or facts[0].advice.client)
    day, first = locale.long_date(on), "_first" if any(t.first_estimate for t in facts) else ""
    title = tell.headline(locale, facts[0])
    if client is not None:
        title = locale.say(f"client_title{first}", name=named(client))
    under = locale.say("for_client", client=whose, date=day) if whose else day
    return page_of(book, locale, on, title, under, blocks)


def proposal(
    locale: Locale, tank: TankFacts, practice: Practice, level: int, *, whole: bool
) -> list[page.Block]:
    """Build what is proposed for a tank: the answer, the rhythms beside it, how it looks."""
    said = page.Paragraph(" ".join(tell.argument(locale, tank)), "lead")
    if tank.option is None:
        return [said]
    blocks: list[page.Block] = [
        _facts(locale, tank, practice, whole=whole),
        said,
        page.Heading(locale.say("options_heading"), level),
        options_strip(locale, tank, practice),
    ]
    blocks += [page.Paragraph(text) for text in tell.visit_words(locale, tank, practice)]
    lead, ways = tell.mends_words(locale, tank)
    mends: list[page.Block] = [page.Paragraph(lead)] if lead else []
    mends += [page.Items(ways)] if ways else []
    if planned := tell.plan(locale, tank):
        mends.append(page.Paragraph(" ".join(planned)))
    blocks[2:2] = [] if tank.fits else mends
    blocks += mends if tank.fits else []
    if tank.courses:
        area = tell.area_name(tank.areas[tank.limiting])
        heading = page.Heading(locale.say("picture_heading", area=area), level)
        blocks += [heading, _pictures(locale, tank)]
    return blocks


def background(
    locale: Locale, tank: TankFacts, record: Record, horizon_d: int, heading: page.Heading
) -> list[page.Block]:
    """Build what the proposal for a tank rests on, under its first heading."""
    blocks: list[page.Block] = [heading, _areas_table(locale, tank, horizon_d)]
    drawn = ((place, course, tank.option) for place, course in tank.beside)
    if beside := tuple(_picture(locale, tank, one, BESIDE_MM) for one in drawn):
        blocks.append(page.Pictures(beside, "", columns=max(2, len(beside))))
    if not tank.first_estimate:
        said = " ".join(tell.record_sentences(locale, record))
        heading = page.Heading(locale.say("record_heading"), heading.level)
        blocks += [heading, page.Paragraph(said)]
    return blocks


def _facts(locale: Locale, tank: TankFacts, practice: Practice, *, whole: bool) -> page.Facts:
    """Return the answer's figures: looks, next visit, review; of a whole page price and yes."""
    option = tank.option
    assert option is not None
    days = strip.days_of_100(locale, option.share_of_days_presentable)
    looks = locale.say("looks_days", presentable=days)
    said = locale.say("looks_all" if len(tank.areas) > 1 else "looks_one")
    facts = [page.Fact(locale.say("fact_looks"), looks, said)]
    if whole:
        cost, hours = tank.takes(option)
        year = strip.worth(locale, strip.year_price(cost), hours)
        note = f"{locale.say('price_year', amount=year)}; {vat_words(locale, practice, cost)}"
        name = locale.say("fact_price" if locale.currency else "fact_time")
        facts.append(page.Fact(name, strip.month_of(locale, tank, option), note))
    if tank.next_on is not None:
        day, note = locale.week_date(tank.next_on), ""
        if tank.due_on is not None:
            day = locale.say("next_soon")
            note = locale.say("next_was_due", date=locale.short_date(tank.due_on))
        facts.append(page.Fact(locale.say(tell.next_visit_key([tank])), day, note))
    return page.Facts((*facts, *([yes_fact(locale, practice)] if whole else [])))


def options_strip(locale: Locale, tank: TankFacts, practice: Practice) -> page.Table:
    """Return a row a rhythm, the longest first: days as agreed as a bar, looks, visits, price."""
    vat, first = practice.vat_percent or 0.0, tank.areas[tank.limiting]
    agreed = locale.exact(first.forecast.budget_cm, first.unit)
    price = "cost" if locale.currency else "hours"
    out = " out" if strip.some_bare(tank) else ""
    columns = [*page.columns(locale, f"every presentable visits {price} against{out}")]
    columns.insert(2, page.Column(locale.say("col_found", budget=agreed)))
    columns.insert(4, page.Column(locale.say(tell.next_visit_key([tank]))))
    return page.Table(
        locale.say("options_caption", area=tell.area_name(first)),
        tuple(columns),
        tuple(strip.row_words(locale, tank, row, vat) for row in tank.rows),
        next(n for n, row in enumerate(tank.rows) if row is tank.option),
        locale.say("asked_for" if tank.asked and not tank.reason else "recommended"),
        tuple(row.share_of_days_presentable for row in tank.rows),
    )


def _pictures(locale: Locale, tank: TankFacts) -> page.Pictures:
    """Draw the limiting area until the next visit, at the proposed rhythm and each longer one."""
    top = max(float(course.height_cm.max()) for _, course in tank.courses)
    abreast = 2 if len(tank.courses) <= 4 else 3
    drawn = (
        _picture(locale, tank, (tank.limiting, course, rhythm), COURSE_MM[abreast], top)
        for rhythm, course in tank.courses
    )
    return page.Pictures(tuple(drawn), locale.say("picture_caption"), abreast)


def _picture(
    locale: Locale, tank: TankFacts, drawn: Drawn, mm: tuple[float, float], highest_cm: float = 0.0
) -> page.Picture:
    """Draw one area over the days ahead; ``highest_cm`` is that of pictures on the same axes."""
    place, course, _ = drawn
    area, highest_cm = tank.areas[place].forecast, max(highest_cm, float(course.height_cm.max()))
    top = max(ROOM_ABOVE * area.budget_cm, 1.04 * highest_cm)
    title, heard = tell.picture_words(locale, tank, *drawn)
    svg = course_picture(locale, course, area, top, (title, heard), mm)
    return page.Picture(svg, title, "", heard)


def _areas_table(locale: Locale, tank: TankFacts, horizon_d: int) -> page.Table:
    """Return what grows in a tank, how fast, and when it passes its agreed height."""
    with_basis = any(area.forecast.basis != "log" for area in tank.areas)
    rows = []
    for area in tank.areas:
        low, middle, high = (locale.number(float(speed), 1) for speed in area.speed)
        lowest, likely, highest = (float(height) for height in area.forecast.height_cm_now)
        now = locale.range(lowest, likely, highest, area.unit)
        speed = f"range_speed_{'cm' if area.unit == 'cm' else 'cover'}"
        row = (
            tell.area_name(area),
            _plant(locale, area),
            locale.say(speed, middle=middle, low=low, high=high),
            tell.size_words(locale, now, area.unit),
            tell.size_words(locale, locale.exact(area.forecast.budget_cm, area.unit), area.unit),
            passes(locale, "passes", area.forecast, tank.on, horizon_d),
        )
        rows.append((*row, locale.say(f"rests_{area.forecast.basis}")) if with_basis else row)
    names = f"area plant speed now budget passes{' rests' if with_basis else ''}"
    heads = page.columns(locale, names, "speed now budget", "area plant")
    said, first = locale.say("areas_caption"), tank.areas[tank.limiting].forecast
    mine = first.passes_budget_on[1] or date.max
    if any((area.forecast.passes_budget_on[1] or date.max) < mine for area in tank.areas):
        other = locale.say("areas_other", area=tell.area_name(tank.areas[tank.limiting]))
        said = f"{said}. {other}"
    return page.Table(said, heads, tuple(rows))


def _plant(locale: Locale, area: AreaFacts) -> str:
    """Return the botanical name; the common one beside it where the page is in its language."""
    if locale.language != "en" or not area.common_name:
        return named(area.plant)
    return f"{named(area.plant)} ({named(area.common_name)})"
