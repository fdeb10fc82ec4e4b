"""growthcast log: a whole visit in one short line, or many of them from a file."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, TypeVar

import typer

from growthcast.book.report import format_finding
from growthcast.book.shipped import find_own_book
from growthcast.cli.ask import answer, ask_for_visit
from growthcast.cli.options import AsJson, argument, day_option, option
from growthcast.cli.output import print_answer, print_line, print_words, say
from growthcast.errors import GrowthcastError, HeldAlready, UsageError
from growthcast.say.words import count_of

if TYPE_CHECKING:
    from growthcast.book.book import Book
    from growthcast.book.writing.append import Addition
    from growthcast.book.writing.visit.lines import Line, State
    from growthcast.fit.result import GrowthFit
    from growthcast.service.doubts.understood import Understood

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
Number = Annotated[
    str,
    option("--visit", "NUMBER", "The visit's number: one that is in the book is not logged again."),
]
From = Annotated[
    Path | None,
    option(
        "--from",
        "FILE",
        "Log many visits: one a line, each as it stands after growthcast log, with its --on (and "
        "--tank and --visit). Visits that are in the book already are not logged again.",
    ),
]


def log_command(
    visit: BookAndVisit = None,
    tank: Tank = None,
    on: On = None,
    number: Number = "",
    lines: From = None,
    yes: Yes = False,
    as_json: AsJson = False,
) -> None:
    """Log a visit: say what was understood, write it with --yes, then say what follows from it.

    Example: growthcast log my-book --tank lobby --on 2026-03-02 stems=24/12 moss=right --yes

    Exit status: 0 done, 2 the visit is not understood or does not check, 3 the tool itself failed.
    """
    from growthcast.book.read import read_book
    from growthcast.book.writing.visit.entry import looks_like_item
    from growthcast.book.writing.visit.lines import Line, checked_number
    from growthcast.book.writing.visit.places import tank_of_visit, visit_rows

    items = visit or []
    named = items[0] if items and not looks_like_item(items[0]) else None
    items = items[1:] if named else items
    folder, today = find_own_book(named), date.today()
    if lines is not None:
        if items or tank or on or number:
            raise UsageError("--from FILE has the visits, so none stands beside it")
        _log_file(folder, lines, today, yes=yes, as_json=as_json)
        return
    day = on or today
    if on is None:
        say(f"The day of the visit is today, {day}; another is given with --on.")
    book = read_book(folder, today=today)
    tank_id = tank_of_visit(book, tank, items)
    rows = (visit_rows if items else ask_for_visit)(book, tank_id, day, items)
    if not rows:
        say("Nothing was typed, so nothing was written.")
        return
    before = _before(book, day)
    known = _understood(book, tank_id, day, rows, before)
    line = Line(tank_id, day, tuple(items), checked_number(number))
    if not as_json:
        print_words(_in_words(known))
    state = _tried(folder, line, known, today)
    if known.doubts and not yes:
        say(f"{_doubtful([known])} with ? above: look again before it is written.")
    if state == "new" and not yes and not items:
        yes = answer("Write it? [y/N] ").casefold() in {"y", "yes"}
    added: Addition | None = None
    if yes and state == "new":
        state, added = _written(folder, line, known, today)
        if not as_json:
            but = f", although {_doubtful([known])} above" if known.doubts else ""
            print_line(f"Written to {folder / 'trims.csv'}{but}. growthcast unlog takes it back.")
    elif state == "new":
        say("Nothing is written yet; the same line with --yes writes it.")
    else:
        say(STATES[state])
    _print_outlook(known, added, before, state, as_json=as_json)


def _log_file(folder: Path, file: Path, today: date, *, yes: bool, as_json: bool) -> None:
    """Log the visits of a file: all are understood and checked before the first is written."""
    from growthcast.book.read import read_book
    from growthcast.book.writing.append import would_add
    from growthcast.book.writing.visit.lines import numbered, read_lines
    from growthcast.book.writing.visit.places import tank_of_visit, visit_rows

    try:
        lines = read_lines(file.read_text(encoding="utf-8"))
    except UnicodeDecodeError as error:
        raise UsageError(f"{file} is no text in UTF-8; save it as that") from error
    book = read_book(folder, today=today)
    fits = {day: _before(book, day) for day in sorted({line.day for line in lines})}
    visits: list[tuple[Line, State, Understood | None]] = []
    troubles = []
    for line in lines:
        known, state = None, numbered(folder, line)
        try:
            if state == "new":
                tank_id = tank_of_visit(book, line.tank_id, line.items)
                rows = visit_rows(book, tank_id, line.day, line.items)
                known = _understood(book, tank_id, line.day, rows, fits[line.day])
                state = _tried(folder, line, known, today, quiet=True)
        except UsageError as error:
            troubles.append(f"line {line.row}: {error}")
        visits.append((line, state, known))
    if troubles:
        raise UsageError("nothing was written; mend these lines:\n    " + "\n    ".join(troubles))
    fresh = [(line, known) for line, state, known in visits if known and state == "new"]
    tried = would_add(folder, "trims", [c for _, k in fresh for c in k.cells], today=today)
    for item in tried.findings:
        say(format_finding(item))
    for line, state, known in visits:
        if known and state == "new" and not as_json:
            print_words(_in_words(known))
        elif state != "new":
            say(f"Line {line.row}: {STATES[state]}")
    written = 0
    for line, known in fresh if yes else ():
        written += _written(folder, line, known, today)[0] == "new"
    doubtful = [known for _, known in fresh if known.doubts]
    beside = f" {_doubtful(doubtful)} with ? above." if doubtful else ""
    if yes:
        say(f"{count_of(written, 'visit')} written to {folder / 'trims.csv'}.{beside}")
    elif fresh:
        say(f"{count_of(len(fresh), 'visit')} would be written; --yes writes them.{beside}")
    told = [
        {"line": line.row, "visit": line.number or None, "state": state}
        | (_for_programs(known, yes and state == "new") if known else {"written": False})
        for line, state, known in visits
    ]
    print_answer(as_json, {"visits": told}, ())


STATES = {
    "known": "this visit is in the book already, so nothing was written.",
    "other": "another visit of this number is in the book; it stays, and this one was not written. "
    "Leave the number out to log it as a visit of its own.",
}


def _tried(
    folder: Path, line: Line, known: Understood, today: date, *, quiet: bool = False
) -> State:
    """Say what writing a visit would do; return whether it is new to the book."""
    from growthcast.book.writing.append import would_add
    from growthcast.book.writing.visit.lines import numbered

    if (state := numbered(folder, line)) != "new":
        return state
    try:
        tried = would_add(folder, "trims", known.cells, today=today)
    except HeldAlready:
        if quiet or line.number:
            return "known"
        raise
    if not quiet:
        copies = [] if tried.book is None else tried.book.findings
        for item in (*(i for i in copies if i.slug == "conflict-copy"), *tried.findings):
            say(format_finding(item))
    return "new"


def _written(
    folder: Path, line: Line, known: Understood, today: date
) -> tuple[State, Addition | None]:
    from growthcast.book.writing.visit.lines import log_line

    summary = f"{known.tank_id} on {known.day}, {count_of(len(known.rows), 'row')}"
    return log_line(folder, line, known.cells, summary, today=today)


def _before(book: Book, day: date) -> GrowthFit | None:
    """Return the fit without a visit of a day; what is in the way is said."""
    from growthcast.service.logged import before_visit

    if day > date.today() + timedelta(days=1):  # it is refused
        return None
    return _or_say(NOT_JUDGED, before_visit, book, day)


def _understood(
    book: Book, tank_id: str, day: date, rows: Sequence[Any], before: GrowthFit | None
) -> Understood:
    from growthcast.service.doubts.understood import understand

    known = understand(book, tank_id, day, rows, before)
    if known.trouble:
        say(f"{NOT_JUDGED}: {known.trouble}")
    return known


def _in_words(known: Understood) -> list[str]:
    from growthcast.book.writing.visit.echo import visit_in_words
    from growthcast.say.doubts import questions

    asked = questions(known.doubts)
    return visit_in_words(known.tank_id, known.day, known.rows, known.places, known.grams, asked)


def _doubtful(visits: Sequence[Understood]) -> str:
    doubts = sum(len(known.doubts) for known in visits)
    return f"{count_of(doubts, 'doubt')} {'is' if doubts == 1 else 'are'} marked"


def _for_programs(known: Understood, written: bool) -> dict[str, Any]:
    from growthcast.say.doubts import doubts_for_programs

    whole = {"tank_id": known.tank_id, "on": known.day, "written": written, "rows": known.cells}
    doubts = doubts_for_programs(known.doubts)
    return whole | {"understood": _in_words(known), "doubts": doubts}


def _print_outlook(
    known: Understood,
    added: Addition | None,
    before: GrowthFit | None,
    state: State,
    *,
    as_json: bool,
) -> None:
    """Print what follows from a visit that was written."""
    from growthcast.say.log import outlook_for_programs, outlook_words
    from growthcast.service.logged import after_visit

    tank_id, day, news = known.tank_id, known.day, None
    if added is not None and added.book is not None and before is not None:
        news = _or_say(NOT_FORECAST, after_visit, before, added.book, tank_id, day)
    whole: Mapping[str, Any] = _for_programs(known, state == "new" and added is not None)
    whole = {**whole, "outlook": news and outlook_for_programs(news)}
    found = {r.place.area_id: r.amounts.get("before_cm") for r in known.rows if r.place}
    print_answer(as_json, whole, outlook_words(news, tank_id, day, found) if news else ())


NOT_JUDGED = "Nothing typed is held against what was to be expected"
NOT_FORECAST = "The visit is written, but nothing can be forecast from it"


def _or_say(otherwise: str, step: Callable[..., T], *given: object) -> T | None:
    """Return what a step gives; a visit is written all the same, so trouble is only said."""
    try:
        return step(*given)
    except GrowthcastError as error:
        say(f"{otherwise}: {error}")
        return None
