"""When tanks are due, on nouns made by hand."""

from __future__ import annotations

from datetime import date, timedelta
from types import SimpleNamespace

import numpy as np
import pytest

from growthcast.book.checks.rounds import ClosedTime
from growthcast.fit.design import day_number
from growthcast.service import urgency
from growthcast.service.urgency import (
    Chances,
    TankDue,
    chances_of_tanks,
    chances_uncut,
    due_on_day,
    first_due,
    grid_days,
    last_visit_on,
    nothing_over,
    tanks_due,
)

ON = date(2026, 6, 1)
ON_DAY = day_number(ON)
NEVER = np.nan


@pytest.mark.parametrize(
    ("within", "left", "last_d", "interval_d", "limit_d", "due"),
    [
        # Wanted is 0.9 of what was left: 0.81 is held, 0.80 is not.
        ([0.9, 0.9, 0.9, 0.9, 0.9, 0.81, 0.8, 0.8], 0.9, -2, 14, None, (5, "chance")),
        # Half of the 15 days, rounded up, are 8: none before day 6, though the chance falls.
        ([0.9, 0.7, 0.7, 0.7, 0.7, 0.7, 0.7, 0.7, 0.7], 0.9, -2, 15, None, (6, "chance")),
        ([0.9, 0.7, 0.7, 0.7, 0.7, 0.7, 0.7, 0.7, 0.7], 0.9, -2, 14, None, (5, "chance")),
        # Unless some area is more likely over than not: 0.46 of 0.9 is not half, 0.44 is.
        ([0.9, 0.7, 0.46, 0.44, 0.4, 0.4, 0.4, 0.4], 0.9, -2, 14, None, (2, "chance")),
        ([0.9, 0.9, 0.9], 0.9, -2, 14, None, (12, "rhythm")),
        # The last day that is known still counts as held; the day before the last does not.
        ([0.9, 0.9, 0.9, 0.2], 0.9, 0, 4, None, (2, "chance")),
        ([0.2, 0.2, 0.2, 0.2], 0.9, 0, 14, None, (1, "chance")),
        # Of days before the first the chance tells nothing; a rhythm and a limit do.
        ([0.2, 0.2, 0.2, 0.2], 0.9, -9, 14, None, (0, "chance")),
        ([0.9, 0.9, 0.9], 0.9, -20, 14, None, (-6, "rhythm")),
        ([0.9, 0.9, 0.9], 0.9, -20, 14, -9, (-9, "limit")),
        ([0.9, 0.9, 0.9], 0.9, 0, 14, 0, (1, "limit")),
        ([0.9, 0.9, 0.9], 0.9, 0, 14, 20, (14, "rhythm")),
    ],
)
def test_a_visit_is_due_by_the_first_of_rhythm_chance_and_limit(
    within, left, last_d, interval_d, limit_d, due
):
    assert first_due(np.array(within), 0.9, left, interval_d, last_d, limit_d) == due


def practice(visits=(), own=(), removed=(), lately=(), budget=10.0, stays=None):
    """A book of three tanks with an area each, and its fit: days count from that of the fit."""
    removed = np.array(removed or [NEVER] * 3)
    places, days = ([each[i] for each in visits] for i in (0, 1))
    trims = SimpleNamespace(
        places=lambda *_: np.array(places, dtype=int),
        date=lambda _: np.datetime64(ON) + np.array(days, dtype="m8[D]"),
    )
    limits = np.array(own or [NEVER] * 3)
    tanks = SimpleNamespace(number=lambda _: limits)
    traits = SimpleNamespace(
        removed_day=ON_DAY + removed,
        planted_day=ON_DAY + np.array([-400.0, -2.0, -5.0]),
        planted_lately=lambda _: np.isin(np.arange(3), lately),
        budget_cm=np.array([budget, 20.0, 30.0]),
    )
    design = SimpleNamespace(
        on_day=ON_DAY,
        tank=np.array([0, 1, 1]),
        tank_id=np.array(["a", "b", "c"]),
        traits=traits,
        stays=np.array(stays or [True] * 3),
    )
    return SimpleNamespace(trims=trims, tanks=tanks), SimpleNamespace(design=design)


