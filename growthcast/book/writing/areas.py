"""A plant replaced, a tank given up, heights agreed anew: checked, said back, then written."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date
from pathlib import Path
from typing import Unpack

import numpy as np

from growthcast.arrays import BoolArray
from growthcast.book.book import BOUNDS, Book
from growthcast.book.read import read_book
from growthcast.book.supposed import Cell, known_species
from growthcast.book.tables import TABLES
from growthcast.book.words import check_known, plain, shown, some_of
from growthcast.book.writing.append import How, carried_out, fresh_id, renamed, words_of_plant
from growthcast.book.writing.journal import Entry, book_lock
from growthcast.book.writing.source import edited, read_source
from growthcast.book.writing.visit.entry import beginning_with, tank_of_visit
from growthcast.errors import Finding, UsageError
from growthcast.nouns import dataclass

_NOT_KEPT = ("label", "note", "start", "planted_height_cm", "removed_on")
"""What the next plant of an area does not take over from the one before."""


@dataclass(frozen=True, slots=True)
class Change:
    """One change of a book's areas: the sentence that says it, and what it comes to.

    ``ended`` names the areas whose life ends, ``row`` holds the cells of a row that is added, none
    where none is. ``notes`` are the findings that the book has with the change and had not before;
    ``entry`` is the journal's, ``None`` where nothing was written.
    """

    summary: str
    on: date
    ended: tuple[str, ...]
    row: Mapping[str, Cell]
    notes: tuple[Finding, ...]
    entry: Entry | None = None


@dataclass(frozen=True, slots=True)
class _Planned:
    """A change before it is checked: new cells by file and row, and rows to add at the end."""

    summary: str
    ended: tuple[str, ...]
    cells: Mapping[str, Mapping[int, Mapping[str, Cell]]]
    added: Mapping[str, Mapping[str, Cell]]


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

    def planned(book: Book) -> _Planned:
        areas, species = book.areas, book.species
        place = _living_area(book, area_id, on)
        one, new = str(areas.text("area_id")[place]), known_species(book, plant, "replace")
        names = species.text("species_id")
        old = str(areas.text("species_id")[place])
        cover = dict(zip(names, species.text("measure") == "cover_pct", strict=True))
        given = dict(cells or {})
        if cover[old] != cover[new] and not {"floor_cm", "budget_cm"} <= given.keys():
            units = [f"{one} in {'% cover' if cover[one] else 'cm'}" for one in (old, new)]
            raise UsageError(
                f"{' and '.join(units)} are measured, so that the heights cannot stay: also give "
                "floor_cm and budget_cm"
            )
        row = _kept_row(book, place, on) | {"species_id": new, "planted_on": on}
        words = words_of_plant(book.species, old)
        row["label"] = renamed(str(areas.text("label")[place]), words, new) or None
        row["area_id"] = fresh_id(one, words, new, areas.text("area_id").tolist())
        row |= given
        heights = _heights_in_words(row, "%" if cover[new] else "cm")
        summary = (
            f"{row['tank_id']}: {one} ({old}) ends on {on}; {row['area_id']} ({new}) begins "
            f"that day on {plain(_number(row['area_cm2']))} cm², {heights}"
        )
        ends = {int(areas.rows[place]): {"removed_on": on}}
        return _Planned(summary, (one,), {"areas": ends}, {"areas": row})

    return _carried_out(folder, on, planned, "replace", **how)


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

    def planned(book: Book) -> _Planned:
        tanks, areas = book.tanks, book.areas
        if client is not None:
            mine = tanks.text("tank_id")[book.tanks_of(client)].tolist()
        else:
            mine = [tank_of_visit(book, tank_id, ())]
        here = np.isin(areas.text("tank_id").astype(str), mine)
        living = np.flatnonzero(here & _lives_beyond(book, on))
        if not living.size:
            raise UsageError(_nothing_alive(book, here, client or mine[0], on))
        coming = here & np.asarray(areas.date("planted_on") > np.datetime64(on, "D"), np.bool_)
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
        return _Planned(summary, tuple(named), {"areas": ends}, {})

    return _carried_out(folder, on, planned, "retire", **how)


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
    wanted = {"floor_cm": floor_cm, "budget_cm": budget_cm, "cut_cm": cut_cm}

    def planned(book: Book) -> _Planned:
        place = _living_area(book, area_id, on)
        one = str(book.areas.text("area_id")[place])
        before = _heights_on(book, place, on)
        moved = {n: v for n, v in wanted.items() if v is not None and v != before[n]}
        if not moved:
            now = _heights_in_words(before, _unit(book, place))
            raise UsageError(
                f"{one} has {now} on {on} already; give another --floor, --budget or --cut"
            )
        unit, was = _unit(book, place), {n: v for n, v in before.items() if v == v}
        what = ", ".join(
            f"{name.removesuffix('_cm')} {f'{plain(was[name])} {unit} to ' if name in was else ''}"
            f"{plain(value)} {unit}"
            for name, value in moved.items()
        )
        tank = book.areas.text("tank_id")[place]
        summary = f"{tank}: {one} from {on} on: {what}"
        bounds = book.bounds
        same = (bounds.text("area_id") == one) & (bounds.date("from_date") == np.datetime64(on))
        if same.any():
            row = int(bounds.rows[np.argmax(same)])
            return _Planned(summary, (), {"bounds": {row: moved}}, {})
        return _Planned(summary, (), {}, {"bounds": {"area_id": one, "from_date": on, **moved}})

    return _carried_out(folder, on, planned, "move", **how)


def _carried_out(
    folder: Path, on: date, plan: Callable[[Book], _Planned], command: str, **how: Unpack[How]
) -> Change:
    """Plan a change by the book as it is, hold the book with it to every check, and write it."""
    with book_lock(folder):
        planned = plan(read_book(folder, today=how["today"]))
        old: dict[str, bytes | None] = {}
        new: dict[str, bytes | None] = {}
        for name in {*planned.cells, *planned.added}:
            source = read_source(folder, name)
            added = [planned.added[name]] if name in planned.added else []
            old[f"{name}.csv"] = source.data
            new[f"{name}.csv"] = edited(folder, source, planned.cells.get(name, {}), added)[0]
        done = carried_out(folder, new, old, command, planned.summary, **how)
    row = next(iter(planned.added.values()), {})
    return Change(planned.summary, on, planned.ended, row, done.findings, done.entry)


def _lives_beyond(book: Book, on: date) -> BoolArray:
    """Whether each area lives on a day and on the next (A,)."""
    day, areas = np.datetime64(on, "D"), book.areas
    return np.asarray(~(areas.date("planted_on") > day) & ~(areas.date("removed_on") <= day), bool)


def _living_area(book: Book, area_id: str, on: date) -> int:
    """Return the place of an area that lives on a day and beyond; ``UsageError`` else."""
    areas = book.areas
    known: list[str] = areas.text("area_id").tolist()
    begin = beginning_with(area_id, areas.text("area_id")[~areas.given("removed_on")].tolist())
    if area_id not in known and len(begin) > 1:
        raise UsageError(f"{len(begin)} areas begin with {shown(area_id)}: {some_of(begin)}")
    area_id = begin[0] if begin and area_id not in known else area_id
    check_known(area_id, known, "areas.csv has no area", "the areas are")
    place = known.index(area_id)
    planted, removed = (areas.date(n)[place] for n in ("planted_on", "removed_on"))
    day = np.datetime64(on, "D")
    if planted > day:
        raise UsageError(f"{area_id} was planted on {planted}, after {on}; give a later day")
    if not np.isnat(removed):
        raise UsageError(
            f"{area_id} was removed on {removed} already; correct removed_on in areas.csv, or take "
            "that change back with growthcast unlog"
        )
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
    return row | {n: value for n, value in _heights_on(book, place, on).items() if value == value}


def _heights_on(book: Book, place: int, on: date) -> dict[str, float]:
    held = book.bounds_on(on)
    return {name: float(getattr(held, name)[place]) for name in BOUNDS}


def _number(cell: Cell) -> float:
    return float(cell) if isinstance(cell, float | int) else float("nan")


def _unit(book: Book, place: int) -> str:
    species = book.species
    at = species.text("species_id").tolist().index(book.areas.text("species_id")[place])
    return "%" if species.text("measure")[at] == "cover_pct" else "cm"


def _heights_in_words(row: Mapping[str, Cell], unit: str) -> str:
    named = {name: _number(row.get(name)) for name in BOUNDS}
    told = [f"{n.removesuffix('_cm')} {plain(v)} {unit}" for n, v in named.items() if v == v]
    return ", ".join(told)
