"""What a log says of the days that every cut costs, and of how long plants take to settle."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from growthcast.fit import beside
from growthcast.fit.beside import LAG, SETTLING, beside_told, by_beside
from growthcast.fit.design import build_design, with_spreads
from growthcast.fit.growth import fit_growth
from growthcast.fit.model.clock import days_lost
from growthcast.fit.model.spreads import FORMS, Lags, Settling, prior_lags, prior_settling
from growthcast.fit.rows.chains import Link
from growthcast.fit.solver.problem import CEILING, RATE
from growthcast.fit.solver.solve import solve
from growthcast.species import read_forms
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


def told(fit, form, lags):
    """Return what a fit tells of the lags of its forms."""
    return beside_told(fit.view, form, lags, prior_settling())[0]


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
    drawn = lags.drawn(np.random.default_rng(1).normal(size=(2, 40_000)), np.arange(2))
    assert drawn.min() >= 0.0
    assert drawn.mean(axis=1) == pytest.approx(lags.mean_d, abs=0.02)
    assert drawn.std(axis=1) == pytest.approx(lags.sd_d, abs=0.02)
    assert np.corrcoef(drawn)[0, 1] > 0.2


def test_forms_share_a_part_of_their_lags():
    prior = prior_lags()
    alike = prior.covariance / np.outer(prior.spread_d, prior.spread_d)
    assert alike[STEM, FORMS.index("carpet")] == pytest.approx(0.5)


def test_forms_share_a_part_of_how_long_they_settle():
    spread = np.array([form.settle_spread for form in read_forms().values()])
    alike = prior_settling().covariance / np.outer(spread, spread)
    np.testing.assert_allclose(alike, 0.5 + 0.5 * np.eye(spread.size))
    assert (prior_settling().factor == 1.0).all()


def test_small_cuts_cost_little_and_hard_ones_a_pause_besides():
    # 1 - exp(-0.1 / 0.1) = 0.632 of 3 days; beyond half, half of the way to 6 days besides.
    assert days_lost(np.array(0.1), np.array(3.0), np.array(6.0)) == pytest.approx(1.896, abs=1e-3)
    assert days_lost(np.array(0.75), np.array(3.0), np.array(6.0)) == pytest.approx(6.0, abs=2e-3)
    assert days_lost(np.array(0.0), np.array(3.0), np.array(6.0)) == 0.0


def test_rates_follow_a_lag_as_a_fit_at_another_lag_says():
    here, step = fitted(2.0), 0.05
    there = fitted(2.0 + step)
    moved = (there.point.border - here.point.border) / step
    slopes = by_beside(here.view)[LAG]
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
    spread = [told(fit, form, lags).spread_d[STEM] for fit in (alike, unlike)]
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
        monkeypatch.setattr(beside, "TABLE_SPREAD", level)
        found.append([told(fit, form, linearised_at) for fit in fits])
    spread = [first.spread_d[STEM] for first, _ in found]
    assert spread[0] < spread[1] < spread[2] <= prior_lags().spread_d[STEM]
    moved = [abs(other.centre_d[STEM] - first.centre_d[STEM]) for first, other in found]
    assert moved[2] < 0.2 * moved[0]


SETTLED = 0.4
"""How far the log of growth falls with the log of the days of settling, in the small problem."""


def settling(log_factor, learnt=True):
    """Return the small problem fitted at a log factor of settling, felt by spans from day 0."""
    problem = small_problem()
    [block] = problem.blocks
    nodes = block.chains.nodes
    first = np.where((nodes.link == Link.GREW) & (nodes.day <= 10.0), SETTLED, 0.0)
    grown = nodes.growth_d * np.exp(-first * log_factor)
    nodes = replace(nodes, growth_d=grown, by_settling=first if learnt else 0.0 * first)
    blocks = (replace(block, chains=replace(block.chains, nodes=nodes)),)
    return solve(replace(problem, blocks=blocks), tolerance=1e-6)


def test_rates_follow_settling_as_a_fit_at_another_factor_says():
    here, step = settling(0.0), 0.05
    moved = (settling(step).point.border - here.point.border) / step
    slopes = by_beside(here.view)[SETTLING]
    # Area 4 was read far below what was foreseen that day: there lines are too short.
    sound = np.arange(7) != 4
    np.testing.assert_allclose(slopes[RATE, sound], moved[RATE, sound], atol=0.02)
    assert slopes[RATE].min() > 0.0


def test_first_spans_teach_settling_and_without_them_it_stays_as_it_was():
    form, prior = np.full(7, STEM), prior_settling()
    lags = Lags(np.full(len(FORMS), 2.0), 1e-12 * np.eye(len(FORMS)))
    slow, fast = (
        beside_told(settling(at).view, form, lags, prior)[1].centre[STEM] for at in (-1.0, 1.0)
    )
    # Fitted as if plants settled faster (slower) than they do, the log says: slower (faster).
    assert slow > 0.3
    assert fast < slow - 0.3
    none = beside_told(settling(0.0, learnt=False).view, form, lags, prior)[1]
    np.testing.assert_array_equal(none.centre, 0.0)
    np.testing.assert_allclose(none.covariance, prior.covariance, atol=1e-12)


def test_a_factor_of_settling_moves_first_spans_as_a_book_built_with_it(tmp_path):
    areas = "area_id,tank_id,label,species_id,area_cm2,floor_cm,budget_cm,cut_cm,planted_on\n"
    areas += "stems,lobby,stems,rotala-rotundifolia,300,6,15,6,2026-02-01\n"
    log = HEADER + "".join(f"2026-02-{day:02d},lobby,stems,{day},,,,,,\n" for day in (5, 9, 20))
    book = make_book(tmp_path / "book", areas=areas, trims=log)
    plain = build_design(book, TODAY)
    slower = replace(plain.spreads, settling=Settling(np.full(len(FORMS), 0.5), np.eye(len(FORMS))))
    built, moved = build_design(book, TODAY, slower), with_spreads(plain, slower)
    np.testing.assert_allclose(moved.clock.settle_d, built.clock.settle_d)
    [there], [here] = built.problem.blocks, moved.problem.blocks
    for name in ("growth_d", "by_settling"):
        wanted = getattr(there.chains.nodes, name)
        np.testing.assert_allclose(getattr(here.chains.nodes, name), wanted)
        assert (wanted != getattr(plain.problem.blocks[0].chains.nodes, name)).any()
