"""A client's page: how often to visit, what it costs, and what it buys."""

from __future__ import annotations

from collections.abc import Sequence

from growthcast.book.book import Book, Practice
from growthcast.brief.contract import (
    contract_blocks,
    includes,
    next_visits,
    vat_words,
    yes_fact,
)
from growthcast.brief.letterhead import foot_of, letterhead_of
from growthcast.brief.page import (
    Block,
    Column,
    Fact,
    Facts,
    Heading,
    Items,
    Page,
    Paragraph,
    Picture,
    Pictures,
    Table,
    columns,
)
from growthcast.brief.photos import photo_blocks, photos_of
from growthcast.brief.visits import PlannedVisit
from growthcast.figures.lettering import drawable
from growthcast.figures.pages import BESIDE_MM, COURSE_MM, CourseWords, course_picture
from growthcast.fit.result import GrowthFit
from growthcast.forecast.report import as_date
from growthcast.say.client import (
    area_name,
    argument,
    cautions,
    gaps_words,
    headline,
    mends_words,
    next_visit_key,
    passes,
    picture_words,
    place_words,
    plan,
    record_sentences,
    size_words,
    unknowns,
)
from growthcast.say.locale import Locale
from growthcast.say.strip import a_month, a_year, apart, days_of_100, row_words
from growthcast.say.words import named
from growthcast.service.advice import OptionAdvice
from growthcast.service.pages.client import AreaFacts, TankFacts
from growthcast.service.pages.contract import Contract, month_price
from growthcast.service.pages.course import Course
from growthcast.service.pages.record import Record, past_records

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
    visits: Sequence[PlannedVisit] | None = None,
) -> Page:
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
    on, currency = as_date(fit.design.on_day), currency_of(book.practice)
    records = past_records(book, [tank.tank_id for tank in facts])
    level = 2 if client is None else 3
    blocks: list[Block] = []
    if contract is not None:
        blocks += contract_blocks(locale, book.practice, facts, contract)
        blocks += includes(locale, book.practice)
    for tank in facts:
        if client is not None:
            blocks.append(Heading(headline(locale, tank)))
        blocks += proposal(locale, tank, book.practice, level)
    grown = [tank for tank in facts if tank.option is not None]
    if client is None:
        blocks += includes(locale, book.practice, new_sheet=bool(grown))
    new_sheet = client is not None or not book.practice.includes
    for tank in grown:
        if client is not None:
            blocks.append(Heading(place_words(locale, tank), new_sheet=new_sheet))
            new_sheet = False
        blocks += background(
            locale, tank, records[tank.tank_id], book.practice, level, new_sheet=new_sheet
        )
        blocks += photo_blocks(locale, photos_of(book, [tank.tank_id])[0], level)
    years = [tank.option.year.cost_range for tank in grown if tank.option is not None]
    cost = contract.cost if contract is not None else next(iter(years), None)
    open_price = cost if currency and not book.practice.terms else None
    blocks += [
        Heading(locale.say("unknown_heading")),
        Items(unknowns(locale, facts, open_price, currency)),
        *next_visits(locale, visits, facts, on),
        Heading(locale.say("cautions_heading")),
        Items(cautions(locale, facts)),
    ]
    whose = named(client or facts[0].advice.client)
    day, first = locale.long_date(on), "_first" if any(t.first_estimate for t in facts) else ""
    return Page(
        language=locale.language,
        title=headline(locale, facts[0])
        if client is None
        else locale.say(f"client_title{first}", name=named(client)),
        under_title=locale.say("for_client", client=whose, date=day) if whose else day,
        day=on.isoformat(),
        letterhead=letterhead_of(book.practice, book.folder),
        blocks=tuple(blocks),
        foot=foot_of(book, locale, on),
    )


def currency_of(practice: Practice) -> str:
    """Return the currency of a page's prices, "" where an hour has no price."""
    return practice.currency if practice.labour_rate_per_h > 0.0 else ""


