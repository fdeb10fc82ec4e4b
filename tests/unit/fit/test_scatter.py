"""What heights near a ceiling say by their scatter."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from growthcast.fit.rows.chains import Link
from growthcast.fit.solver.problem import KNOTS, RATE
from growthcast.fit.solver.solve import solve
from growthcast.fit.solver.view import seen
from tests.unit.fit.small_problem import small_problem


@pytest.fixture(scope="module")
def solution():
    """A small problem solved, the heights of two areas found near their ceilings."""
    problem = small_problem()
    near = np.isin(np.arange(problem.area_count), [0, 2])
    return solve(replace(problem, pooling=replace(problem.pooling, near_ceiling=near)))


def test_only_readings_grown_into_of_areas_near_their_ceilings_are_asked(solution):
    [block] = solution.problem.blocks
    [(_, forward)] = solution.view.kept
    nodes = block.chains.nodes
    grew = (nodes.link == Link.GREW) & np.isfinite(nodes.reading_cm)
    asked = np.flatnonzero(grew & np.isin(nodes.area, [0, 2]))
    assert forward.scatter.place.tolist() == asked.tolist()
    aside = replace(block, trust=np.where(np.arange(grew.size) == asked[0], 1e-4, 1.0))
    problem = replace(solution.problem, blocks=(aside,))
    assert seen(problem, solution.point, 0)[1].scatter.place.tolist() == asked[1:].tolist()


@pytest.mark.parametrize("row", [RATE, KNOTS, KNOTS + 1])
def test_a_variance_goes_with_the_pace_as_a_difference_quotient_says(solution, row):
    """``ln(slope^2 variance + error^2)`` where growth is a little faster, the start held."""
    [(_, forward)] = solution.view.kept
    asked, step, logs = forward.scatter.place, 1e-5, []
    first = solution.problem.blocks[0].chains.previous[asked]
    first = np.isin(first, np.arange(*solution.problem.blocks[0].chains.offsets[:2]))
    for by in (step, -step):
        border = solution.point.border.copy()
        border[row] += by
        there = replace(solution.point, border=border)
        logs.append(-np.log(seen(solution.problem, there, 0)[1].innovation_precision[asked]))
    quotient = (logs[0] - logs[1]) / (2.0 * step)
    assert first.any()
    assert forward.scatter.follows[row, first] == pytest.approx(quotient[first], rel=1e-5, abs=1e-8)


def test_heights_that_scatter_less_than_foreseen_speak_for_a_stand_that_is_full(solution):
    """A stand that is near its ceiling scatters less the faster it grows; surprises are squares."""
    [(_, forward)] = solution.view.kept
    scatter = forward.scatter
    off = forward.innovation_cm[scatter.place]
    squares = forward.innovation_precision[scatter.place] * off**2
    assert scatter.surprise == pytest.approx(squares - 1.0)
    higher = replace(solution.point, border=solution.point.border.copy())
    higher.border[RATE] += 2.0  # everything ends at its ceiling
    full = seen(solution.problem, higher, 0)[1].scatter
    assert (full.follows[RATE] < 0.0).any()
    assert (full.follows[RATE] < scatter.follows[RATE]).all()
