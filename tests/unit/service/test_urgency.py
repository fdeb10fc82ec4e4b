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
    Due,
    Rhythm,
    TankDue,
    chance_some_area_over,
    due_on_day,
    last_visit_on,
    rhythms,
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
        ([0.9, 0.9, 0.9], 0.9, -20, 14, None, (-6, "rhythm")),
        ([0.9, 0.9, 0.9], 0.9, -20, 14, -9, (-9, "limit")),
        ([0.9, 0.9, 0.9], 0.9, 0, 14, 0, (1, "limit")),
        ([0.9, 0.9, 0.9], 0.9, 0, 14, 20, (14, "rhythm")),
    ],
)
def test_a_visit_is_due_by_the_first_of_rhythm_chance_and_limit(
    within, left, last_d, interval_d, limit_d, due
):
    rhythm = Rhythm(interval_d, last_d, limit_d, left)
    assert rhythm.due(np.array(within), 0.9) == Due(*due)


def test_a_tank_whose_plants_set_no_rhythm_is_due_by_its_own_limit():
    steady = np.full(30, 0.9)
    idle = Rhythm(7, -3, 11, 0.9, "empty", planned=True)
    assert idle.due(steady, 0.9) == Due(11, "limit")
    assert Rhythm(7, -3, None, 0.9, "empty", planned=False).due(steady, 0.9) is None
    assert Rhythm(7, -3, 11, 0.9, "", planned=True).due(steady, 0.9) == Due(4, "rhythm")


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


def advised(interval_d=7, options=("one",), nothing_holds=False, **more):
    chosen = SimpleNamespace(interval_d=interval_d)
    return SimpleNamespace(
        options=options,
        nothing_holds=nothing_holds,
        chosen=chosen,
        longest_interval_d=28,
        confidence=0.9,
        **more,
    )


def test_rhythms_count_from_the_last_visit(monkeypatch):
    monkeypatch.setattr(urgency, "_left_inside", lambda *_: np.array([0.9, 0.8, 0.7]))
    book, fit = practice(visits=[(0, -9), (1, -4)], own=[NEVER, 10.0, 14.0])
    found = rhythms(book, fit, [advised(), advised(14), advised(21)], ON_DAY)
    assert found == [
        Rhythm(7, -9, None, 0.9, "", planned=True),
        Rhythm(14, -4, 6, 0.8, "", planned=True),
        Rhythm(21, 0, 14, 0.7, "", planned=True),  # no visit is known: the day of the fit
    ]
    [later] = rhythms(book, fit, [advised(14)], ON_DAY + 3.0, np.array([1]))
    assert later == Rhythm(14, -7, 3, 0.8, "", planned=True)


def test_tanks_without_a_rhythm_of_their_plants(monkeypatch):
    """Cleared by the last visit, empty for long, or nothing holds: a limit alone plans it."""
    monkeypatch.setattr(urgency, "_left_inside", lambda *_: np.ones(3))
    visits = [(0, -4), (1, -4), (2, -4)]
    none, dark = advised(options=()), advised(nothing_holds=True)

    def kinds(removed, advice, own):
        book, fit = practice(visits=visits, own=own, removed=removed)
        return [
            (one.idle, one.planned, one.interval_d) for one in rhythms(book, fit, advice, ON_DAY)
        ]

    unlimited, limited = [NEVER] * 3, [10.0] * 3
    # Areas of the second tank were removed on the day of the visit and 30 days before it.
    for removed, said in (((-4.0, -4.0, -30.0), "cleared"), ((-5.0, -5.0, -30.0), "empty")):
        found = kinds(removed, [none, none, none], limited)
        assert found[:2] == [(said, said == "empty", 28)] * 2
        assert found[2] == ("empty", True, 28)
        assert kinds(removed, [none] * 3, unlimited)[:2] == [(said, False, 28)] * 2
    # To be removed in a month: on the day of the fit it was not yet.
    assert kinds((30.0, NEVER, NEVER), [none] * 3, unlimited)[0][0] == "cleared"
    assert kinds((), [dark, advised(), none], limited) == [
        ("none holds", True, 28),
        ("", True, 7),
        ("empty", True, 28),
    ]


