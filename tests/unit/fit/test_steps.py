"""How a fit steps: how far, how short where it swings, and when it ends."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from growthcast.fit.rows.chains import Link
from growthcast.fit.solver import part as parting
from growthcast.fit.solver import solve as solving
from growthcast.fit.solver.problem import BORDER, CEILING, DENSITY, HABIT, KNOTS, RATE
from growthcast.fit.solver.solve import (
    _scale,
    _stages_follow,
    _stages_moved,
    _stepped,
    _within_reach,
    go_on,
    solve,
    starting_point,
)
from growthcast.fit.solver.view import departure_of, view_of
from tests.unit.fit.small_problem import small_problem

AREAS = 7
EVERY = np.ones(AREAS)


@pytest.fixture(scope="module")
def view():
    problem = small_problem()
    return view_of(problem, starting_point(problem))


def test_stages_move_three_at_most_and_end_where_no_ruler_tells():
    """From -10 up to 5 for starts and cuts, up to 60 for what was grown into."""
    link = np.array([Link.FRESH, Link.AIMED, Link.GREW, Link.GREW, Link.CUT, Link.GREW, Link.FRESH])
    stages = np.array([4.0, -9.0, 4.0, 59.0, 1.0, 0.0, 0.0])
    step = np.array([2.0, -2.0, 2.0, 2.0, 4.0, -9.0, 0.25])
    chains = SimpleNamespace(nodes=SimpleNamespace(link=link))
    moved = _within_reach(chains, stages, step)
    assert moved.tolist() == [5.0, -10.0, 6.0, 60.0, 4.0, -3.0, 0.25]


def test_steps_are_judged_by_what_is_open_given_the_rest(view):
    """Of each parameter alone: roots of the inverse of its own precision, of a knot its prior's."""
    pooling = view.problem.pooling
    scale = _scale(view)
    priors = [precision for _, precision in pooling.own_priors()]
    for a in range(AREAS):
        information = view.information[a].copy()
        own = information[:RATE, :RATE] + np.diag([precision[a] for precision in priors])
        left = information[RATE, RATE]
        left -= information[RATE, :RATE] @ np.linalg.solve(own, information[:RATE, RATE])
        assert scale[RATE, a] == pytest.approx((left + pooling.area_precision) ** -0.5)
        spread = np.sqrt(np.diag(np.linalg.inv(own)))
        assert scale[:RATE, a] == pytest.approx(spread)
        assert scale[KNOTS:, a] == pytest.approx(np.diag(pooling.knot_precision) ** -0.5)


def test_what_nothing_is_known_of_is_judged_by_its_own_unit(view):
    """Priors off and no log: of density and rate of area 6; a weak prior is one all the same."""
    nothing = np.zeros(AREAS)
    off = {"ceiling_precision": nothing, "habit_precision": nothing, "density_precision": 0.0}
    for precision, sd in ((0.0, 1.0), (0.25, 2.0)):
        pooling = replace(view.problem.pooling, **off, area_precision=precision)
        there = view_of(replace(view.problem, pooling=pooling), view.point)
        scale = _scale(there)
        assert scale[[DENSITY, RATE], 6].tolist() == [1.0, sd]
        assert (scale[:, :6] > 0.0).all()
        variance = there.pooled.covariance(np.array([6]))[0]
        given = there.pooled.joint_covariance(np.array([6]))[0]
        away = there.pooled.centre[6] - view.point.border[RATE, 6]
        assert departure_of(there)[RATE, 6] == pytest.approx(away)
        assert (abs(away) > 1e-4) == (precision > 0.0)  # rests on its tank and species
        if not precision:  # an area that rests on nothing does not rest on its tank
            assert variance[RATE, RATE] == 1.0
        else:
            assert variance[RATE, RATE] == pytest.approx(4.0 + given[0, 0])


