"""Links and readings as straight lines, against difference quotients of curves written out here.

The point is no solution: stages lie off what links lead to, and every area has its own parameters.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from growthcast.fit.rows.chains import Link
from growthcast.fit.solver.linearise import linearise
from growthcast.fit.solver.problem import BORDER, CEILING, DENSITY, HABIT, KNOTS, RATE, Sites
from tests.unit.fit.dense import inputs_of
from tests.unit.fit.small_problem import small_problem

STEP, NAN = 1e-4, np.nan
RNG = np.random.default_rng(21)


def height(z, log_ceiling, m):
    """Richards: ``K (1 + m e^-z)^(-1/m)``."""
    return np.exp(log_ceiling) * (1.0 + m * np.exp(-z)) ** (-1.0 / m)


def stage(h, log_ceiling, m):
    """The stage at which a canopy stands so high."""
    return -np.log(((h / np.exp(log_ceiling)) ** -m - 1.0) / m)


def slope_of(function, at, step=STEP):
    """First difference quotient."""
    return (function(at + step) - function(at - step)) / (2.0 * step)


def bend_of(function, at, step=1e-3):
    """Second difference quotient."""
    return (function(at + step) - 2.0 * function(at) + function(at - step)) / step**2


class Case:
    """A block at a point, and what is said of it."""

    def __init__(self):
        problem = small_problem()
        problem = replace(problem, shape=np.array([1.0, 0.5, 1.0, 1.0, 0.5, 1.0, 1.4]))
        [block] = problem.blocks
        nodes = block.chains.nodes
        n, read, place = nodes.area.size, np.isfinite(nodes.reading_cm), np.arange(nodes.area.size)
        fresh, cut = nodes.link == Link.FRESH, nodes.link >= Link.CUT
        unread = fresh & np.isin(nodes.area, (0, 4, 5))
        nodes = replace(
            nodes,
            reading_cm=np.where(
                unread, NAN, np.where(cut & (nodes.area == 1), 4.5, nodes.reading_cm)
            ),
            reading_sd_cm=np.where(read & (place % 5 == 0), 0.9, NAN),
            # Of area 0 next to nothing is open, of 4 and 5 the guess reaches below the ground.
            guess_cm=np.where(unread, 5.0, nodes.guess_cm),
            guess_sd_cm=np.where(unread, np.where(nodes.area == 0, 0.01, 7.0), nodes.guess_sd_cm),
            lag_per_d=np.where((nodes.area == 3) & (nodes.lag_per_d > 0.0), 0.9, nodes.lag_per_d),
            aim_sd_cm=nodes.aim_sd_cm + 0.1 * (nodes.area % 3),
        )
        said = (place % 4 == 1) | (cut & (nodes.day > 10.0))
        precision = np.where(said, 0.5 + RNG.random(n), 0.0)
        sites = Sites(precision * (5.0 + 6.0 * RNG.random(n)), precision, block.sites.cut_chance)
        trust = np.where(read & (place % 7 == 0), 0.01, 1.0)
        chains = replace(block.chains, nodes=nodes)
        self.block = block = replace(block, chains=chains, sites=sites, trust=trust)
        self.problem = replace(problem, blocks=(block,))
        self.nodes, self.previous = nodes, chains.previous
        border = 0.1 * RNG.normal(size=(BORDER, 7))
        border[CEILING] += np.log(20.0)
        border[HABIT] += np.log(np.where(np.arange(7) == 2, 0.6, 4.0))
        border[RATE] += np.log(0.08)
        border[KNOTS:] *= 3.0
        self.border, self.own = border, border[:, nodes.area]
        self.shape = problem.shape[nodes.area]
        self.stage = np.where(nodes.link == Link.GREW, -0.3, -1.2) + 0.3 * RNG.normal(size=n)
        self.stage[np.flatnonzero(cut & (nodes.area == 1))[0]] = -9.0  # next to the ground
        self.at = linearise(self.problem, block, self.stage, border)

    def of(self, *links):
        """Nodes of some links."""
        return np.flatnonzero(np.isin(self.nodes.link, links))

    def height(self, i):
        """Height of a node as a function of its stage."""
        return lambda z: height(z, self.own[CEILING, i], self.shape[i])


@pytest.fixture(scope="module")
def case():
    return Case()


def grown(case, i, own):
    """Growth of a span: pace times days, of which a lag leaves a tenth at least."""
    m, lag = case.shape[i], case.nodes.lag_per_d[i] * case.problem.lag_d[case.nodes.area[i]]
    factor = m / (2.0 * (1.0 - 2.0**-m))  # at half of the ceiling all shapes grow alike
    pace = np.exp(own[RATE] + own[KNOTS:] @ case.block.drift.weight[:, i])
    return factor * pace * case.nodes.growth_d[i] * max(1.0 - lag, 0.1)


def test_what_grew_is_predicted_by_its_growth_and_its_mean_height_by_the_bend(case):
    at, nodes, errors = case.at, case.nodes, case.problem.errors
    for i in case.of(Link.GREW):
        growth = grown(case, i, case.own[:, i])
        expected = case.stage[case.previous[i]] + growth
        assert at.transition[i] == 1.0
        assert at.offset[i] == pytest.approx(expected - case.stage[i])
        for row in range(BORDER):

            def moved(by, i=i, row=row):
                own = case.own[:, i].copy()
                own[row] += by
                return grown(case, i, own)

            assert inputs_of(at)[row, i] == pytest.approx(slope_of(moved, 0.0), abs=1e-7)
        relative = errors.span**2 * 7.0 / nodes.span_d[i] + nodes.pause_doubt[i] ** 2
        relative += errors.drift**2 * case.block.drift.remainder[i]
        assert at.process_noise[i] == pytest.approx(relative * growth**2)
        curve = case.height(i)
        assert at.expected_cm[i] == pytest.approx(curve(expected))
        steep = slope_of(curve, expected)
        assert at.observation[i] == pytest.approx(steep, rel=1e-6)
        mean = curve(expected) + 0.5 * bend_of(curve, expected) * at.process_noise[i]
        there = mean + steep * (case.stage[i] - expected)
        assert at.height_cm[i] == pytest.approx(there, rel=1e-6)


def test_a_cut_as_usual_is_aimed_at_a_height_and_its_mean_stage_lies_by_the_bend(case):
    for i in case.of(Link.AIMED):
        m, log_ceiling, log_habit = case.shape[i], case.own[CEILING, i], case.own[HABIT, i]
        aim, sd = np.exp(log_habit), case.nodes.aim_sd_cm[i]
        begun, steep = (
            stage(aim, log_ceiling, m),
            slope_of(case.height(i), stage(aim, log_ceiling, m)),
        )
        assert case.at.transition[i] == 0.0
        assert case.at.process_noise[i] == pytest.approx((sd / steep) ** 2, rel=1e-6)
        mean = begun + 0.5 * sd**2 * bend_of(lambda h: stage(h, log_ceiling, m), aim)  # noqa: B023
        assert case.at.offset[i] == pytest.approx(mean - case.stage[i], rel=1e-4)
        by_habit = slope_of(lambda x: stage(np.exp(x), log_ceiling, m), log_habit)  # noqa: B023
        by_ceiling = slope_of(lambda x: stage(aim, x, m), log_ceiling)  # noqa: B023
        inputs = np.zeros(BORDER)
        inputs[[HABIT, CEILING]] = by_habit, by_ceiling
        assert inputs_of(case.at)[:, i] == pytest.approx(inputs, rel=1e-6)
        assert case.at.expected_cm[i] == pytest.approx(aim)
        assert case.at.observation[i] == pytest.approx(steep, rel=1e-6)
        there = aim + steep * (case.stage[i] - mean)
        assert case.at.height_cm[i] == pytest.approx(there, rel=1e-5)


def test_no_cut_is_aimed_above_nineteen_twentieths_of_the_ceiling(case):
    border = case.border.copy()
    border[HABIT] = border[CEILING] + 0.1
    at = linearise(case.problem, case.block, case.stage, border)
    aimed = case.of(Link.AIMED)
    assert at.expected_cm[aimed] == pytest.approx(0.95 * np.exp(case.own[CEILING, aimed]))


def test_starts_are_open_and_those_that_nobody_read_lie_within_their_guess(case):
    for i in case.of(Link.FRESH):
        curve, log_ceiling, m = case.height(i), case.own[CEILING, i], case.shape[i]
        assert case.at.expected_cm[i] == pytest.approx(curve(case.stage[i]))
        assert case.at.height_cm[i] == pytest.approx(curve(case.stage[i]))
        assert case.at.transition[i] == 0.0
        if np.isfinite(case.nodes.reading_cm[i]):
            assert case.at.process_noise[i] == 1e6
            assert not case.at.offset[i]
            assert not inputs_of(case.at)[:, i].any()
            continue
        guess, sd = case.nodes.guess_cm[i], case.nodes.guess_sd_cm[i]
        top = np.exp(log_ceiling)
        low, high = (
            stage(np.clip(guess + by, 0.02 * top, 0.95 * top), log_ceiling, m) for by in (-sd, sd)
        )
        spread = max(high - low, 0.2) / 2.0
        assert case.at.process_noise[i] == pytest.approx(spread**2)
        assert case.at.offset[i] == pytest.approx(stage(guess, log_ceiling, m) - case.stage[i])
        inputs = np.zeros(BORDER)
        inputs[CEILING] = slope_of(lambda x: stage(guess, x, m), log_ceiling)  # noqa: B023
        assert inputs_of(case.at)[:, i] == pytest.approx(inputs, rel=1e-6)


def test_a_cut_of_known_size_joins_the_heights_before_and_after(case):
    """``h(after) = h(before) - length``, a length from a weight being mass over density."""
    at, errors = case.at, case.problem.errors
    for i in case.of(Link.CUT, Link.WEIGHED):
        before, weighed = case.previous[i], case.nodes.link[i] == Link.WEIGHED
        stood, usual = at.expected_cm[before], np.exp(case.own[HABIT, i])
        steep = slope_of(case.height(i), case.stage[i])
        steep = max(steep, 1e-6 * np.exp(case.own[CEILING, i]))
        likely = max(stood - usual, 0.25 * usual)
        density = case.own[DENSITY, i] if weighed else 0.0
        off = at.height_cm[before] - at.height_cm[i] - case.nodes.removed_cm[i] * np.exp(-density)
        assert at.transition[i] == pytest.approx(at.observation[before] / steep, rel=1e-6)
        assert at.offset[i] == pytest.approx(off / steep, rel=1e-6)
        inputs = np.zeros(BORDER)  # heights go with the ceiling at stages that stand still
        inputs[CEILING] = (stood - case.height(i)(case.stage[i])) / steep
        inputs[DENSITY] = likely / steep if weighed else 0.0
        assert inputs_of(at)[:, i] == pytest.approx(inputs, rel=1e-6)
        by_weight = (errors.weight * likely) ** 2 + 0.1**2
        two_readings = 2.0 * 0.5**2 + (0.05 * likely) ** 2
        variance = by_weight if weighed else two_readings
        assert at.process_noise[i] == pytest.approx(variance / steep**2, rel=1e-6)


def test_what_tells_of_a_height_adds_up_as_precisions_do(case):
    """A reading, the usual cut after one of known size, and what was heard: each by its weight."""
    at, nodes = case.at, case.nodes
    told = np.zeros(nodes.area.size, dtype=int)
    for i in range(nodes.area.size):
        said = []
        if np.isfinite(nodes.reading_cm[i]):
            own = nodes.reading_sd_cm[i]
            error = own**2 if own == own else 0.5**2 + (0.05 * at.expected_cm[i]) ** 2
            said.append((nodes.reading_cm[i], case.block.trust[i] / error))
        usual, weight = np.exp(case.own[HABIT, i]), 0.0
        if nodes.link[i] >= Link.CUT:
            weight = nodes.aim_sd_cm[i] ** -2.0
            said.append((usual, weight))
        heard = case.block.sites.precision[i]
        if heard:
            said.append((case.block.sites.precision_mean[i] / heard, heard))
        told[i] = len(said)
        precision = sum(by for _, by in said)
        assert at.observation_precision[i] == pytest.approx(precision)
        assert said or not at.residual[i]
        pulled = sum(by * (value - at.height_cm[i]) for value, by in said)
        assert at.residual[i] * precision == pytest.approx(pulled)
        assert at.by_usual_cut[i] * precision == pytest.approx(weight * usual)
    assert (np.bincount(told, minlength=4) > 0).all()


def test_other_sites_are_heard_without_another_line(case):
    quiet = replace(case.block.sites, precision=np.zeros(case.stage.size))
    silent = replace(case.block, sites=quiet)
    before = linearise(case.problem, silent, case.stage, case.border)
    again = linearise(case.problem, case.block, case.stage, case.border, before)
    for name in ("residual", "observation_precision", "by_usual_cut", "offset", "process_noise"):
        np.testing.assert_allclose(getattr(again, name), getattr(case.at, name), rtol=1e-12)
    assert (before.observation_precision != again.observation_precision).any()


@pytest.mark.parametrize(
    ("chance", "stood_cm", "wilder"),
    [(0.4, 9.0, 1.0), (0.7, 4.5, 1.0), (0.6, 30.0, 1.0), (0.5, 0.1, 1.0), (0.5, 5.0, 20.0)],
)
def test_a_cut_that_may_have_been_made_is_a_mixture(case, chance, stood_cm, wilder):
    """Of what stood, and the lower of that and a cut that scatters: moments by quadrature.

    What stands or is left is a fiftieth of the ceiling at least.
    """
    link = np.where(case.nodes.link >= Link.CUT, Link.UNSAID, case.nodes.link)
    sds = wilder * case.nodes.aim_sd_cm
    chains = replace(case.block.chains, nodes=replace(case.nodes, link=link, aim_sd_cm=sds))
    chances = np.full(link.size, chance)
    block = replace(case.block, chains=chains, sites=replace(case.block.sites, cut_chance=chances))
    stages = case.stage.copy()
    of = np.flatnonzero(link == Link.UNSAID)
    before = case.previous[of]
    # Such a span ends where its stage expects it: so high, or at the top of the curve.
    ceiling, m = case.own[CEILING, of], case.shape[of]
    ends = stage(np.minimum(stood_cm, 0.99 * np.exp(ceiling)), ceiling, m)
    growth = np.array([grown(case, i, case.own[:, i]) for i in before])
    stages[case.previous[before]], stages[before] = ends - growth, ends
    at = linearise(case.problem, block, stages, case.border)
    stood = np.clip(at.height_cm[before], 0.02 * np.exp(ceiling), 0.98 * np.exp(ceiling))
    for i, top, b in zip(of, stood, before, strict=True):
        usual, sd, curve = np.exp(case.own[HABIT, i]), sds[i], case.height(i)
        heights = np.linspace(usual - 8.0 * sd, usual + 8.0 * sd, 20_001)
        weight = norm.pdf(heights, usual, sd)
        lower = np.minimum(heights, top)
        aim = max(lower @ weight / weight.sum(), 0.02 * np.exp(case.own[CEILING, i]))
        cut = weight[heights < top].sum() / weight.sum()
        left = (1.0 - chance) * top + chance * aim
        assert at.expected_cm[i] == pytest.approx(left, rel=1e-4)
        there = stage(left, case.own[CEILING, i], case.shape[i])
        steep = slope_of(curve, there)
        assert at.offset[i] == pytest.approx(there - stages[i], abs=1e-3)
        assert at.height_cm[i] == pytest.approx(left + steep * (stages[i] - there), rel=1e-3)
        inputs = np.zeros(BORDER)
        inputs[HABIT] = chance * cut * usual / steep
        inputs[CEILING] = -inputs[HABIT]
        assert inputs_of(at)[:, i] == pytest.approx(inputs, rel=1e-2, abs=1e-6)
        passed = (1.0 - chance * cut) * at.observation[b] / steep
        assert at.transition[i] == pytest.approx(passed, rel=1e-2)
        noise = chance * ((1.0 - chance) * (top - aim) ** 2 + cut * sd**2) / steep**2
        assert at.process_noise[i] == pytest.approx(noise, rel=1e-2)
