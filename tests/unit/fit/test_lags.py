"""What a log says of the days that every cut costs."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from growthcast.fit.growth import fit_growth
from growthcast.fit.model import spreads as told
from growthcast.fit.model.clock import days_lost
from growthcast.fit.model.spreads import FORMS, Lags, by_lag, lags_told, prior_lags
from growthcast.fit.rows.chains import Link
from growthcast.fit.solver.problem import CEILING, RATE
from growthcast.fit.solver.solve import solve
from tests.books import HEADER, TODAY, make_book
from tests.unit.fit.small_problem import small_problem

STEM = FORMS.index("stem")


def fitted(lag_d, per_d=None, raised=0.0):
    """Return the small problem fitted at one lag; ``per_d`` makes the share a lag takes alike."""
    problem = small_problem()
    if per_d is not None:
        [block] = problem.blocks
        nodes = block.chains.nodes
        same = replace(nodes, lag_per_d=np.where(nodes.link == Link.GREW, per_d, 0.0))
        blocks = (replace(block, chains=replace(block.chains, nodes=same)),)
        problem = replace(problem, blocks=blocks)
    pooling = replace(problem.pooling, offset=problem.pooling.offset + raised)
    problem = replace(problem, pooling=pooling)
    return solve(replace(problem, lag_d=np.full(problem.area_count, lag_d)), tolerance=1e-6)


def test_a_half_normal_has_the_moments_of_the_textbook():
    # Mean sigma sqrt(2 / pi), standard deviation sigma sqrt(1 - 2 / pi).
    lags = Lags(np.zeros(1), np.array([[4.0]]))
    assert lags.mean_d[0] == pytest.approx(2.0 * 0.797885, rel=1e-5)
    assert lags.sd_d[0] == pytest.approx(2.0 * 0.602810, rel=1e-4)


def test_a_normal_far_above_zero_stays_as_it_is():
    lags = Lags(np.array([6.0]), np.array([[1.0]]))
    assert lags.mean_d[0] == pytest.approx(6.0, abs=1e-6)
    assert lags.sd_d[0] == pytest.approx(1.0, abs=1e-6)


def test_draws_have_the_moments_and_none_is_negative():
    lags = Lags(np.array([-1.0, 1.0]), np.array([[4.0, 1.0], [1.0, 1.0]]))
    drawn = lags.drawn(np.random.default_rng(1).normal(size=(2, 40_000)))
    assert drawn.min() >= 0.0
    assert drawn.mean(axis=1) == pytest.approx(lags.mean_d, abs=0.02)
    assert drawn.std(axis=1) == pytest.approx(lags.sd_d, abs=0.02)
    assert np.corrcoef(drawn)[0, 1] > 0.2


def test_forms_share_a_part_of_their_lags():
    prior = prior_lags()
    alike = prior.covariance / np.outer(prior.spread_d, prior.spread_d)
    assert alike[STEM, FORMS.index("carpet")] == pytest.approx(0.5)


def test_small_cuts_cost_little_and_hard_ones_a_pause_besides():
    # 1 - exp(-0.1 / 0.1) = 0.632 of 3 days; beyond half, half of the way to 6 days besides.
    assert days_lost(np.array(0.1), np.array(3.0), np.array(6.0)) == pytest.approx(1.896, abs=1e-3)
    assert days_lost(np.array(0.75), np.array(3.0), np.array(6.0)) == pytest.approx(6.0, abs=2e-3)
    assert days_lost(np.array(0.0), np.array(3.0), np.array(6.0)) == 0.0


def test_rates_follow_a_lag_as_a_fit_at_another_lag_says():
    here, step = fitted(2.0), 0.05
    there = fitted(2.0 + step)
    moved = (there.point.border - here.point.border) / step
    slopes = by_lag(here.view)
    # Weights and lines move along a little, which the slopes leave out.
    np.testing.assert_allclose(slopes[RATE], moved[RATE], atol=0.02)
    np.testing.assert_allclose(slopes[CEILING], moved[CEILING], atol=0.02)
    assert slopes[RATE].min() > 0.0


def test_gaps_that_are_all_alike_teach_next_to_nothing():
    """Half of the spread is left by what the species table knows of rates; gaps add nothing."""
    alike, unlike = fitted(2.0, per_d=0.1), fitted(2.0)
    [block] = unlike.problem.blocks
    nodes = block.chains.nodes
    grew = nodes.link == Link.GREW
    mixed = replace(nodes, lag_per_d=np.where(grew, 0.02 + 0.1 * (nodes.day % 20.0 > 9.0), 0.0))
    blocks = (replace(block, chains=replace(block.chains, nodes=mixed)),)
    unlike = solve(replace(unlike.problem, blocks=blocks), tolerance=1e-6)
    form = np.full(7, STEM)
    lags = Lags(np.full(len(FORMS), 2.0), 1e-12 * np.eye(len(FORMS)))
    spread = [lags_told(fit.view, form, lags).spread_d[STEM] for fit in (alike, unlike)]
    prior = prior_lags().spread_d[STEM]
    assert spread[1] < spread[0] <= prior
    assert spread[0] > 0.5 * prior


@pytest.mark.parametrize("others_cut", [False, True])
def test_only_a_visit_that_cut_others_may_have_cut_what_has_no_row(tmp_path, others_cut):
    """Two bushes read on different days; a span bears a lag only where the other one was cut."""
    log = HEADER + "".join(
        f"2026-0{month}-01,lobby,stems,1{month},,,,,,\n"
        f"2026-0{month}-15,lobby,carpet,4,{'2' if others_cut else ''},,,,,\n"
        for month in (2, 3, 4)
    )
    fit = fit_growth(make_book(tmp_path / "book", trims=log), TODAY)
    [block] = fit.solution.problem.blocks
    nodes = block.chains.nodes
    stems = int(np.flatnonzero(fit.design.area_id == "stems")[0])
    grew = (nodes.area == stems) & (nodes.link == Link.GREW)
    assert grew.sum() >= 2
    assert (nodes.lag_per_d[grew] > 0.0).all() == others_cut
    assert (nodes.lag_per_d[grew] == 0.0).all() != others_cut


def test_the_level_of_the_tables_rates_tells_nothing_of_lags(monkeypatch):
    """The less the table's level is known, the less a log tells; unknown, it does not matter."""
    fits, form = [fitted(2.0, raised=by) for by in (0.0, 0.1)], np.full(7, STEM)
    linearised_at = Lags(np.full(len(FORMS), 2.0), 1e-12 * np.eye(len(FORMS)))
    found = []
    for level in (1e-6, 0.1, 1e3):
        monkeypatch.setattr(told, "TABLE_SPREAD", level)
        found.append([lags_told(fit.view, form, linearised_at) for fit in fits])
    spread = [first.spread_d[STEM] for first, _ in found]
    assert spread[0] < spread[1] < spread[2] <= prior_lags().spread_d[STEM]
    moved = [abs(other.centre_d[STEM] - first.centre_d[STEM]) for first, other in found]
    assert moved[2] < 0.2 * moved[0]
