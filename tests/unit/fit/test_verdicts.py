"""Verdicts on single readings, both sides of where they turn, worked out by hand."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.stats import norm

from growthcast.fit.rows.chains import Link
from growthcast.fit.solver.problem import HABIT
from growthcast.fit.solver.solve import starting_point
from growthcast.fit.solver.view import view_of
from growthcast.fit.suspects import (
    GROSS,
    MISTAKEN,
    SOUND,
    TRUST_OF_A_SUSPECT,
    UNLOGGED,
    UNUSUAL,
    _Foreseen,
    _foreseen,
    _judged,
    _set_aside,
    _verdicts,
    suspects_of,
)
from growthcast.log.visits import Look
from tests.unit.fit.dense import joint
from tests.unit.fit.small_problem import small_problem


def verdict(link, reading=np.nan, **asked):
    """Return the verdict on a node (see ``judged``)."""
    return judged(link, reading, **asked)[0]


def judged(link, reading=np.nan, height=10.0, off=0.0, look=0, wider=1.0, variance=0.25):
    """Judge one node after another of 10 cm; an area is usually cut to 4 cm.

    What was foreseen has a variance of 0.25, a reading one of 0.75: together 1.
    """
    two = np.ones(2)
    nodes = SimpleNamespace(
        link=np.array([Link.FRESH, link]),
        reading_cm=np.array([10.0, reading]),
        look=np.array([0, look]),
        floor_cm=6.0 * two,
        budget_cm=15.0 * two,
    )
    read = np.isfinite(nodes.reading_cm)
    chains = SimpleNamespace(nodes=nodes, read=read, previous=np.zeros(2, dtype=np.int64))
    foreseen = _Foreseen(
        height=np.array([10.0, height]),
        variance=variance * two,
        error=0.75 * two,
        usual=np.log(4.0) * two,
        off=np.array([0.0, off]),
        off_variance=two,
    )
    found, beats = _verdicts(SimpleNamespace(chains=chains), foreseen, wider)
    assert (found[0], beats[0]) == (SOUND, 0.0)  # against a fresh start nothing can be said
    assert (beats[1] > 0.0) == (found[1] != SOUND)
    return int(found[1]), beats[1]


@pytest.mark.parametrize(
    ("wider", "reading", "says"),
    [(1.0, 13.45, SOUND), (1.0, 13.55, GROSS), (2.0, 14.5, SOUND), (2.0, 14.6, GROSS)],
)
def test_a_high_reading_is_gross_where_ten_times_the_error_is_likelier(wider, reading, says):
    """A variance of 75.25 of one in fifty: off^2 (1 - 1 / 75.25) / 2 = ln 48 + ln 75.25 / 2.

    Off by 3.50; with twice the spread of what was foreseen 1.75 and 76, off by 4.54.
    """
    assert verdict(Link.GREW, reading, wider=wider) == says


@pytest.mark.parametrize(("reading", "says"), [(6.9, SOUND), (6.8, UNLOGGED), (2.7, GROSS)])
def test_a_low_reading_may_stand_after_a_cut_that_nobody_logged(reading, says):
    """Evenly between 0.7 x 4 and 10 cm, one in fifty: ln 0.02 / 7.2 against ln 0.96 and a normal.

    Off by 3.14 cm; below 2.8 cm no cut leaves anything.
    """
    assert verdict(Link.GREW, reading) == says


def test_no_cut_is_looked_for_above_half_of_what_was_foreseen_where_little_stands():
    """Where 4 cm were foreseen the cut leaves 2 cm at least, not 2.8."""
    assert verdict(Link.GREW, 2.1, height=4.0, variance=-0.65) == UNLOGGED
    assert verdict(Link.GREW, 1.9, height=4.0, variance=-0.65) == GROSS


@pytest.mark.parametrize(("reading", "says"), [(7.0, SOUND), (7.2, UNUSUAL), (0.4, GROSS)])
def test_a_cut_may_be_made_elsewhere_than_usual(reading, says):
    """One in twenty is lognormal around 4 cm with 0.6: from 7.1 cm on that is the likelier."""
    assert verdict(Link.AIMED, reading, height=4.0) == says


@pytest.mark.parametrize(("off", "says"), [(3.0, SOUND), (3.05, MISTAKEN), (-3.05, MISTAKEN)])
def test_an_amount_may_not_be_what_came_off(off, says):
    """One in 25 is anything up to the 10 cm that stood there: ln 0.004 against ln 0.96."""
    assert verdict(Link.CUT, off=off) == says


@pytest.mark.parametrize(
    ("look", "height", "says"),
    [
        (Look.SHORT, 7.0, SOUND),
        (Look.SHORT, 14.0, UNLOGGED),
        (Look.RIGHT, 10.0, SOUND),
        (Look.OVER, 7.0, GROSS),  # no cut makes it higher
        (Look.RIGHT, 40.0, UNLOGGED),
    ],
)
def test_a_look_far_below_what_was_foreseen_may_stand_after_a_cut_nobody_logged(look, height, says):
    assert verdict(Link.GREW, height=height, look=look) == says


@pytest.mark.parametrize(("look", "height"), [(Look.SHORT, 14.0), (Look.RIGHT, 30.0)])
def test_a_look_is_weighed_over_sixteen_heights_foreseen_and_eight_below(look, height):
    """Floor 6 and budget 15 cm, judged to 15 %; a cut leaves 2.8 cm or more, one time in fifty."""

    def chance(heights):
        floor, budget = (norm.cdf(np.log(cm / heights) / 0.15) for cm in (6.0, 15.0))
        sure = floor if look == Look.SHORT else budget - floor
        return (1.0 - 1e-4) * sure + 1e-4 / 3.0

    ahead = height + 0.5 * norm.ppf((np.arange(16) + 0.5) / 16.0)
    below = 2.8 + (height - 2.8) * (np.arange(8) + 0.5) / 8.0
    sound, cut = np.log([chance(ahead).mean(), 0.02 * chance(below).mean()])
    says, beats = judged(Link.GREW, height=height, look=look)
    assert says == UNLOGGED
    assert beats == pytest.approx(cut - sound, abs=1e-3)


def test_the_worst_of_each_area_is_judged_first_and_verdicts_are_taken_back():
    """Of area 0 two readings are doubted; one of area 2 is so no longer, one of area 4 still is."""
    [block] = small_problem().blocks
    area = block.chains.nodes.area
    at = {n: int(np.flatnonzero(area == n)[3]) for n in range(6)}
    verdicts, beats = np.full(area.size, SOUND), np.zeros(area.size)
    for place, says, by in (
        (at[0], GROSS, 5.0),
        (int(np.flatnonzero(area == 0)[2]), UNUSUAL, 3.0),
        (at[1], UNLOGGED, 2.0),
        (at[3], MISTAKEN, 1.0),
        (at[4], GROSS, 9.0),
    ):
        verdicts[place], beats[place] = says, by
    trust = np.ones(area.size)
    trust[[at[2], at[4]]] = TRUST_OF_A_SUSPECT
    new = _set_aside(replace(block, trust=trust), verdicts, beats)
    low = np.flatnonzero(new.trust < 1.0).tolist()
    assert low == sorted([at[0], at[3], at[4]])
    assert (new.trust[low] == TRUST_OF_A_SUSPECT).all()
    links, old = new.chains.nodes.link, block.chains.nodes.link
    assert np.flatnonzero(new.cut_away).tolist() == [at[1]]
    assert (links[at[1]], links[at[3]]) == (Link.FRESH, Link.AIMED)
    others = np.ones(area.size, dtype=bool)
    others[[at[1], at[3]]] = False
    np.testing.assert_array_equal(links[others], old[others])
    again = replace(block, trust=trust)
    still = np.full(area.size, SOUND)
    still[[at[2], at[4]]] = GROSS
    assert _set_aside(again, still, beats) is again  # nothing new


def test_what_was_foreseen_is_kept_of_suspects_and_of_spans_broken_before():
    """Half a reading was foreseen, with 0.1 cm; 7 cm before another span was broken."""
    [block] = small_problem().blocks
    nodes, read = block.chains.nodes, block.chains.read
    grew = np.flatnonzero((nodes.link == Link.GREW) & read)
    high, broken = grew[0], grew[-1]
    expected, cut_away = np.full(read.size, np.nan), np.zeros(read.size, dtype=bool)
    expected[broken], cut_away[broken] = 7.0, True
    height = np.where(read, nodes.reading_cm, 8.0)
    height[high] *= 0.5
    foreseen = _Foreseen(
        height=height,
        variance=np.full(read.size, 0.01),
        error=np.full(read.size, 0.04),
        usual=np.where(nodes.link == Link.AIMED, np.log(height), np.log(4.0)),
        off=np.zeros(read.size),
        off_variance=np.ones(read.size),
    )
    new = _judged(replace(block, cut_away=cut_away, expected_cm=expected), foreseen, 1.0)
    assert np.flatnonzero(new.trust < 1.0).tolist() == [high]
    assert np.flatnonzero(np.isfinite(new.expected_cm)).tolist() == [high, broken]
    assert new.expected_cm[[high, broken]].tolist() == [height[high], 7.0]
    assert new.expected_sd_cm[high] == pytest.approx(0.1)


def test_what_was_foreseen_is_as_unsure_as_stages_and_borders_are():
    """The slope times the stage's doubt, and how the height goes with a border in doubt."""
    problem = small_problem()
    [block] = problem.blocks
    nodes = block.chains.nodes
    own = np.where(np.arange(nodes.area.size) == 8, 2.0, np.nan)
    nodes = replace(nodes, reading_sd_cm=own)
    block = replace(block, chains=replace(block.chains, nodes=nodes))
    problem = replace(problem, blocks=(block,))
    view = view_of(problem, starting_point(problem))
    [forward] = view.kept
    at = forward.at
    _, covariance, into = joint(view)
    found = _foreseen(view, 0)
    for node, area in enumerate(nodes.area):
        border = into[area] @ covariance @ into[area].T
        follows = forward.predicted_sensitivity[:, node]
        unsure = follows @ border @ follows
        stage = at.observation[node] ** 2 * forward.predicted_variance[node]
        assert found.variance[node] == pytest.approx(stage + unsure)
        precision = forward.innovation_precision[node]
        alone = 1.0 / precision if precision > 0.0 else 1.0
        assert found.off_variance[node] == pytest.approx(alone + unsure)
    height = at.expected_cm
    error = np.where(np.isfinite(own), 4.0, 0.25 + (0.05 * height) ** 2)
    assert found.error == pytest.approx(error)
    assert (found.height == height).all()
    assert (found.off == forward.innovation_cm).all()
    assert found.usual == pytest.approx(view.point.border[HABIT, nodes.area])


