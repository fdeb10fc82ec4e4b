"""What heights near a ceiling say by their scatter."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from growthcast.fit.rows.chains import Link
from growthcast.fit.solver.problem import BORDER, CEILING, KNOTS, RATE
from growthcast.fit.solver.solve import solve
from growthcast.fit.solver.view import seen
from tests.unit.fit.small_problem import small_problem
from tests.unit.fit.test_lines import height, slope_of


@pytest.fixture(scope="module")
def solution():
    """A small problem solved, the heights of two areas found near their ceilings."""
    problem = small_problem()
    near = np.isin(np.arange(problem.area_count), [0, 2])
    return solve(replace(problem, pooling=replace(problem.pooling, near_ceiling=near)))


def test_only_readings_grown_into_of_areas_near_their_ceilings_are_asked(solution):
    [block] = solution.problem.blocks
    [forward] = solution.view.kept
    nodes = block.chains.nodes
    grew = (nodes.link == Link.GREW) & np.isfinite(nodes.reading_cm)
    asked = np.flatnonzero(grew & np.isin(nodes.area, [0, 2]))
    assert forward.scatter.place.tolist() == asked.tolist()
    aside = replace(block, trust=np.where(np.arange(grew.size) == asked[0], 1e-4, 1.0))
    problem = replace(solution.problem, blocks=(aside,))
    assert seen(problem, solution.point, 0).scatter.place.tolist() == asked[1:].tolist()
    # Least squares has no variance that could tell.
    exact = replace(problem, errors=replace(problem.errors, span=0.0, drift=0.0))
    assert not seen(exact, solution.point, 0).scatter.place.size


@pytest.mark.parametrize("row", [RATE, KNOTS, KNOTS + 1])
def test_a_variance_goes_with_the_pace_as_a_difference_quotient_says(solution, row):
    """``ln(slope^2 variance + error^2)`` where growth is a little faster, the start held."""
    [forward] = solution.view.kept
    asked, step, logs = forward.scatter.place, 1e-5, []
    first = solution.problem.blocks[0].chains.previous[asked]
    first = np.isin(first, np.arange(*solution.problem.blocks[0].chains.offsets[:2]))
    for by in (step, -step):
        border = solution.point.border.copy()
        border[row] += by
        there = replace(solution.point, border=border)
        logs.append(-np.log(seen(solution.problem, there, 0).innovation_precision[asked]))
    quotient = (logs[0] - logs[1]) / (2.0 * step)
    assert first.any()
    assert forward.scatter.follows[row, first] == pytest.approx(quotient[first], rel=1e-5, abs=1e-8)


def test_heights_that_scatter_less_than_foreseen_speak_for_a_stand_that_is_full(solution):
    """A stand that is near its ceiling scatters less the faster it grows; surprises are squares."""
    [forward] = solution.view.kept
    scatter = forward.scatter
    off = forward.innovation_cm[scatter.place]
    squares = forward.innovation_precision[scatter.place] * off**2
    assert scatter.surprise == pytest.approx(squares - 1.0)
    higher = replace(solution.point, border=solution.point.border.copy())
    higher.border[RATE] += 2.0  # everything ends at its ceiling
    full = seen(solution.problem, higher, 0).scatter
    assert (full.follows[RATE] < 0.0).any()
    assert (full.follows[RATE] < scatter.follows[RATE]).all()


def test_a_variance_goes_with_all_of_the_border_the_start_of_its_span_held(solution):
    """``ln(slope^2 variance + error^2)`` at the height that a border leads to, written out."""
    [block] = solution.problem.blocks
    nodes, border, errors = block.chains.nodes, solution.point.border, solution.problem.errors
    own_error = np.where(np.arange(nodes.area.size) % 5 == 1, 0.8, np.nan)
    own = replace(
        block, chains=replace(block.chains, nodes=replace(nodes, reading_sd_cm=own_error))
    )
    forward = seen(replace(solution.problem, blocks=(own,)), solution.point, 0)
    at = forward.at
    asked = forward.scatter.place
    assert np.isfinite(own_error[asked]).any()
    assert np.isnan(own_error[asked]).any()
    for number, i in enumerate(asked):
        before, area = block.chains.previous[i], nodes.area[i]
        began = forward.filtered.variance[before]
        expected = solution.point.stages[0][i] + at.offset[i]

        def log_variance(by, row, i=i, area=area, began=began, expected=expected):
            moved = np.zeros(BORDER)
            moved[row] = by
            pace = np.exp(moved[RATE] + block.drift.weight[:, i] @ moved[KNOTS:])
            ends = expected + forward.predicted[1:, i] @ moved
            curve = border[CEILING, area] + moved[CEILING], solution.problem.shape[area]
            slope = slope_of(lambda z: height(z, *curve), ends)
            error = errors.height_error_cm[area] ** 2
            error += (errors.height_error_share[area] * height(ends, *curve)) ** 2
            error = own_error[i] ** 2 if own_error[i] > 0.0 else error
            return np.log(slope**2 * (began + at.process_noise[i] * pace**2) + error)

        for row in range(BORDER):
            quotient = slope_of(lambda by, row=row: log_variance(by, row), 0.0)
            found = forward.scatter.follows[row, number]
            assert found == pytest.approx(quotient, rel=1e-5, abs=1e-6)


def test_scatter_adds_the_information_of_a_variance(solution):
    """Of ``-(ln v + off^2 / v) / 2``: half the square of the slope of ln v, half the surprise."""
    [block] = solution.problem.blocks
    [forward] = solution.view.kept
    scatter = forward.scatter
    none = replace(scatter, place=scatter.place[:0])
    with_it, without = (replace(forward, scatter=said).information() for said in (scatter, none))
    information, score = np.zeros((7, BORDER, BORDER)), np.zeros((BORDER, 7))
    for place, surprise, follows in zip(
        scatter.place, scatter.surprise, scatter.follows.T, strict=True
    ):
        rank = block.chains.rank[place]
        information[rank] += np.outer(follows, follows) / 2.0
        score[:, rank] += surprise * follows / 2.0
    np.testing.assert_allclose(with_it[0] - without[0], information, atol=1e-9)
    np.testing.assert_allclose(with_it[1] - without[1], score, atol=1e-9)
    np.testing.assert_allclose(forward.score(), with_it[1], atol=1e-9)
    assert np.abs(score).max() > 0.01
