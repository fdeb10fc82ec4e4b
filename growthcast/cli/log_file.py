"""Visits from a file of lines, and what the logging of one line shares with it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from growthcast.book.book import Book
from growthcast.book.findings import format_finding
from growthcast.book.writing.append import Change, would_add
from growthcast.book.writing.unlog import change_visit
from growthcast.book.writing.visit.lines import Line, State, log_line, numbered, read_lines
from growthcast.cli.output import WAITING, Form, print_answer, say, text_of, working
from growthcast.errors import GrowthcastError, HeldAlready, UsageError
from growthcast.say.words import Answer, count_of, sentence

if TYPE_CHECKING:
    from growthcast.fit.result import GrowthFit
    from growthcast.service.doubts.judge import Understood

T = TypeVar("T")

NOT_JUDGED = "Nothing typed is held against what was to be expected"


def log_file(folder: Path, file: Path, today: date, yes: bool, form: Form) -> None:
    """Log the visits of a file: all are understood and checked before the first is written."""
    from growthcast.book.read import read_book
    from growthcast.book.writing.visit.entry import visit_rows
    from growthcast.book.writing.visit.places import tank_of_visit
    from growthcast.say.log import SAID, doubtful_words, understood_answer, visit_for_programs

    lines = read_lines(text_of(file))
    book = read_book(folder, today=today)
    fits = {day: fit_before(book, day) for day in sorted({line.day for line in lines})}
    visits: list[tuple[Line, State, Understood | None]] = []
    troubles = []
    for line in lines:
        known, state = None, numbered(folder, line)
        try:
            if state == "new":
                tank_id = tank_of_visit(book, line.tank_id, line.items)
                rows = visit_rows(book, tank_id, line.day, line.items)
                known = understood(book, tank_id, line.day, rows, fits[line.day], line.by)
                state = tried_line(folder, line, known, today, quiet=True, again=False)
        except UsageError as error:
            troubles.append(f"line {line.row}: {error}")
        visits.append((line, state, known))
    if troubles:
        raise UsageError("nothing was written; mend these lines:\n    " + "\n    ".join(troubles))
    fresh = [(line, known) for line, state, known in visits if known and state == "new"]
    together = would_add(folder, "trims", [c for _, k in fresh for c in k.cells], today=today)
    say_beside(together)
    for line, state, known in visits:
        if known and state == "new" and not form.as_json:
            print_answer(understood_answer(known))
        elif state != "new":
            say(f"Line {line.row}: {sentence(f'visit_{state}')}")
    written = 0
    for line, known in fresh if yes else ():
        with working(WAITING):
            written += log_line(folder, line, known.cells, today=today)[0] == "new"
    doubtful = [known for _, known in fresh if known.doubts]
    beside = f" {doubtful_words(doubtful)} with ? above." if doubtful else ""
    if yes:
        say(f"{count_of(written, 'visit')} written to {folder / 'trims.csv'}.{beside}")
    elif fresh:
        say(f"{count_of(len(fresh), 'visit')} would be written; --yes writes them.{beside}")
    told = []
    for line, state, known in visits:
        said = visit_for_programs(known, yes and state == "new") if known else {"written": False}
        told.append({"line": line.row, "visit": line.number or None, "state": state} | said)
    form.print({"visits": told}, Answer(), said=SAID)


def tried_line(
    folder: Path, line: Line, known: Understood, today: date, *, quiet: bool = False, again: bool
) -> State:
    """Say what writing a visit would do; return whether it is new to the book.

    One logged ``again`` stands in the place of what the book has of it.
    """
    if (state := numbered(folder, line)) != "new":
        return state
    try:
        if again:
            visit = (known.tank_id, known.day, known.cells)
            tried = change_visit(folder, *visit, today=today, write=False)
            say("\n  ".join(["What the book has of this visit would become:", *tried.lines]))
        else:
            tried = would_add(folder, "trims", known.cells, today=today)
    except HeldAlready:
        if quiet or line.number:
            return "known"
        raise
    if not quiet:
        known_of = [] if tried.book is None else tried.book.findings
        say(*(format_finding(one) for one in known_of if one.slug == "conflict-copy"))
        say_beside(tried)
    return "new"


def say_beside(change: Change) -> None:
    """Say what a change brings beside its rows: notes, and columns that its table gets."""
    say(*map(format_finding, change.findings))
    if change.columns:
        say(f"{change.table}.csv gets at the end of its first line: {', '.join(change.columns)}.")


def fit_before(book: Book, day: date) -> GrowthFit | None:
    """Return the fit without a visit of a day; what is in the way is said."""
    from growthcast.fit.growth import recalled_fit

    if day > date.today() + timedelta(days=1):  # it is refused
        return None
    return or_say(NOT_JUDGED, recalled_fit, book, day)


def understood(
    book: Book, tank_id: str, day: date, rows: Sequence[Any], before: GrowthFit | None, by: str = ""
) -> Understood:
    from growthcast.service.doubts.judge import understand

    known = understand(book, tank_id, day, rows, before, by)
    if known.trouble:
        say(f"{NOT_JUDGED}: {known.trouble}")
    return known


def or_say(otherwise: str, step: Callable[..., T], *given: object) -> T | None:
    """Return what a step gives; a visit is written all the same, so trouble is only said."""
    try:
        return step(*given)
    except GrowthcastError as error:
        say(f"{otherwise}: {error}")
        return None