def test_stages_that_stand_where_stages_end_do_not_move(view):
    problem = view.problem
    stages = view.point.stages[0].copy()
    [block] = problem.blocks
    nodes = block.chains.nodes
    at_end = np.flatnonzero((nodes.area == 2) & (nodes.link == Link.AIMED))[0]
    stages[at_end] = -10.0
    view = replace(view, point=replace(view.point, stages=(stages,)))
    step = np.zeros(stages.size)
    step[at_end] = -1.0
    for area, by in ((0, 0.5), (1, -0.25), (3, 9.0)):
        step[np.flatnonzero(nodes.area == area)[-2:]] = by, 0.1 * by
    moved = _stages_moved(view, [step])
    sd = np.sqrt(view.known(0).variance)
    expected = np.zeros(AREAS)
    for area, by in ((0, 0.5), (1, 0.25), (3, 3.0)):
        first, second = np.flatnonzero(nodes.area == area)[-2:]
        expected[area] = max(
            by / sd[first], min(0.1 * by * (3.0 if area == 3 else 1.0), 3.0) / sd[second]
        )
    assert moved == pytest.approx(expected)


def stepped(view, departure, share):
    """Return the borders' and stages' moves of a step."""
    point = _stepped(view, departure, _stages_follow(view, departure), share)
    stages = zip(point.stages, view.point.stages, strict=True)
    return point.border - view.point.border, [after - before for after, before in stages]


def test_a_step_keeps_its_direction_and_no_parameter_goes_further_than_its_bound(view):
    """At most 0.7 of rate and density, 0.4 of ceiling and usual cut, 0.5 of a knot, as logs."""
    departure = np.zeros((BORDER, AREAS))
    longest = [(RATE, 0.7), (DENSITY, 0.7), (CEILING, 0.4), (HABIT, 0.4), (KNOTS + 1, 0.5)]
    for area, (row, most) in enumerate(longest):
        departure[row, area], departure[RATE, area] = -4.0 * most, -4.0 * most
        if row != RATE:
            departure[RATE, area] = 0.1
    departure[[RATE, CEILING], 5] = 0.3, -0.2
    moved, _ = stepped(view, departure, EVERY)
    np.testing.assert_allclose(moved[:, :5], 0.25 * departure[:, :5], atol=1e-15)
    np.testing.assert_allclose(moved[:, 5:], departure[:, 5:], atol=1e-15)


def test_each_area_takes_its_share_but_the_drift_of_a_tank_the_least_of_them(view):
    """Tanks hold areas 0-2, 3-4 and 5-6."""
    departure = np.full((BORDER, AREAS), 0.1)
    share = np.array([1.0, 0.5, 1.0, 0.25, 1.0, 1.0, 1.0])
    moved, [stages] = stepped(view, departure, share)
    np.testing.assert_allclose(moved[:KNOTS], 0.1 * np.tile(share, (KNOTS, 1)))
    least = 0.1 * np.array([0.5, 0.5, 0.5, 0.25, 0.25, 1.0, 1.0])
    np.testing.assert_allclose(moved[KNOTS:], np.tile(least, (BORDER - KNOTS, 1)))
    nodes, known = view.problem.blocks[0].chains.nodes, view.known(0)
    follow = known.mean + (known.sensitivity * moved[:, nodes.area]).sum(axis=0)
    unread = (nodes.link == Link.FRESH) & np.isnan(nodes.reading_cm)
    follow[unread] *= share[nodes.area[unread]]
    reach = np.abs(follow) < 3.0
    np.testing.assert_allclose(stages[reach], follow[reach], atol=1e-12)


def test_a_start_that_nobody_read_goes_its_areas_share_of_the_way(view):
    problem = view.problem
    [block] = problem.blocks
    nodes = block.chains.nodes
    unread = nodes.link == Link.FRESH
    changed = replace(
        nodes,
        reading_cm=np.where(unread, np.nan, nodes.reading_cm),
        guess_cm=np.where(unread, 6.0, nodes.guess_cm),
        guess_sd_cm=np.where(unread, 2.0, nodes.guess_sd_cm),
    )
    block = replace(block, chains=replace(block.chains, nodes=changed))
    problem = replace(problem, blocks=(block,))
    there = view_of(problem, starting_point(problem))
    departure = np.full((BORDER, AREAS), 0.1)
    departure[KNOTS:] = 0.0
    share = np.linspace(0.2, 0.8, AREAS)
    _, [stages] = stepped(there, departure, share)
    known = there.known(0)
    whole = known.mean + (known.sensitivity * (share * departure)[:, nodes.area]).sum(axis=0)
    wanted = np.where(unread, share[nodes.area], 1.0) * whole
    np.testing.assert_allclose(stages, wanted, atol=1e-12)


