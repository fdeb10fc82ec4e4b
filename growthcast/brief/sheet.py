"""The sheet for a visit as a page to print: what to cut, in the order of work."""

from __future__ import annotations

from growthcast.book.book import Book
from growthcast.brief.letterhead import foot_of, letterhead_of
from growthcast.brief.page import Block, Column, Heading, Items, Page, Paragraph, Table, named
from growthcast.say.cuts import cautions, sheet_sentence, watch_list
from growthcast.say.locale import Locale
from growthcast.service.effort import Range
from growthcast.service.visit.cuts import AreaCut, CutSheet

__all__ = ["build_sheet"]

COLUMNS = ("area", "now", "do", "safe", "next", "inside", "minutes", "before", "after")
NUMBERS = {"now", "safe", "next", "inside", "minutes"}


def build_sheet(book: Book, sheet: CutSheet, locale: Locale) -> Page:
    """Build the page of one visit.

    Parameters
    ----------
    book : Book
        The book the sheet was worked out from.
    sheet : CutSheet
        The visit.
    locale : Locale
        How its reader writes; the sentences of the advice are in English.

    Returns
    -------
    Page
        The page's content, in the order of work, with room for the readings of the day.
    """
    blocks: list[Block] = [Paragraph(named(sheet_sentence(sheet)), "lead")]
    if sheet.areas:
        blocks += [Heading(locale.say("sheet_heading")), _table(locale, sheet)]
    blocks.append(Paragraph(_time(locale, sheet)))
    for key, said in (("watch", watch_list(sheet)), ("cautions", cautions(sheet))):
        if said:
            items = Items(tuple(named(sentence) for sentence in said))
            blocks += [Heading(locale.say(f"sheet_{key}")), items]
    whose = ", ".join(named(part) for part in (sheet.client, sheet.site) if part)
    day = locale.long_date(sheet.on)
    title = locale.say("sheet_title", tank=named(sheet.tank_id), date=day)
    return Page(
        language=locale.language,
        title=title,
        under_title=whose,
        day=sheet.on.isoformat(),
        letterhead=letterhead_of(book.practice, book.folder),
        blocks=tuple(blocks),
        foot=foot_of(book, locale, sheet.on),
    )


def _table(locale: Locale, sheet: CutSheet) -> Table:
    columns = tuple(
        Column(locale.say(f"sheet_{name}"), numeric=name in NUMBERS, free=name == "area")
        for name in COLUMNS
    )
    listed = zip(sheet.areas, sheet.area_minutes, strict=True)
    rows = tuple(_row(locale, area, minutes) for area, minutes in listed)
    return Table(locale.say("sheet_caption"), columns, rows)


def _row(locale: Locale, area: AreaCut, minutes: int) -> tuple[str, ...]:
    cut = locale.exact(round(area.cut_cm, 1), area.unit)
    do = {"cut": "sheet_cut", "trim what stands above": "sheet_trim"}.get(area.action)
    label = named(area.label, area.area_id)
    return (
        f"{locale.number(area.order)}. {label}",
        _range(locale, area.height_now_cm, area.unit),
        locale.say("sheet_leave") if do is None else locale.say(do, cut=cut),
        locale.exact(area.lowest_safe_cut_cm, area.unit),
        _range(locale, area.height_next_cm, area.unit),
        locale.chance(area.chance_within),
        locale.say("minutes", n=locale.number(minutes)),
        "",
        "",
    )


def _range(locale: Locale, height: Range, unit: str) -> str:
    return locale.say(
        "range",
        middle=locale.height(height.p50, unit),
        low=locale.bare_height(height.p10, unit),
        high=locale.height(height.p90, unit),
    )


def _time(locale: Locale, sheet: CutSheet) -> str:
    travel, fixed, trimming = sheet.whole_minutes
    return locale.say(
        "sheet_time",
        total=locale.number(travel + fixed + trimming),
        travel=locale.number(travel),
        fixed=locale.number(fixed),
        trimming=locale.number(trimming),
        low=locale.number(sheet.trimming_min.p10),
        high=locale.number(sheet.trimming_min.p90),
    )
