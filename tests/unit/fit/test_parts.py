"""What one area is expected to have given to a whole tank's weight, worked out by hand."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.stats import norm

from growthcast.fit.rows.chains import Link
from growthcast.fit.sites.looks import Cavity
from growthcast.fit.sites.weights import (
    Parts,
    _densities,
    _log_chance,
    _parts_of,
    _sites_of_weights,
    evidence_for_everything,
    propagate,
)
from growthcast.fit.solver.problem import BORDER, DENSITY, HABIT, Block, Sites, Weights
from growthcast.fit.solver.solve import starting_point
from growthcast.fit.solver.view import view_of
from tests.unit.fit.small_problem import ON_DAY, small_problem

AREA = np.zeros(1, dtype=np.int64)


def part(link, removed_day=np.nan, left_cm=4.0, found_cm=10.0):
    """An area found at 10 cm, where a stage is 2 cm, and left at 4 cm, its usual cut, on day 7."""
    border = np.zeros((BORDER, 1))
    border[HABIT], border[DENSITY] = np.log(4.0), np.log(2.0)
    nodes = SimpleNamespace(
        area=np.zeros(2, dtype=np.int64),
        look=np.zeros(2, dtype=np.int64),
        link=np.array([Link.GREW, link]),
        day=np.full(2, 7.0),
        aim_sd_cm=np.array([np.nan, 0.6]),
        removed_cm=np.array([np.nan, 5.0]),
    )
    members = SimpleNamespace(found=AREA, left=AREA + 1, area=AREA, bucket=AREA)
    at = SimpleNamespace(height_cm=np.array([found_cm, left_cm]), observation=np.array([2.0, 1.0]))
    filtered = SimpleNamespace(mean=np.array([0.5, 0.0]), variance=np.array([0.04, 0.01]))
    own = np.zeros((1, 3, 3))
    own[:, DENSITY, DENSITY] = 0.01
    unsaid = np.flatnonzero(nodes.link == Link.UNSAID)
    chains = SimpleNamespace(nodes=nodes, previous=np.zeros(2, dtype=np.int64), unsaid=unsaid)
    block = SimpleNamespace(members=members, chains=chains)
    problem = SimpleNamespace(
        blocks=[block],
        weights=SimpleNamespace(removed_day=np.full(1, removed_day), gram_per_cm=np.full(1, 3.0)),
        errors=SimpleNamespace(height_error_cm=np.full(1, 0.5)),
    )
    view = SimpleNamespace(
        problem=problem,
        forward=lambda _: SimpleNamespace(at=at, filtered=filtered),
        point=SimpleNamespace(border=border),
        pooled=SimpleNamespace(own_covariance=own),
    )
    return _parts_of(view, 0, Cavity(np.array([1.0, 0.0]), np.array([0.09, 0.0])))


def test_two_heights_give_their_difference():
    """10 + 2 x 0.5 cm were found and 4 left; 3 g a cm by the table, twice that here."""
    found = part(Link.AIMED)
    assert found.length_cm == pytest.approx(7.0)
    assert found.variance == pytest.approx(4 * 0.04 + 0.01)
    assert found.mass_g == pytest.approx(6 * 7.0)
    # Of the mass: what the length leaves open, and what the density does.
    assert found.mass_variance == pytest.approx(36 * 0.17 + 42**2 * 0.01)
    mean, variance = found.given
    assert (mean, variance) == (pytest.approx(42.0), pytest.approx(36 * 0.17 + 42**2 * 0.01))


def test_a_length_that_was_told_is_off_by_two_readings():
    found = part(Link.CUT)
    assert (found.length_cm, found.variance) == (pytest.approx(5.0), pytest.approx(2 * 0.5**2))


def test_a_single_weight_is_its_own_grams():
    found = part(Link.WEIGHED)
    assert found.mass_g == pytest.approx(5.0 * 3.0)
    assert found.mass_variance == 0.0


def test_a_cut_nobody_tells_of_gives_by_its_chance():
    """Known without the weight: 10 + 2 x 1 cm, of which a usual cut leaves 4 +- 0.6 cm."""
    found = part(Link.UNSAID)
    assert found.length_cm == pytest.approx(8.0)
    assert found.variance == pytest.approx(4 * 0.09 + 0.6**2)
    mass, spread = 6 * 8.0, 36 * 0.72 + 48**2 * 0.01
    chance = float(found.chance[0])
    assert 0.0 < chance < 1.0
    mean, variance = found.given
    assert mean == pytest.approx(chance * mass)
    # A mixture of nothing and the mass.
    assert variance == pytest.approx(chance * spread + chance * (1 - chance) * mass**2)


@pytest.mark.parametrize(
    ("removed_day", "length_cm", "usual_cm"), [(6.0, 12.0, 0.0), (7.0, 12.0, 0.0), (8.0, 8.0, 4.0)]
)
def test_of_an_area_that_was_removed_nothing_is_left(removed_day, length_cm, usual_cm):
    found = part(Link.UNSAID, removed_day=removed_day)
    assert found.length_cm == pytest.approx(length_cm)
    assert found.usual_cm == pytest.approx(usual_cm)
    assert found.usual_variance == pytest.approx(0.36 if usual_cm else 0.0)


@pytest.mark.parametrize(("left_cm", "length_cm"), [(0.3, 10.7), (-0.2, 11.0), (12.0, 0.0)])
def test_no_height_and_no_length_is_below_nothing(left_cm, length_cm):
    assert part(Link.AIMED, left_cm=left_cm).length_cm == pytest.approx(length_cm)
    assert part(Link.UNSAID, found_cm=1.0).length_cm == 0.0  # 3 cm, where cuts leave 4
    assert part(Link.UNSAID, found_cm=-3.0, removed_day=6.0).length_cm == 0.0


def test_weights_tell_a_density_by_what_an_area_gave():
    """Three weights of an area known to have given 40 g each, off by 20 % and 5 g.

    Each is off by 10, 0 and 40 g of what was expected; without a prior the regression on 40 g is
    that of the weights, and the prior is taken off what they say.
    """
    grams = np.array([50.0, 40.0, 80.0])
    one = np.ones(3)
    parts = Parts(
        *(np.zeros(3, dtype=np.int64), np.arange(3), 10.0 * one, 0.0 * one, one, 0.0 * one),
        *(4.0 * one, one, 4.0 * one, 0.01 * one),
    )
    border = np.zeros((BORDER, 1))
    border[DENSITY] = 0.1
    pooling = SimpleNamespace(tank=np.zeros(1, dtype=np.int64), density_precision=4.0)
    errors = SimpleNamespace(weight=0.2)
    problem = SimpleNamespace(pooling=pooling, weights=SimpleNamespace(grams=grams), errors=errors)
    view = SimpleNamespace(problem=problem, point=SimpleNamespace(border=border))
    precision, by_mean = _densities(view, [parts])[:, 0]
    unsure = (0.2 * grams) ** 2 + 5.0**2
    told = (40.0**2 / unsure).sum()
    assert precision == pytest.approx(told)
    moved = (40.0 * (grams - 40.0) / unsure).sum() - 4.0 * 0.1
    assert by_mean == pytest.approx((0.1 + moved / (told + 4.0)) * (told + 4.0))
    far = replace(parts, length_cm=0.3 * parts.length_cm)
    precision, by_mean = _densities(view, [far])[:, 0]  # no further than 1 at a time
    assert by_mean / (precision + 4.0) == pytest.approx(1.1)
    nothing = replace(parts, length_cm=0.0 * parts.length_cm)
    assert (_densities(view, [nothing]) == 0.0).all()


def shared(grams, everything):
    """A bucket shared by one that was measured, 40 +- 4 g, and one nobody tells of, 80 g if cut.

    The latter is usually cut to 4 +- 0.6 cm; of its 8 cm a variance of 0.5 is open.
    """
    parts = Parts(
        area=np.array([0, 1]),
        bucket=np.zeros(2, dtype=np.int64),
        length_cm=np.array([10.0, 8.0]),
        variance=np.array([0.0, 0.5]),
        chance=np.array([1.0, 0.5]),
        sure_g=np.zeros(2),
        usual_cm=np.array([4.0, 4.0]),
        usual_variance=np.array([0.36, 0.36]),
        gram_per_cm=np.array([4.0, 10.0]),
        density_variance=np.array([0.01, 0.01]),
    )
    weights = SimpleNamespace(grams=np.array([grams]), everything=np.array([everything]))
    problem = SimpleNamespace(weights=weights, errors=SimpleNamespace(weight=0.2))
    nodes = SimpleNamespace(link=np.array([Link.GREW, Link.AIMED, Link.GREW, Link.UNSAID]))
    members = SimpleNamespace(found=np.array([0, 2]), left=np.array([1, 3]))
    block = SimpleNamespace(chains=SimpleNamespace(nodes=nodes), members=members)
    one = np.array([0.0, 0.0, 0.25, 0.0])
    heard = Sites(precision_mean=3.0 * one, precision=one, cut_chance=np.full(4, 0.5))
    return _sites_of_weights(problem, block, parts, heard)


@pytest.mark.parametrize(
    ("grams", "everything", "rest"), [(120.0, True, 80.0), (50.0, False, 50.0)]
)
def test_a_weight_says_whether_a_silent_area_was_cut_and_what_came_off(grams, everything, rest):
    """Its own error is 20 % and 5 g; beside what others gave 617 g2, alone 125."""
    sites, parts = shared(grams, everything)
    rest = grams - (40.0 if everything else 0.0)
    variance = (0.2 * grams) ** 2 + 25.0 + (1600.0 * 0.01 if everything else 0.0)
    density = np.array([variance + 100.0 * 0.5 + 6400.0 * 0.01, variance])
    cut, not_cut = _log_chance(np.array([rest - 80.0, rest]), density)
    sure = 1.0 / (1.0 + np.exp(not_cut - cut))
    chance = sure + (0.5 - sure) * 2.0**-8  # half of the way in each of eight rounds
    assert parts.chance == pytest.approx([1.0 if everything else 0.0, chance])
    assert sites.cut_chance == pytest.approx([0.5, 0.5, 0.5, chance])
    length = rest / 10.0
    spread = variance / 100.0 + length**2 * 0.01 + 0.36
    told = chance / spread
    assert sites.precision == pytest.approx([0.0, 0.0, 0.25 + told, 0.0])
    assert sites.precision_mean == pytest.approx([0.0, 0.0, 0.75 + told * (4.0 + length), 0.0])


def test_weights_of_several_tanks_tell_the_densities_of_all_members_at_once():
    """A regression tank by tank: of what is unexplained on what each gave, with their noise.

    Areas 0 and 3 are of tank 1, areas 1, 2 and 4 of tank 0; area 2 is weighed by itself, area 4
    gave nothing. Chances and lengths are the noise; what the density leaves open is what is asked.
    """
    rng, tank = np.random.default_rng(2), np.array([1, 0, 0, 1, 0])
    area = np.array([0, 3, 0, 1, 2, 4, 1, 0, 3, 1])
    bucket = np.array([0, 0, 1, 2, 2, 2, 3, 4, 4, 6])  # nobody gave to weight 5
    n = area.size
    parts = Parts(
        area=area,
        bucket=bucket,
        length_cm=np.where(area == 4, 0.0, rng.uniform(2.0, 9.0, n)),
        variance=rng.uniform(0.1, 0.5, n),
        chance=np.where(np.arange(n) % 3 == 0, 0.7, 1.0),
        sure_g=np.where(area == 2, 30.0, 0.0),
        usual_cm=np.full(n, 4.0),
        usual_variance=np.zeros(n),
        gram_per_cm=np.array([4.0, 6.0, 3.0, 5.0, 2.0])[area],
        density_variance=np.full(n, 0.04),
    )
    grams, border = rng.uniform(30.0, 90.0, 7), np.zeros((BORDER, 5))
    border[DENSITY] = 0.05 * rng.normal(size=5)
    pooling = SimpleNamespace(tank=tank, density_precision=4.0)
    errors = SimpleNamespace(weight=0.2)
    problem = SimpleNamespace(pooling=pooling, weights=SimpleNamespace(grams=grams), errors=errors)
    view = SimpleNamespace(problem=problem, point=SimpleNamespace(border=border))
    halves = [
        Parts(*(getattr(parts, name)[some] for name in Parts.__slots__))
        for some in (slice(0, 4), slice(4, n))  # blocks
    ]
    found = _densities(view, halves)
    whole = np.where(parts.sure_g > 0.0, parts.sure_g, parts.gram_per_cm * parts.length_cm)
    unsure = (0.2 * grams) ** 2 + 25.0
    off, gave = grams.copy(), np.zeros((7, 5))
    for i in range(n):
        of_length = 0.0 if area[i] == 2 else parts.gram_per_cm[i] ** 2 * parts.variance[i]
        chance = parts.chance[i]
        unsure[bucket[i]] += chance * of_length + chance * (1.0 - chance) * whole[i] ** 2
        off[bucket[i]] -= chance * whole[i]
        gave[bucket[i], area[i]] += 0.0 if area[i] == 2 else chance * whole[i]
    precision = gave.T @ np.diag(1.0 / unsure) @ gave + 4.0 * np.eye(5)
    moved = np.linalg.solve(precision, gave.T @ (off / unsure) - 4.0 * border[DENSITY])
    known = 1.0 / np.diag(np.linalg.inv(precision))
    assert np.abs(moved).max() < 1.0
    told = np.array([0, 1, 2, 3])
    assert found[0, told] == pytest.approx((known - 4.0)[told], abs=1e-12)
    assert found[1, told] == pytest.approx(((border[DENSITY] + moved) * known)[told])
    assert (found[:, 4] == 0.0).all()


def test_what_is_left_of_a_weight_is_without_the_others_with_their_doubt():
    """Of 100 g two members gave 30 +- 3 and 50 +- 4; a third does not count."""
    nothing = np.zeros(3)
    parts = Parts(
        area=np.arange(3),
        bucket=np.zeros(3, dtype=np.int64),
        length_cm=np.array([30.0, 50.0, 7.0]),
        variance=np.array([9.0, 16.0, 1.0]),
        chance=np.ones(3),
        sure_g=nothing,
        usual_cm=nothing,
        usual_variance=nothing,
        gram_per_cm=np.ones(3),
        density_variance=nothing,
    )
    counts = np.array([True, True, False])
    rest, unsure = parts.left_of(np.array([100.0]), np.array([25.0]), counts)
    assert rest == pytest.approx([50.0, 70.0, 20.0])
    assert unsure == pytest.approx([16.0 + 25.0, 9.0 + 25.0, 25.0 + 25.0])


def weighed_problem():
    """Areas 0 and 2 of tank 0 were cut on day 10, when 30 g came out of it; one nobody tells of."""
    problem = small_problem()
    [block] = problem.blocks
    nodes = block.chains.nodes
    cut = (nodes.link == Link.AIMED) & (nodes.day == 10.0)
    bucket = np.where(cut & np.isin(nodes.area, [0, 2]), 0, -1)
    link = np.where(cut & (nodes.area == 2), Link.UNSAID, nodes.link)
    reading = np.where(link == Link.UNSAID, np.nan, nodes.reading_cm)
    nodes = replace(nodes, bucket=bucket, link=link, reading_cm=reading)
    chains = replace(block.chains, nodes=nodes)
    one, yes = np.ones(1), np.ones(1, dtype=bool)
    weights = Weights(
        grams=30.0 * one,
        everything=yes,
        said=~yes,
        row=np.zeros(1, dtype=np.int64),
        gram_per_cm=np.full(7, 2.0),
        removed_day=np.full(7, np.nan),
    )
    return replace(problem, blocks=(Block.of(chains, ON_DAY),), weights=weights)


def test_weights_are_heard_by_heights_and_by_densities_that_are_not_known():
    """Densities of those who may have given; none where borders stand, or nothing was weighed."""
    problem = weighed_problem()
    view = view_of(problem, starting_point(problem))
    heard, known = propagate(view), propagate(view, border_known=True)
    told = np.flatnonzero(heard.pooling.weighed[0] > 0.0)
    assert told.tolist() == [0, 2]
    assert known.pooling is problem.pooling
    found = problem.blocks[0].members.found
    unsaid = found[problem.blocks[0].members.area == 2]
    for one in (heard, known):
        assert np.flatnonzero(one.blocks[0].sites.precision)[[0]].tolist() != []
        assert one.blocks[0].sites.precision[unsaid] > 0.0
    # Where densities are known a weight tells more of the height.
    assert known.blocks[0].sites.precision[unsaid] > heard.blocks[0].sites.precision[unsaid]
    plain = small_problem()
    assert propagate(view_of(plain, starting_point(plain))).pooling is plain.pooling


def test_evidence_is_how_much_likelier_a_weight_is_with_what_was_measured(monkeypatch):
    """Three weights: of measured and untold, of untold alone, and one of which a row tells."""
    unsaid = np.array([False, True, True, False])
    part = Parts(
        area=np.arange(4),
        bucket=np.array([0, 0, 1, 2]),
        length_cm=np.array([5.0, 3.0, 4.0, 6.0]),
        variance=np.array([0.2, 0.5, 0.4, 0.3]),
        chance=np.array([1.0, 0.6, 0.7, 1.0]),
        sure_g=np.zeros(4),
        usual_cm=np.full(4, 4.0),
        usual_variance=np.zeros(4),
        gram_per_cm=np.array([6.0, 4.0, 3.0, 5.0]),
        density_variance=np.full(4, 0.02),
    )
    monkeypatch.setattr("growthcast.fit.sites.weights._parts_of", lambda *_: part)
    monkeypatch.setattr("growthcast.fit.sites.weights.sites_of_looks", lambda *_: (None, None))
    grams = np.array([20.0, 9.0, 30.0])
    weights = SimpleNamespace(grams=grams, said=np.array([False, False, True]))
    nodes = SimpleNamespace(link=np.where(unsaid, Link.UNSAID, Link.AIMED))
    block = SimpleNamespace(
        chains=SimpleNamespace(nodes=nodes), members=SimpleNamespace(left=np.arange(4))
    )
    problem = SimpleNamespace(weights=weights, blocks=[block], errors=SimpleNamespace(weight=0.2))
    found = evidence_for_everything(SimpleNamespace(problem=problem))
    mass = part.gram_per_cm * part.length_cm
    spread = part.gram_per_cm**2 * part.variance + 0.02 * mass**2
    mean, variance = part.chance * mass, part.chance * spread
    variance += part.chance * (1.0 - part.chance) * mass**2
    error = (0.2 * 20.0) ** 2 + 25.0

    def log_chance(off, squares):
        densities = norm.pdf(off, 0.0, np.sqrt(squares) * np.array([1.0, 5.0]))
        return np.log(densities @ [0.95, 0.05])

    everything = log_chance(20.0 - mean[0] - mean[1], error + variance[0] + variance[1])
    rest = log_chance(20.0 - mean[1], error + variance[1])
    assert found == pytest.approx(everything - rest)
