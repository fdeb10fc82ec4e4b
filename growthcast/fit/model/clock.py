"""The growth clock: how many days at reference conditions an area has lived through.

Conditions change the speed of the clock, not the shape of the curve. Between two days the stage of
a canopy moves on by ``rate * (clock(later) - clock(earlier))``, exactly, because no response
depends on height (see ``growth.logistic``).
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import Any, TypeVar, cast

import numpy as np
from numpy.typing import NDArray

from growthcast.arrays import BoolArray, FloatArray, IntArray, distinct
from growthcast.book.book import Table
from growthcast.fit.model.shade import LONG_AGO
from growthcast.growth.responses import CONDITIONS, RESPONSES
from growthcast.growth.water import co2_mg_l, tank_ionic_strength_mol_l
from growthcast.nouns import dataclass
from growthcast.species import read_reference

Floats = TypeVar("Floats", bound=NDArray[np.floating[Any]])

LEAST_AWAKE_SHARE = 0.1
"""A lag leaves at least this share of the growth of the span that follows."""
LONGEST_PAUSE_SHARE = 0.9
"""A pause after a hard cut takes at most this share of the span that follows."""
HARD_CUT_SHARE = 0.5
"""Share of the height beyond which a cut makes a plant pause."""
LAG_SHARE = 0.1
"""Cuts of this share of the height bring two thirds of a form's lag, much smaller ones little of
it: what stops growth is the loss of the tips (an estimate)."""
PAUSE_DOUBT = 0.5
"""How far a pause may be off, as a share of it: an estimate (common practice, no source)."""
SMALL_STEP = 1e-4
YEAR_D, YEAR_OF_ROWS_D = 365.0, 330.0
"""A year, and the span of rows that tells of one: twelve monthly rows span eleven months."""
AHEAD_D = 2.0 * YEAR_D
"""How far beyond the day of a fit a season of temperature repeats."""


@dataclass(frozen=True, slots=True)
class TankConditions:
    """Piecewise-constant conditions of every tank.

    ``from_day`` is (K, C), padded with ``inf``; each entry of ``values`` is (K, C) in the unit of
    its name, NaN where a condition has never been given. ``none_added`` (K, C) tells where the CO2
    is what it is without any being added.
    """

    from_day: FloatArray
    values: dict[str, FloatArray]
    none_added: BoolArray

    def on(self, day: float) -> TankConditions:
        """Return what holds on a day [day number], and since when: arrays (K,), not (K, C)."""
        at = np.arange(self.from_day.shape[0]), (self.from_day <= day).sum(axis=1) - 1
        values = {name: held[at] for name, held in self.values.items()}
        return TankConditions(self.from_day[at], values, self.none_added[at])

    def unknown_log_spread(self, co2_slope: FloatArray) -> FloatArray:
        """Extra log standard deviation of each tank's rate for what is not known of it, (K,).

        Conditions never given, and CO2 where none is added: ``co2_slope`` (K,) is the slope there
        of its plants' log response over log CO2.
        """
        reference, none_added = read_reference(), self.none_added.any(axis=1)
        variance = np.where(none_added, (reference.none_added_co2_spread * co2_slope) ** 2, 0.0)
        for name, factor in RESPONSES.items():
            never = np.stack([~np.isfinite(self.values[c]).any(axis=1) for c in factor.conditions])
            doubts = never.sum(axis=0) if factor.each_apart else never.any(axis=0)
            variance += doubts * reference.unknown_spread[name] ** 2
        return np.sqrt(variance)


def tank_conditions(
    conditions: Table, tank_of_row: IntArray, tank_count: int, on_day: float = LONG_AGO
) -> TankConditions:
    """Lay the condition rows out as (tank, change) and carry values over blank cells.

    A blank cell keeps the earlier value. Before the first value that is given, that first value
    stands: a practice that begins to write conditions down half-way through a log describes the
    tank as it was, and a jump of the clock on that day would be an artefact of the paperwork. CO2 0
    means that none is added. Beyond its last row a season of temperature repeats.

    Parameters
    ----------
    conditions : Table
        Rows of conditions.csv.
    tank_of_row : int array (N,)
        Tank of each row.
    tank_count : int
        Number of tanks.
    on_day : float, optional
        The day of the fit [day number]; none, and no season repeats.

    Returns
    -------
    TankConditions
        Of all tanks (K,).
    """
    day = conditions.date("from_date").astype("datetime64[D]").astype(np.float64)
    row, shift_d = _rows_repeated(conditions, tank_of_row, day, on_day + AHEAD_D)
    tank, day = np.append(tank_of_row, tank_of_row[row]), np.append(day, day[row] + shift_d)
    order = np.lexsort((day, tank))
    tank, day = tank[order], day[order]
    starts = np.searchsorted(tank, np.arange(tank_count))
    place = np.arange(tank.size) - starts[tank]
    width = int(place.max(initial=0)) + 1
    from_day = np.full((tank_count, width), np.inf)
    from_day[:, 0] = LONG_AGO
    later = place > 0
    from_day[tank[later], place[later]] = day[later]
    values = {}
    for name in (*CONDITIONS, "ph", "kh_dkh"):
        grid = np.full((tank_count, width), np.nan)
        cells = conditions.number(name)
        again = cells[row] if name == "temperature_c" else np.full(row.size, np.nan)
        grid[tank, place] = np.append(cells, again)[order]
        values[name] = _carried(grid)
    warm, reference = values["temperature_c"], read_reference()
    temperature = np.where(np.isnan(warm), reference.conditions["temperature_c"], warm)
    from_ph = co2_mg_l(
        values["ph"], values["kh_dkh"], temperature, tank_ionic_strength_mol_l(values["kh_dkh"])
    )
    typed = values["co2_mg_l"]
    none_added = typed == 0.0
    typed = np.where(none_added, reference.none_added_co2_mg_l, typed)
    values["co2_mg_l"] = np.where(np.isnan(typed), from_ph, typed)
    del values["ph"], values["kh_dkh"]
    return TankConditions(from_day, values, none_added)


def _rows_repeated(
    conditions: Table, tank_of_row: IntArray, day: FloatArray, until_day: float
) -> tuple[IntArray, FloatArray]:
    """Return the rows whose temperature holds again in later years, and how much later [d].

    They are those of the year up to a tank's last row with a temperature, where its rows span a
    year that both warms and cools: else a heater was changed. What is supposed (row number 0) holds
    on, without a season.
    """
    warm = conditions.number("temperature_c")
    rows, shifts = [np.zeros(0, np.int64)], [np.zeros(0)]
    known = np.flatnonzero(np.isfinite(warm))
    known = known[np.lexsort((day[known], tank_of_row[known]))]
    for mine in np.split(known, np.flatnonzero(np.diff(tank_of_row[known])) + 1):
        if mine.size < 3 or day[mine[-1]] - day[mine[0]] < YEAR_OF_ROWS_D:
            continue
        year = np.searchsorted(day[mine], day[mine[-1]] - YEAR_D, side="right")
        steps = np.diff(warm[mine[max(year - 1, 0) :]])
        if (steps > 0.0).any() and (steps < 0.0).any() and conditions.rows[mine[-1]] > 0:
            for shift in np.arange(YEAR_D, until_day - day[mine[-1]] + YEAR_D, YEAR_D):
                rows.append(mine[year:])
                shifts.append(np.full(mine.size - year, shift))
    return np.concatenate(rows), np.concatenate(shifts)


def _carried(grid: FloatArray) -> FloatArray:
    """Fill blanks of each row from the left, then what is left of them from the right."""
    filled = grid.copy()
    for columns in (filled.T, filled.T[::-1]):
        for before, here in pairwise(columns):
            np.copyto(here, before, where=np.isnan(here))
    return filled


@dataclass(frozen=True, slots=True)
class GrowthClock:
    """Reference days of growth lived through by each area up to any day.

    ``from_day`` and ``response`` are (A, C): the response of each area from that day on, as a share
    of growth at reference conditions. ``planted_day`` is the day an area was planted and
    ``settle_d`` the days over which its growth ramps from nothing to full, the first time times
    ``start_factor``, for how the plants came. ``replanted_day`` (A, P) are the days on which its
    cut tops were planted and settle anew, in order, padded with ``inf``. From the day
    ``doubted_from`` on the response may be off by ``doubt`` (A,), as a log standard deviation.
    """

    from_day: FloatArray
    response: FloatArray
    planted_day: FloatArray
    settle_d: FloatArray
    start_factor: FloatArray
    replanted_day: FloatArray
    doubted_from: float = np.inf
    doubt: FloatArray | None = None

    def settling(self, area: IntArray, day: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Days since the plants of areas were last put in, and those over which they settle [d].

        The first are negative before planting.
        """
        since, settle = day - self.planted_day[area], self.settle_d[area] * self.start_factor[area]
        for begun in np.moveaxis(self.replanted_day[area], -1, 0):
            again = begun <= day
            since = np.where(again, day - begun, since)
            settle = np.where(again, self.settle_d[area], settle)
        return since, settle

    def _settled(self, area: IntArray, day: FloatArray) -> FloatArray:
        """Days lived through by a day at full growth, those of settling in part."""
        begun, settle = self.planted_day[area], self.settle_d[area] * self.start_factor[area]
        total = np.zeros(day.shape)
        for after in np.moveaxis(self.replanted_day[area], -1, 0):
            total += _settled_days(np.minimum(day, after) - begun, settle)
            begun, settle = after, self.settle_d[area]
        return total + _settled_days(day - begun, settle)

    def reading(self, area: IntArray, day: FloatArray) -> FloatArray:
        """Reference days between planting and ``day``; ``area`` and ``day`` broadcast."""
        rows = distinct(area)
        begun, response = self.from_day[rows], self.response[rows]
        known = np.where(np.isfinite(begun), begun, LONG_AGO)  # padding, which no day falls into
        settled = self._settled(rows[:, None], known)
        lived = np.zeros(begun.shape)  # up to the beginning of each response
        np.cumsum(response[:, :-1] * np.diff(settled), axis=1, out=lived[:, 1:])
        place, day = np.broadcast_arrays(np.searchsorted(rows, area), day)
        passed = int((begun <= day.min(initial=np.inf)).all(axis=0).sum())  # of all, by all days
        column = np.full(day.shape, passed - 1)
        for change in range(passed, begun.shape[1]):
            column += begun[place, change] <= day
        at = place * begun.shape[1] + column
        since = self._settled(area, day) - settled.take(at)
        reading: FloatArray = lived.take(at) + response.take(at) * since
        return reading

    def growth_between(
        self, area: IntArray, from_day: FloatArray, to_day: FloatArray, pause_d: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Reference days from one day to another, the first ``pause_d`` of them without growth.

        Also their relative spread, for the doubt about the pause and the response; the pause takes
        at most ``LONGEST_PAUSE_SHARE`` of the time.
        """
        lag = np.minimum(pause_d, LONGEST_PAUSE_SHARE * np.maximum(to_day - from_day, 0.0))
        awake, grown = self.reading(area, np.stack(np.broadcast_arrays(from_day + lag, to_day)))
        growth_d = grown - awake
        doubted_d = np.zeros(growth_d.shape)
        paused, whose, began, _ = np.broadcast_arrays(lag > 0.0, area, from_day, growth_d)
        begun = self.reading(whose[paused], began[paused])
        doubted_d[paused] = PAUSE_DOUBT * (awake[paused] - begun)
        if self.doubt is not None:
            since = np.maximum(from_day + lag, self.doubted_from)
            ahead = np.maximum(self.reading(area, to_day) - self.reading(area, since), 0.0)
            doubted_d = np.hypot(doubted_d, self.doubt[area] * ahead)
        some = growth_d > 0.0
        return growth_d, np.divide(doubted_d, growth_d, out=np.zeros_like(growth_d), where=some)

    def slowed_by_settling(
        self, area: IntArray, from_day: FloatArray, to_day: FloatArray, pause_d: FloatArray
    ) -> FloatArray:
        """How far the log of ``growth_between`` falls with the log of the days of settling.

        1 right after planting, where growth goes with the ramp; 0 once it has ended.
        """
        area, from_day, to_day, pause_d = np.broadcast_arrays(area, from_day, to_day, pause_d)
        slowed = np.zeros(from_day.shape)
        since, settle = self.settling(area, from_day)
        at = np.nonzero(since < settle)
        if at[0].size:
            longer = replace(self, settle_d=np.exp(SMALL_STEP) * self.settle_d)
            spans = area[at], from_day[at], to_day[at], pause_d[at]
            usual, less = (clock.growth_between(*spans)[0] for clock in (self, longer))
            share = np.divide(less, usual, out=np.ones_like(usual), where=usual > 0.0)
            slowed[at] = -np.log(share) / SMALL_STEP
        return slowed

    def speed(self, day: float) -> FloatArray:
        """Response of each area on ``day`` once settled, (A,): reference days per day."""
        column = (self.from_day <= day).sum(axis=1) - 1
        speed: FloatArray = self.response[np.arange(column.size), column]
        return speed


def days_lost(removed_share: Floats, lag_d: Floats, pause_d: Floats) -> Floats:
    """Days of growth lost after a cut that took ``removed_share`` of the height [d].

    Parameters
    ----------
    removed_share : array (...)
        Share of the height that was cut off [0-1].
    lag_d : array (...)
        Days that a cut costs the form, whole from about a third on [d].
    pause_d : array (...)
        Days that a cut to the base costs the species besides; none up to half [d].

    Returns
    -------
    array (...)
        ``lag_d * lag_share + pause_after_cut`` [d].

    Examples
    --------
    >>> days_lost(np.array([0.0, 0.05, 0.4, 1.0]), np.array(2.0), np.array(6.0)).round(1)
    array([0. , 0.8, 2. , 8. ])
    """
    return cast(Floats, lag_d * lag_share(removed_share) + pause_after_cut(removed_share, pause_d))


def lag_share(removed_share: Floats) -> Floats:
    """Share of a form's lag that follows a cut.

    Parameters
    ----------
    removed_share : array (...)
        Share of the height that was cut off [0-1].

    Returns
    -------
    array (...)
        ``1 - exp(-removed_share / LAG_SHARE)``: none without a cut, all but whole from a third on
        [0-1].
    """
    return cast(Floats, 1.0 - np.exp(np.maximum(removed_share, 0.0) / -LAG_SHARE))


def pause_after_cut(removed_share: Floats, pause_d: Floats) -> Floats:
    """Days without growth, its lag aside, after a cut that took ``removed_share`` of the height.

    None up to half of the height, ``pause_d`` (of the species) when cut to the base, in proportion
    between: an estimate of the trade.

    Parameters
    ----------
    removed_share : array (...)
        Share of the height that was cut off [0-1].
    pause_d : array (...)
        Days that a cut to the base costs the species [d].

    Returns
    -------
    array (...)
        Days [d].
    """
    beyond = np.maximum(removed_share - HARD_CUT_SHARE, 0.0) / (1.0 - HARD_CUT_SHARE)
    return cast(Floats, pause_d * beyond)


def _settled_days(days: FloatArray, settle_d: FloatArray) -> FloatArray:
    """Antiderivative of the settling ramp: growth goes from 0 to full over ``settle_d`` days."""
    days = np.maximum(days, 0.0)
    ramp = np.minimum(days, settle_d)
    lived: FloatArray = ramp * ramp / (2.0 * np.maximum(settle_d, 1e-9)) + (days - ramp)
    return lived
