"""What a book is once it has been read: a practice and its tables, by column."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from itertools import repeat
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from numpy.typing import NDArray

from growthcast.arrays import (
    BoolArray,
    DateArray,
    FloatArray,
    IntArray,
    TextArray,
    as_of,
    day_numbers,
)
from growthcast.book.words import check_known
from growthcast.errors import Finding
from growthcast.nouns import dataclass

if TYPE_CHECKING:
    import pandas as pd

WholeTank = Literal["all", "rest"]
"""Whose amounts a row of the whole tank holds: everybody's, or those of areas without their own."""


BOUNDS = ("floor_cm", "budget_cm", "cut_cm")
"""Columns of an area that may be agreed anew from a day on."""


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Table:
    """One table of the book, by column; a blank cell is ``''``, nan or NaT.

    ``rows`` are row numbers as a spreadsheet shows them (the header is row 1). ``columns`` holds
    every declared column, also those the file does not have; ``extra`` the columns nobody
    declared, as text; ``letters`` the spreadsheet letters of the columns which the file has.
    """

    name: str
    rows: IntArray
    columns: Mapping[str, NDArray[Any]]
    extra: Mapping[str, tuple[str, ...]]
    letters: Mapping[str, str]

    def __len__(self) -> int:
        return int(self.rows.size)

    def __repr__(self) -> str:
        return f"<{self.name}: {len(self)} rows>"

    def text(self, name: str) -> TextArray:
        """Return a text, id or choice column as strings, ``''`` where blank."""
        return self.columns[name]

    def number(self, name: str) -> FloatArray:
        """Return a number column, nan where blank."""
        return self.columns[name]

    def date(self, name: str) -> DateArray:
        """Return a date column, NaT where blank."""
        return self.columns[name]

    def flag(self, name: str) -> BoolArray:
        """Return a true-or-false column, false where blank."""
        return np.asarray(self.columns[name] == "true", np.bool_)

    def given(self, name: str) -> BoolArray:
        """Return where a column's cells (N,) are not blank."""
        cells = self.columns[name]
        blank = np.isnan(cells) if cells.dtype.kind in "fM" else cells == ""
        return np.asarray(~blank, np.bool_)

    def places(self, name: str, ids: TextArray) -> IntArray:
        """Return the first place of each row's id among ids (N,), -1 where blank or not there."""
        known = {value: place for place, value in reversed([*enumerate(ids.tolist())]) if value}
        found = map(known.get, self.text(name).tolist(), repeat(-1))
        return np.fromiter(found, np.int64, len(self))

    def codes(self, name: str) -> IntArray:
        """Return a number of its own for each distinct id of a column (N,), 0 where blank."""
        distinct = dict.fromkeys(filter(None, self.text(name).tolist()))
        return 1 + self.places(name, np.array([*distinct], object))

    def as_rows(self) -> list[dict[str, Any]]:
        """Return the rows as mappings by column, None where a cell is blank."""
        cells = {name: column.tolist() for name, column in self.columns.items()}
        given = {name: self.given(name).tolist() for name in cells}
        return [
            {name: cells[name][row] if given[name][row] else None for name in cells}
            for row in range(len(self))
        ]

    def keep(self, mask: BoolArray) -> Table:
        """Return the table with only the rows of a mask, in their order."""
        if bool(mask.all()):
            return self
        kept = np.flatnonzero(mask).tolist()
        return replace(
            self,
            rows=self.rows[mask],
            columns={name: column[mask] for name, column in self.columns.items()},
            extra={
                name: tuple(cells[index] for index in kept) for name, cells in self.extra.items()
            },
        )


@dataclass(frozen=True, slots=True)
class Bounds:
    """Between which heights areas are kept, and to which they are usually cut, all (n,) [cm]."""

    floor_cm: FloatArray
    budget_cm: FloatArray
    cut_cm: FloatArray


def bounds_on(areas: Table, bounds: Table, area: IntArray, day: FloatArray | float) -> Bounds:
    """Return the bounds that areas had on some days.

    Those of ``areas.csv`` hold until the area's first row of ``bounds.csv``, a row holds until the
    next, and a blank cell keeps the earlier value.

    Parameters
    ----------
    areas, bounds : Table
        The tables of a book.
    area : int array (n,)
        Places of areas in the book, -1 for none.
    day : array (n,) or float
        Day numbers [d since 1970-01-01].

    Returns
    -------
    Bounds
        Of each area on its day, NaN of none; ``cut_cm`` also where none was agreed.
    """
    owner, since = bounds.places("area_id", areas.text("area_id")), bounds.date("from_date")
    held = []
    for name in BOUNDS:
        later = as_of(owner, day_numbers(since), bounds.number(name), area, day)
        own = np.append(areas.number(name), np.nan)[area]
        held.append(np.where(np.isnan(later), own, later))
    return Bounds(*held)


def area_label(areas: Table, place: int) -> str:
    """Return what people call an area: its label, or its id where it has none."""
    return str(areas.text("label")[place] or areas.text("area_id")[place])


