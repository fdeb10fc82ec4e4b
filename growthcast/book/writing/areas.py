"""A plant replaced, a tank given up, heights agreed anew: checked, said back, then written."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from itertools import chain, count
from pathlib import Path
from typing import Unpack

import numpy as np

from growthcast.arrays import BoolArray
from growthcast.book.book import BOUNDS, Book
from growthcast.book.findings import refusal
from growthcast.book.names import meant, names_of_plants, plant_meant
from growthcast.book.read import read_book
from growthcast.book.supposed import Cell
from growthcast.book.tables import TABLES
from growthcast.book.words import folded, plain, some_of
from growthcast.book.writing.append import Change, How, edit_table
from growthcast.book.writing.journal import Entry, book_lock
from growthcast.book.writing.source import read_source
from growthcast.book.writing.visit.places import tank_of_visit
from growthcast.errors import UsageError

_NOT_KEPT = ("label", "note", "start", "planted_height_cm", "removed_on")
"""What the next plant of an area does not take over from the one before."""
_LONG_ENOUGH = 4
"""Letters of a word at least by which a label may name a plant."""


def replace_area(
    folder: Path,
    area_id: str,
    plant: str,
    on: date,
    cells: Mapping[str, Cell] | None = None,
    **how: Unpack[How],
) -> Change:
    """End an area on a day and begin another plant in its place, with its ground and heights.

    The new area takes over the columns of ``areas.csv`` but what is the plant's own: its id and
    label name the new plant where they named the old one, else the id is numbered. The heights are
    those that hold on the day. On the day itself both are alive: what was pulled out is logged
    of the old area, how high the new one was planted of the new.

    Parameters
    ----------
    folder
        The book's folder.
    area_id
        The area whose plant is replaced; the beginning of its id will do where no other begins so.
    plant
        The new plant by any of its names.
    on
        Last day of the old area and first of the new.
    cells
        Cells of the new area that differ, by column of ``areas.csv``; ``area_id`` names it.
    **how
        The day that log dates are held against, whether the change is written, and who made it.

    Raises
    ------
    UsageError
        The area or plant is not known, or the area does not live on the day.
    BookProblems
        The book has problems, or would have with the change.
    NotWritten
        A file cannot be written.
    """
    with book_lock(folder):
        book = read_book(folder, today=how["today"])
        areas, species, given = book.areas, book.species, dict(cells or {})
        place = _living_area(book, area_id, on)
        one, new = str(areas.text("area_id")[place]), plant_meant(species, plant, "replace: ")
        old, names = str(areas.text("species_id")[place]), species.text("species_id")
        cover = dict(zip(names, species.text("measure") == "cover_pct", strict=True))
        if cover[old] != cover[new] and not {"floor_cm", "budget_cm"} <= given.keys():
            units = [f"{one} in {'% cover' if cover[one] else 'cm'}" for one in (old, new)]
            raise UsageError(refusal("other-unit", units=" and ".join(units)))
        row = _kept_row(book, place, on) | {"species_id": new, "planted_on": on}
        words = folded(" ".join(names_of_plants(species)[old])).split()
        row["label"] = _renamed(str(areas.text("label")[place]), words, new) or None
        row["area_id"] = _fresh_id(_renamed(one, words, new), areas.text("area_id").tolist())
        row |= given
        heights = _heights_in_words(row, "%" if cover[new] else "cm")
        summary = (
            f"{row['tank_id']}: {one} ({old}) ends on {on}; {row['area_id']} ({new}) begins "
            f"that day on {plain(_number(row['area_cm2']))} cm², {heights}"
        )
        ends = {int(areas.rows[place]): {"removed_on": on}}
        source = read_source(folder, "areas")
        done = edit_table(folder, source, ends, [row], Entry("replace", summary), **how)
    return replace(done, ended=(one,))


def _renamed(name: str, words: list[str], plant: str) -> str:
    """Return an id or label with the new plant's genus where a word of it named the old one."""

    def changed(match: re.Match[str]) -> str:
        word = match[0].casefold()
        known = (one for one in words if len(one) >= _LONG_ENOUGH <= len(word))
        named = any(one.startswith(word) or word == f"{one}s" for one in known)
        return plant.partition("-")[0] if named else match[0]

    return re.sub(r"[^\W_]+", changed, name)


