"""What checks see: a book's tables, and for each of their rows what follows from other tables."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from functools import cache, partial
from pathlib import Path
from typing import Any, cast

import numpy as np

from growthcast.arrays import (
    BoolArray,
    DateArray,
    FloatArray,
    IntArray,
    TextArray,
    among,
    as_of,
    day_numbers,
    distinct,
    pair_of,
)
from growthcast.book.book import BOUNDS, Bounds, Practice, Table, bounds_on
from growthcast.book.files import reference_conditions
from growthcast.book.findings import worded, words_of
from growthcast.book.tables import TABLES, WEEKDAYS, column_of
from growthcast.book.words import PROPOSED, did_you_mean, some_of
from growthcast.errors import Finding

HEIGHTS = ("before_cm", "after_cm", "removed_cm")
"""The columns of the log that tell how high an area stood or what was cut off."""
HOMES = {"tank": "tanks", "area": "areas", "plant": "species"}


def of_whole_tank(trims: Table) -> BoolArray:
    """Whether a row (N,) is of the whole tank."""
    return np.asarray(trims.text("area_id") == "", np.bool_)


def has_amounts(trims: Table) -> BoolArray:
    """Whether a row (N,) tells how high its area stood or what came off it; a look does not."""
    amounts = [np.isfinite(trims.number(name)) for name in (*HEIGHTS, "removed_g")]
    return np.asarray(np.logical_or.reduce(amounts), np.bool_)


def where(mask: BoolArray) -> list[int]:
    """Return the places where a mask holds."""
    return [int(index) for index in np.flatnonzero(mask)]


def blank(cells: Any) -> Any:
    """Whether cells (N,) are blank."""
    return np.isnan(cells) if cells.dtype.kind in "fM" else cells == ""


def fits(cells: TextArray, pattern: str) -> BoolArray:
    """Whether cells (N,) as a whole fit a pattern."""
    return np.array([bool(re.fullmatch(pattern, cell)) for cell in cells.tolist()], np.bool_)


casefold, strip = np.frompyfunc(str.casefold, 1, 1), np.frompyfunc(str.strip, 1, 1)


def first_of(cells: TextArray, told: TextArray) -> TextArray:
    """Return what is told (N,) beside the first of the cells (N,) that are alike."""
    first: dict[str, object] = {}
    pairs = zip(cells.tolist(), told.tolist(), strict=True)
    return np.array([first.setdefault(cell, one) for cell, one in pairs], object)


def nearest_of(cells: TextArray, known: TextArray, otherwise: str) -> TextArray:
    """Return whether one of those known was meant by each cell (N,), else another sentence."""
    names = sorted({*known.tolist()} - {""})
    return np.array([did_you_mean(cell, names, otherwise) for cell in cells.tolist()], object)


class Tables:
    """Every table of a book while it is checked, and its rows with what follows from others.

    ``species`` is the table that ships with the practice's ``own`` rows laid over it.
    """

    def __init__(self, tables: Mapping[str, Table], today: date, practice: Practice | None) -> None:
        self.tables, self.today, self.practice = tables, today, practice
        self.rows = cache(self._rows)

    def _rows(self, name: str) -> Rows:
        """Return the rows of a table; those of ``bounds`` as areas of what holds from then on."""
        if name == "bounds":
            return Rows(self, self._as_moved(), "areas")
        return Rows(self, self.tables[name], name)

    def _as_moved(self) -> Table:
        bounds, areas = self.tables["bounds"], self.tables["areas"]
        area = bounds.places("area_id", areas.text("area_id"))
        bounds, area = bounds.keep(area >= 0), area[area >= 0]
        columns = {name: cells[area] for name, cells in areas.columns.items()}
        held = self.bounds_of(area, bounds.date("from_date"))
        columns |= {name: getattr(held, name) for name in BOUNDS}
        columns["planted_height_cm"] = np.full(area.size, np.nan)
        columns["from_date"] = bounds.date("from_date")
        return replace(bounds, columns=columns, extra={})

    def bounds_of(self, area: IntArray, days: DateArray) -> Bounds:
        """Return the bounds of areas (n,) on some days, NaN where the area is unknown (-1)."""
        return bounds_on(self.tables["areas"], self.tables["bounds"], area, day_numbers(days))


class Rows:
    """A table's rows: by name its columns (N,), and the facts of ``facts.toml`` made of them."""

    def __init__(self, tables: Tables, table: Table, name: str) -> None:
        self.tables, self.table, self.facts = tables, table, _facts().get(name, {})
        self.known: dict[str, Any] = {**table.columns, "row": table.rows, "tables": tables}
        self.known |= {"rows": self, "of": self.of, "places": self.places}
        self.known |= {"kept": partial(kept, self), "letters": table.letters}

    def __getitem__(self, name: str) -> Any:
        if name not in self.known:
            self.known[name] = eval(self.facts[name], FOR_FACTS, cast("Mapping[str, Any]", self))
        return self.known[name]

    def places(self, column: str, home: str) -> IntArray:
        """Return the place in its home table of each row's id (N,), -1 where blank or unknown."""
        return self.table.places(column, self.tables.tables[home].text(column))

    def of(self, place: str, name: str) -> Any:
        """Return what the tank, area or plant of each row has (N,), blank where it is unknown."""
        cells = self.tables.rows(HOMES[place])[name]
        none = {"f": np.nan, "M": np.datetime64("NaT"), "b": False, "i": -1}
        last = np.array([none.get(cells.dtype.kind, "")], cells.dtype)
        return np.append(cells, last)[self[place]]

    def at_cell(self, index: int, column: str, slug: str, /, **values: Any) -> Finding:
        """Return a finding at one cell; what its words name is given, or what its row has."""
        return at_cell(self.table, index, column, slug, self, **values)