@dataclass(frozen=True, slots=True)
class Practice:
    """What ``practice.toml`` says; everything in it has a default.

    ``whole_tank_grams`` and ``whole_tank_minutes`` say how rows of whole tanks are read; with
    ``None`` the log decides.
    """

    name: str = ""
    currency: str = "EUR"
    labour_rate_per_h: float = 0.0
    fixed_min: float = 30.0
    travel_min: float = 0.0
    confidence: float = 0.90
    intervals_d: tuple[int, ...] = (7, 10, 14, 21, 28)
    horizon_d: int = 60
    height_error_cm: float = 0.5
    height_error_share: float = 0.05
    widening: float = 1.0
    contact: str = ""
    logo: str = ""
    locale: str = "en-GB"
    working_days: tuple[str, ...] = ("mon", "tue", "wed", "thu", "fri")
    hours_per_day: float = 8.0
    days_off: tuple[date, ...] = ()
    vat_percent: float | None = None
    includes: tuple[str, ...] = ()
    terms: tuple[str, ...] = ()
    longer_gaps: str = ""
    whole_tank_grams: WholeTank | None = None
    whole_tank_minutes: WholeTank | None = None
    holidays: str = ""


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Book:
    """A book without problems; ``findings`` are its notes and remarks.

    ``species`` is the table that ships with the practice's own rows laid over it, cell by cell.
    """

    folder: Path
    practice: Practice
    tanks: Table
    areas: Table
    bounds: Table
    trims: Table
    conditions: Table
    closed: Table
    species: Table
    findings: tuple[Finding, ...]

    @classmethod
    def from_frames(
        cls,
        *,
        practice: Mapping[str, Any] | str = "",
        today: date | None = None,
        **tables: pd.DataFrame,
    ) -> Book:
        """Return the book that frames hold, checked as files are.

        Parameters
        ----------
        practice : mapping or str
            The sections of ``practice.toml``, or its text.
        today : date, optional
            Against which day log dates are held, the present one if left out.
        **tables : DataFrame
            ``tanks`` and ``areas``, and of ``bounds``, ``trims``, ``conditions``, ``closed`` and
            ``species`` what there is, with the columns of the files of that name.

        Returns
        -------
        Book
            What ``read_book`` makes of such files.

        Raises
        ------
        BookProblems
            A frame has problems; row 2 is its first row, as in a file with a header.
        UsageError
            A table is not one of a book.
        """
        from growthcast.book.read import book_of_frames

        return book_of_frames(practice, tables, today or date.today())

    def __repr__(self) -> str:
        sizes = {name: len(getattr(self, name)) for name in ("tanks", "areas", "trims")}
        counts = ", ".join(f"{count} {name}" for name, count in sizes.items())
        return f"<Book of {self.practice.name or 'a practice'}: {counts}>"

    def bounds_on(self, on: date) -> Bounds:
        """Return the bounds of all areas as agreed on a day (A,)."""
        day = float(np.datetime64(on, "D").astype(np.int64))
        return bounds_on(self.areas, self.bounds, np.arange(len(self.areas)), day)

    def _repr_html_(self) -> str:
        from html import escape  # only notebooks ask

        names = zip(*(self.tanks.text(name) for name in ("tank_id", "client")), strict=True)
        living = self.areas.text("tank_id")[~self.areas.given("removed_on")].tolist()
        rows = [
            f"<tr><td>{escape(tank)}</td><td>{escape(client)}</td><td>{living.count(tank)}</td></tr>"
            for tank, client in names
        ]
        head = "<tr><th>tank_id</th><th>client</th><th>areas</th></tr>"
        return f"<p>{escape(repr(self))}</p><table>{head}{''.join(rows[:12])}</table>"

    def latest_condition(self, name: str, tank_id: str, day: float = np.inf) -> float:
        """Return what was written down last of a tank by a day [day number], NaN for nothing."""
        given, since = self.conditions.number(name), self.conditions.date("from_date")
        theirs = np.where(self.conditions.text("tank_id") == tank_id, 0, -1)
        return float(as_of(theirs, day_numbers(since), given, np.zeros(1, np.int64), day)[0])

    def only(self, tank_ids: Sequence[str]) -> Book:
        """Return the book of these tanks alone, with their areas, log and conditions."""
        tables: dict[str, Any] = {}
        for name in ("tanks", "areas", "trims", "conditions"):
            table: Table = getattr(self, name)
            tables[name] = table.keep(table.places("tank_id", np.array(tank_ids, object)) >= 0)
        return replace(self, **tables)

    def tanks_of(self, client: str) -> IntArray:
        """Return the places of a client's tanks; ``UsageError`` where there is no such client."""
        clients = self.tanks.text("client")
        known = [name for name in dict.fromkeys(clients.tolist()) if name]
        check_known(client, known, "tanks.csv has no client", "the clients are")
        return np.flatnonzero(clients == client)

    def ended_tanks(self, on: date) -> set[str]:
        """Return the tanks of which every area has ended by a day."""
        tank, ended = self.areas.text("tank_id"), self.areas.date("removed_on") <= np.datetime64(on)
        return {*tank[ended].tolist()} - {*tank[~ended].tolist()}

    def of_tanks(self, name: str) -> FloatArray:
        """Return what each tank says of its visits, else what the practice says (K,).

        ``name`` is ``fixed_min``, ``travel_min`` or ``confidence``; or ``longest_interval_d``,
        which without a word is the practice's longest listed interval.
        """
        practice, own = self.practice, self.tanks.number(name)
        longest = name == "longest_interval_d"
        usual = float(max(practice.intervals_d) if longest else getattr(practice, name))
        return np.where(np.isnan(own), usual, own)
