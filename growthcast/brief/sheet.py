"""The sheet for a visit as a page to print: what to cut, in the order of work."""

from __future__ import annotations

from growthcast.book.book import Book
from growthcast.brief.letterhead import foot_of, letterhead_of
from growthcast.brief.page import Block, Heading, Items, Page, Paragraph, Table, columns
from growthcast.say.cuts import cautions, sheet_sentence, watch_list
from growthcast.say.locale import Locale
from growthcast.say.words import named
from growthcast.service.visit.cuts import AreaCut, CutSheet

COLUMNS = "area now do safe next inside minutes before after"
NUMBERS = "now safe next inside minutes"


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
    listed = zip(sheet.areas, sheet.area_minutes, strict=True)
    rows = tuple(_row(locale, area, minutes) for area, minutes in listed)
    heads = columns(locale, "sheet", COLUMNS, NUMBERS, "area")
    return Table(locale.say("sheet_caption"), heads, rows)


def _row(locale: Locale, area: AreaCut, minutes: int) -> tuple[str, ...]:
    now, then, unit = area.height_now_cm, area.height_next_cm, area.unit
    do = {"cut": "sheet_cut", "trim what stands above": "sheet_trim"}.get(area.action)
    cut = locale.exact(round(area.cut_cm, 1), unit)
    return (
        f"{locale.number(area.order)}. {named(area.label, area.area_id)}",
        locale.range(now.p10, now.p50, now.p90, unit),
        locale.say(do or "sheet_leave", cut=cut),
        locale.exact(area.lowest_safe_cut_cm, unit),
        locale.range(then.p10, then.p50, then.p90, unit),
        locale.chance(area.chance_within),
        locale.say("minutes", n=locale.number(minutes)),
        "",
        "",
    )


def _time(locale: Locale, sheet: CutSheet) -> str:
    travel, fixed, trimming = sheet.whole_minutes
    minutes = {
        "total": travel + fixed + trimming,
        "travel": travel,
        "fixed": fixed,
        "trimming": trimming,
        "low": sheet.trimming_min.p10,
        "high": sheet.trimming_min.p90,
    }
    return locale.say("sheet_time", **{name: locale.number(of) for name, of in minutes.items()})