def proposal(locale: Locale, tank: TankFacts, practice: Practice, level: int) -> list[Block]:
    """Build what is proposed for a tank: the answer, the rhythms beside it, how it looks."""
    currency = currency_of(practice)
    said = Paragraph(" ".join(argument(locale, tank, currency)), "lead")
    if tank.option is None:
        return [said]
    blocks: list[Block] = [
        _facts(locale, tank, practice, whole=level == 2),
        said,
        Heading(locale.say("options_heading"), level),
        options_strip(locale, tank, practice),
    ]
    if gaps := gaps_words(locale, tank, practice.longer_gaps):
        blocks.append(Paragraph(gaps))
    mends = _mends(locale, tank, currency)
    if planned := plan(locale, tank, currency):
        mends.append(Paragraph(" ".join(planned)))
    blocks[2:2] = [] if tank.fits else mends
    blocks += mends if tank.fits else []
    if tank.courses:
        blocks += [Heading(locale.say("picture_heading"), level), _pictures(locale, tank)]
    return blocks


def background(
    locale: Locale,
    tank: TankFacts,
    record: Record,
    practice: Practice,
    level: int,
    *,
    new_sheet: bool,
) -> list[Block]:
    """Build what the proposal for a tank rests on."""
    blocks: list[Block] = [
        Heading(locale.say("areas_heading"), level, new_sheet=new_sheet),
        _areas_table(locale, tank, practice.horizon_d),
    ]
    if beside := tuple(_picture(locale, tank, *one, tank.option, BESIDE_MM) for one in tank.beside):
        blocks.append(Pictures(beside, "", columns=max(2, len(beside))))
    if not tank.first_estimate:
        said = " ".join(record_sentences(locale, record))
        blocks += [Heading(locale.say("record_heading"), level), Paragraph(said)]
    return blocks


def _facts(locale: Locale, tank: TankFacts, practice: Practice, *, whole: bool) -> Facts:
    """Return the answer's figures: looks, price, next visit and review; of a whole page the yes."""
    option, currency = tank.option, currency_of(practice)
    assert option is not None
    looks = locale.say(
        "looks_days", presentable=days_of_100(locale, option.share_of_days_presentable)
    )
    price = locale.say("price_year", amount=a_year(locale, option, currency))
    month, net = a_month(locale, currency, option.year.cost, option.year.hours), option.year.cost
    beside = vat_words(locale, practice, month_price(net)) if currency else locale.say("no_rate")
    facts = [
        Fact(
            locale.say("fact_looks"),
            looks,
            locale.say("looks_one" if len(tank.areas) == 1 else "looks_all"),
        ),
        Fact(
            locale.say("fact_price" if currency else "fact_time"),
            locale.say("a_month", amount=month),
            f"{price}; {beside}",
        ),
    ]
    if tank.next_on is not None and tank.review_on is not None:
        every = locale.count("every", option.interval_d)
        day = locale.week_date(tank.next_on)
        note = locale.say("then", every=every, date=locale.short_date(tank.review_on))
        if tank.due_on is not None:
            day = locale.say("next_soon")
            due = locale.say("next_was_due", date=locale.short_date(tank.due_on))
            note = f"{due}; {note}"
        facts.append(Fact(locale.say(next_visit_key([tank])), day, note))
    return Facts((*facts, *([yes_fact(locale, practice)] if whole else [])))


def _mends(locale: Locale, tank: TankFacts, currency: str) -> list[Block]:
    """Return what would let the next longer rhythm hold, or any where none does."""
    option, advice = tank.option, tank.advice
    if option is None or advice.fails_at_d is None or tank.asked:
        return []
    longer = advice.option(advice.fails_at_d)
    every, saved = locale.count("every", longer.interval_d), apart(locale, option, longer, currency)
    said = mends_words(locale, tank)
    if tank.fits:
        lead = {"every": every, "saved": saved}
        return [Paragraph(locale.say("mends_lead", mend=m, **lead)) for m in said]
    if tank.longer is not None:
        trial = locale.count("every", tank.longer.interval_d)
        less = apart(locale, option, tank.longer, currency)
        said = (*said, locale.say("mend_trial", every=trial, saved=less))
    if not said:
        return []
    return [Paragraph(locale.say("mends_none_lead", every=every)), Items(said)]


