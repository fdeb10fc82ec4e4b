"""What is solved anew from a view agrees with a view made from the beginning."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from growthcast.fit.solver.hierarchy import area_information, solve_effects
from growthcast.fit.solver.problem import BORDER, CEILING, RATE
from growthcast.fit.solver.solve import solve
from growthcast.fit.solver.view import departure_of, follows, repooled, view_of
from tests.unit.fit.small_problem import small_problem


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
