"""The areas a visit may name, and its rows as the log holds them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date

import numpy as np

from growthcast.book.book import Book, WholeTank
from growthcast.book.checks.log import has_amounts
from growthcast.book.supposed.rows import Cell
from growthcast.book.words import check_known
from growthcast.book.writing.visit.echo import measured_areas
from growthcast.book.writing.visit.entry import Amount, VisitRow, parse_visit
from growthcast.book.writing.visit.names import Place
from growthcast.errors import UsageError


def places_of(book: Book, tank_id: str, day: date) -> tuple[Place, ...]:
    """Return every area a tank has or had as it is on a day, in the book's order."""
    covers = set(book.species.text("species_id")[book.species.text("measure") == "cover_pct"])
    areas, trims, on = book.areas, book.trims, np.datetime64(day, "D")
    here = areas.text("tank_id") == tank_id
    gone = areas.date("removed_on") < on  # not so where the date is blank
    alive = (areas.date("planted_on") <= on) & ~gone
    today = trims.date("date") == on
    logged = set(trims.text("area_id")[today])
    measured = set(trims.text("area_id")[today & has_amounts(trims)])
    columns = ("area_id", "label", "species_id", "cut_cm")
    return tuple(
        Place(
            *(area_id, label, species in covers, None if cut != cut else float(cut), bool(lives)),
            logged=area_id in logged,
            measured=area_id in measured,
        )
        for area_id, label, species, cut, lives in zip(
            *(areas.columns[name][here] for name in columns), alive[here], strict=True
        )
    )


def _areas_elsewhere(book: Book, tank_id: str) -> dict[str, str]:
    """Return the tank of every area that is in another one."""
    pairs = zip(book.areas.text("area_id"), book.areas.text("tank_id"), strict=True)
    return {area: tank for area, tank in pairs if tank != tank_id}


def tank_of_visit(book: Book, tank_id: str | None, items: Sequence[str]) -> str:
    """Return the tank a visit is to: the one named, the only one, or the one its areas are in."""
    tanks = book.tanks.text("tank_id").tolist()
    if tank_id is not None:
        check_known(tank_id, tanks, "tanks.csv has no tank", "the tanks are")
        return tank_id
    if len(tanks) == 1:
        return str(tanks[0])
    home = dict(zip(book.areas.text("area_id"), book.areas.text("tank_id"), strict=True))
    named = {home.get(item.partition("=")[0].strip()) for item in items} - {None}
    if len(named) == 1:
        return str(named.pop())
    raise UsageError(f"name the tank with --tank ID; the tanks are {', '.join(tanks[:12])}")


def visit_rows(book: Book, tank_id: str, day: date, items: Sequence[str]) -> tuple[VisitRow, ...]:
    """Return the rows that a line of a visit to a tank means."""
    return parse_visit(items, places_of(book, tank_id, day), _areas_elsewhere(book, tank_id))


def log_rows(
    rows: Sequence[VisitRow], book: Book, tank_id: str, day: date, reading: WholeTank
) -> list[Mapping[str, Cell]]:
    """Return a visit as rows of ``trims.csv``; ``reading`` is how whole tanks' weights are read.

    ``UsageError`` where a weight is meant otherwise, that makes a difference, and the log has no
    room to say it.
    """
    places = places_of(book, tank_id, day)
    return [
        {
            "date": day,
            "tank_id": tank_id,
            "area_id": row.place.area_id if row.place else None,
            **_with_room(row.amounts, rows, places, book, reading),
        }
        for row in rows
    ]


def _with_room(
    amounts: Mapping[str, Amount],
    rows: Sequence[VisitRow],
    places: Sequence[Place],
    book: Book,
    reading: WholeTank,
) -> Mapping[str, Amount]:
    """Return a row's amounts without the word for whose grams they are where it goes unsaid."""
    whose, header = amounts.get("grams_of"), book.trims.letters
    if whose is None or "grams_of" in header or not header:  # a new log has every column
        return amounts
    measured = measured_areas(rows, places)
    differs = any(place.alive and place.area_id in measured for place in places)
    if differs and reading != whose:
        word = "bucket" if whose == "all" else "rest"
        raise UsageError(
            f"{word}=: trims.csv has no column to say whose grams these are; add a column grams_of "
            "at the end of its first line (rows that end before it stay as they are), or, if every "
            f'bucket of yours is weighed so, write whole_tank_grams = "{whose}" under [log] in '
            "practice.toml; then type the line again"
        )
    return {name: amount for name, amount in amounts.items() if name != "grams_of"}
