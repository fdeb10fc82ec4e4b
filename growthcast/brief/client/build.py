"""From a book and its fit to the content of a client's page."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path

from growthcast.arrays import IntArray
from growthcast.book.book import Book
from growthcast.brief.client.gather import TankFacts, gather_tank
from growthcast.brief.client.pictures import sawtooth_pictures
from growthcast.brief.client.record import Record, past_records
from growthcast.brief.client.tables import areas_table, options_table, visits_table
from growthcast.brief.client.words import conclusion, difference, record_sentences, unknowns
from growthcast.brief.letterhead import foot_of, letterhead_of
from growthcast.brief.page import (
    Block,
    Heading,
    Items,
    Page,
    Paragraph,
    named,
)
from growthcast.brief.visits import PlannedVisit
from growthcast.fit.result import GrowthFit
from growthcast.forecast.report import as_date
from growthcast.say.locale import Locale

__all__ = ["build_brief", "cautions"]

CAUTIONS = ("tools", "mains", "waterways", "share")
MOST_VISITS = 12
WORTH_A_NOTE = 0.01
"""Shorter rhythms that look this much worse than the recommended one are explained."""


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
    records = past_records(book, [tank.tank_id for tank in facts])
    blocks: list[Block] = []
    for tank in facts:
        if len(facts) > 1 or client is not None:
            site = named(tank.site)
            title = f"{named(tank.tank_id)} – {site}" if site else named(tank.tank_id)
            blocks.append(Heading(title, 2))
        level = 3 if len(facts) > 1 or client is not None else 2
        blocks += _tank_blocks(book, locale, tank, records[tank.tank_id], level)
    blocks += [Heading(locale.say("unknown_heading")), Items(unknowns(locale, facts))]
    blocks += _next_visits(locale, visits, {tank.tank_id for tank in facts}, on)
    blocks += [Heading(locale.say("cautions_heading")), Items(cautions(locale, facts))]
    name = named(client) if client is not None else named(facts[0].tank_id)
    key = "brief_title_tank" if client is None else "brief_title_client"
    whose = named(str(book.tanks.text("client")[tanks[0]]))
    site = named(facts[0].site) if client is None else ""
    under = locale.say("for_client", client=whose) if whose and client is None else ""
    return Page(
        language=locale.language,
        title=locale.say(key, name=name),
        under_title=", ".join(part for part in (under, site) if part),
        day=on.isoformat(),
        letterhead=letterhead_of(book.practice, Path(book.folder)),
        blocks=tuple(blocks),
        foot=foot_of(book, locale, on),
    )


def _tank_blocks(
    book: Book, locale: Locale, tank: TankFacts, record: Record, level: int
) -> list[Block]:
    on = tank.on
    practice = book.practice
    priced = practice.labour_rate_per_h > 0.0
    lead, *beside = conclusion(locale, tank, on)
    blocks: list[Block] = [Paragraph(lead, "lead")]
    blocks += [Paragraph(" ".join(beside))] if beside else []
    if tank.option is None:
        return blocks
    pictures = sawtooth_pictures(locale, tank, on, practice.currency, priced=priced)
    if pictures is not None:
        blocks += [Heading(locale.say("picture_heading"), level), pictures]
    table = options_table(locale, tank, practice.currency, priced=priced)
    blocks += [Heading(locale.say("options_heading"), level), table]
    if bought := difference(locale, tank, practice.currency, priced=priced):
        blocks.append(Paragraph(bought))
    least = tank.option.share_of_days_presentable - WORTH_A_NOTE
    shorter = [o for o in tank.options if o.interval_d < tank.option.interval_d]
    if any(o.share_of_days_presentable < least for o in shorter):
        blocks.append(Paragraph(locale.say("shorter_note"), "note"))
    if not priced:
        blocks.append(Paragraph(locale.say("no_rate"), "note"))
    blocks += [
        Heading(locale.say("areas_heading"), level),
        areas_table(locale, tank, practice.horizon_d, on),
        Heading(locale.say("record_heading"), level),
        Paragraph(" ".join(record_sentences(locale, record))),
    ]
    return blocks


def _next_visits(
    locale: Locale, visits: Sequence[PlannedVisit] | None, tank_ids: set[str], on: date
) -> list[Block]:
    if visits is None:
        return []
    mine = [visit for visit in visits if visit.tank_id in tank_ids and visit.on >= on]
    heading = Heading(locale.say("visits_heading"))
    if not mine:
        return [heading, Paragraph(locale.say("visits_none", date=locale.long_date(on)))]
    return [heading, visits_table(locale, mine[:MOST_VISITS])]


def cautions(locale: Locale, tanks: Sequence[TankFacts]) -> tuple[str, ...]:
    """Return the usual cautions, with the plants that rules may name."""
    said = [locale.say(f"caution_{name}") for name in CAUTIONS]
    areas = [area for tank in tanks for area in tank.areas]
    regulated = dict.fromkeys(area.plant for area in areas if "egulated" in area.caution)
    if regulated:
        said.append(locale.say("caution_regulated", plants=locale.listed(list(regulated))))
    return tuple(said)
