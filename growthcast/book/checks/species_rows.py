"""The species table: the rows that ship with a practice's own laid over them, cell by cell."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from growthcast.arrays import BoolArray
from growthcast.book.book import Coded, Table
from growthcast.book.checks.rows import at_cell
from growthcast.book.findings import finding
from growthcast.book.tables import TABLES
from growthcast.errors import Finding

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