def test_the_last_visit_is_the_last_day_in_the_log_or_of_planting():
    """Rows of no tank do not count; a blank tank was never visited."""
    book, fit = practice(visits=[(0, -9), (0, -3), (0, -7), (1, -8), (-1, -1)])
    assert (urgency.last_visits(book, fit) - ON_DAY)[:2].tolist() == [-3.0, -8.0]
    assert last_visit_on(book, fit, 0) == ON - timedelta(days=3)
    assert last_visit_on(book, fit, 2) is None
    book, fit = practice(visits=[(0, -9), (1, -4)], lately=[1, 2])
    assert (urgency.last_visits(book, fit) - ON_DAY)[:2].tolist() == [-9.0, -2.0]
    book, fit = practice(visits=[(1, -4)], lately=[2])
    assert last_visit_on(book, fit, 1) == ON - timedelta(days=4)


def test_what_was_left_inside_is_the_product_unless_an_area_was_probably_over(monkeypatch):
    """Chances of 0.9; of 0.8 and 0.7 together; one of 0.4 excuses nothing."""
    chance = {0: 0.9, 1: 0.8, 2: 0.7}
    asked = []

    def outlook(_, areas, days):
        asked.append((areas.tolist(), (days - ON_DAY)[:, 0].tolist()))

        def below(budget):
            assert budget[:, 0].tolist() == [10.0 * (area + 1) for area in areas]
            return np.array([[chance[area]] for area in areas.tolist()])

        return SimpleNamespace(chance_below=below)

    monkeypatch.setattr(urgency, "outlook", outlook)
    monkeypatch.setattr(urgency, "AREAS_AT_ONCE", 2)
    _, fit = practice()
    last = ON_DAY + np.array([-1.0, -2.0, -3.0])
    assert urgency._left_inside(fit, last) == pytest.approx([0.9, 0.56, 1.0])
    assert [area for areas, _ in asked for area in areas] == [0, 1, 2]
    assert [day for _, days in asked for day in days] == [-1.0, -2.0, -2.0]
    chance[0] = 0.5
    assert urgency._left_inside(fit, last)[0] == 0.5
    chance[2] = 0.4
    assert urgency._left_inside(fit, last)[1] == 1.0
    _, fit = practice(stays=[False, True, False])
    assert urgency._left_inside(fit, last) == pytest.approx([1.0, 0.8, 1.0])
    _, fit = practice(stays=[False] * 3)
    assert urgency._left_inside(fit, last).tolist() == [1.0] * 3


def advised(interval_d=7, options=("one",), nothing_holds=False, tank_id="a"):
    chosen = SimpleNamespace(interval_d=interval_d)
    return SimpleNamespace(
        tank_id=tank_id,
        options=options,
        nothing_holds=nothing_holds,
        chosen=chosen,
        longest_interval_d=28,
        confidence=0.9,
    )


@pytest.fixture
def uncut(monkeypatch):
    """Chances that fall by 0.01 a day from 1, less the place of the tank in hundredths."""
    asked = SimpleNamespace(left=np.ones(3), closed={})

    def chances(_, tanks, every_d, until_d=0):
        asked.tanks, asked.days = tanks.tolist(), (every_d, until_d)
        days = np.arange(max(every_d, until_d) + 1)
        return {k: Chances(1.0 - 0.01 * (k + days), np.zeros((0, days.size))) for k in asked.tanks}

    monkeypatch.setattr(urgency, "chances_uncut", chances)
    monkeypatch.setattr(urgency, "_left_inside", lambda *_: asked.left)
    monkeypatch.setattr(urgency, "closed_times", lambda _: asked.closed)
    return asked


