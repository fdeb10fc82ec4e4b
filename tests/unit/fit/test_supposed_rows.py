"""Rows and cells laid over a book in memory."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from growthcast.book.supposed import with_cells, with_rows
from growthcast.fit.growth import fit_growth
from tests.books import make_book

ON = date(2026, 6, 1)


def test_a_supposed_area_is_fitted_and_the_file_is_untouched(tmp_path: Path) -> None:
    book = make_book(tmp_path)
    before = (book.folder / "areas.csv").read_bytes()
    row = {
        "area_id": "try",
        "tank_id": "lobby",
        "label": "Supposed moss",
        "species_id": "taxiphyllum-barbieri",
        "area_cm2": 300.0,
        "floor_cm": 2.0,
        "budget_cm": 9.0,
        "planted_on": date(2026, 1, 1),
    }
    supposed = replace(book, areas=with_rows(book.areas, [row]))
    fit = fit_growth(supposed, on=ON)
    assert fit.design.area_id.tolist()[-1] == "try"
    assert fit.basis[-1] == "tank"
    assert supposed.areas.places("area_id", supposed.areas.text("area_id"))[-1] == len(book.areas)
    assert (book.folder / "areas.csv").read_bytes() == before
    # One more area without a log teaches nothing to the others.
    known = fit_growth(book, on=ON)
    assert fit.basis[:-1] == known.basis
    assert np.allclose(
        fit.posterior(np.arange(3)).mean.border,
        known.posterior(np.arange(3)).mean.border,
        atol=2e-3,
    )


def test_cells_are_changed_only_where_asked(tmp_path: Path) -> None:
    book = make_book(tmp_path)
    where = book.areas.text("area_id") == "moss"
    changed = with_cells(book.areas, where, {"species_id": "vesicularia-montagnei", "cut_cm": None})
    assert changed.text("species_id").tolist()[-1] == "vesicularia-montagnei"
    assert np.isnan(changed.number("cut_cm")).tolist() == [False, False, True]
    assert book.areas.text("species_id").tolist()[-1] == "taxiphyllum-barbieri"


def test_an_unknown_column_is_refused(tmp_path: Path) -> None:
    book = make_book(tmp_path)
    with pytest.raises(KeyError, match="no column height"):
        with_rows(book.areas, [{"height": 3.0}])
