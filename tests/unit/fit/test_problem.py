"""What heights and weights make of a problem before it is solved, by loops and quadrature."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.stats import norm

from growthcast.fit.rows.chains import Link
from growthcast.fit.solver.problem import (
    CUT_CHANCE,
    Weights,
    cut_chance_before,
    members_of,
    with_heights_that_count,
)
from growthcast.log.visits import Look
from tests.unit.fit.small_problem import small_problem

RNG = np.random.default_rng(4)
NAN = np.nan


def above(mean, variance, bound, error, mistaken):
    """Moments of a normal above a bound read with an error, which is none by some chance."""
    at = mean + np.sqrt(variance) * np.linspace(-8.0, 8.0, 20_001)
    weight = norm.pdf(at, mean, np.sqrt(variance))
    weight *= (1.0 - mistaken) * norm.cdf((at - bound) / error) + mistaken
    weight /= weight.sum()
    return weight @ at, weight @ (at - weight @ at) ** 2


def test_a_ceiling_is_believed_above_the_two_highest_heights():
    """One of the two may be a mistake, or both, once in fifty each; what is learnt rests on it."""
    pooling = replace(
        small_problem().pooling,
        log_ceiling=np.log([15.0, 17.0, 18.0, 20.0, 22.0, 0.8, 25.0]),
        ceiling_precision=np.array([25.0, 16.0, 25.0, 9.0, 25.0, 0.5, 0.0]),
        ceiling_learnt=np.arange(7) == 4,
        highest_cm=np.array(
            [[14.0, 0.0, 17.5, 16.0, 21.0, 0.6, 21.0], [16.0, 17.0, 18.5, 24.0, 22.0, 0.7, 26.0]]
        ),
        highest_sd_cm=np.array([[0.9] * 7, [0.5] * 7]),
    )
    mean, precision = pooling.ceiling_prior
    for a in range(6):
        centre, variance = pooling.log_ceiling[a], 1.0 / pooling.ceiling_precision[a]
        if not pooling.ceiling_learnt[a]:
            for height, sd, mistaken in zip(
                pooling.highest_cm[:, a], (0.9, 0.5), (0.02**2, 0.02), strict=True
            ):
                if height > 0.0:
                    bound = np.log(height)
                    centre, variance = above(centre, variance, bound, sd / height, mistaken)
        assert mean[a] == pytest.approx(centre, rel=1e-4)
        assert 1.0 / precision[a] == pytest.approx(variance, rel=1e-3)
    assert (mean[6], precision[6]) == (pooling.log_ceiling[6], 0.0)  # its prior is off


def with_readings():
    """Return the small problem in three blocks whose heights crowd around their ceilings."""
    problem = small_problem(nodes_a_block=1)
    blocks = []
    for block in problem.blocks:
        nodes, n = block.chains.nodes, block.trust.size
        area = nodes.area
        scale = np.array([0.4, 1.1, 1.0, 1.0, 1.0, 1.2, 1.0])[area]
        read = np.where(RNG.random(n) < 0.7, scale * (12.0 + 8.0 * RNG.random(n)), NAN)
        nodes = replace(
            nodes,
            reading_cm=np.where(area == 6, 19.5, read),  # a single one
            reading_sd_cm=np.where(RNG.random(n) < 0.3, 0.8, NAN),
            aim_sd_cm=np.where(RNG.random(n) < 0.2, 0.6, NAN),
            row=np.where(RNG.random(n) < 0.1, -1, nodes.row),
        )
        trust = np.where(RNG.random(n) < 0.2, 1e-4, 1.0)
        chains = replace(block.chains, nodes=nodes)
        blocks.append(replace(block, chains=chains, trust=trust))
    pooling = replace(problem.pooling, log_ceiling=np.log(np.full(7, 20.0)))
    return replace(problem, blocks=tuple(blocks), pooling=pooling)


@pytest.mark.parametrize("rises", [None, np.arange(7) == 0])
def test_the_two_highest_heights_that_count_are_those_of_a_plain_loop(rises):
    """Found, not left by a cut or guessed from a planting, and not set aside: above 16 of 20 cm."""
    problem = replace(with_readings(), rises=rises)
    counts = {area: [] for area in range(7)}
    for block in problem.blocks:
        nodes = block.chains.nodes
        for i in range(nodes.area.size):
            found = np.isnan(nodes.aim_sd_cm[i]) and nodes.row[i] >= 0 and block.trust[i] == 1.0
            if found and np.isfinite(nodes.reading_cm[i]):
                counts[nodes.area[i]].append((nodes.reading_cm[i], nodes.reading_sd_cm[i]))
    pooling = with_heights_that_count(problem).pooling
    for area, readings in counts.items():
        near = [(height, sd) for height, sd in sorted(readings)[-2:] if height > 16.0]
        heights = [0.0] * (2 - len(near)) + [height for height, _ in near]
        assert pooling.highest_cm[:, area].tolist() == heights
        for place, (height, own) in zip(range(2 - len(near), 2), near, strict=True):
            sd = own if own > 0.0 else np.hypot(0.5, 0.05 * height)
            assert pooling.highest_sd_cm[place, area] == pytest.approx(sd)
        assert pooling.near_ceiling[area] == (len(near) == 2)
        taught = len(near) == 2 or (rises is not None and area == 0)
        assert pooling.ceiling_learnt[area] == taught
    assert 1 <= pooling.near_ceiling.sum() <= 5


def test_members_of_a_bucket_are_found_before_their_cut_on_its_day():
    """Two nodes of a day, in any order: the one without a bucket is what stood before the cut."""
    day, area = np.repeat([5.0, 5.0, 9.0, 9.0, 9.0, 9.0], 2), np.repeat([0, 1, 0, 1, 2, 3], 2)
    bucket = np.where(np.arange(12) % 2 == 1, np.repeat([0, 0, 1, 1, -1, 1], 2), -1)
    order = RNG.permutation(12)
    nodes = SimpleNamespace(day=day[order], area=area[order], bucket=bucket[order])
    members = members_of(nodes)
    place = np.argsort(order)
    expected = {(place[i - 1], place[i]) for i in (1, 3, 5, 7, 11)}
    assert set(zip(members.found.tolist(), members.left.tolist(), strict=True)) == expected
    assert members.bucket.tolist() == nodes.bucket[members.left].tolist()
    assert members.area.tolist() == nodes.area[members.left].tolist()


def test_a_cut_of_which_no_word_is_said_is_as_likely_as_its_look_says():
    """And elsewhere there is none, nor where every cut is told."""
    [block] = small_problem().blocks
    chains, nodes = block.chains, block.chains.nodes
    assert not cut_chance_before(chains).any()
    later = np.flatnonzero(nodes.link >= Link.CUT)[:4]
    look, link = nodes.look.copy(), nodes.link.copy()
    look[chains.previous[later]], link[later] = list(Look), Link.UNSAID
    unsaid = replace(chains, nodes=replace(nodes, look=look, link=link))
    chance = cut_chance_before(unsaid)
    assert chance[later].tolist() == [CUT_CHANCE[look] for look in Look]
    assert np.count_nonzero(chance) == 4


def test_a_weight_is_read_as_the_rests_where_nobody_says_otherwise():
    nothing = np.zeros(4)
    weights = Weights(
        grams=nothing,
        everything=np.array([True, True, True, False]),
        said=np.array([True, False, False, False]),
        row=np.arange(4),
        gram_per_cm=nothing,
        removed_day=nothing,
    )
    assert weights.as_rest().everything.tolist() == [True, False, False, False]


def test_looks_and_weights_are_sites_and_readings_are_none():
    problem = small_problem()
    [block] = problem.blocks
    nodes = block.chains.nodes
    assert problem.has_sites  # one look
    unseen = replace(block.chains, nodes=replace(nodes, look=np.zeros_like(nodes.look)))
    block = replace(block, chains=unseen)
    assert not replace(problem, blocks=(block,)).has_sites
    weighed = replace(unseen.nodes, bucket=np.where(nodes.link == Link.AIMED, 0, -1))
    block = replace(block, members=members_of(weighed))
    assert replace(problem, blocks=(block,)).has_sites


def test_own_parameters_have_their_priors_and_what_weights_tell_of_densities():
    """Two words on a density of 0, of precision 4 and 12, the second for 0.5: 16 for 0.375."""
    weighed = np.zeros((2, 7))
    weighed[:, 3] = 12.0, 12.0 * 0.5
    pooling = replace(small_problem().pooling, weighed=weighed)
    ceiling, habit, (mean, precision) = pooling.own_priors()
    assert ceiling is pooling.ceiling_prior
    assert habit == (pooling.log_habit, pooling.habit_precision)
    assert (mean[3], precision[3]) == pytest.approx((0.375, 16.0))
    assert (mean[0], precision[0]) == (0.0, 4.0)
    weak = replace(pooling, density_precision=0.0, weighed=weighed / 48.0).own_priors()[2]
    assert np.stack(weak)[:, [0, 3]].tolist() == [[0.0, 0.5], [0.0, 0.25]]
    unheard = replace(pooling, density_precision=0.0).own_priors()[2]
    assert np.stack(unheard)[:, [0, 3]].tolist() == [[0.0, 0.5], [0.0, 12.0]]


def test_what_ceilings_and_species_rest_on_is_kept_where_nothing_of_it_changes():
    pooling = small_problem().pooling
    assert "planted" not in vars(pooling.but_for(area_precision=2.0))
    planted, ceiling = pooling.planted, pooling.ceiling_prior
    other = pooling.but_for(area_precision=2.0)
    assert other.area_precision == 2.0
    assert other.planted is planted
    assert other.ceiling_prior is ceiling
