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
    tank_conditions,
)
from growthcast.growth.responses import CONDITIONS
from growthcast.growth.water import co2_mg_l, tank_ionic_strength_mol_l
from growthcast.species import read_reference

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


def test_a_pause_of_all_areas_is_that_of_each(clock):
    """Of areas in rows and days in columns, with one pause for them all."""
    began, ended = np.array([[0.0, 6.0]]), np.array([[20.0, 14.0]])
    grown, doubt = clock.growth_between(np.zeros((3, 1), int), began, ended, np.full((1, 1), 4.0))
    for column in range(2):
        alone = between(clock, began[0, column], ended[0, column], np.full(1, 4.0))
        assert grown[:, column].tolist() == [alone[0]] * 3
        assert doubt[:, column].tolist() == [alone[1]] * 3


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


def several_clocks():
    """Five areas, all changes on whole days: one was never planted anew, one settles at once."""
    inf = np.inf
    return GrowthClock(
        from_day=np.array(
            [[LONG_AGO, 7, 20, 31], [LONG_AGO, inf, inf, inf], [LONG_AGO, 3, inf, inf]] * 2
        )[:5],
        response=np.random.default_rng(3).uniform(0.2, 1.5, size=(5, 4)),
        planted_day=np.array([-5.0, 2.0, 4.0, -40.0, 12.0]),
        settle_d=np.array([10.0, 20.0, 0.0, 8.0, 6.0]),
        start_factor=np.array([1.0, 0.5, 2.0, 1.0, 2.0]),
        replanted_day=np.array([[15, inf], [inf, inf], [30, inf], [9, 25], [inf, inf]]),
    )


def test_half_a_day_of_settling_costs_a_quarter_of_a_day(clock):
    young = replace(clock, planted_day=np.zeros(1), settle_d=np.full(1, 0.5))
    assert between(young, 0, 3, np.zeros(1))[0] == pytest.approx(2.75)


DAY = np.arange(-50.0, 60.0, 0.25) + 0.125
"""Middles of steps: sums over them are exact, since growth is straight between whole days."""


def speeds(clock, a):
    """Growth a day of an area over ``DAY``, one moment after another."""
    found = []
    for t in DAY:
        begun = [d for d in (clock.planted_day[a], *clock.replanted_day[a]) if d <= t]
        factor = clock.start_factor[a] if len(begun) == 1 else 1.0
        response = [r for d, r in zip(clock.from_day[a], clock.response[a], strict=True) if d <= t][
            -1
        ]
        settle = clock.settle_d[a] * factor
        ramp = 0.0 if not begun else 1.0 if settle == 0 else min(1.0, (t - begun[-1]) / settle)
        found.append(response * ramp)
    return np.array(found)


@pytest.mark.parametrize("doubted", [False, True])
def test_growth_between_two_days_is_what_was_lived_through_day_by_day(doubted):
    """Sums over quarters of days, without the pause; its half and the doubt are the spread."""
    clock = several_clocks()
    if doubted:
        clock = replace(clock, doubted_from=18.0, doubt=np.array([0.1, 0.2, 0.3, 0.0, 0.5]))
    began, ended = np.array([-6.0, 0.0, 8.0, 26.0]), np.array([5.0, 23.0, 33.0, 40.0])
    pause = np.array([0.0, 4.0, 40.0, 2.0])
    spans = np.broadcast_arrays(np.arange(5)[:, None], began, ended, pause)
    grown, spread = clock.growth_between(*spans)
    for a in range(5):
        speed = 0.25 * speeds(clock, a)
        for s in range(4):
            lag = min(pause[s], 0.9 * (ended[s] - began[s]))
            asleep = speed[(began[s] < DAY) & (began[s] + lag > DAY)].sum()
            lived = speed[(began[s] + lag < DAY) & (ended[s] > DAY)].sum()
            ahead = speed[(max(began[s] + lag, 18.0) < DAY) & (ended[s] > DAY)].sum()
            doubt = 0.0 if clock.doubt is None else clock.doubt[a] * ahead
            assert grown[a, s] == pytest.approx(lived, abs=1e-9)
            wanted = np.hypot(0.5 * asleep, doubt) / lived if lived > 1e-9 else 0.0
            assert spread[a, s] == pytest.approx(wanted, abs=1e-9)
    one, _ = clock.growth_between(np.array([3]), began[2:3], ended[2:3], pause[2:3])
    assert one[0] == pytest.approx(grown[3, 2])  # asked of one area, the columns differ
    backwards, _ = clock.growth_between(np.array([3]), ended[:1], began[:1], pause[1:2])
    forward, _ = clock.growth_between(np.array([3]), began[:1], ended[:1], pause[:1])
    assert backwards[0] == pytest.approx(-forward[0])  # no days, no pause