class Words(dict[str, Any]):
    """What fills in the words of a finding: what is given, else what its row has."""

    def __init__(self, cells: Any, index: int, given: Mapping[str, Any] | None = None) -> None:
        super().__init__(given or {})
        self.cells, self.index = cells, index

    def __missing__(self, name: str) -> Any:
        cells = self.cells[name]
        return cells[self.index] if isinstance(cells, np.ndarray) else cells


def at_cell(
    table: Table, index: int, column: str, slug: str, cells: Any = None, /, **values: Any
) -> Finding:
    """Return a finding at one cell; ``values``, else the row's ``cells``, fill in its words."""
    said = Words(table.columns if cells is None else cells, index, values)
    if "expected" not in words_of(slug):
        said.setdefault("expected", column_of(table.name[: -len(".csv")], column).expected)
    said.setdefault("cell", table.columns[column][index])
    place = (table.name, int(table.rows[index]), table.letters.get(column), column)
    return worded(slug, place, said)


def kept(rows: Rows, name: str) -> FloatArray:
    """Return a column (N,) in which a blank cell keeps its tank's earlier value."""
    tank, values = rows.table.codes("tank_id"), rows.table.number(name)
    since = np.nan_to_num(day_numbers(rows.table.date("from_date")), nan=np.inf)
    return np.where(np.isnan(values), as_of(tank, since, values, tank, since), values)


def _living(rows: Rows, asked: BoolArray, each: FloatArray) -> FloatArray:
    """Return the sum of something (A,) over the areas that live in a row's tank on its day (N,).

    It is 0 for rows that are not ``asked`` of.
    """
    areas, tank = rows.tables.rows("areas"), np.where(asked, rows["tank"], -1)
    day, home = day_numbers(rows["date"]), areas["tank"]
    planted, removed = (day_numbers(areas[name]) for name in ("planted_on", "removed_on"))
    total = np.zeros(tank.size)
    for place in distinct(tank[tank >= 0]):
        mine, here = np.flatnonzero(tank == place), np.flatnonzero(home == place)
        on = day[mine, None]
        total[mine] = ~((planted[here] > on) | (removed[here] < on)) @ each[here]
    return total


def _most_g(rows: Rows) -> FloatArray:
    """What the areas of a log row weigh when all of them stand at their ceilings [g]."""
    areas = rows.tables.rows("areas")
    if not (rows["removed_g"] > 0.0).any():
        return np.zeros(len(rows.table))
    per_cm = np.where(areas["is_cover"], 1e-4, 1e-3) * areas["area_cm2"]
    top_cm = np.where(areas["is_cover"], 100.0, np.fmin(areas["ceiling"], areas["water"]))
    holds = np.nan_to_num(areas.of("plant", "density_g_l") * per_cm * top_cm)
    own = np.append(holds, np.nan)[rows["area"]]
    return np.where(rows["whole"], _living(rows, rows["whole"], holds), own)


