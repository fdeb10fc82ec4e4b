"""Rows of the past are read by the heights of their day, advice by those of the day stood on."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from growthcast import cache
from growthcast.fit.growth import fit_growth
from growthcast.fit.rows.chains import Link
from growthcast.fit.rows.nodes import NOT_AIMED_SD_CM, STATED_CUT_SPREAD
from growthcast.forecast.backtest import backtest
from growthcast.forecast.report import forecast_growth
from growthcast.log.visits import Look
from tests.books import AREAS, HEADER, make_book, stem_log, write_book

ON = date(2026, 6, 2)
BOUNDS = "area_id,from_date,floor_cm,budget_cm,cut_cm\nstems,2026-05-10,5,14,6\n"
LOOKS = HEADER + "".join(f"{day},lobby,stems,,,,,right,,\n" for day in ("2026-05-01", "2026-05-22"))


def with_bounds(folder, trims, bounds=BOUNDS, **files):
    write_book(folder)
    (folder / "bounds.csv").write_text(bounds)
    return make_book(folder, trims=trims, **files)


def nodes_of(fit, area):
    [block] = fit.design.problem.blocks
    nodes = block.chains.nodes
    mine = np.flatnonzero(nodes.area == area)
    return nodes.take(mine[np.lexsort((mine, nodes.day[mine]))])


def test_a_look_is_judged_by_the_bounds_of_its_day(tmp_path):
    fit = fit_growth(with_bounds(tmp_path / "book", LOOKS), ON)
    nodes = nodes_of(fit, 0)
    seen = nodes.look == Look.RIGHT
    assert nodes.floor_cm[seen].tolist() == [7, 5]
    assert nodes.budget_cm[seen].tolist() == [22, 14]
    assert fit.design.traits.budget_cm[0] == 14
    earlier = fit_growth(with_bounds(tmp_path / "book", LOOKS), date(2026, 5, 9))
    assert earlier.design.traits.budget_cm[0] == 22


def test_a_length_taken_off_leaves_the_cut_of_its_day(tmp_path):
    trims = HEADER + "2026-05-01,lobby,stems,,,8,,,,\n2026-05-22,lobby,stems,,,4,,,,\n"
    nodes = nodes_of(fit_growth(with_bounds(tmp_path / "book", trims), ON), 0)
    cut = nodes.link == Link.CUT
    assert cut.sum() == 2
    # 9 cm were agreed on the first day; today's usual cut of 6 cm says nothing of it.
    assert nodes.reading_cm[cut][0] == 9
    assert nodes.reading_sd_cm[cut][0] == pytest.approx(9 * STATED_CUT_SPREAD)
    assert nodes.aim_sd_cm[cut][0] == NOT_AIMED_SD_CM
    assert np.isnan(nodes.reading_cm[cut][1])
    assert nodes.aim_sd_cm[cut][1] < 2.0


def test_cuts_under_another_agreement_do_not_teach_the_usual_one(tmp_path):
    """Eight cuts to 9 cm when 9 cm were agreed: since 6 cm are, the next one is expected there."""
    moved = BOUNDS.replace("2026-05-10", "2026-06-02")
    fit = fit_growth(with_bounds(tmp_path / "book", stem_log(), moved), ON)
    usual = np.exp(fit.design.problem.pooling.log_habit[0])
    assert usual == pytest.approx(6.0)
    assert np.exp(fit.design.problem.first_habit[0]) == pytest.approx(6.0)
    links = nodes_of(fit, 0).link
    assert (links == Link.AIMED).sum() == 0


def test_rows_that_change_nothing_change_no_digit(tmp_path):
    plain = fit_growth(make_book(tmp_path / "plain", trims=stem_log()), ON)
    same = "area_id,from_date,floor_cm,budget_cm,cut_cm\nstems,2026-05-10,7,22,9\n"
    fit = fit_growth(with_bounds(tmp_path / "book", stem_log(), same), ON)
    heights = [
        np.stack([area.height_cm for area in forecast_growth(one, (date(2026, 6, 20),), 60)])
        for one in (fit, plain)
    ]
    assert (heights[0] == heights[1]).all()


def test_an_answer_from_before_they_were_agreed_is_not_recalled(tmp_path, monkeypatch):
    monkeypatch.setenv("GROWTHCAST_CACHE", str(tmp_path / "kept"))
    asked = []

    def worked_out(book):
        return cache.recall(lambda: asked.append(book) or len(asked), cache.tables_of(book), ON)

    cache.turn(True)
    try:
        plain = make_book(tmp_path / "plain", trims=stem_log())
        moved = with_bounds(tmp_path / "book", stem_log())
        assert [worked_out(one) for one in (plain, moved, plain, moved)] == [1, 2, 1, 2]
    finally:
        cache.turn(False)


def test_the_backtest_measures_each_reading_by_the_budget_of_its_day(tmp_path):
    book = with_bounds(tmp_path / "book", stem_log(16), areas=AREAS)
    result = backtest(book, 6)
    moved = result.readings.day >= np.datetime64("2026-05-10", "D").astype(np.int64)
    assert moved.any()
    assert not moved.all()
    assert set(result.readings.budget_cm[moved]) == {14.0}
    assert set(result.readings.budget_cm[~moved]) == {22.0}