def _fresh_id(wanted: str, taken: list[str]) -> str:
    """Return an id for the next plant of an area that the book does not have yet."""
    known, stem = {name.casefold() for name in taken}, re.sub(r"-[0-9]+$", "", wanted)
    several = chain([wanted], (f"{stem}-{number}" for number in count(2)))
    return next(one for one in several if one.casefold() not in known)


def retire(
    folder: Path,
    on: date,
    *,
    tank_id: str | None = None,
    client: str | None = None,
    **how: Unpack[How],
) -> Change:
    """End every living area of a tank, or of all tanks of a client, on a day.

    The rows stay: what the log taught of the plants is kept, and nothing is planned there any more.

    Parameters
    ----------
    folder
        The book's folder.
    on
        Last day of the areas' lives.
    tank_id, client
        The tank, or whose tanks; one of the two.
    **how
        As in :func:`replace_area`.

    Raises
    ------
    UsageError
        Neither or both are named, the tank or client is not known, or nothing lives there.
    BookProblems
        The book has problems, or would have: rows logged after the day.
    NotWritten
        A file cannot be written.
    """
    if (tank_id is None) == (client is None):
        raise UsageError("name one tank with --tank ID, or all of a client's with --client NAME")
    with book_lock(folder):
        book = read_book(folder, today=how["today"])
        tanks, areas, day = book.tanks, book.areas, np.datetime64(on, "D")
        if client is not None:
            mine = tanks.text("tank_id")[book.tanks_of(client)].tolist()
        else:
            mine = [tank_of_visit(book, tank_id, ())]
        here = np.isin(areas.text("tank_id").astype(str), mine)
        coming = here & (areas.date("planted_on") > day)
        living = np.flatnonzero(here & ~coming & ~(areas.date("removed_on") <= day))
        if not living.size:
            raise UsageError(_nothing_alive(book, here, client or mine[0], on))
        if coming.any():
            later = ", ".join(areas.text("area_id")[coming].tolist())
            raise UsageError(f"planted after {on}: {later}; take these rows out of areas.csv first")
        named = areas.text("area_id")[living].tolist()
        emptied = dict.fromkeys(areas.text("tank_id")[living].tolist())
        whose = f"{client}: " if client else ""
        word = "tanks" if len(emptied) > 1 else "tank"
        summary = (
            f"{whose}{word} {', '.join(emptied)} given up on {on}; {len(named)} "
            f"{'area ends' if len(named) == 1 else 'areas end'}: {some_of(named, 12)}"
        )
        ends = {int(row): {"removed_on": on} for row in areas.rows[living]}
        source = read_source(folder, "areas")
        done = edit_table(folder, source, ends, [], Entry("retire", summary), **how)
    return replace(done, ended=tuple(named))


