"""growthcast log, measure and open: a visit in one short line, off a photo, or in the browser."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from datetime import date
from pathlib import Path

from growthcast.book.book import Book
from growthcast.book.files import find_own_book
from growthcast.book.read import read_book, read_once
from growthcast.book.writing.visit.entry import VisitRow, looks_like_item, visit_rows
from growthcast.book.writing.visit.lines import (
    Line,
    checked_name,
    checked_number,
    keep_picture,
    log_line,
    read_taps,
)
from growthcast.book.writing.visit.places import GRAMMAR, places_of, tank_of_visit
from growthcast.cli import log_file, output
from growthcast.cli.options import Count, Day, File, Text, Texts, folder_of, open_fit
from growthcast.cli.output import Form, refuse_if, refused
from growthcast.cli.tables import print_line, printable
from growthcast.errors import UsageError
from growthcast.nouns import dataclass
from growthcast.say.words import Answer, named, sentence
from growthcast.service.visit.picture import Picture, pane_of, read_picture, shown_picture


def ask_for_visit(
    book: Book, tank_id: str, day: date, items: Sequence[str] = ()
) -> tuple[VisitRow, ...]:
    """Ask for every area without a row of its own on the day, then for the whole tank.

    ``items`` are parts of the visit that are known already.
    """
    output.say(
        f"{tank_id} on {day}: type what you did, Enter to skip an area, ? for what to write."
    )
    items = [*items]
    asked = [p for p in places_of(book, tank_id, day) if p.alive and not p.logged]
    for place in (*asked, None):
        question = "whole tank (bucket=180g 35min): "
        if place is not None:
            named = f"{place.label} ({place.area_id})" if place.label else place.area_id
            question = f"{named}, {place.unit} before/after: "
        while True:
            typed = answer(question, items)
            if typed == "?":
                output.say(GRAMMAR)
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
                output.say(str(error))
    return visit_rows(book, tank_id, day, items)


def answer(question: str, so_far: Sequence[str] = ()) -> str:
    """Return a line typed at a question on stderr; the end of the input leaves without writing.

    What was typed so far is then said back, so that it can be given again.
    """
    print(printable(question), end="", file=sys.stderr, flush=True)  # noqa: T201
    line = sys.stdin.readline()
    if not line:
        raise refused("input_ended", typed=" ".join(so_far))
    return line.strip()


NOT_FORECAST = "The visit is written, but nothing can be forecast from it"


@dataclass(frozen=True, slots=True)
class Asked:
    """What the options of ``log`` ask."""

    visit: Texts
    tank: Text
    on: Day
    number: str
    by: str
    taps: str
    lines: File
    again: bool
    yes: bool


def log_command(asked: Asked, form: Form) -> None:
    """Log a visit: say what was understood, write it with --yes, then say what follows from it.

    Example: growthcast log my-book --tank lobby --on 2026-03-02 stems=24/12 moss=right --yes

    Exit status: 0 done, 2 the visit is not understood or does not check, 3 the tool itself failed.
    """
    items = asked.visit or []
    named = items[0] if items and not looks_like_item(items[0]) else None
    items = items[1:] if named else items
    folder = find_own_book(named)
    with read_once():
        if asked.lines is None:
            _log_visit(folder, asked, form, items)
        else:
            refuse_if("visits_of_file", items)
            log_file.log_file(folder, asked.lines, date.today(), asked.yes, form)


def _log_visit(folder: Path, asked: Asked, form: Form, items: list[str]) -> None:
    from growthcast.book.writing.unlog import without_visit
    from growthcast.say import log as tell
    from growthcast.service.visit.logged import after_visit

    today, yes, again = date.today(), asked.yes, asked.again
    day = asked.on or today
    if asked.on is None:
        output.say(f"The day of the visit is today, {day}; another is given with --on.")
    book = read_book(folder, today=today)
    tank_id = tank_of_visit(book, asked.tank, items)
    book = without_visit(book, tank_id, day) if again else book
    rows = (visit_rows if items else ask_for_visit)(book, tank_id, day, items)
    if not rows:
        output.say("Nothing was typed, so nothing was written.")
        return
    before = log_file.fit_before(book, day)
    line = _line(tank_id, day, items, asked)
    known = log_file.understood(book, tank_id, day, rows, before, line.by)
    if not form.as_json:
        output.print_answer(tell.understood_answer(known))
    state = log_file.tried_line(folder, line, known, today, again=again)
    if known.doubts and not yes:
        output.say(f"{tell.doubtful_words([known])} with ? above: look again before it is written.")
    if state == "new" and not yes and not items:
        yes = answer("Write it? [y/N] ").casefold() in {"y", "yes"}
    added = None
    if yes and state == "new":
        with output.working(output.WAITING):
            state, added = log_line(folder, line, known.cells, today=today, again=again)
    if added is None:
        output.say(sentence(f"visit_{state}"))
    elif not form.as_json:
        but = f", although {tell.doubtful_words([known])} above" if known.doubts else ""
        print_line(f"Written to {folder / 'trims.csv'}{but}. growthcast unlog takes it back.")
    news = None
    if added is not None and added.book is not None and before is not None:
        news = log_file.or_say(NOT_FORECAST, after_visit, before, added.book, tank_id, day)
    whole = tell.visit_for_programs(known, added is not None)
    found = {r.place.area_id: r.amounts.get("before_cm") for r in known.rows if r.place}
    said = tell.outlook_answer(news, tank_id, day, found) if news else Answer()
    form.print(whole | {"outlook": news}, said, said=tell.SAID)


def _line(tank_id: str, day: date, items: Sequence[str], asked: Asked) -> Line:
    """Return a visit as its line; ``taps`` are a file of them, or they themselves."""
    number, by, taps = checked_number(asked.number), checked_name(asked.by), asked.taps
    tapped = taps if not taps or taps.lstrip().startswith("{") else output.text_of(Path(taps))
    if tapped:
        read_taps(tapped)
    return Line(tank_id, day, tuple(items), number, by=by, taps=tapped)


def open_command(book: Text, share: bool, at: str, port: Count, no_browser: bool) -> None:
    """Open the book's desk in a browser: what is due, each tank, and visits typed or tapped.

    Example: growthcast open my-book --share

    Exit status: 0 closed, 2 the book or its port cannot be used, 3 the tool itself failed.
    """
    folder = find_own_book(book)
    from growthcast.desk.memory import Desk
    from growthcast.desk.serve import open_desk

    share_at = at if share or at else None
    open_desk(Desk(folder), output.say, share_at, port, browser=not no_browser)


def measure_command(
    photo: Path, book: Text, tank: Text, taps: File, html: File, keep: bool, on: Day, form: Form
) -> None:
    """Read the heights of all areas off one photo of a tank, each with its error.

    Example: growthcast measure tank.jpg my-book --tank lobby --html tap.html

    Exit status: 0 done, 2 the photo is refused or bad arguments, 3 the tool itself failed.
    """
    from growthcast.say.written import photo_answer
    from growthcast.service.visit.photo import measure, size_of_tank

    refuse_if("taps_or_html", (taps is None) == (html is None) or (html is not None and keep))
    picture = read_picture(photo)
    if html is not None:
        _write_page(photo, picture, book, tank, html)
        return
    assert taps is not None
    opened = read_book(find_own_book(book) if keep else folder_of(book))
    tank_id = tank_of_visit(opened, tank, [])
    size = size_of_tank(opened, tank_id)
    told = read_taps(output.text_of(taps))
    reading = measure(opened, tank_id, picture, told)
    day = [] if on is None else ["--on", on.isoformat()]
    form.print(reading, photo_answer(reading, *day, "--taps", str(taps)))
    if keep:
        pane = pane_of(photo, told, size)
        file = keep_picture(opened.folder, tank_id, on or date.today(), pane)
        output.say(f"Kept {file}: the pane alone, {len(pane) / 1000:.0f} kB")


def _write_page(
    photo: Path, picture: Picture, book: str | None, tank: str | None, html: Path
) -> None:
    """Write the page for tapping, with the photo and the heights expected today inside."""
    import base64
    import math

    import numpy as np

    from growthcast.desk.visit import tapping_page
    from growthcast.forecast.heights import LEVELS
    from growthcast.forecast.report import as_date, forecast_growth
    from growthcast.service.visit.photo import photo_task

    opened, _, fit = open_fit(book, None)
    tank_id = tank_of_visit(opened, tank, [])
    place = np.flatnonzero(opened.tanks.text("tank_id") == tank_id)
    today = max(date.today(), as_date(fit.design.on_day))
    looks = forecast_growth(fit, (today,), 1, place)
    ids, labels = (opened.areas.text(name).tolist() for name in ("area_id", "label"))
    called = dict(zip(ids, labels, strict=True))
    expected = {}
    for look in looks:
        name, height = named(called[look.area_id], look.area_id), look.height_cm
        expected[look.area_id] = name, float(height[0, LEVELS.index(0.5)])
    task = photo_task(opened, tank_id, expected)
    shown = "data:image/jpeg;base64," + base64.b64encode(shown_picture(photo)).decode()
    focal = picture.focal_px / picture.width
    given = {"task": task, "focal": None if math.isnan(focal) else focal}
    beside = ": open it in a browser, tap, and give what it saves to --taps"
    output.write_file(html, tapping_page(opened.practice.locale, tank_id, shown, given), beside)