def test_a_reading_counts_from_planting_whatever_is_asked_beside_it():
    clock = several_clocks()
    at = np.array([-45.0, 1.0, 16.0, 55.0])
    found = clock.reading(np.array([4, 0, 3])[:, None], at)
    for row, a in enumerate((4, 0, 3)):
        speed = 0.25 * speeds(clock, a)
        lived = np.array([speed[day > DAY].sum() for day in at])
        assert np.diff(found[row]) == pytest.approx(np.diff(lived))
    assert clock.reading(np.array([0, 1]), np.array([21.0, 21.0])) == pytest.approx(
        [clock.reading(np.array([a]), np.array([21.0]))[0] for a in (0, 1)]
    )
    assert clock.speed(25.0) == pytest.approx(clock.response[range(5), [2, 0, 1, 2, 0]])


def test_settling_is_that_of_the_latest_planting():
    clock = several_clocks()
    since, settle = clock.settling(np.arange(5), np.full(5, 15.0))
    assert since.tolist() == [0.0, 13.0, 11.0, 6.0, 3.0]
    assert settle.tolist() == [10.0, 10.0, 0.0, 8.0, 12.0]
    since, settle = clock.settling(np.arange(5), np.full(5, 3.0))
    assert since.tolist() == [8.0, 1.0, -1.0, 43.0, -9.0]
    assert settle.tolist() == [10.0, 10.0, 0.0, 8.0, 12.0]


def test_growth_falls_with_the_log_of_settling_as_a_difference_quotient_says():
    """What begins while settling falls by its share; what begins later, and nothing, by none."""
    clock, step = several_clocks(), 0.01
    began, ended = np.array([0.0, 5.0, 16.0]), np.array([6.0, 11.0, 30.0])
    spans = np.broadcast_arrays(np.arange(5)[:, None], began, ended, np.array([0.0, 1.0, 2.0]))
    found = clock.slowed_by_settling(np.arange(5)[:, None], *(each[0] for each in spans[1:]))
    logs = []
    for by in (step, -step):
        other = replace(clock, settle_d=np.exp(by) * clock.settle_d)
        with np.errstate(divide="ignore"):
            logs.append(np.log(other.growth_between(*spans)[0]))
    with np.errstate(invalid="ignore"):
        quotient = np.nan_to_num((logs[1] - logs[0]) / (2.0 * step))
    since, settle = clock.settling(*spans[:2])
    assert found == pytest.approx(np.where(since < settle, quotient, 0.0), abs=5e-3)
    assert (found > 0.05).sum() >= 5


def table(columns, tank, days):
    """Rows of conditions as a book's table hands them out; what is not named is blank."""
    blank = np.full(len(days), np.nan)
    return SimpleNamespace(
        date=lambda _: np.array(days).astype("datetime64[D]"),
        number=lambda name: np.array(columns.get(name, blank), dtype=float),
        rows=np.arange(2, 2 + len(days)),
    ), np.array(tank, dtype=np.int64)


