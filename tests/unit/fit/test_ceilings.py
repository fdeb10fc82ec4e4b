"""Which heights teach a ceiling, and that none is believed below those that stand in the log."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from growthcast.book.read import read_book
from growthcast.fit.growth import fit_growth, last_logged
from growthcast.fit.solver.problem import _above, with_heights_that_count
from tests.simulator import Richness, simulate_practice
from tests.unit.fit.small_problem import small_problem

NINETY = 1.2816


def test_a_ceiling_above_its_own_expected_height_is_half_a_normal():
    """Above its middle a normal has the mean sqrt(2 / pi) and the variance 1 - 2 / pi."""
    mean, variance = _above(np.zeros(1), np.ones(1), np.zeros(1), np.zeros(1), 0.0)
    assert mean[0] == pytest.approx(np.sqrt(2.0 / np.pi))
    assert variance[0] == pytest.approx(1.0 - 2.0 / np.pi)


def test_a_height_far_above_all_belief_is_taken_for_a_mistake():
    """Ten standard deviations above: the chance of a mistake is all that is left."""
    mean, variance = _above(np.zeros(1), np.ones(1), np.full(1, 10.0), np.zeros(1), 0.02)
    assert mean[0] == pytest.approx(0.0, abs=1e-6)
    assert variance[0] == pytest.approx(1.0, abs=1e-6)


def test_a_ceiling_is_known_to_lie_above_a_height_that_was_read():
    """A bound half a deviation below it; the moments are by quadrature."""
    mean, variance = _above(
        np.array([1.0]), np.array([0.04]), np.array([0.9]), np.full(1, 0.1), 0.0
    )
    x = np.linspace(-1.0, 3.0, 40_001)
    weight = norm.pdf(x, 1.0, 0.2) * norm.cdf((x - 0.9) / 0.1)
    middle = (weight @ x) / weight.sum()
    assert mean[0] == pytest.approx(middle, rel=1e-4)
    assert variance[0] == pytest.approx((weight @ (x - middle) ** 2) / weight.sum(), rel=1e-3)


def test_what_a_log_tells_of_a_ceiling_is_told_through_the_bend():
    """A prior of 25 and a posterior of 100 leave 75 to the log, which a doubt of 3 makes 25."""
    pooling = replace(
        small_problem().pooling, ceiling_learnt=np.arange(7) != 1, highest_cm=np.zeros((2, 7))
    )
    areas, variance = np.array([0, 1, 2]), np.array([0.01, 0.01, 0.04])
    wider = replace(pooling, bend_doubt=3.0).doubt_of_bends(areas, variance)
    # Area 1 is not learnt; of area 2 the log says nothing beyond the prior.
    assert wider == pytest.approx([1 / 50 - 1 / 100, 0.0, 0.0])
    weak = replace(pooling, ceiling_precision=np.full(7, 0.25), bend_doubt=3.0)
    assert weak.doubt_of_bends(areas[:1], np.ones(1)) == pytest.approx([1 / (0.25 + 0.25) - 1])
    surer = pooling.doubt_of_bends(areas, np.full(3, 0.05))  # than which nothing is known less
    assert surer == pytest.approx(np.zeros(3))
    assert pooling.doubt_of_bends(areas, variance) == pytest.approx(np.zeros(3))


def test_two_heights_near_a_ceiling_teach_it_unless_one_is_set_aside():
    problem = small_problem()
    [block] = problem.blocks
    nodes = block.chains.nodes
    nodes = replace(nodes, aim_sd_cm=np.full(nodes.area.size, np.nan))  # as found, all of them
    area = int(np.bincount(nodes.area[np.isfinite(nodes.reading_cm)]).argmax())
    of = np.flatnonzero((nodes.area == area) & np.isfinite(nodes.reading_cm))
    reading = nodes.reading_cm.copy()
    reading[of] = 0.5
    reading[of[:2]] = 18.0, 17.0  # the ceiling expected is 20
    nodes = replace(nodes, reading_cm=reading, row=np.arange(reading.size))
    block = replace(block, chains=replace(block.chains, nodes=nodes))
    taught = with_heights_that_count(replace(problem, blocks=(block,))).pooling
    assert taught.ceiling_learnt[area]
    assert taught.highest_cm[:, area] == pytest.approx([17.0, 18.0])
    trust = np.ones(reading.size)
    trust[of[1]] = 1e-4
    aside = replace(problem, blocks=(replace(block, trust=trust),))
    pooling = with_heights_that_count(aside).pooling
    assert not pooling.ceiling_learnt[area]
    assert pooling.highest_cm[:, area] == pytest.approx([0.0, 18.0])


@pytest.mark.slow
def test_no_ceiling_is_sure_to_lie_below_heights_that_count(tmp_path):
    """Of 342 areas of simulated practices 14 were: 0.9 of belief below, half a reading's error in.

    A first reading of 240 cm that nothing speaks against is believed by nobody.
    """
    practice = simulate_practice(seed=43, tanks=12, richness=Richness(slip_share=0.04))
    book = read_book(practice.write_book(tmp_path))
    fit = fit_growth(book, last_logged(book))
    posterior = fit.posterior(np.arange(fit.design.area_id.size))
    highest = np.exp(posterior.mean.log_ceiling + NINETY * np.sqrt(posterior.log_ceiling_variance))
    pooling = fit.design.problem.pooling
    standing, error = pooling.highest_cm[1], pooling.highest_sd_cm[1]
    believed = (standing > 0.0) & (standing < 2.0 * np.exp(pooling.log_ceiling))
    assert believed.sum() > 5
    assert (highest > standing - NINETY * error)[believed].all()
