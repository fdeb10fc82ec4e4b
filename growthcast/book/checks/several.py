"""Which of several rows of one thing counts: the first of a day, own species over shipped ones."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from growthcast.arrays import BoolArray, IntArray
from growthcast.book.book import Coded, Table
from growthcast.book.checks.rows import DAY_SPAN, Tables, at_cell, day_numbers, of_whole_tank
from growthcast.book.findings import finding
from growthcast.book.tables import TABLES
from growthcast.errors import Finding


def _keys(table: Table) -> IntArray:
    """Return a number per thing and day (N,), negative where a row cannot be told apart."""
    if table.name != "trims.csv":
        owner = "area_id" if table.name == "bounds.csv" else "tank_id"
        thing = table.coded[owner].codes.astype(np.int64)
        days, blank = day_numbers(table.date("from_date")), ~table.given(owner)
    else:
        area, tank = table.coded["area_id"], table.coded["tank_id"]
        whole = of_whole_tank(table)
        thing = np.where(whole, len(area.values) + tank.codes, area.codes).astype(np.int64)
        photo = ~whole & (table.text("measured_by") == "photo")  # may stand beside a ruler's row
        thing += np.where(photo, len(area.values) + len(tank.values), 0)
        days = day_numbers(table.date("date"))
        blank = whole & ~table.given("tank_id")
    keys = thing * DAY_SPAN + days
    return np.where(blank | (days == 0), -1 - np.arange(keys.size), keys)


def _doubles(keys: IntArray) -> list[tuple[int, int]]:
    """Return (later row, first row) for each key that stands more than once."""
    ordered = np.sort(keys)
    if not (ordered[1:] == ordered[:-1]).any():
        return []
    order = np.argsort(keys, kind="stable")
    fresh = np.append(True, keys[order][1:] != keys[order][:-1])
    first = order[np.maximum.accumulate(np.where(fresh, np.arange(order.size), 0))]
    again = np.flatnonzero(~fresh)
    return sorted(zip(order[again].tolist(), first[again].tolist(), strict=True))


def _said(table: Table, index: int) -> list[tuple[str, object]]:
    """Return the numbers and words of a row that are not blank, by column; a note is none."""
    declared = TABLES[table.name.removesuffix(".csv")]
    names = [column.name for column in declared if column.kind in ("number", "choice")]
    cells = ((name, table.columns[name][index]) for name in names)
    return [(name, cell) for name, cell in cells if cell != "" and cell == cell]


def check_double_rows(tables: Tables) -> Iterator[Finding]:
    """One row for one area, one tank's trimmings or conditions, or an area's bounds on one day."""
    for name, column, thing in (
        ("trims", "area_id", "this area or whole tank and day"),
        ("conditions", "from_date", "this tank and date"),
        ("bounds", "from_date", "this area and date"),
    ):
        table = tables.tables[name]
        for index, first in _doubles(_keys(table)):
            slug, said = "two-rows", {"thing": thing, "first_row": int(table.rows[first])}
            here, there = _said(table, index), _said(table, first)
            if here == there:
                slug = "same-rows"
            elif not here or not there:
                bare = first if here else index
                other = int(table.rows[index + first - bare])
                said["found"] = (
                    f"a second row beside row {said['first_row']}, one of the two without amounts"
                )
                said["fix"] = f"put the note of row {int(table.rows[bare])} into row {other}"
            yield at_cell(table, index, column, slug, **said)


def first_of_each(table: Table) -> Table:
    """Return the table without the later rows of a thing and day."""
    mask = np.ones(len(table), np.bool_)
    mask[[later for later, _ in _doubles(_keys(table))]] = False
    return table.keep(mask)


NEEDED_OF_A_NEW_SPECIES = ("form", "measure", "rate_per_day", "ceiling_cm")
FILLED_FROM_FORM: tuple[str, ...] = tuple(
    column.name
    for column in TABLES["species"]
    if column.kind == "number" and column.name not in NEEDED_OF_A_NEW_SPECIES
)
_WHERE_BLANK = {"needs_co2": "helps", "basis": "estimate", "reaches_surface": "false"}


def lay_over(shipped: Table, own: Table) -> tuple[Table, list[Finding]]:
    """Return the shipped species with the practice's cells laid over, new species at the end.

    Rows keep the shipped table's numbers; a new species has the row of the practice's file. The
    extra column ``filled`` lists the values which a new species has from its growth form.
    """
    places = {name: index for index, name in enumerate(shipped.text("species_id").tolist())}
    own_ids = own.text("species_id").tolist()
    new = [index for index, name in enumerate(own_ids) if name and name not in places]
    for count, index in enumerate(new):
        places[own_ids[index]] = len(shipped) + count
    target = np.array([places.get(name, -1) for name in own_ids], np.int64)
    columns: dict[str, NDArray[Any]] = {}
    cells = 0
    for column in TABLES["species"]:
        ours = own.columns[column.name]
        merged = np.concatenate([shipped.columns[column.name], ours[new]])
        if column.name in _WHERE_BLANK:
            merged[merged == ""] = _WHERE_BLANK[column.name]
        given = own.given(column.name) & (target >= 0)
        merged[target[given]] = ours[given]
        columns[column.name] = merged
        cells += 0 if column.name == "species_id" else int(given.sum())
    ids = columns["species_id"].tolist()
    coded = {"species_id": Coded(np.arange(1, len(ids) + 1, dtype=np.int32), ("", *ids))}
    rows = np.concatenate([shipped.rows, own.rows[new]])
    findings = [item for index in new if (item := _lacking(own, index))]
    filled, notes = _fill(shipped, own, new, columns)
    findings += notes
    if cells:
        findings.append(finding("own-species", own.name, cells=cells, rows=len(own)))
    extra = {"filled": (*("" for _ in range(len(shipped))), *filled)}
    return Table("species.csv", rows, columns, extra, coded, own.letters), findings


def _lacking(own: Table, index: int) -> Finding | None:
    """Return one finding for all the values that a new species lacks."""
    lacking = [name for name in NEEDED_OF_A_NEW_SPECIES if not own.given(name)[index]]
    if not lacking:
        return None
    return at_cell(own, index, lacking[0], "incomplete-species", lacking=", ".join(lacking))


def _fill(
    shipped: Table, own: Table, new: list[int], columns: dict[str, NDArray[Any]]
) -> tuple[list[str], list[Finding]]:
    """Fill the blank numbers of new species in place; return what was filled, and the notes."""
    filled, notes = [], []
    for place, index in enumerate(new, start=len(shipped)):
        like, words = _rows_alike(shipped, own, index)
        blank = [name for name in FILLED_FROM_FORM if np.isnan(columns[name][place])]
        for name in blank:
            value = float(np.median(shipped.number(name)[like]))
            if name == "lowest_cut_cm":  # a small plant is not cut above its top
                value = float(np.fmin(value, columns["ceiling_cm"][place] / 2.0))
            columns[name][place] = value
        filled.append(";".join(blank))
        if blank:
            said = {"like": words, "blank": ", ".join(blank)}
            notes.append(at_cell(own, index, "species_id", "species-filled", **said))
    return filled, notes


def _rows_alike(shipped: Table, own: Table, index: int) -> tuple[BoolArray, str]:
    """Return the shipped rows nearest in kind to a new species, and what they are called."""
    form, measure = own.text("form")[index], own.text("measure")[index]
    of_form = np.asarray(shipped.text("form") == form, np.bool_)
    of_measure = np.asarray(shipped.text("measure") == measure, np.bool_)
    if (of_form & of_measure).any():
        return of_form & of_measure, f'the table\'s form "{form}"'
    if of_measure.any():
        return of_measure, f"the table's plants measured as {measure}"
    return np.ones(len(shipped), np.bool_), "the whole table"