def move_bounds(
    folder: Path,
    area_id: str,
    on: date,
    *,
    floor_cm: float | None = None,
    budget_cm: float | None = None,
    cut_cm: float | None = None,
    **how: Unpack[How],
) -> Change:
    """Agree an area's heights anew from a day on, in ``bounds.csv``; the past keeps its own.

    Parameters
    ----------
    folder
        The book's folder.
    area_id
        The area.
    on
        First day on which they hold.
    floor_cm, budget_cm, cut_cm
        The heights that change [cm, or % cover]; the others stay.
    **how
        As in :func:`replace_area`.

    Raises
    ------
    UsageError
        The area is not known or does not live on the day, or nothing would change.
    BookProblems
        The book has problems, or would have, as with a floor above the budget.
    NotWritten
        A file cannot be written.
    """
    wanted = dict(zip(BOUNDS, (floor_cm, budget_cm, cut_cm), strict=True))
    with book_lock(folder):
        book = read_book(folder, today=how["today"])
        place, bounds = _living_area(book, area_id, on), book.bounds
        one, plant = (str(book.areas.text(n)[place]) for n in ("area_id", "species_id"))
        at = book.species.text("species_id").tolist().index(plant)
        unit = "%" if book.species.text("measure")[at] == "cover_pct" else "cm"
        before = _heights_on(book, place, on)
        moved = {n: v for n, v in wanted.items() if v is not None and v != before.get(n)}
        if not moved:
            now = _heights_in_words(before, unit)
            raise UsageError(refusal("heights-alike", area=one, now=now, on=on))
        what = ", ".join(
            name.removesuffix("_cm")
            + (f" {plain(before[name])} {unit} to" if name in before else "")
            + f" {plain(value)} {unit}"
            for name, value in moved.items()
        )
        summary = f"{book.areas.text('tank_id')[place]}: {one} from {on} on: {what}"
        same = (bounds.text("area_id") == one) & (bounds.date("from_date") == np.datetime64(on))
        changed = {int(row): moved for row in bounds.rows[same][:1]}
        rows: list[Mapping[str, Cell]] = [{"area_id": one, "from_date": on, **moved}]
        source, said = read_source(folder, "bounds"), Entry("move", summary)
        return edit_table(folder, source, changed, [] if changed else rows, said, **how)


def _living_area(book: Book, area_id: str, on: date) -> int:
    """Return the place of an area that lives on a day and beyond; ``UsageError`` else."""
    areas = book.areas
    known: list[str] = areas.text("area_id").tolist()
    names = {one: (one, label) for one, label in zip(known, areas.text("label"), strict=True)}
    living = areas.text("area_id")[~areas.given("removed_on")].tolist()
    area_id = meant(area_id, names, "areas.csv has no area", living=living)
    place = known.index(area_id)
    planted, removed = (areas.date(n)[place] for n in ("planted_on", "removed_on"))
    day = np.datetime64(on, "D")
    if planted > day:
        raise UsageError(f"{area_id} was planted on {planted}, after {on}; give a later day")
    if not np.isnat(removed):
        raise UsageError(refusal("removed-already", area=area_id, removed=removed))
    return place


def _nothing_alive(book: Book, here: BoolArray, whose: str, on: date) -> str:
    """Say why a tank, or a client's tanks, have nothing that could end on a day."""
    planted = book.areas.date("planted_on")[here]
    removed = book.areas.date("removed_on")[here]
    if not planted.size:
        return f"{whose} has no area in areas.csv, so there is nothing to end"
    if (planted > np.datetime64(on, "D")).all():
        return f"{whose}: nothing was planted by {on}, the first on {planted.min()}"
    gone = removed[~np.isnat(removed)]
    last = f"; the last was removed on {gone.max()}" if gone.size else ""
    return f"{whose}: no area lives beyond {on}{last}"


def _kept_row(book: Book, place: int, on: date) -> dict[str, Cell]:
    """Return what the next plant of an area takes over: its cells, with the day's heights."""
    areas, row = book.areas, dict[str, Cell]()
    for column in TABLES["areas"]:
        if column.name not in _NOT_KEPT and areas.given(column.name)[place]:
            value = areas.columns[column.name][place]
            row[column.name] = float(value) if column.kind == "number" else str(value)
    return row | _heights_on(book, place, on)


def _heights_on(book: Book, place: int, on: date) -> dict[str, float]:
    """Return the heights that an area has on a day, those that were agreed."""
    held = book.bounds_on(on)
    heights = {name: float(getattr(held, name)[place]) for name in BOUNDS}
    return {name: cm for name, cm in heights.items() if cm == cm}


def _number(cell: Cell) -> float:
    return float(cell) if isinstance(cell, float | int) else float("nan")


def _heights_in_words(row: Mapping[str, Cell], unit: str) -> str:
    named = {name: _number(row.get(name)) for name in BOUNDS}
    told = [f"{n.removesuffix('_cm')} {plain(v)} {unit}" for n, v in named.items() if v == v]
    return ", ".join(told)