def scripted(monkeypatch, view, moves):
    """Let a fit make these moves of rates (steps, A), in standard deviations; note its shares."""
    shares, scale = [], _scale(view)
    script = iter([*moves, np.zeros(AREAS)])

    def departure(_):
        moved = np.zeros((BORDER, AREAS))
        moved[RATE] = next(script) * scale[RATE]
        return moved

    def step(view, departure, follow, share):
        shares.append(share.copy())
        return view

    monkeypatch.setattr(solving, "departure_of", departure)
    monkeypatch.setattr(solving, "_stages_moved", lambda *_: np.zeros(AREAS))
    monkeypatch.setattr(solving, "_shortened_step", step)
    return shares


def test_an_area_that_swings_halves_its_steps_and_lengthens_them_again(view, monkeypatch):
    """Area 0 goes straight on, area 1 turns back every time, area 2 turns once."""
    turning = np.ones((9, AREAS))
    turning[:, 1] = (-1.0) ** np.arange(9)
    turning[2:, 2] = -1.0
    shares = scripted(monkeypatch, view, turning)
    found = go_on(view)
    shares = np.array(shares)
    assert (shares[:, 0] == 1.0).all()
    assert shares[:, 1].tolist() == [max(0.5**n, 1 / 64) for n in range(9)]
    assert shares[:, 2].tolist() == [1.0, 1.0, 0.5, 0.75, 1.0, 1.0, 1.0, 1.0, 1.0]
    assert found.steps == 9
    assert found.converged.all()


@pytest.mark.parametrize(("last", "steps"), [(2e-3, 4), (0.5e-3, 3)])
def test_a_fit_ends_when_no_area_moves_further_than_a_thousandth(view, monkeypatch, last, steps):
    moves = np.zeros((4, AREAS))
    moves[:, 3] = 1.0, 0.1, 1.1e-3, last
    scripted(monkeypatch, view, moves)
    assert go_on(view).steps == steps


def test_a_fit_that_may_step_no_more_says_whose_steps_have_settled(view, monkeypatch):
    """Below a hundredth of a standard deviation; three steps were taken before."""
    moves = np.tile([0.009, 0.011, -0.009, -0.011, 0.0, 1.0, 0.0], (9, 1))
    shares = scripted(monkeypatch, view, moves)
    found = go_on(view, steps=3, most_steps=5)
    assert (found.steps, len(shares)) == (5, 2)
    assert found.converged.tolist() == [True, False, True, False, True, False, True]


@pytest.mark.parametrize(("looked", "heard"), [(True, 12), (False, 0)])
def test_looks_are_heard_at_twelve_steps(view, monkeypatch, looked, heard):
    [block] = view.problem.blocks
    nodes = replace(block.chains.nodes, look=looked * block.chains.nodes.look)
    block = replace(block, chains=replace(block.chains, nodes=nodes))
    there = view_of(replace(view.problem, blocks=(block,)), view.point)
    scripted(monkeypatch, there, np.ones((15, AREAS)))
    asked = []
    monkeypatch.setattr(solving, "propagate", lambda view: asked.append(view) or view.problem)
    assert go_on(there).steps == 15
    assert len(asked) == heard


def test_stages_may_be_off_by_ten_times_as_much(view, monkeypatch):
    for stages_moved, steps in ((0.009, 0), (0.011, 1)):
        moved = iter([np.full(AREAS, stages_moved), np.zeros(AREAS)])
        scripted(monkeypatch, view, [np.zeros(AREAS)])
        monkeypatch.setattr(solving, "_stages_moved", lambda *_, it=moved: next(it))
        assert go_on(view).steps == steps


def test_without_noise_a_fit_goes_on_to_its_last_digits():
    """Least squares: the next step is next to none, though so far a thousandth would have done."""
    problem = small_problem()
    exact = replace(problem, errors=replace(problem.errors, span=0.0, drift=0.0))
    solution = solve(exact)
    assert solution.converged.all()
    in_sd = departure_of(solution.view) / _scale(solution.view)
    assert np.abs(in_sd).max() <= 1e-8
    rough = solve(problem).view
    assert 1e-8 < np.abs(departure_of(rough) / _scale(rough)).max() <= 1e-3


