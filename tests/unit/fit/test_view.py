"""What is solved anew from a view agrees with a view made from the beginning."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from growthcast.fit.rows.chains import Link
from growthcast.fit.solver.hierarchy import Pooled, _inverse, eliminate
from growthcast.fit.solver.likelihood import misfit
from growthcast.fit.solver.problem import BORDER, CEILING, HABIT, KNOTS, RATE, CannotFit, Point
from growthcast.fit.solver.solve import solve, starting_point
from growthcast.fit.solver.view import (
    departure_of,
    follows,
    misfit_of_tanks,
    repooled,
    seen,
    view_of,
)
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
    pooled = eliminate(view.information, view.score + change, border, pooling)
    there = replace(view, pooled=pooled)
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
    np.testing.assert_array_equal(kept.pooled.tank_covariance, anew.pooled.tank_covariance)


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


@pytest.mark.parametrize("surer", [1.0, 0.05])
def test_a_rate_moves_with_a_ceiling_of_which_the_log_does_not_speak(surer):
    """Least squares of ``8 r^2 - 4 r c`` and the prior ``2 r^2``: ``r = 2 c / (8 + 2)``."""
    problem = small_problem()
    pooling = replace(problem.pooling, area_precision=2.0 * surer)
    information = np.zeros((problem.area_count, BORDER, BORDER))
    information[:, RATE, RATE] = 8.0 * surer
    information[:, RATE, CEILING] = information[:, CEILING, RATE] = -2.0 * surer
    nothing = np.zeros((BORDER, problem.area_count))
    pooled = eliminate(information, nothing, nothing, pooling)
    np.testing.assert_allclose(pooled.rate_by_ceiling, 0.2, rtol=1e-12)


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
    [block], border, at = view.problem.blocks, view.point.border, view.forward(0).at
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


def test_a_rate_is_as_unsure_as_its_log_and_what_is_shared_leave_it(monkeypatch):
    """A prior of 25 and a log of 75: a quarter of the centre's 0.4, squared, and 1 / 100."""
    problem = small_problem()
    pooling = replace(problem.pooling, area_precision=25.0)
    information, nothing = np.zeros((7, BORDER, BORDER)), np.zeros((BORDER, 7))
    information[:, RATE, RATE] = 75.0
    shared = np.diag([0.4**2, *np.full(BORDER - KNOTS, 0.09)])
    monkeypatch.setattr(Pooled, "joint_covariance", lambda *_: shared[None])
    found = eliminate(information, nothing, nothing, pooling).covariance(np.array([0]))
    alone = [precision[0] ** -1.0 for _, precision in pooling.own_priors()]
    wanted = [*alone, 0.1**2 + 0.1**2, *np.full(BORDER - KNOTS, 0.09)]
    assert np.diag(found[0]) == pytest.approx(wanted)


@pytest.mark.parametrize(("looked", "size", "kept"), [(1, 1, 3), (0, 1, 0), (0, 16_000, 1)])
def test_of_several_blocks_those_are_kept_that_looks_are_heard_of(looked, size, kept):
    """Of more blocks than one, and than four where looks are heard, each is worked out again."""
    problem = small_problem(nodes_a_block=size)
    blocks = []
    for block in problem.blocks:
        nodes = replace(block.chains.nodes, look=looked * block.chains.nodes.look)
        blocks.append(replace(block, chains=replace(block.chains, nodes=nodes)))
    problem = replace(problem, blocks=tuple(blocks))
    view = view_of(problem, starting_point(problem))
    assert len(view.kept) == kept
    for number, block in enumerate(problem.blocks):
        forward, filtered = seen(problem, view.point, number), view.forward(number)
        np.testing.assert_array_equal(filtered.at.residual, forward.at.residual)
        np.testing.assert_array_equal(filtered.innovation, forward.innovation)
        np.testing.assert_array_equal(view.known(number).mean, forward.filtered.mean)
        assert block.chains.nodes.area.size == forward.at.residual.size
    known = view.let_go()
    assert not view.filtered
    for number, filtered in enumerate(known):
        np.testing.assert_array_equal(view.known(number).mean, filtered.mean)


def test_areas_of_which_nothing_finite_is_said_are_named():
    problem = small_problem()
    point = starting_point(problem)
    border = point.border.copy()
    border[RATE, 4] = np.nan
    [block] = problem.blocks
    nodes, chains = block.chains.nodes, block.chains
    sure = np.where((nodes.area == 1) & (nodes.link == Link.CUT), 0.0, nodes.aim_sd_cm)
    chains = replace(chains, nodes=replace(nodes, aim_sd_cm=sure))
    wrong = replace(problem, blocks=(replace(block, chains=chains),))
    for posed, there, areas in (
        (problem, replace(point, border=border), [4]),
        (wrong, point, [1]),
        (wrong, replace(point, border=border), [1, 4]),
    ):
        with pytest.raises(CannotFit) as fault:
            view_of(posed, there)
        assert fault.value.areas.tolist() == areas


def test_what_misfits_a_tank_are_its_surprises_and_its_areas_off_their_priors(view):
    """Squares over their variances: of a rate around its centre, of what it has alone."""
    pooling, border, expected = view.problem.pooling, view.point.border, np.zeros(3)
    centre = view.pooled.centre
    for a, tank in enumerate(pooling.tank):
        off = pooling.area_precision * (border[RATE, a] - centre[a]) ** 2
        for row, (usual, precision) in enumerate(pooling.own_priors()):
            off += precision[a] * (border[row, a] - usual[a]) ** 2
        expected[tank] += off + view.surprise[a]
    np.testing.assert_allclose(misfit_of_tanks(view), expected, rtol=1e-12)


@pytest.mark.parametrize(("precision", "variance"), [(0.25, 4.0), (0.0, 1.0)])
def test_what_nothing_is_heard_of_keeps_its_prior_and_without_one_a_variance_of_one(
    precision, variance
):
    """A tank and a species that hold one area without a log, and a species that nobody planted."""
    problem = small_problem()
    whole = problem.pooling
    pooling = replace(
        whole,
        tank=np.array([0, 0, 0, 1, 1, 2, 3]),
        species=np.array([0, 1, 2, 0, 1, 2, 3]),
        tank_precision=np.append(whole.tank_precision, precision),
        species_precision=np.append(whole.species_precision, [precision, precision]),
    )
    effects = view_of(replace(problem, pooling=pooling), starting_point(problem)).pooled
    assert effects.tank_covariance[3, 0, 0] == pytest.approx(variance)
    assert np.diag(effects.species_covariance)[3:] == pytest.approx([variance, variance])
    assert not effects.tank[3].any()
    assert not effects.species[3:].any()
    assert (effects.tank_covariance[:3, 0, 0] < 0.2).all()
