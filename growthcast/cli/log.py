"""growthcast log: a whole visit in one short line, or every area asked for in turn."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from datetime import date, timedelta
from typing import TYPE_CHECKING, Annotated, TypeVar

import typer

from growthcast.book.findings import format_finding
from growthcast.book.shipped import find_own_book
from growthcast.cli.options import AsJson, argument, day_option, option
from growthcast.cli.output import print_answer, print_line, print_words, printable, say
from growthcast.errors import GrowthcastError, UsageError
from growthcast.say.words import count_of

if TYPE_CHECKING:
    from growthcast.book.book import Book
    from growthcast.book.writing.visit.entry import VisitRow
    from growthcast.book.writing.visit.names import Place
    from growthcast.fit.result import GrowthFit
    from growthcast.service.doubts.typed import Doubt


def ask_for_visit(
    book: Book, tank_id: str, day: date, items: Sequence[str] = ()
) -> tuple[VisitRow, ...]:
    """Ask for every area without a row of its own on the day, then for the whole tank.

    ``items`` are parts of the visit that are known already.
    """
    from growthcast.book.writing.visit.entry import GRAMMAR
    from growthcast.book.writing.visit.places import places_of, visit_rows

    say(f"{tank_id} on {day}: type what you did, Enter to skip an area, ? for what to write.")
    items = [*items]
    asked = [p for p in places_of(book, tank_id, day) if p.alive and not p.logged]
    for place in (*asked, None):
        while True:
            typed = answer(_question(place), items)
            if typed == "?":
                say(GRAMMAR)
                continue
            # Several amounts may stand apart, as in the question; a note keeps its blanks.
            parts = [typed] if "note:" in typed else typed.split()
            if place is not None:
                parts = [f"{place.area_id}={'+'.join(parts)}"] if parts else []
            try:
                if parts:
                    visit_rows(book, tank_id, day, [*items, *parts])
                    items += parts
                break
            except UsageError as error:
                say(str(error))
    return visit_rows(book, tank_id, day, items)


def _question(place: Place | None) -> str:
    if place is None:
        return "whole tank (bucket=180g 35min): "
    named = f"{place.label} ({place.area_id})" if place.label else place.area_id
    return f"{named}, {place.unit} before/after: "


def answer(question: str, so_far: Sequence[str] = ()) -> str:
    """Return a line typed at a question on stderr; the end of the input leaves without writing.

    What was typed so far is then said back, so that it can be given again.
    """
    print(printable(question), end="", file=sys.stderr, flush=True)  # noqa: T201
    line = sys.stdin.readline()
    if not line:
        typed = f"; typed so far: {' '.join(so_far)}" if so_far else ""
        raise UsageError(
            f"the input ended before the visit was complete; nothing was written{typed}"
        )
    return line.strip()


T = TypeVar("T")

BookAndVisit = Annotated[
    list[str] | None,
    argument(
        "[BOOK] AREA=AMOUNTS",
        "Folder of the book (default: this folder), then the visit: stems=24/12 (stood at 24 "
        "cm, cut to 12), stems=24 (measured, not cut), crypt=-3cm (taken off), moss=right "
        "(short, right or over, by eye), stems=90g, stems=10min, stems=note:text; several with +, "
        "as in stems=24/12+90g. all=right for every area, rest=right for those not named. The "
        "whole tank's: 35min, bucket=180g (all that came out of it), rest=180g (of the areas "
        "without amounts of their own), 180g (read as the practice or the log tells). "
        "No visit at all: every area is asked for in turn.",
    ),
]
Tank = Annotated[
    str | None, option("--tank", "ID", "The tank visited. Default: the one the areas are in.")
]
On = Annotated[date | None, day_option("--on", "Day of the visit, as YYYY-MM-DD. Default: today.")]
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
    from growthcast.book.writing.append import add_rows, would_add
    from growthcast.book.writing.visit import places
    from growthcast.book.writing.visit.entry import looks_like_item
    from growthcast.say.log import doubts_for_programs, outlook_for_programs, outlook_words
    from growthcast.service.visit.logged import after_visit

    items = visit or []
    named = items[0] if items and not looks_like_item(items[0]) else None
    items = items[1:] if named else items
    folder, today = find_own_book(named), date.today()
    day = on or today
    if on is None:
        say(f"The day of the visit is today, {day}; another is given with --on.")
    book = read_book(folder, today=today)
    tank_id = places.tank_of_visit(book, tank, items)
    rows = (places.visit_rows if items else ask_for_visit)(book, tank_id, day, items)
    if not rows:
        say("Nothing was typed, so nothing was written.")
        return
    before, doubts, questions = _judged(book, tank_id, day, rows)
    grams = before.whole_tank_grams if before else (book.practice.whole_tank_grams or "all", "")
    cells = places.log_rows(rows, book, tank_id, day, grams[0])
    areas = places.places_of(book, tank_id, day)
    understood = places.visit_in_words(tank_id, day, rows, areas, grams, questions)
    if not as_json:
        print_words(understood)
    tried = would_add(folder, "trims", cells, today=today)
    for item in (*(i for i in book.findings if i.slug == "conflict-copy"), *tried.findings):
        say(format_finding(item))
    doubtful = f"{count_of(len(doubts), 'doubt')} {'is' if len(doubts) == 1 else 'are'} marked"
    if doubts and not yes:
        say(f"{doubtful} with ? above: look again before it is written.")
    if not yes and not items:
        yes = answer("Write it? [y/N] ").casefold() in {"y", "yes"}
    news = None
    if yes:
        summary = f"{tank_id} on {day}, {count_of(len(rows), 'row')}"
        added = add_rows(folder, "trims", cells, today=today, command="log", summary=summary)
        if not as_json:
            but = f", although {doubtful} above" if doubts else ""
            print_line(f"Written to {folder / 'trims.csv'}{but}. growthcast unlog takes it back.")
        if before is not None and added.book is not None:
            news = _or_say(NOT_FORECAST, after_visit, before, added.book, tank_id, day)
    else:
        say("Nothing is written yet; the same line with --yes writes it.")
    whole = {"tank_id": tank_id, "on": day, "written": yes, "rows": cells}
    outlook = news and outlook_for_programs(news)
    whole |= {"understood": understood, "doubts": doubts_for_programs(doubts), "outlook": outlook}
    found = {r.place.area_id: r.amounts.get("before_cm") for r in rows if r.place}
    print_answer(as_json, whole, outlook_words(news, tank_id, day, found) if news else ())


def _judged(
    book: Book, tank_id: str, day: date, rows: Sequence[VisitRow]
) -> tuple[GrowthFit | None, Sequence[Doubt], dict[str | None, list[str]]]:
    """Return the fit without the visit, what is doubted by it, and that as questions by area."""
    from growthcast.say.log import doubt_words
    from growthcast.service.doubts.judge import doubts_of_visit
    from growthcast.service.visit.logged import before_visit

    before: GrowthFit | None = None
    doubts: Sequence[Doubt] = ()
    if day <= date.today() + timedelta(days=1):  # a later one is refused
        before = _or_say(NOT_JUDGED, before_visit, book, day)
    if before is not None:
        doubts = _or_say(NOT_JUDGED, doubts_of_visit, before, book, tank_id, rows) or ()
    questions: dict[str | None, list[str]] = {}
    for doubt in doubts:
        questions.setdefault(doubt.area_id, []).append(doubt_words(doubt))
    return before, doubts, questions


NOT_JUDGED = "Nothing typed is held against what was to be expected"
NOT_FORECAST = "The visit is written, but nothing can be forecast from it"


def _or_say(otherwise: str, step: Callable[..., T], *given: object) -> T | None:
    """Return what a step gives; a visit is written all the same, so trouble is only said."""
    try:
        return step(*given)
    except GrowthcastError as error:
        say(f"{otherwise}: {error}")
        return None
