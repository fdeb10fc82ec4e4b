"""What is solved anew from a view agrees with a view made from the beginning."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from growthcast.fit.rows.chains import Link
from growthcast.fit.solver.hierarchy import (
    AreaInformation,
    _inverse,
    area_information,
    border_covariance,
    solve_effects,
)
from growthcast.fit.solver.likelihood import misfit
from growthcast.fit.solver.problem import BORDER, CEILING, HABIT, RATE, Point
from growthcast.fit.solver.solve import solve
from growthcast.fit.solver.view import departure_of, follows, repooled, view_of
from tests.unit.fit.small_problem import READ_CM, one_reading_problem, small_problem


@pytest.fixture(scope="module", params=[True, False])
def view(request):
    """A fit; once with every ceiling learnt, once with none."""
    problem = small_problem()
    learnt = np.full(problem.area_count, request.param)
    return solve(replace(problem, pooling=replace(problem.pooling, ceiling_learnt=learnt))).view


def test_borders_follow_other_scores_as_if_all_were_solved_anew(view):
    """Normal equations are linear in their right-hand side: the change answers to the change."""
    pooling, border = view.problem.pooling, view.point.border
    change = np.random.default_rng(5).normal(size=(BORDER, view.problem.area_count))
    area = area_information(view.information, view.score + change, border, pooling)
    there = replace(view, area=area, effects=solve_effects(area, border, pooling))
    moved = departure_of(there) - departure_of(view)
    assert np.abs(moved).max() > 0.01
    np.testing.assert_allclose(follows(view, change), moved, rtol=1e-9, atol=1e-11)
    np.testing.assert_allclose(follows(view, 2.0 * change), 2.0 * moved, rtol=1e-9, atol=1e-11)


def test_other_priors_need_no_other_filter(view):
    """What the chains say rests on errors and curves, not on how far areas differ."""
    pooling = view.problem.pooling
    wider = replace(
        pooling,
        area_precision=0.5 * pooling.area_precision,
        tank_precision=0.25 * pooling.tank_precision,
        species_precision=2.0 * pooling.species_precision,
    )
    problem = replace(view.problem, pooling=wider)
    anew, kept = view_of(problem, view.point), repooled(view, problem)
    assert np.abs(departure_of(kept) - departure_of(view)).max() > 1e-3
    np.testing.assert_allclose(departure_of(kept), departure_of(anew), rtol=1e-12, atol=1e-14)
    np.testing.assert_array_equal(kept.effects.tank_covariance, anew.effects.tank_covariance)


def test_precisions_of_three_parameters_are_turned_into_covariances():
    """Of 2 beside 1, everywhere or in a pair: 3 and -1 in 4, or 2 and -1 in 3, by cofactors.

    A sixteenth of the precision is sixteen times the covariance; an unknown parameter gets 0.
    """
    every = np.array([[2.0, 1.0, 1.0], [1.0, 2.0, 1.0], [1.0, 1.0, 2.0]])
    pair = np.array([[0.25, 0.0, 0.0], [0.0, 2.0, 1.0], [0.0, 1.0, 2.0]])
    unknown = np.where(np.arange(3) == 0, 0.0, pair)
    of_every = np.array([[3.0, -1.0, -1.0], [-1.0, 3.0, -1.0], [-1.0, -1.0, 3.0]]) / 4.0
    of_pair = np.array([[12.0, 0.0, 0.0], [0.0, 2.0, -1.0], [0.0, -1.0, 2.0]]) / 3.0
    found = _inverse(np.array([every, every / 16.0, pair, unknown]))
    of_unknown = np.where(np.arange(3) == 0, 0.0, of_pair)
    np.testing.assert_allclose(
        found, [of_every, 16.0 * of_every, of_pair, of_unknown], rtol=1e-12, atol=1e-15
    )


def test_a_rate_moves_with_a_ceiling_of_which_the_log_does_not_speak():
    """Least squares of ``8 r^2 - 4 r c`` and the prior ``2 r^2``: ``r = 2 c / (8 + 2)``."""
    problem = small_problem()
    pooling = replace(problem.pooling, area_precision=2.0)
    information = np.zeros((problem.area_count, BORDER, BORDER))
    information[:, RATE, RATE] = 8.0
    information[:, RATE, CEILING] = information[:, CEILING, RATE] = -2.0
    nothing = np.zeros((BORDER, problem.area_count))
    area = area_information(information, nothing, nothing, pooling)
    np.testing.assert_allclose(area.rate_by_ceiling, 0.2, rtol=1e-12)


def test_what_surprises_is_the_likelihood_of_readings_each_given_those_before_it():
    """Planted at 5 cm under 20, areas grow by 0.08 a day for 20 days: ``20 / (1 + 3 e^-1.6)``.

    The start is guessed to 0.5 cm; through the stage, at slopes of ``h (1 - h / 20)``, that is
    0.5 x 4.697 / 3.75 cm of the height, which is read with an error of 1.5 cm.
    """
    problem = one_reading_problem(spread=0.5, began_sd_cm=0.5)
    border = np.zeros((BORDER, 7))
    border[RATE], border[CEILING], border[HABIT] = np.log([[0.08], [20.0], [4.0]])
    began = -np.log(3.0)
    grew = problem.blocks[0].chains.nodes.link != Link.FRESH
    view = view_of(problem, Point((np.where(grew, began + 1.6, began),), border))
    height = 20.0 / (1.0 + 3.0 * np.exp(-1.6))
    variance = 1.5**2 + (0.5 * height * (1.0 - height / 20.0) / 3.75) ** 2
    twice = (READ_CM - height) ** 2 / variance + np.log(variance)
    np.testing.assert_allclose(view.surprise, twice, rtol=1e-3)


def test_what_misfits_is_the_likelihood_of_readings_usual_cuts_and_what_was_heard():
    """A usual cut of 5 instead of 4 cm moves each cut's error alone; a word counts as heard."""
    problem = small_problem()
    view = solve(problem).view
    [block], border, (at, _) = view.problem.blocks, view.point.border, view.block(0)
    nodes, sites = block.chains.nodes, block.sites
    read = np.isfinite(nodes.reading_cm)
    height = at.height_cm
    variance = 0.5**2 + (0.05 * at.expected_cm[read]) ** 2
    twice = ((nodes.reading_cm[read] - height[read]) ** 2 / variance + np.log(variance)).sum()
    cut, told = nodes.link >= Link.CUT, sites.precision > 0.0
    assert told.any()
    means = sites.precision_mean[told] / sites.precision[told]
    twice += (sites.precision[told] * (means - height[told]) ** 2).sum()
    for usual in (4.0, 5.0):
        border[HABIT] = np.log(usual)
        squares = (((usual - height[cut]) / 0.6) ** 2).sum()
        assert misfit(view.problem, block, at, border) == pytest.approx(twice + squares)


def test_a_rate_is_as_unsure_as_its_log_and_what_is_shared_leave_it():
    """A prior of 25 and a log of 75: a quarter of the centre's 0.4, squared, and 1 / 100."""
    nothing = np.zeros((1, 3))
    area = AreaInformation(
        own_mean=nothing,
        own_regression=np.zeros((1, 3, 2)),
        own_covariance=np.eye(3)[None],
        precision=np.array([[[75.0, 0.0], [0.0, 0.0]]]),
        score=nothing,
        rate_by_ceiling=np.zeros(1),
    )
    effects = SimpleNamespace(joint_covariance=lambda *_: np.diag([0.4**2, 0.09])[None])
    pooling = SimpleNamespace(
        area_precision=25.0,
        ceiling_learnt=np.array([True]),
        doubt_of_bends=lambda *_: np.zeros(1),
    )
    found = border_covariance(area, effects, pooling, np.array([0]))
    assert np.diag(found[0]) == pytest.approx([1.0, 1.0, 1.0, 0.1**2 + 0.1**2, 0.09])
