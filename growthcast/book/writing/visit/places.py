"""The areas a visit may name, and its rows as the log holds them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date

import numpy as np

from growthcast.book.book import Book
from growthcast.book.checks.rows import has_amounts
from growthcast.book.supposed import Cell
from growthcast.book.words import check_known, shown, some_of
from growthcast.book.writing.visit.amounts import WORDS, Place, is_note
from growthcast.book.writing.visit.entry import VisitRow, beginning_with, parse_visit
from growthcast.errors import UsageError


def places_of(book: Book, tank_id: str, day: date) -> tuple[Place, ...]:
    """Return every area a tank has or had as it is on a day, in the book's order."""
    covers = set(book.species.text("species_id")[book.species.text("measure") == "cover_pct"])
    areas, trims, on = book.areas, book.trims, np.datetime64(day, "D")
    here = areas.text("tank_id") == tank_id
    gone = areas.date("removed_on") < on  # not so where the date is blank
    alive = ~(areas.date("planted_on") > on) & ~gone
    today = trims.date("date") == on
    logged = set(trims.text("area_id")[today])
    measured = set(trims.text("area_id")[today & has_amounts(trims)])
    cells = [areas.text(name)[here] for name in ("area_id", "label", "species_id")]
    cells += [book.bounds_on(day).cut_cm[here], alive[here]]
    return tuple(
        Place(
            *(area_id, label, species in covers, None if cut != cut else float(cut), bool(lives)),
            logged=area_id in logged,
            measured=area_id in measured,
        )
        for area_id, label, species, cut, lives in zip(*cells, strict=True)
    )


def _areas_elsewhere(book: Book, tank_id: str) -> dict[str, str]:
    """Return the tank of every area that is in another one."""
    pairs = zip(book.areas.text("area_id"), book.areas.text("tank_id"), strict=True)
    return {area: tank for area, tank in pairs if tank != tank_id}


def tank_of_visit(book: Book, tank_id: str | None, items: Sequence[str]) -> str:
    """Return the tank a visit is to: the one named, the only one, or the one its areas are in.

    The beginning of an id will do where no other begins so; ``UsageError`` where several do.
    """
    tanks = book.tanks.text("tank_id").tolist()
    if tank_id is not None:
        begin = [tank_id] if tank_id in tanks else beginning_with(tank_id, tanks)
        if len(begin) > 1:
            raise UsageError(f"{len(begin)} tanks begin with {shown(tank_id)}: {some_of(begin)}")
        if not begin:
            check_known(tank_id, tanks, "tanks.csv has no tank", "the tanks are")
        return begin[0]
    if len(tanks) == 1:
        return str(tanks[0])
    named = {item.partition("=")[0].strip() for item in items if "=" in item and not is_note(item)}
    areas = book.areas.keep(~book.areas.given("removed_on"))
    pairs = list(zip(areas.text("area_id"), areas.text("tank_id"), strict=True))
    homes = []
    for name in named - WORDS.keys():
        exact = {tank for area, tank in pairs if area == name}
        alike = {tank for tank in tanks if beginning_with(name, [a for a, t in pairs if t == tank])}
        homes += [exact or alike] if exact or alike else []
    left = set.intersection(*homes) if homes else set()
    if len(left) == 1:
        return str(left.pop())
    several = f"in {some_of(sorted(left))} areas begin so; " if left else ""
    raise UsageError(f"{several}name the tank with --tank ID; the tanks are {some_of(tanks, 12)}")


def visit_rows(book: Book, tank_id: str, day: date, items: Sequence[str]) -> tuple[VisitRow, ...]:
    """Return the rows that a line of a visit to a tank means."""
    return parse_visit(items, places_of(book, tank_id, day), _areas_elsewhere(book, tank_id))


def log_rows(
    rows: Sequence[VisitRow], tank_id: str, day: date, by: str = ""
) -> list[Mapping[str, Cell]]:
    """Return a visit as rows of ``trims.csv``; ``by`` is who logged it."""
    who = {"by": by} if by else {}
    return [
        {
            "date": day,
            "tank_id": tank_id,
            "area_id": row.place.area_id if row.place else None,
            **row.amounts,
            **who,
        }
        for row in rows
    ]
