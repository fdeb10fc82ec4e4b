"""The areas a visit may name, and its rows as the log holds them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date

import numpy as np

from growthcast.book.book import Book
from growthcast.book.suppose import Cell
from growthcast.book.words import did_you_mean, shown
from growthcast.book.writing.visit.entry import Place, VisitRow
from growthcast.errors import UsageError

__all__ = ["areas_elsewhere", "log_rows", "places_of", "tank_of_visit", "unlogged_on"]


def places_of(book: Book, tank_id: str) -> tuple[Place, ...]:
    """Return every area a tank has or had, in the book's order."""
    covers = set(book.species.text("species_id")[book.species.text("measure") == "cover_pct"])
    areas, here = book.areas, book.areas.text("tank_id") == tank_id
    columns = ("area_id", "label", "species_id", "cut_cm")
    return tuple(
        Place(area_id, label, species in covers, None if cut != cut else float(cut))
        for area_id, label, species, cut in zip(
            *(areas.columns[name][here] for name in columns), strict=True
        )
    )


def areas_elsewhere(book: Book, tank_id: str) -> dict[str, str]:
    """Return the tank of every area that is in another one."""
    pairs = zip(book.areas.text("area_id"), book.areas.text("tank_id"), strict=True)
    return {area: tank for area, tank in pairs if tank != tank_id}


def unlogged_on(book: Book, tank_id: str, day: date) -> tuple[Place, ...]:
    """Return a tank's areas that live on a day and have no row in the log on it."""
    areas, trims = book.areas, book.trims
    on = np.datetime64(day, "D")
    gone = areas.date("removed_on") < on  # not so where the date is blank
    alive = (areas.date("planted_on") <= on) & ~gone
    living = set(areas.text("area_id")[alive])
    logged = set(trims.text("area_id")[trims.date("date") == on])
    return tuple(p for p in places_of(book, tank_id) if p.area_id in living - logged)


def tank_of_visit(book: Book, tank_id: str | None, items: Sequence[str]) -> str:
    """Return the tank a visit is to: the one named, the only one, or the one its areas are in."""
    tanks = book.tanks.text("tank_id").tolist()
    if tank_id is not None:
        if tank_id in tanks:
            return tank_id
        names = ", ".join(tanks[:8]) + (" and others" if len(tanks) > 8 else "")
        hint = did_you_mean(tank_id, tanks, otherwise=f"the tanks are {names}")
        raise UsageError(f"tanks.csv has no tank {shown(tank_id)}; {hint}")
    if len(tanks) == 1:
        return str(tanks[0])
    home = dict(zip(book.areas.text("area_id"), book.areas.text("tank_id"), strict=True))
    named = {home.get(item.partition("=")[0].strip()) for item in items} - {None}
    if len(named) == 1:
        return str(named.pop())
    raise UsageError(f"name the tank with --tank ID; the tanks are {', '.join(tanks[:12])}")


def log_rows(rows: Sequence[VisitRow], tank_id: str, day: date) -> list[Mapping[str, Cell]]:
    """Return a visit as rows of ``trims.csv``."""
    return [
        {
            "date": day,
            "tank_id": tank_id,
            "area_id": row.place.area_id if row.place else None,
            **row.amounts,
        }
        for row in rows
    ]