def _sharers(rows: Rows) -> FloatArray:
    """How many areas are left to share a whole tank's trimmings."""
    practice, asked = rows.tables.practice, rows["whole"] & ~blank(rows["removed_g"])
    if not asked.any() or not len(rows.tables.tables["areas"]):
        return np.ones(asked.size)
    amounts = (rows["area"] >= 0) & has_amounts(rows.table)
    key = pair_of(rows["tank"], day_numbers(rows["date"]))
    pairs = np.stack([key[amounts], rows["area"][amounts]])
    (own, _), _ = np.unique(pairs, axis=1, return_counts=True)  # without them ``numpy.ma`` comes in
    ruled_out = np.searchsorted(own, key, "right") - np.searchsorted(own, key, "left")
    of_rest = rows["grams_of"] == "rest"
    if practice is not None and practice.whole_tank_grams == "rest":
        of_rest = rows["grams_of"] != "all"
    each = np.ones(len(rows.tables.tables["areas"]))
    return _living(rows, asked, each) - np.where(of_rest, ruled_out, 0)


def _says_nothing(rows: Rows) -> BoolArray:
    numbers = [column.name for column in TABLES["trims"] if column.kind == "number"]
    told = [rows.table.given(name) for name in (*numbers, "look", "replanted", "note")]
    return np.asarray(~np.logical_or.reduce(told), np.bool_)


FOR_FACTS = {"np": np, "blank": blank, "fits": fits, "casefold": casefold, "strip": strip}
FOR_FACTS |= {"among": among, "first_of": first_of, "nearest_of": nearest_of}
FOR_FACTS |= {"reference": reference_conditions, "WEEKDAYS": WEEKDAYS, "PROPOSED": PROPOSED}
FOR_FACTS |= {"some_of": some_of, "most_g": _most_g, "sharers_of": _sharers}
FOR_FACTS |= {"says_nothing_in": _says_nothing}
"""What rules and facts may use beside columns, facts and the methods of ``Rows``."""


@cache
def _facts() -> Mapping[str, Mapping[str, str]]:
    """Return what follows for each row of a table, by name: a text to evaluate."""
    return tomllib.loads(Path(__file__).with_name("facts.toml").read_text(encoding="utf-8"))


def _keys(table: Table) -> IntArray:
    """Return a number per thing and day (N,), negative where a row cannot be told apart."""
    if table.name != "trims.csv":
        owner = "area_id" if table.name == "bounds.csv" else "tank_id"
        thing = table.codes(owner)
        days, blank = day_numbers(table.date("from_date")), ~table.given(owner)
    else:
        area, tank, whole = table.codes("area_id"), table.codes("tank_id"), of_whole_tank(table)
        areas, tanks = (1 + codes.max(initial=0) for codes in (area, tank))
        thing = np.where(whole, areas + tank, area)
        photo = ~whole & (table.text("measured_by") == "photo")  # may stand beside a ruler's row
        thing += np.where(photo, areas + tanks, 0)
        days = day_numbers(table.date("date"))
        blank = whole & ~table.given("tank_id")
    keys = pair_of(thing, days)
    return np.where(blank | np.isnan(days), -1 - np.arange(keys.size), keys)


def doubles(table: Table) -> list[tuple[int, int]]:
    """Return (later row, first row) for each thing and day that stands more than once."""
    keys = _keys(table)
    if distinct(keys).size == keys.size:  # which is sooner known than where they are
        return []
    _, first, place = np.unique(keys, return_index=True, return_inverse=True)
    again = np.flatnonzero(first[place] != np.arange(place.size))
    return list(zip(again.tolist(), first[place[again]].tolist(), strict=True))


def first_of_each(table: Table) -> Table:
    """Return the table without the later rows of a thing and day."""
    mask = np.ones(len(table), np.bool_)
    mask[[later for later, _ in doubles(table)]] = False
    return table.keep(mask)
