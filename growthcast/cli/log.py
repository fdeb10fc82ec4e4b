"""growthcast log: a whole visit in one short line."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import TYPE_CHECKING, Annotated, Any

import typer

from growthcast.cli.options import AsJson, parse_date
from growthcast.errors import GrowthcastError, NotFinite, RowsRefused

if TYPE_CHECKING:
    from growthcast.book.book import Book, WholeTank
    from growthcast.book.writing.append import Addition
    from growthcast.book.writing.visit.entry import VisitRow
    from growthcast.errors import Finding
    from growthcast.fit.result import GrowthFit
    from growthcast.service.doubts.typed import Doubt
    from growthcast.service.logged import AfterVisit

BookAndVisit = Annotated[
    list[str] | None,
    typer.Argument(
        metavar="[BOOK] AREA=AMOUNTS",
        help="Folder of the book (default: this folder), then the visit: stems=24/12 (stood at 24 "
        "cm, cut to 12), stems=24 (measured, not cut), crypt=-3cm (taken off), moss=right "
        "(short, right or over, by eye), stems=90g, stems=10min, stems=note:text; several with +, "
        "as in stems=24/12+90g. all=right for every area, rest=right for those not named. The "
        "whole tank's: 35min, bucket=180g (all that came out of it), rest=180g (of the areas "
        "without amounts of their own), 180g (read as the practice or the log tells). "
        "No visit at all: every area is asked for in turn.",
        show_default=False,
    ),
]
Tank = Annotated[
    str | None,
    typer.Option(
        "--tank",
        metavar="ID",
        help="The tank visited. Default: the one the areas are in.",
        show_default=False,
    ),
]
On = Annotated[
    str | None,
    typer.Option(
        "--on",
        metavar="DATE",
        help="Day of the visit, as YYYY-MM-DD. Default: today.",
        show_default=False,
    ),
]
Yes = Annotated[bool, typer.Option("--yes", help="Write it; without, it is only said back.")]


def log_command(
    visit: BookAndVisit = None,
    tank: Tank = None,
    on: On = None,
    yes: Yes = False,
    as_json: AsJson = False,
) -> None:
    """Log a visit: say what was understood, write it with --yes, then say what follows from it.

    Example: growthcast log my-book --tank lobby --on 2026-03-02 stems=24/12 moss=right --yes

    Exit status: 0 done, 2 the visit is not understood or does not check, 3 the tool itself failed.
    """
    from growthcast.book.read import read_book
    from growthcast.book.shipped import find_own_book
    from growthcast.book.writing.visit.entry import looks_like_item
    from growthcast.book.writing.visit.places import tank_of_visit, visit_rows
    from growthcast.cli.ask import answer, ask_for_visit
    from growthcast.cli.logged import print_outlook
    from growthcast.cli.output import print_line, say

    items = visit or []
    named = items[0] if items and not looks_like_item(items[0]) else None
    items = items[1:] if named else items
    folder = find_own_book(named)
    today = date.today()
    day = today if on is None else parse_date(on, "--on")
    if on is None:
        say(f"The day of the visit is today, {day}; another is given with --on.")
    book = read_book(folder, today=today)
    tank_id = tank_of_visit(book, tank, items)
    asked = not items
    rows = (ask_for_visit if asked else visit_rows)(book, tank_id, day, items)
    if not rows:
        say("Nothing was typed, so nothing was written.")
        return
    unasked: WholeTank = book.practice.whole_tank_grams or "all"
    entry = _Visit(book, tank_id, day, today, rows, unasked)
    before = _before(entry)
    grams = (unasked, "") if before is None else before.whole_tank_grams
    entry = replace(entry, reading=grams[0])
    tried = entry.tried()
    doubts = () if before is None else _doubts(before, entry)
    words = _understood(entry, grams, doubts)
    if not as_json:
        for line in words:
            print_line(line)
    if isinstance(tried, RowsRefused):
        raise tried
    _say_notes((*(i for i in book.findings if i.slug == "conflict-copy"), *tried.findings))
    if doubts and not yes:
        say(f"{_counted(doubts)} marked with ? above: look again before it is written.")
    if not yes and asked:
        yes = answer("Write it? [y/N] ").casefold() in {"y", "yes"}
    if not yes:
        say("Nothing is written yet; the same line with --yes writes it.")
        _print_json(entry, words, doubts, written=False, news=None, as_json=as_json)
        return
    added = entry.written()
    if not as_json:
        but = f", although {_counted(doubts)} marked above" if doubts else ""
        print_line(f"Written to {folder / 'trims.csv'}{but}. growthcast unlog takes it back.")
    news = None if added.book is None or before is None else _news(before, added.book, entry)
    _print_json(entry, words, doubts, written=True, news=news, as_json=as_json)
    if news is not None and not as_json:
        print_outlook(news, tank_id, day, _found(rows))


def _counted(doubts: Sequence[Doubt]) -> str:
    return "1 doubt is" if len(doubts) == 1 else f"{len(doubts)} doubts are"


@dataclass(frozen=True, slots=True)
class _Visit:
    """A visit understood: where it goes, and what it says."""

    book: Book
    tank_id: str
    day: date
    today: date
    rows: Sequence[VisitRow]
    reading: WholeTank

    def cells(self) -> list[Any]:
        from growthcast.book.writing.visit.places import log_rows

        return log_rows(self.rows, self.book, self.tank_id, self.day, self.reading)

    def tried(self) -> Addition | RowsRefused:
        """Return what writing it would do, or the problems for which it is refused."""
        from growthcast.book.writing.append import would_add

        try:
            return would_add(self.book.folder, "trims", self.cells(), today=self.today)
        except RowsRefused as refused:
            return refused

    def written(self) -> Addition:
        from growthcast.book.writing.append import add_rows

        count = len(self.rows)
        summary = f"{self.tank_id} on {self.day}, {count} row{'' if count == 1 else 's'}"
        return add_rows(
            self.book.folder,
            "trims",
            self.cells(),
            today=self.today,
            command="log",
            summary=summary,
        )


def _before(entry: _Visit) -> GrowthFit | None:
    """Return the fit of the book without the visit; ``None`` where it has none."""
    from growthcast.cli.output import say
    from growthcast.service.logged import before_visit

    if entry.day > entry.today + timedelta(days=1):  # refused anyway
        return None
    try:
        return before_visit(entry.book, entry.day)
    except GrowthcastError as error:
        say(f"Nothing typed is held against what was to be expected: {error}")
        return None


def _doubts(before: GrowthFit, entry: _Visit) -> tuple[Doubt, ...]:
    from growthcast.cli.output import say
    from growthcast.service.doubts.judge import doubts_of_visit

    try:
        return doubts_of_visit(before, entry.book, entry.tank_id, entry.rows)
    except NotFinite as error:  # a visit is written whatever can be said of it
        say(f"Nothing typed is held against what was to be expected: {error}")
        return ()


def _understood(entry: _Visit, grams: tuple[WholeTank, str], doubts: Sequence[Doubt]) -> list[str]:
    """Say the visit back, with its doubts under what they are about."""
    from growthcast.book.writing.visit.echo import visit_in_words
    from growthcast.book.writing.visit.places import places_of

    said: dict[str | None, list[str]] = {}
    for doubt in doubts:
        said.setdefault(doubt.area_id, []).append(doubt.words)
    places = places_of(entry.book, entry.tank_id, entry.day)
    return visit_in_words(entry.tank_id, entry.day, entry.rows, places, grams, said)


def _say_notes(findings: Sequence[Finding]) -> None:
    from growthcast.book.report import format_finding
    from growthcast.cli.output import say

    for item in findings:
        say(format_finding(item))


def _news(before: GrowthFit, after: Book, entry: _Visit) -> AfterVisit | None:
    """Return what the visit changes; it is written already, so trouble here is only said."""
    from growthcast.cli.output import say
    from growthcast.service.logged import after_visit

    try:
        return after_visit(before, after, entry.tank_id, entry.day)
    except GrowthcastError as error:
        say(f"The visit is written, but nothing can be forecast from it: {error}")
        return None


def _print_json(
    entry: _Visit,
    words: Sequence[str],
    doubts: Sequence[Doubt],
    *,
    written: bool,
    news: AfterVisit | None,
    as_json: bool,
) -> None:
    from growthcast.cli.output import print_json

    if not as_json:
        return
    print_json(
        {
            "tank_id": entry.tank_id,
            "on": entry.day,
            "written": written,
            "rows": entry.cells(),
            "understood": list(words),
            "doubts": doubts,
            "outlook": news,
        }
    )


def _found(rows: Sequence[VisitRow]) -> dict[str, float]:
    """Return the height each area was found at, where it was measured."""
    return {
        row.place.area_id: float(row.amounts["before_cm"])
        for row in rows
        if row.place is not None and "before_cm" in row.amounts
    }