def test_conditions_are_carried_over_blank_cells_tank_by_tank():
    """Row by row: the latest value given by then, or the first one ever; CO2 by pH where blank."""
    rng = np.random.default_rng(6)
    tank, days = [1, 0, 1, 1, 0, 1, 0], [40, 10, 5, 22, 3, 60, 30]
    columns = {name: rng.uniform(1.0, 30.0, 7) for name in ("ppfd_umol", "temperature_c")}
    columns["ppfd_umol"][[2, 3, 4]] = np.nan
    columns["temperature_c"][[1, 5]] = np.nan
    columns["ph"] = np.array([6.5, np.nan, 6.8, np.nan, np.nan, np.nan, np.nan])
    columns["kh_dkh"] = np.array([4.0, np.nan, np.nan, np.nan, np.nan, np.nan, np.nan])
    columns["co2_mg_l"] = np.array([np.nan, 0.0, np.nan, np.nan, 12.0, 8.0, np.nan])
    columns["co2_mg_l"][[0, 2, 3, 5]] = np.nan  # tank 1 gives pH and KH alone
    rows, of_row = table(columns, tank, days)
    reference = read_reference()
    found = tank_conditions(rows, of_row, 3)
    assert set(found.values) == set(CONDITIONS)
    for k in range(3):
        mine = sorted((day, i) for i, day in enumerate(days) if tank[i] == k)
        starts = [LONG_AGO, *(day for day, _ in mine[1:])]
        assert found.from_day[k, : len(starts)].tolist() == starts
        assert np.isinf(found.from_day[k, len(starts) :]).all()
        for c in range(len(mine)):

            def given(name, c=c, mine=mine):
                told = [columns[name][i] for _, i in mine[: c + 1]]
                told = [v for v in told if not np.isnan(v)]
                later = [columns[name][i] for _, i in mine if not np.isnan(columns[name][i])]
                return told[-1] if told else later[0] if later else np.nan

            for name in ("ppfd_umol", "temperature_c"):
                assert found.values[name][k, c] == given(name)
            co2 = given("co2_mg_l")
            if k == 1:
                kh = given("kh_dkh")
                strength = tank_ionic_strength_mol_l(np.array([kh]))
                warm = np.array([given("temperature_c")])
                co2 = co2_mg_l(np.array([given("ph")]), np.array([kh]), warm, strength)[0]
            assert found.none_added[k, c] == (co2 == 0.0)
            co2 = reference.none_added_co2_mg_l if co2 == 0.0 else co2
            assert found.values["co2_mg_l"][k, c] == pytest.approx(co2)
    assert np.isnan(found.values["ppfd_umol"][2]).all()
    assert np.isnan(found.values["photoperiod_h"]).all()
    nothing = tank_conditions(*table({}, [], []), 2)
    assert nothing.from_day.tolist() == [[LONG_AGO]] * 2


def test_co2_by_ph_where_no_temperature_is_given_is_that_of_the_reference():
    rows, of_row = table({"ph": [6.6], "kh_dkh": [5.0]}, [0], [10])
    reference, kh = read_reference(), np.array([5.0])
    warm = np.array([reference.conditions["temperature_c"]])
    wanted = co2_mg_l(np.array([6.6]), kh, warm, tank_ionic_strength_mol_l(kh))
    found = tank_conditions(rows, of_row, 1).values["co2_mg_l"]
    assert found[0] == pytest.approx(wanted)


@pytest.mark.parametrize("first", [0, 10, 34, 35, 60])
def test_a_season_is_the_year_up_to_the_last_row_of_each_tank(first):
    """Two tanks by turns, one blank: rows of the last 365 days come again until two years on.

    Of 331 days of rows the last year is all; of 329 nothing is known of a year.
    """
    days = np.array([first, 5, 120, 130, 200, 240, 250, 365, 364, 364])
    tank = np.array([0, 1, 0, 1, 1, 0, 1, 0, 1, 0])
    warm = np.array([20.0, 18.0, 26.0, 25.0, np.nan, 27.0, 26.0, 21.0, 19.0, 20.5])
    rows, of_row = table({"temperature_c": warm}, tank, days)
    until = 1100.0
    row, shift = _rows_repeated(rows, of_row, days.astype(float), until)
    wanted = []
    for k in range(2):
        mine = [i for i in np.argsort(days, kind="stable") if tank[i] == k and warm[i] == warm[i]]
        last = days[mine[-1]]
        if last - days[mine[0]] < 330:
            continue
        year = [i for i in mine if days[i] > last - 365]
        for again in range(365, 3000, 365):
            if last + again - 365 < until:
                wanted += [(i, float(again)) for i in year]
    assert sorted(zip(row.tolist(), shift.tolist(), strict=True)) == sorted(wanted)
    assert (first <= 35) == (0 in tank[row])