def test_tanks_are_due_by_what_is_known_from_their_last_visits_on(uncut):
    book, fit = practice(visits=[(0, -9), (1, -4)], own=[NEVER, 10.0, 28.0])
    found = tanks_due(book, fit, [advised(), advised(14), advised(28)], np.arange(3))
    # The chance of c is 0.9 on day 8, but none asks for a visit before half of the interval.
    assert [(one.due_d, one.due_by) for one in found] == [
        (-2, "rhythm"),
        (6, "limit"),
        (14, "chance"),  # no visit is known: the day of the fit
    ]
    assert [(one.interval_d, one.limit_d, one.idle) for one in found] == [
        (7, None, ""),
        (14, 6, ""),
        (28, 28, ""),
    ]
    assert uncut.tanks == [0, 1, 2]
    assert uncut.days == (28, 0)  # every day on which one of them can be due
    assert found[2].uncut.all_within[:3] == pytest.approx([0.98, 0.97, 0.96])
    uncut.left = np.array([1.0, 1.0, 0.805])  # 0.7245 is wanted: until day 25
    found = tanks_due(book, fit, [advised(27), advised(28)], np.array([2, 2]), 40)
    assert [(one.due_d, one.due_by) for one in found] == [(25, "chance"), (25, "chance")]
    assert uncut.tanks == [2]
    assert uncut.days == (28, 40)


def test_tanks_without_a_rhythm_of_their_plants(uncut):
    """Cleared by the last visit, empty for long, or nothing holds: a limit alone plans it."""
    visits = [(0, -4), (1, -4), (2, -4)]
    none, dark = advised(options=()), advised(nothing_holds=True)

    def kinds(removed, advice, own):
        book, fit = practice(visits=visits, own=own, removed=removed)
        found = tanks_due(book, fit, advice, np.arange(3))
        assert all((one.due_by == "") == (one.due_d is None) for one in found)
        assert all((one.due_on is None) == (one.due_d is None) for one in found)
        return [(one.idle, one.due_d, one.interval_d) for one in found]

    unlimited, limited = [NEVER] * 3, [10.0] * 3
    # Areas of the second tank were removed on the day of the visit and 30 days before it.
    for removed, said in (((-4.0, -4.0, -30.0), "cleared"), ((-5.0, -5.0, -30.0), "empty")):
        found = kinds(removed, [none, none, none], limited)
        assert found[:2] == [(said, 6 if said == "empty" else None, 28)] * 2
        assert found[2] == ("empty", 6, 28)
        assert kinds(removed, [none] * 3, unlimited)[:2] == [(said, None, 28)] * 2
        assert uncut.days == (0, 0)
    # To be removed in a month: on the day of the fit it was not yet.
    assert kinds((30.0, NEVER, NEVER), [none] * 3, unlimited)[0][0] == "cleared"
    assert kinds((), [dark, advised(), none], limited) == [
        ("none holds", 6, 28),
        ("", 3, 7),
        ("empty", 6, 28),
    ]


def test_a_tank_is_due_on_a_day_on_which_it_can_be_visited(uncut):
    """Closed from day 3 to 6: before it if that is not past, else after it."""

    def due_on(last, interval_d, first, until):
        uncut.closed = {"a": (ClosedTime(ON + timedelta(first), ON + timedelta(until)),)}
        book, fit = practice(visits=[(0, last), (1, last)])
        both = [advised(interval_d), advised(interval_d, tank_id="b")]
        found = tanks_due(book, fit, both, np.arange(2))
        return [(one.due_d, (one.due_on - ON).days) for one in found]

    assert due_on(-2, 7, 3, 6) == [(5, 2), (5, 5)]
    assert due_on(-7, 7, -1, 6) == [(0, 7), (0, 0)]
    assert due_on(-9, 7, -3, 6) == [(-2, -2), (-2, -2)]


