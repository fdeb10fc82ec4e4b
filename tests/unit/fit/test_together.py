"""Several books fitted together: each as if it were alone."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from growthcast.book.files import demo_dir
from growthcast.book.read import read_book
from growthcast.fit import growth as room
from growthcast.fit.growth import fit_growth, fit_together, known_before
from growthcast.fit.model.spreads import Spreads

DAYS = [date(2026, 7, 30), date(2026, 8, 20), date(2026, 9, 24)]


@pytest.fixture(scope="module")
def books():
    book = read_book(demo_dir())
    known = [known_before(book, float(np.datetime64(on, "D").astype(int) + 1)) for on in DAYS]
    unsaid = replace(book.practice, whole_tank_grams=None)
    return [replace(one, practice=unsaid) for one in known]


@pytest.fixture(scope="module")
def alone(books):
    return [fit_growth(one, on, Spreads()) for one, on in zip(books, DAYS, strict=True)]


def assert_alike(fits, alone):
    for one, other in zip(fits, alone, strict=True):
        areas = np.arange(other.design.area_id.size)
        sd = np.sqrt(other.posterior(areas).rate_variance)
        off = one.posterior(areas).mean.log_rate - other.posterior(areas).mean.log_rate
        assert np.abs(off / sd).max() < 0.01
        assert [s.row for s in one.suspects] == [s.row for s in other.suspects]
        assert one.whole_tank_grams == other.whole_tank_grams
        assert one.book.trims.rows.size == other.book.trims.rows.size


def test_books_fitted_together_stand_where_each_stands_alone(books, alone):
    assert any(fit.suspects for fit in alone)
    assert any(fit.evidence_for_everything for fit in alone)
    assert_alike(fit_together(books, DAYS, Spreads()), alone)


def test_larger_books_are_fitted_in_groups_and_none_is_no_fit(books, alone, monkeypatch):
    monkeypatch.setattr(room, "MOST_AREAS_TOGETHER", len(books[0].areas) + 1)
    assert_alike(fit_together(books, DAYS, Spreads()), alone)
    assert fit_together([], [], Spreads()) == []