def test_the_risk_of_a_tank_is_what_its_joint_draws_leave(monkeypatch):
    blocks = [np.array([4]), np.array([7, 9])]
    monkeypatch.setattr(urgency, "blocks_of_tanks", lambda *_: blocks)

    def standing(_, block):
        return SimpleNamespace(
            living=SimpleNamespace(tank=block),
            each_later=lambda ahead: [
                SimpleNamespace(chance=1.0 - 0.01 * block * d) for d in ahead
            ],
        )

    monkeypatch.setattr(urgency, "standing_areas", standing)
    found = chance_some_area_over(None, np.array([2, 4, 7, 9]), np.array([0, 5]))
    assert found == pytest.approx(np.array([[0, 0], [0, 0.2], [0, 0.35], [0, 0.45]]))


def test_a_tank_is_due_on_a_day_on_which_it_can_be_visited(monkeypatch):
    """Closed from day 3 to 6: before it if that is not past, else after it."""
    shut = (ClosedTime(ON + timedelta(days=3), ON + timedelta(days=6)),)
    monkeypatch.setattr(urgency, "closed_times", lambda _: {"a": shut, "b": ()})
    asked = {}

    def chances(_, tanks, ahead_d):
        asked["tanks"], asked["days"] = tanks.tolist(), ahead_d.tolist()
        return 0.01 * tanks[:, None] + 0.001 * ahead_d

    monkeypatch.setattr(urgency, "chance_some_area_over", chances)
    dues = [Due(5, "rhythm"), Due(-2, "chance"), Due(-2, "rhythm"), None, Due(8, "limit")]
    seen = []

    def due(self, within, confidence):
        seen.append((within[:2].tolist(), confidence))
        return dues[self.last_d]

    def rhythm(_, __, advice, from_day, tanks):
        assert from_day == ON_DAY
        return [Rhythm(7, n, None, 1.0, "", planned=True) for n in range(len(advice))]

    monkeypatch.setattr(urgency.Rhythm, "due", due)
    monkeypatch.setattr(urgency, "rhythms", rhythm)
    book = SimpleNamespace(practice=SimpleNamespace(horizon_d=3))
    fit = SimpleNamespace(design=SimpleNamespace(on_day=ON_DAY))
    advice = [advised(tank_id=name) for name in "aabba"]
    tanks = np.array([2, 2, 5, 5, 2])
    found = tanks_due(book, fit, advice, tanks, days=1)
    assert asked == {"tanks": [2, 5], "days": [0, 1, 2, 3]}
    days = [None if one.due_on is None else (one.due_on - ON).days for one in found]
    assert days == [2, 0, -2, None, 8]
    assert [one.due_by for one in found] == ["rhythm", "chance", "rhythm", "", "limit"]
    assert [one.over[1] for one in found] == pytest.approx([0.021, 0.021, 0.051, 0.051, 0.021])
    assert seen[0] == (pytest.approx([0.98, 0.979]), 0.9)
    tanks_due(book, fit, advice, tanks, days=9)
    assert asked["days"] == list(range(10))
    shut = (ClosedTime(ON - timedelta(days=1), ON + timedelta(days=6)),)
    dues[0] = Due(0, "rhythm")
    assert tanks_due(book, fit, advice[:1], tanks[:1])[0].due_on == ON + timedelta(days=7)


def test_tanks_due_by_a_day_stand_in_the_order_of_travel():
    columns = {
        "client": ["B", "A", "A", "A"],
        "site": ["", "y", "x", "x"],
        "tank_id": ["t1", "t2", "t4", "t3"],
    }
    book = SimpleNamespace(tanks=SimpleNamespace(text=lambda name: np.array(columns[name])))
    days = [ON, ON - timedelta(days=2), ON, None]

    def dues(some):
        return [TankDue(day, "", np.zeros(1)) for day in some]

    assert due_on_day(book, dues(days), ON) == [2, 1, 0]
    assert due_on_day(book, dues(days), ON - timedelta(days=1)) == [1]
    assert due_on_day(book, dues([ON] * 4), ON) == [3, 2, 1, 0]