def test_chances_between_days_are_drawn_straight_and_none_falls_back():
    """Two areas in four draws on days 0, 2 and 4; what was over once may have been over since."""
    drawn = np.array(
        [
            [[0, 0, 0, 0], [0, 0, 0, 0], [1, 1, 1, 1]],
            [[1, 1, 0, 0], [0, 0, 1, 0], [1, 1, 1, 1]],
            [[1, 0, 0, 0], [1, 1, 0, 0], [0, 1, 1, 1]],
        ],
        dtype=bool,
    )
    living = SimpleNamespace(
        tank=np.array([4, 7]),
        run=np.array([0, 0, 1]),
        all_hold=lambda within: np.array([within[:2].all(axis=0).mean(), within[2].mean()]),
    )
    found = chances_of_tanks(living, [0, 2, 4], (~over for over in drawn))
    assert list(found) == [4, 7]
    assert found[4].over.tolist() == [[0, 0.25, 0.5, 0.5, 0.5], [0, 0.125, 0.25, 0.375, 0.5]]
    assert found[4].all_within.tolist() == [1.0, 0.625, 0.25, 0.25, 0.25]
    assert found[7].over.tolist() == [[1.0] * 5]


def test_what_is_lost_before_a_day_is_summed_over_areas_and_earlier_days():
    over = np.array([[0.0, 0.1, 0.2, 0.3], [0.5, 0.5, 0.5, 0.5]])
    assert Chances(np.ones(4), over).lost() == pytest.approx([0.0, 0.5, 1.1, 1.8])
    assert nothing_over(3).lost().tolist() == [0.0] * 4


def test_every_day_counts_as_far_as_a_visit_can_be_due():
    assert grid_days(0) == [0]
    assert grid_days(12, 10) == [*range(11), 12]
    assert grid_days(30, 13) == [*range(15), 17, 21, 25, 28, 30]
    assert grid_days(500)[-3:] == [126, 182, 500]


def test_the_risk_of_a_tank_is_what_its_joint_draws_leave(monkeypatch):
    """In one draw of a hundred a day each tank has something over; two are without areas."""
    blocks = [np.array([4]), np.array([7, 9])]
    monkeypatch.setattr(urgency, "blocks_of_tanks", lambda *_: blocks)

    def standing(_, block):
        living = SimpleNamespace(
            tank=block,
            run=np.arange(block.size),
            all_hold=lambda within: within.mean(axis=1),
        )

        def later(days):
            over = np.minimum(block[:, None] * days, 100)
            return SimpleNamespace(within=lambda: np.arange(100) >= over)

        return SimpleNamespace(living=living, each_later=lambda ahead: map(later, ahead))

    monkeypatch.setattr(urgency, "standing_areas", standing)
    found = chances_uncut(None, np.array([2, 4, 7, 9]), 3, 9)
    assert list(found) == [2, 4, 7, 9]
    assert all(one.all_within.size == 10 for one in found.values())
    assert [1.0 - one.all_within[5] for one in found.values()] == pytest.approx(
        [0, 0.2, 0.35, 0.45]
    )
    assert [one.over.shape[0] for one in found.values()] == [0, 1, 1, 1]


def test_tanks_due_by_a_day_stand_in_the_order_of_travel():
    columns = {
        "client": ["B", "A", "A", "A"],
        "site": ["", "y", "x", "x"],
        "tank_id": ["t1", "t2", "t4", "t3"],
    }
    book = SimpleNamespace(tanks=SimpleNamespace(text=lambda name: np.array(columns[name])))
    days = [ON, ON - timedelta(days=2), ON, None]

    def dues(some):
        return [TankDue(7, None, "", 0, "rhythm", day, nothing_over(0)) for day in some]

    assert due_on_day(book, dues(days), ON) == [2, 1, 0]
    assert due_on_day(book, dues(days), ON - timedelta(days=1)) == [1]
    assert due_on_day(book, dues([ON] * 4), ON) == [3, 2, 1, 0]