def test_few_tanks_of_a_large_problem_are_fitted_alone(view, monkeypatch):
    """Less than half of the tanks, of more than so many areas; tanks are those of the areas."""
    for most, tanks, pays in ((400, 1, False), (6, 1, True), (6, 2, False)):
        monkeypatch.setattr(parting, "MANY_AREAS", most)
        assert parting.pays_alone(view, np.arange(3) < tanks) is pays
    moving = np.isin(np.arange(AREAS), (0, 2, 6))
    assert parting.tanks_of(view, moving).tolist() == [True, False, True]


def test_a_tank_that_moves_is_fitted_alone_twice_as_closely_and_then_all_step(monkeypatch):
    """And it ends where all of them would have led it."""
    settled = solve(small_problem(nodes_a_block=1), tolerance=1e-5)
    astray = settled.point.border.copy()
    astray[RATE, 5:] += 0.4
    begun = replace(settled.point, border=astray)
    calls, plain = [], solving.go_on

    def go_on(view, steps, most_steps, tolerance):
        found = plain(view, steps, most_steps, tolerance)
        calls.append((view.problem.area_count, tolerance, steps, found.steps))
        return found

    monkeypatch.setattr(parting, "MANY_AREAS", 6)
    monkeypatch.setattr(solving, "go_on", go_on)
    alone = solve(settled.problem, begun, tolerance=1e-4)
    *parts, (areas, tolerance, began, steps) = calls
    assert (areas, tolerance, began, steps) == (7, 1e-4, 0, alone.steps)
    assert {part[:2] for part in parts} == {(2, 0.5e-4)}
    # Between one and the next all take a step.
    assert [part[2] - 1 for part in parts[1:]] == [part[3] for part in parts[:-1]]
    assert parts[-1][3] > parts[0][2]
    assert alone.converged.all()
    off = (alone.point.border - settled.point.border) / _scale(settled.view)
    assert np.abs(off).max() < 5e-3


def test_a_step_is_tried_five_times_and_taken_at_once_where_nothing_speaks_against_it(
    view, monkeypatch
):
    tried, plain = [], solving.view_of
    monkeypatch.setattr(solving, "view_of", lambda *a: tried.append(a) or plain(*a))
    step = np.zeros((BORDER, AREAS))
    step[RATE] = 0.01
    solving._shortened_step(view, step, _stages_follow(view, step), EVERY)
    assert len(tried) == 1
    asked = iter([np.zeros(3)] + 9 * [np.array([0.0, 11.0, 9.0])])
    monkeypatch.setattr(solving, "misfit_of_tanks", lambda _: next(asked))
    found = solving._shortened_step(view, step, _stages_follow(view, step), EVERY)
    assert len(tried) == 6
    moved = (found.point.border - view.point.border)[RATE]
    whole = np.isin(np.arange(AREAS), (3, 4))  # of the second tank
    assert moved == pytest.approx(np.where(whole, 0.01 * 0.25**4, 0.01))


def test_a_tank_that_fits_much_worse_steps_shorter_alone_or_not(monkeypatch):
    """The others take their whole step; both ways lead to the same point."""
    problem = small_problem(nodes_a_block=1)
    begun = solve(problem).view
    far = np.zeros_like(begun.point.border)
    far[RATE, :3] = 0.7
    far[RATE, 3:] = 0.01
    follow = _stages_follow(begun, far)
    found, parts = [], []
    whole = parting.part_of
    monkeypatch.setattr(parting, "part_of", lambda *a: parts.append(a[1]) or whole(*a))
    for most, alone in ((400, 0), (6, 1)):  # shortened once
        monkeypatch.setattr(parting, "MANY_AREAS", most)
        found.append(solving._shortened_step(begun, far, follow, EVERY))
        assert [part.tolist() for part in parts] == alone * [[True, False, False]]
    moved = found[0].point.border[RATE] - begun.point.border[RATE]
    assert moved[:3] == pytest.approx(0.7 / 4)
    assert moved[3:] == pytest.approx(0.01)
    np.testing.assert_array_equal(found[0].point.border, found[1].point.border)
    np.testing.assert_allclose(found[0].surprise, found[1].surprise, rtol=1e-12)
