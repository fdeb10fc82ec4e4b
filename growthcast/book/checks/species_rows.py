"""The species table: the rows that ship with a practice's own laid over them, cell by cell."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from growthcast.book.book import Coded, Table
from growthcast.book.slugs import finding
from growthcast.book.tables import TABLES
from growthcast.errors import Finding

__all__ = ["NEEDED_OF_A_NEW_SPECIES", "lay_over"]

_FREE = {"species_id", "needs_co2", "basis", "reaches_surface"}
NEEDED_OF_A_NEW_SPECIES: tuple[str, ...] = tuple(
    column.name
    for column in TABLES["species"]
    if column.kind in {"number", "choice"} and column.name not in _FREE
)
_WHERE_BLANK = {"needs_co2": "helps", "basis": "estimate", "reaches_surface": "false"}


def lay_over(shipped: Table, own: Table) -> tuple[Table, list[Finding]]:
    """Return the shipped species with the practice's cells laid over, new species at the end.

    Rows keep the shipped table's numbers; a new species has the row of the practice's file.
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
        given = _given(own, column.name) & (target >= 0)
        merged[target[given]] = ours[given]
        columns[column.name] = merged
        cells += 0 if column.name == "species_id" else int(given.sum())
    ids = columns["species_id"].tolist()
    coded = {"species_id": Coded(np.arange(1, len(ids) + 1, dtype=np.int32), ("", *ids))}
    rows = np.concatenate([shipped.rows, own.rows[new]])
    findings = _lacking(own, new)
    if cells:
        found = f"{cells} cells in {len(own)} rows of the practice's own"
        fix = "nothing to do"
        expected = "cells that differ from the table that ships"
        findings.append(finding("own-species", own.name, None, None, "file", found, expected, fix))
    return Table("species.csv", rows, columns, {}, coded, own.letters), findings


def _given(own: Table, name: str) -> NDArray[np.bool_]:
    """Return where the practice's row has something to say."""
    cells = own.columns[name]
    if cells.dtype == np.float64:
        return np.asarray(~np.isnan(cells), np.bool_)
    return np.array([bool(cell) for cell in cells.tolist()], np.bool_)


def _lacking(own: Table, new: list[int]) -> list[Finding]:
    findings = []
    names = own.text("species_id").tolist()
    for index in new:
        for name in NEEDED_OF_A_NEW_SPECIES:
            if not _given(own, name)[index]:
                fix = "copy the row of a similar plant from the table that ships, then change it"
                found = f"no {name} for the new species {names[index]}"
                expected = "a value in every number column, form and measure"
                row, letter = int(own.rows[index]), own.letters.get(name)
                findings.append(
                    finding("incomplete-species", own.name, row, letter, name, found, expected, fix)
                )
    return findings
