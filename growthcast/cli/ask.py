"""The questions of ``growthcast log`` without a visit: every area in turn, then the whole tank."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from datetime import date
from typing import TYPE_CHECKING

from growthcast.cli.output import printable, say
from growthcast.errors import UsageError

if TYPE_CHECKING:
    from growthcast.book.book import Book
    from growthcast.book.writing.visit.entry import VisitRow
    from growthcast.book.writing.visit.names import Place


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
