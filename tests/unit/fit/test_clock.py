"""The clock of growth: days lived through, weighed by conditions, worked out by hand."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from growthcast.fit.model.clock import (
    GrowthClock,
    _rows_repeated,
    days_lost,
    lag_share,
    pause_after_cut,
)

LONG_AGO = -1e6
ONE = np.zeros(1, dtype=np.int64)


@pytest.fixture
def clock():
    """One area, settled long ago; full growth until day 10, half of it from then on."""
    return GrowthClock(
        from_day=np.array([[LONG_AGO, 10.0]]),
        response=np.array([[1.0, 0.5]]),
        planted_day=np.array([-1000.0]),
        settle_d=np.array([20.0]),
        start_factor=np.ones(1),
        replanted_day=np.zeros((1, 0)),
    )


def between(clock, began, ended, pause_d):
    growth, doubt = clock.growth_between(
        ONE, *(np.array([float(d)]) for d in (began, ended)), pause_d
    )
    return float(growth[0]), float(doubt[0])


def test_conditions_count_from_their_day_on(clock):
    assert between(clock, 0, 10, np.zeros(1)) == (10.0, 0.0)
    assert between(clock, 10, 20, np.zeros(1)) == (5.0, 0.0)
    assert between(clock, 6, 14, np.zeros(1)) == (4.0 + 2.0, 0.0)
    assert clock.speed(9.9).tolist() == [1.0]
    assert clock.speed(10.0).tolist() == [0.5]


def test_a_pause_takes_the_first_days_and_is_known_to_half_of_it(clock):
    """Four days of full growth are lost of 10 + 5; the doubt is half of them over the 11 left."""
    growth, doubt = between(clock, 0, 20, np.full(1, 4.0))
    assert growth == pytest.approx(11.0)
    assert doubt == pytest.approx(0.5 * 4.0 / 11.0)


def test_a_pause_leaves_a_tenth_of_the_days(clock):
    growth, doubt = between(clock, 10, 20, np.full(1, 30.0))
    assert growth == pytest.approx(0.1 * 10 * 0.5)
    assert doubt == pytest.approx(0.5 * 4.5 / 0.5)


def test_settling_in_ramps_up_evenly(clock):
    """Over 20 days from nothing to full: half a day's growth in ten days, 10 in all, then whole."""
    young = replace(clock, planted_day=np.zeros(1), response=np.ones((1, 2)))
    for day, lived in ((10, 10**2 / 40), (20, 10.0), (25, 15.0)):
        assert between(young, 0, day, np.zeros(1))[0] == pytest.approx(lived)
    assert between(young, -5, 0, np.zeros(1)) == (0.0, 0.0)


def test_tops_planted_anew_settle_anew(clock):
    """Planted on day 0 and anew on day 30: 20 days of full growth by then, and 2.5 by day 40."""
    young = replace(clock, planted_day=np.zeros(1), response=np.ones((1, 2)))
    anew = replace(young, replanted_day=np.array([[30.0, np.inf]]))
    assert between(anew, 0, 30, np.zeros(1)) == between(young, 0, 30, np.zeros(1)) == (20.0, 0.0)
    assert between(anew, 30, 40, np.zeros(1))[0] == pytest.approx(10**2 / 40)
    assert between(anew, 0, 60, np.zeros(1))[0] == pytest.approx(20.0 + 10.0 + 10.0)
    assert anew.settling(ONE, np.array([29.0, 34.0]))[0].tolist() == [29.0, 4.0]
    spans = ONE, np.array([30.0]), np.array([40.0]), np.zeros(1)
    assert anew.slowed_by_settling(*spans) == pytest.approx(1.0, rel=1e-3)
    assert young.slowed_by_settling(*spans).tolist() == [0.0]


def test_how_plants_came_counts_the_first_time_only(clock):
    """Over 40 days where leaves grown in air drop, over 20 once the tops are planted anew."""
    young = replace(clock, planted_day=np.zeros(1), response=np.ones((1, 2)))
    emersed = replace(young, start_factor=np.array([2.0]), replanted_day=np.array([[100.0]]))
    assert between(emersed, 0, 40, np.zeros(1))[0] == pytest.approx(20.0)
    assert between(emersed, 100, 120, np.zeros(1))[0] == pytest.approx(10.0)


def test_a_doubted_response_counts_from_its_day_on_beside_the_pause(clock):
    doubted = replace(clock, doubted_from=5.0, doubt=np.array([0.2]))
    growth, doubt = between(doubted, 0, 10, np.full(1, 2.0))
    assert growth == pytest.approx(8.0)
    # A pause of two days is off by one of them; five of the days after it by a fifth.
    assert doubt == pytest.approx(np.hypot(1.0, 0.2 * 5.0) / 8.0)
    assert between(doubted, 0, 5, np.zeros(1))[1] == 0.0


@pytest.mark.parametrize(
    ("warm", "again"),
    [
        ([24.0, 24.5, 24.0], [1, 2]),
        ([24.0, 23.5, 24.0], [1, 2]),
        ([24.0, 24.5, 25.0], []),
        ([24.0, 23.5, 23.0], []),
    ],
)
def test_half_a_degree_up_and_down_is_a_season_and_one_way_another_heater(warm, again):
    """Rows of days 0, 200 and 400, asked until the day after: the year's two rows, 365 days on."""
    conditions = SimpleNamespace(number=lambda _: np.array(warm), rows=np.array([1, 2, 3]))
    day = np.array([0.0, 200.0, 400.0])
    rows, shifts = _rows_repeated(conditions, np.zeros(3, dtype=np.int64), day, 401.0)
    assert rows.tolist() == again
    assert shifts.tolist() == [365.0] * len(again)


def test_what_a_cut_costs_grows_with_the_share_it_takes():
    """A lag nearly whole from a third on, ``1 - exp(-share / 0.1)``; a pause beyond one half."""
    share = np.array([0.0, 0.1, 0.5, 0.75, 1.0])
    lost = days_lost(share, np.array(2.0), np.array(6.0))
    lag = 2.0 * (1.0 - np.exp(-share / 0.1))
    assert lost == pytest.approx(lag + np.array([0.0, 0.0, 0.0, 3.0, 6.0]))
    assert pause_after_cut(np.array(-0.2), np.array(6.0)) == 0.0  # nothing taken, it grew
    assert lag_share(np.array(-0.2)) == 0.0


def test_growth_falls_with_the_days_of_settling():
    """By its log over theirs: one on the ramp, 10 of 15 - 0 at day 25 (``S/2`` of ``t - S/2``)."""
    young = GrowthClock(
        from_day=np.array([[LONG_AGO]]),
        response=np.ones((1, 1)),
        planted_day=np.zeros(1),
        settle_d=np.array([20.0]),
        start_factor=np.ones(1),
        replanted_day=np.zeros((1, 0)),
    )
    ends = np.array([10.0, 25.0])
    slowed = young.slowed_by_settling(ONE, np.zeros(2), ends, np.zeros(2))
    assert slowed == pytest.approx([1.0, 10.0 / 15.0], rel=1e-3)
    assert young.slowed_by_settling(ONE, np.full(2, 20.0), ends + 20.0, np.zeros(2)).tolist() == [
        0.0,
        0.0,
    ]