def test_suspects_are_named_by_row_with_what_was_judged_of_them():
    """A reading, an amount that is not used, and a look before an unlogged cut; not what stands."""
    nan = np.nan
    nodes = SimpleNamespace(
        area=np.array([0, 1, 1, 0]),
        row=np.array([3, 2, 0, 1]),
        link=np.array([Link.GREW, Link.AIMED, Link.FRESH, Link.GREW]),
        removed_cm=np.array([nan, 5.0, nan, nan]),
        reading_cm=np.array([17.0, nan, nan, 9.0]),
        look=np.array([0, 0, int(Look.SHORT), 0]),
    )
    block = SimpleNamespace(
        chains=SimpleNamespace(nodes=nodes),
        trust=np.array([TRUST_OF_A_SUSPECT, TRUST_OF_A_SUSPECT, 1.0, 1.0]),
        cut_away=np.array([False, False, True, False]),
        expected_cm=np.array([8.0, 3.0, 12.0, nan]),
        expected_sd_cm=np.array([1.0, 2.0, 3.0, nan]),
    )
    design = SimpleNamespace(
        row_numbers=np.array([2, 4, 5, 9]),
        area_id=np.array(["stems", "float"]),
        is_cover=np.array([False, True]),
    )
    found = suspects_of(design, SimpleNamespace(blocks=[block]))
    told = [
        (one.row, one.area_id, one.unit, one.removed_cm, one.reading_cm, one.look, one.unlogged_cut)
        for one in found
    ]
    assert told == [
        (2, "float", "% cover", None, None, "short", True),
        (5, "float", "% cover", 5.0, None, "none", False),
        (9, "stems", "cm", None, 17.0, "none", False),
    ]
    assert [(one.foreseen_cm, one.foreseen_sd_cm) for one in found] == [(12, 3), (3, 2), (8, 1)]


def test_of_a_mistaken_amount_what_should_have_come_off_is_kept():
    """Off by -8 cm: that much more was foreseen, with the spread of both."""
    [block] = small_problem().blocks
    nodes, size = block.chains.nodes, block.chains.nodes.area.size
    cut = int(np.flatnonzero(nodes.link == Link.CUT)[0])
    foreseen = _Foreseen(
        height=np.where(block.chains.read, nodes.reading_cm, 8.0),
        variance=np.full(size, 0.01),
        error=np.full(size, 0.04),
        usual=np.where(nodes.link == Link.AIMED, np.log(nodes.reading_cm), np.log(4.0)),
        off=np.where(np.arange(size) == cut, -8.0, 0.0),
        off_variance=np.full(size, 1.44),
    )
    new = _judged(block, foreseen, 1.0)
    assert np.flatnonzero(new.trust < 1.0).tolist() == [cut]
    assert new.chains.nodes.link[cut] == Link.AIMED
    assert new.expected_cm[cut] == pytest.approx(nodes.removed_cm[cut] + 8.0)
    assert new.expected_sd_cm[cut] == pytest.approx(1.2)
