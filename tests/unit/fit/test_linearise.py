"""What one node's linearisation says, against a hundred thousand stages drawn and averaged.

The second-order terms must have the right sign on both halves of the curve: scatter raises
the mean height below half of the ceiling, where the curve steepens, and lowers it above.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import expit, logit
from scipy.stats import norm

from growthcast.fit.rows.chains import Link
from growthcast.fit.solver.linearise import linearise
from growthcast.fit.solver.problem import CEILING, HABIT, KNOTS, RATE
from tests.unit.fit.dense import inputs_of
from tests.unit.fit.small_problem import small_problem

DRAWS = 100_000
CEILING_CM = 20.0
RNG = np.random.default_rng(11)


@pytest.fixture(scope="module")
def problem():
    problem = small_problem()
    return replace(problem, shape=np.ones(problem.area_count))


def at_expected(problem, habit_cm, rate=0.06, cut_chance=None, **changes):
    """Linearise the block where every span ends as expected; return it, its stages and border."""
    [block] = problem.blocks
    nodes = replace(block.chains.nodes, **changes)
    block = replace(block, chains=replace(block.chains, nodes=nodes))
    if cut_chance is not None:
        chances = np.full(nodes.area.size, cut_chance)
        block = replace(block, sites=replace(block.sites, cut_chance=chances))
    border = np.zeros((KNOTS + block.drift.weight.shape[0], problem.area_count))
    border[CEILING], border[HABIT], border[RATE] = np.log([CEILING_CM, habit_cm, rate])[:, None]
    stage = np.full(nodes.area.size, logit(habit_cm / CEILING_CM))
    for _ in range(nodes.area.size):
        at = linearise(problem, block, stage, border)
        off = np.where(nodes.link == Link.GREW, at.offset, 0.0)
        stage = stage + off
        if not off.any():
            break
    return at, stage, nodes


@pytest.mark.parametrize(("habit_cm", "sign"), [(2.0, 1.0), (14.0, -1.0)])
def test_the_mean_height_of_a_scattered_span(problem, habit_cm, sign):
    at, stage, nodes = at_expected(problem, habit_cm)
    grew = np.flatnonzero(nodes.link == Link.GREW)
    drawn = stage[grew, None] + np.sqrt(at.process_noise[grew, None]) * RNG.normal(
        size=(grew.size, DRAWS)
    )
    heights = CEILING_CM * expit(drawn)
    mean, error = heights.mean(axis=1), heights.std(axis=1) / np.sqrt(DRAWS)
    bent = at.height_cm[grew] - CEILING_CM * expit(stage[grew])
    assert np.all(sign * bent > 0.0)
    # Second order is nearly all of it; a wrong sign would be off by twice the term.
    assert np.all(np.abs(at.height_cm[grew] - mean) < 0.25 * np.abs(bent) + 4.0 * error)


@pytest.mark.parametrize(("habit_cm", "sign"), [(4.0, -1.0), (15.0, 1.0)])
def test_the_mean_stage_of_a_scattered_cut(problem, habit_cm, sign):
    at, stage, nodes = at_expected(problem, habit_cm)
    aimed = np.flatnonzero(nodes.link == Link.AIMED)
    scatter = nodes.aim_sd_cm[aimed, None] * RNG.normal(size=(aimed.size, DRAWS))
    drawn = logit((habit_cm + scatter) / CEILING_CM)
    mean, error = drawn.mean(axis=1), drawn.std(axis=1) / np.sqrt(DRAWS)
    predicted = stage[aimed] + at.offset[aimed]
    bent = predicted - logit(habit_cm / CEILING_CM)
    assert np.all(sign * bent > 0.0)
    assert np.all(np.abs(predicted - mean) < 0.25 * np.abs(bent) + 4.0 * error)
    assert at.process_noise[aimed] == pytest.approx(drawn.var(axis=1), rel=0.1)


@pytest.mark.parametrize("row", [RATE, KNOTS, KNOTS + 1])
def test_a_span_grows_with_its_pace_as_a_difference_quotient_says(problem, row):
    """``grown = days exp(log rate + weights . knots)``, by hand and by difference."""
    [block] = problem.blocks
    at, stage, nodes = at_expected(problem, 4.0)
    grew = nodes.link == Link.GREW
    moved = []
    for step in (1e-5, -1e-5):
        border = np.zeros((KNOTS + block.drift.weight.shape[0], problem.area_count))
        border[CEILING], border[HABIT] = np.log([CEILING_CM, 4.0])[:, None]
        border[RATE] = np.log(0.06)
        border[row] += step
        moved.append(linearise(problem, block, stage, border).offset)
    quotient = (moved[0] - moved[1]) / 2e-5
    assert inputs_of(at)[row, grew] == pytest.approx(quotient[grew], abs=1e-8)


def test_a_height_is_observed_along_the_slope_of_the_curve(problem):
    """``dh/dz = h (1 - h/K)`` for a logistic."""
    at, stage, nodes = at_expected(problem, 4.0)
    grew = nodes.link == Link.GREW
    height = CEILING_CM * expit(stage[grew])
    assert at.observation[grew] == pytest.approx(height * (1.0 - height / CEILING_CM))


@pytest.mark.parametrize(("habit_cm", "chance"), [(4.0, 0.4), (9.0, 0.7), (4.0, 0.0)])
def test_a_cut_nobody_tells_of_was_made_by_its_chance(problem, habit_cm, chance):
    """What is left is what stood, or by that chance the lower of it and a usual cut."""
    [block] = problem.blocks
    link = block.chains.nodes.link.copy()
    link[(link == Link.CUT) | (link == Link.WEIGHED)] = Link.UNSAID
    at, _, nodes = at_expected(problem, habit_cm, link=link, cut_chance=chance)
    of = np.flatnonzero(link == Link.UNSAID)
    earlier, scatter = block.chains.previous[of], nodes.aim_sd_cm[of]
    stood = at.height_cm[earlier]
    above = (stood - habit_cm) / scatter
    # The lower of a height and a normal, by parts: Phi usual + (1 - Phi) stood - sd phi.
    lower = norm.cdf(above)
    cut = lower * habit_cm + (1 - lower) * stood - scatter * norm.pdf(above)
    left = (1 - chance) * stood + chance * cut
    assert at.expected_cm[of] == pytest.approx(left)
    # A height a little higher leaves that much more where no cut was made, or none so deep.
    steep = left * (1 - left / CEILING_CM)
    wanted = (1 - chance * lower) * at.observation[earlier] / steep
    assert at.transition[of] == pytest.approx(wanted)
    assert inputs_of(at)[HABIT, of] == pytest.approx(chance * lower * habit_cm / steep)
    assert of.size == 5
    assert np.all((at.process_noise[of] > 0.0) == (chance > 0.0))
