"""Cut cards to print: one sheet of paper a tank, with room for the readings of the day."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from growthcast.book.book import Book
from growthcast.brief.letterhead import page_of
from growthcast.brief.page import Blanks, Block, Heading, Page, Paragraph, Work, WorkRow
from growthcast.say import card as tell
from growthcast.say.locale import Locale
from growthcast.say.words import named
from growthcast.service.visit.cuts import CutSheet

GROUPS = {"cut": "cut", "trim what stands above": "trim", "leave": "leave"}


def build_cards(book: Book, sheets: Sequence[CutSheet], locale: Locale) -> Page:
    """Build the cards of one day.

    Parameters
    ----------
    book : Book
        The book the sheets were worked out from.
    sheets : sequence of CutSheet
        The visits of one day in the order of travel, at least one.
    locale : Locale
        How their reader writes.

    Returns
    -------
    Page
        The content, a sheet of paper for each tank.
    """
    on, several = sheets[0].on, len(sheets) > 1
    blocks: list[Block] = []
    for sheet in sheets:
        blocks.append(Heading(tell.place_of(sheet, sheets), new_sheet=sheet is not sheets[0]))
        blocks += _card(sheet, locale)
    title = locale.say("card_day_many" if several else "card_day_one", date=locale.full_date(on))
    under = tell.places_words(sheets, locale) if several else ""
    return page_of(book, locale, on, title, under, blocks)


def _card(sheet: CutSheet, locale: Locale) -> Iterator[Block]:
    yield Paragraph(tell.lead(locale, sheet), "lead")
    if measured := tell.measure_first(locale, sheet):
        yield Paragraph(measured, "strong")
    heads = (locale.say("card_before"), locale.say("card_after"))
    for action, name in GROUPS.items():
        rows = []
        for area in (one for one in sheet.areas if one.action == action):
            do, note = tell.cut_words(locale, area), tell.note_words(locale, sheet, area)
            rows.append(WorkRow(do, f"{locale.number(area.order)}. {tell.area_name(area)}", note))
        if rows:
            yield Heading(locale.say(f"card_{name}"), 3)
            yield Work(heads, tuple(rows))
    if saved := tell.saving_words(locale, sheet):
        yield Paragraph(saved)
    blanks = ("grams", "minutes", "water", "doses", "remarks")
    yield Blanks(tuple(locale.say(f"card_{name}") for name in blanks))
    yield Paragraph(f"{tell.time_words(locale, sheet)} {tell.caution_words(locale, sheet)}", "note")
    yield Paragraph(locale.say("card_tank", tank=named(sheet.tank_id)), "note")
