"""A tank taken over: nobody knows when its areas were planted."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from growthcast.book.read import read_book
from growthcast.fit.design import build_design
from growthcast.fit.growth import fit_growth, known_before
from growthcast.forecast import report
from tests.unit.book.small_book import FILES, write_book

ON = date(2026, 2, 20)
AREAS = FILES["areas.csv"].replace("salvinia-natans", "salvinia-auriculata")


@pytest.fixture(name="taken_over")
def fixture_taken_over(tmp_path):
    areas = AREAS.replace(",2026-01-01", ",")
    return read_book(write_book(tmp_path / "book", {"areas.csv": areas}), today=ON)


def test_an_area_from_before_our_time_lives_and_has_settled(taken_over):
    design = build_design(taken_over, ON)
    assert design.alive.all()
    day = np.full(3, design.on_day)
    grown, _ = design.clock.growth_between(np.arange(3), day, day + 10, np.zeros(3))
    dated = {"areas.csv": AREAS.replace("2026-01-01", "2020-01-01")}
    old = build_design(read_book(write_book(taken_over.folder, dated), today=ON), ON)
    as_old, _ = old.clock.growth_between(np.arange(3), day, day + 10, np.zeros(3))
    assert grown == pytest.approx(as_old)


def test_without_a_log_its_height_is_wide_open(tmp_path, taken_over):
    files = {
        "areas.csv": AREAS.replace("2026-01-01", ""),
        "trims.csv": FILES["trims.csv"].split("\n")[0] + "\n",
    }
    fit = fit_growth(read_book(write_book(tmp_path / "new", files), today=ON), ON)
    low, _, high = report.forecast_growth(fit, (ON,), 60)[0].height_cm_now
    assert high - low > 0.5 * (25 - 8)


def test_a_backtest_keeps_it(taken_over):
    assert len(known_before(taken_over, build_design(taken_over, ON).on_day).areas) == 3