def options_strip(locale: Locale, tank: TankFacts, practice: Practice) -> Table:
    """Return a row a rhythm, the longest first: days as agreed as a bar, looks, visits, price."""
    currency, vat = currency_of(practice), practice.vat_percent or 0.0
    before = columns(locale, "col", "every presentable out")
    after = columns(locale, "col", f"visits {'cost' if currency else 'hours'} against")
    first = tank.areas[tank.limiting]
    agreed = locale.exact(first.forecast.budget_cm, first.unit)
    found = Column(locale.say("col_found", budget=agreed))
    return Table(
        locale.say("options_caption", area=area_name(first)),
        (*before, found, *after),
        tuple(row_words(locale, tank, row, currency, vat) for row in tank.rows),
        next(n for n, row in enumerate(tank.rows) if row is tank.option),
        locale.say("recommended"),
        tuple(row.share_of_days_presentable for row in tank.rows),
    )


def _pictures(locale: Locale, tank: TankFacts) -> Pictures:
    """Draw the limiting area until the next visit, at the proposed rhythm and each longer one."""
    top = max(float(course.height_cm.max()) for _, course in tank.courses)
    columns = 2 if len(tank.courses) <= 4 else 3
    drawn = (
        _picture(locale, tank, tank.limiting, course, rhythm, COURSE_MM[columns], top)
        for rhythm, course in tank.courses
    )
    return Pictures(tuple(drawn), locale.say("picture_caption"), columns)


def _picture(
    locale: Locale,
    tank: TankFacts,
    place: int,
    course: Course,
    rhythm: OptionAdvice | None,
    size_mm: tuple[float, float],
    highest_cm: float = 0.0,
) -> Picture:
    """Draw one area over the days ahead; ``highest_cm`` is that of pictures on the same axes."""
    area, last = tank.areas[place], int(course.day[-1])
    budget, floor, unit = area.forecast.budget_cm, area.forecast.floor_cm, area.unit
    top = max(ROOM_ABOVE * budget, 1.04 * max(highest_cm, float(course.height_cm.max())))
    dates = {
        day: drawable(locale.short_date(tank.day(day)), otherwise=tank.day(day).isoformat())
        for day in (0, *((last // 2,) if last > 28 else ()), last)
    }
    words = CourseWords(
        height=locale.say("axis_height" if unit == "cm" else "axis_cover"),
        dates=dates,
        over=locale.say("zone_over"),
        right=locale.say("zone_right"),
        bare=locale.say("zone_bare"),
        budget=f"{locale.say('label_budget')}\n{locale.exact(budget, unit)}",
        floor=f"{locale.say('label_floor')}\n{locale.exact(floor, unit)}",
    )
    title, heard = picture_words(locale, tank, place, course, rhythm)
    svg = course_picture(course, (floor, budget, top), words, title, heard, size_mm)
    return Picture(svg, title, "", heard)


def _areas_table(locale: Locale, tank: TankFacts, horizon_d: int) -> Table:
    """Return what grows in a tank, how fast, and when it passes its agreed height."""
    with_basis = any(area.forecast.basis != "log" for area in tank.areas)
    rows = []
    for area in tank.areas:
        low, middle, high = (locale.number(float(speed), 1) for speed in area.speed)
        lowest, likely, highest = (float(height) for height in area.forecast.height_cm_now)
        now = locale.range(lowest, likely, highest, area.unit)
        speed = f"range_speed_{'cm' if area.unit == 'cm' else 'cover'}"
        row = (
            area_name(area),
            _plant(locale, area),
            locale.say(speed, middle=middle, low=low, high=high),
            size_words(locale, now, area.unit),
            size_words(locale, locale.exact(area.forecast.budget_cm, area.unit), area.unit),
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
