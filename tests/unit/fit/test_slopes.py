"""Slopes of the likelihood in its variances, against the likelihood itself."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from growthcast.fit.rows.chains import Link
from growthcast.fit.solver.hierarchy import eliminate
from growthcast.fit.solver.kalman import kalman_filter
from growthcast.fit.solver.likelihood import (
    effect_squares,
    error_parts,
    log_likelihood,
    noise_slopes,
)
from growthcast.fit.solver.problem import RATE
from growthcast.fit.solver.solve import solve
from growthcast.fit.solver.view import View, departure_of, view_of
from tests.unit.fit.small_problem import small_problem

STEP = 1e-4
LEARNT = np.array([True, True, False, True, True, False, True])
"""Whose ceilings the log may teach: those of two areas keep their priors."""


@pytest.fixture(scope="module")
def solved():
    """A small problem with links and readings of every kind, one beside a look, one with its sd."""
    problem = small_problem()
    [block] = problem.blocks
    nodes = block.chains.nodes
    beside = np.flatnonzero(np.isfinite(nodes.reading_cm) & (nodes.link == Link.GREW))[0]
    place = np.arange(nodes.look.size)
    own = np.flatnonzero(np.isfinite(nodes.reading_cm) & (nodes.link == Link.GREW))[-1]
    both = replace(
        nodes,
        look=np.where(place == beside, 2, nodes.look),
        reading_sd_cm=np.where(place == own, 1.1, np.nan),
    )
    block = replace(block, chains=replace(block.chains, nodes=both))
    pooling = replace(problem.pooling, ceiling_learnt=LEARNT)
    solution = solve(replace(problem, blocks=(block,), pooling=pooling))
    # What is heard beside that reading lies far from it.
    [block], heard = solution.problem.blocks, place == beside
    sites = replace(
        block.sites,
        precision=np.where(heard, 0.8, block.sites.precision),
        precision_mean=np.where(heard, 0.8 * 13.0, block.sites.precision_mean),
    )
    problem = replace(solution.problem, blocks=(replace(block, sites=sites),))
    return problem, solution.point, view_of(problem, solution.point)


def likelihood_of(problem, point, at):
    """Likelihood of a problem that is linearised already."""
    forward = kalman_filter(problem.blocks[0].chains, at)
    area = problem.blocks[0].chains.area
    by_block, score_by_block = forward.information()
    information, score = np.zeros_like(by_block), np.zeros_like(score_by_block)
    information[area], score[:, area] = by_block, score_by_block
    return log_likelihood(
        View(
            problem=problem,
            point=point,
            kept=(forward,),
            filtered=(forward.filtered,),
            information=information,
            score=score,
            pooled=eliminate(information, score, point.border, problem.pooling),
            surprise=np.zeros(problem.area_count),
        )
    )


def difference(level):
    """Derivative of a function of a small change, at none."""
    return (level(STEP) - level(-STEP)) / (2.0 * STEP)


def test_the_noise_of_every_link_has_its_slope(solved):
    problem, point, view = solved
    at = view.forward(0).at
    (slope, _), _ = noise_slopes(view, 0, departure_of(view))
    for node in np.flatnonzero(problem.blocks[0].chains.nodes.link >= Link.GREW):

        def level(by, node=node):
            noise = at.process_noise.copy()
            noise[node] *= 1.0 + by
            return likelihood_of(problem, point, replace(at, process_noise=noise))

        assert slope[node] * at.process_noise[node] == pytest.approx(difference(level), abs=2e-6)


@pytest.mark.parametrize("name", ["height_error_cm", "height_error_share", "weight"])
def test_errors_of_readings_and_cuts_have_their_slopes(solved, name):
    problem, point, view = solved
    [block], at = problem.blocks, view.forward(0).at
    (by_link, _), (by_reading, _) = noise_slopes(view, 0, departure_of(view))
    errors = problem.errors
    parts = error_parts(problem, block, at, point.border)
    link, reading = parts[name]
    found = 2.0 * (by_link @ link + by_reading @ reading)

    def level(by):
        wider = replace(errors, **{name: getattr(errors, name) * np.exp(by)})
        there = replace(problem, errors=wider)
        return log_likelihood(view_of(there, point))

    assert abs(found) > 0.01
    assert found == pytest.approx(difference(level), rel=1e-5, abs=1e-5)


def test_spans_drift_and_pauses_make_up_the_noise_of_growth(solved):
    problem, point, view = solved
    [block], at = problem.blocks, view.forward(0).at
    parts = error_parts(problem, block, at, point.border)
    grew = block.chains.nodes.link == Link.GREW
    paused = (block.chains.nodes.pause_doubt * at.own_inputs[RATE]) ** 2
    assert (paused > 0.0).any()
    together = parts["span"][0] + parts["drift"][0] + np.where(grew, paused, 0.0)
    np.testing.assert_allclose(together[grew], at.process_noise[grew], rtol=1e-12)
    assert not together[~grew].any()


@pytest.mark.parametrize(
    ("name", "held"),
    [("area", 25.0), ("area", 0.2), *((n, 25.0) for n in ("tank", "species", "drift"))],
)
def test_shared_spreads_have_their_slopes(solved, name, held):
    problem, point, _ = solved
    pooling = replace(problem.pooling, area_precision=held)
    problem = replace(problem, pooling=pooling)
    view = view_of(problem, point)
    field = "knot_precision" if name == "drift" else f"{name}_precision"
    precision = getattr(pooling, field)
    squares = effect_squares(view, departure_of(view))[name][0]
    if name == "drift":
        found = (squares - pooling.knot_precision.shape[0]).sum()
    else:
        found = (precision * squares - 1.0).sum()

    def level(by):
        wider = replace(pooling, **{field: precision * np.exp(-2.0 * by)})
        there = replace(problem, pooling=wider)
        return log_likelihood(view_of(there, point))

    assert abs(found) > 0.01
    assert found == pytest.approx(difference(level), rel=1e-5, abs=1e-5)


def bend(level):
    """Second derivative of a function that is a square, at none."""
    return level(1.0) - 2.0 * level(0.0) + level(-1.0)


def test_a_links_precision_is_how_the_likelihood_falls_with_a_shift_of_its_stage(solved):
    problem, point, view = solved
    at = view.forward(0).at
    (_, precision), _ = noise_slopes(view, 0, departure_of(view))
    for node in np.flatnonzero(problem.blocks[0].chains.nodes.link >= Link.GREW):

        def level(by, node=node):
            offset = at.offset.copy()
            offset[node] += by
            return likelihood_of(problem, point, replace(at, offset=offset))

        assert precision[node] == pytest.approx(-bend(level), rel=1e-6, abs=1e-8)


def test_a_readings_precision_is_how_the_likelihood_falls_with_a_shift_of_it(solved):
    problem, point, _ = solved
    [block] = problem.blocks
    nodes, read = block.chains.nodes, np.flatnonzero(block.chains.read)
    # Every second reading stands beside a look that says as much of the height again.
    said = np.zeros(nodes.area.size)
    said[read[::2]] = 0.7
    sites = replace(block.sites, precision=said, precision_mean=said * 9.0)
    block = replace(block, sites=sites)
    problem = replace(problem, blocks=(block,))
    view = view_of(problem, point)
    _, (_, precision) = noise_slopes(view, 0, departure_of(view))
    for node in read:

        def level(by, node=node):
            reading = nodes.reading_cm.copy()
            reading[node] += by
            chains = replace(block.chains, nodes=replace(nodes, reading_cm=reading))
            moved = replace(problem, blocks=(replace(block, chains=chains),))
            return log_likelihood(view_of(moved, point))

        assert precision[node] == pytest.approx(-bend(level), rel=1e-6, abs=1e-8)
    assert not precision[~block.chains.read].any()


def test_posterior_variances_are_the_part_of_mean_squares_that_is_not_a_mean(solved):
    _, _, view = solved
    squares = effect_squares(view, departure_of(view))
    effects, pooling = view.pooled, view.problem.pooling
    of_means = {name: squares[name][0] - squares[name][1] for name in ("species", "tank", "area")}
    np.testing.assert_allclose(of_means["species"], effects.species**2)
    np.testing.assert_allclose(of_means["tank"], effects.tank[:, 0] ** 2)
    knots = effects.tank[:, 1:]
    off = ((knots @ pooling.knot_precision) * knots).sum(axis=1)
    square, covariance = squares["drift"]
    np.testing.assert_allclose(square - np.trace(covariance, axis1=1, axis2=2), off)
    rate = view.point.border[RATE] + departure_of(view)[RATE]
    off = (rate - effects.centre) ** 2
    np.testing.assert_allclose(of_means["area"], off)
