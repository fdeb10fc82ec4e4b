"""Minutes of trimming worked by hand: what rows lead to expect, defaults, and which areas count."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from growthcast.fit.model.spreads import FORMS
from growthcast.service.effort import learn
from growthcast.service.effort.learn import (
    KINDS,
    Reading,
    TimedTrims,
    Timing,
    _defaults,
    _expected,
    _matched,
    _whole_tank_links,
    regress,
)
from growthcast.species import read_forms

NONE = np.zeros(0)


def trims(minutes, links, fixed_min=None, own_min=None):
    """Return timed rows with links (row, kind, amount, its error, chance)."""
    row, kind, amount, sd, chance = map(np.array, zip(*links, strict=True))
    minutes, nothing = np.array(minutes, dtype=float), np.zeros(len(minutes))
    fixed = nothing if fixed_min is None else np.array(fixed_min, dtype=float)
    own = nothing if own_min is None else np.array(own_min, dtype=float)
    return TimedTrims(minutes, fixed, own, minutes.size, row, kind, amount, sd, chance)


def test_a_row_takes_what_its_areas_take_by_their_chances():
    """3 min and 1.5 a litre for 2 +- 0.5 l; half likely 2 min and 0.5 a litre for 4 l: 6 + 2."""
    log_min = np.zeros(2 * KINDS)
    log_min[[0, 1, KINDS, KINDS + 1]] = np.log([3.0, 2.0, 1.5, 0.5])
    rows = trims([9.0, 9.0], [(0, 0, 2.0, 0.5, 1.0), (0, 1, 4.0, 0.0, 0.5)])
    slope, minutes, variance = _expected(rows, log_min)
    assert minutes == pytest.approx([8.0, 0.0])
    assert variance == pytest.approx([(1.5 * 0.5) ** 2 + 0.5 * 0.5 * 4.0**2, 0.0])
    assert slope[0, [0, 1, KINDS, KINDS + 1]] == pytest.approx([3.0, 1.0, 3.0, 1.0])
    assert slope.sum() == pytest.approx(8.0)


def test_defaults_are_the_forms_with_a_pace_they_share():
    """A pace of 0.4 for all, and 0.4 for each part by itself."""
    usual, precision = _defaults()
    form = read_forms()[FORMS[0]]
    assert np.exp(usual[0]) == pytest.approx(form.set_up_min)
    assert np.exp(usual[KINDS]) == pytest.approx(form.min_per_l)
    assert np.exp(usual[KINDS + len(FORMS)]) == pytest.approx(max(form.min_per_dm2, 1e-4))
    covariance = np.linalg.inv(precision)
    assert np.diag(covariance) == pytest.approx(0.32)
    assert covariance[0, 1] == pytest.approx(0.16)


def test_without_rows_the_defaults_stand_with_their_doubt():
    nothing = np.zeros(0, dtype=np.int64)
    rows = TimedTrims(NONE, NONE, NONE, 0, nothing, nothing, NONE, NONE, NONE)
    timing, evidence = regress(rows, nothing, Reading("all"))
    assert timing.log_min == pytest.approx(_defaults()[0])
    assert np.diag(timing.covariance) == pytest.approx(0.32)
    assert (timing.scatter, evidence) == (pytest.approx(0.25), 0.0)
    assert not timing.seen.any()


def test_many_rows_teach_the_minutes_they_show_and_their_scatter():
    """A hundred trims of nothing in 12 min, off by 10 %: a set-up of 12 +- 1 % of 12."""
    off = np.tile([-0.1, 0.1], 50)
    rows = trims(12.0 * (1.0 + off), [(n, 0, 0.0, 0.0, 1.0) for n in range(100)])
    timing, _ = regress(rows, np.zeros(1, dtype=np.int64), Reading("all"))
    assert np.exp(timing.log_min[0]) == pytest.approx(12.0, rel=0.01)
    assert timing.seen.tolist() == [True] + [False] * (KINDS - 1)
    # Six rows of 25 % lean on the scatter: (6 x 0.25^2 + 100 x 0.1^2) / 106, less the clock's.
    clock = 0.5 / 12.0
    assert timing.scatter == pytest.approx(
        np.sqrt((6 * 0.25**2 + 100 * (0.1**2 - clock**2)) / 106), rel=0.03
    )
    sd = np.sqrt(timing.covariance[0, 0])
    assert 0.005 < sd < 0.02


def test_minutes_that_hold_the_fixed_part_are_read_without_it():
    """Rows of 40 min where 30 are the visit's own: 10 of trimming, and the likelier reading."""
    links = [(n, 0, 0.0, 0.0, 1.0) for n in range(20)]
    rows = trims([40.0] * 20, links, fixed_min=[30.0] * 20)
    kind = np.zeros(1, dtype=np.int64)
    whole, alone = (regress(rows, kind, Reading("all", fixed)) for fixed in (True, False))
    assert np.exp(whole[0].log_min[0]) == pytest.approx(10.0, rel=0.1)
    assert np.exp(alone[0].log_min[0]) > 30.0
    assert whole[1] > alone[1]


def test_minutes_of_all_areas_are_read_without_those_timed_by_themselves():
    """Rows of 40 min in which others took 30 by the clock: 10 remain, and nothing is more likely.

    Were they those of the rest, 40 minutes for a trim of nothing would lie far off the defaults.
    """
    rows = trims([40.0] * 20, [(n, 0, 0.0, 0.0, 1.0) for n in range(20)], own_min=[30.0] * 20)
    kind = np.zeros(1, dtype=np.int64)
    of_all, of_rest = (regress(rows, kind, Reading(whose)) for whose in ("all", "rest"))
    assert np.exp(of_all[0].log_min[0]) == pytest.approx(10.0, rel=0.1)
    assert np.exp(of_rest[0].log_min[0]) > 30.0
    assert of_all[1] > of_rest[1]


def test_a_whole_tank_row_times_the_areas_that_stand_there_that_day():
    """The day an area is removed counts; on the day it is planted there is nothing to trim yet."""
    design = SimpleNamespace(
        tank=np.array([1, 0, 1, 1]),
        tank_id=np.array(["a", "b"]),
        traits=SimpleNamespace(
            planted_day=np.array([0.0, 0.0, 10.0, 0.0]),
            removed_day=np.array([np.nan, np.nan, np.nan, 9.0]),
        ),
    )
    row, area = _whole_tank_links(design, np.array([1, 0, 1]), np.array([9.0, 9.0, 10.0]))
    assert list(zip(row.tolist(), area.tolist(), strict=True)) == [
        (0, 0),
        (0, 3),
        (1, 1),
        (2, 0),
    ]


def test_pairs_are_found_in_any_order():
    found, at = _matched(np.array([7, 3, 5]), np.array([5, 4, 9, 7]))
    assert found.tolist() == [True, False, False, True]
    assert at[found].tolist() == [2, 0]


def timing_read(reading):
    """Return minutes of which nothing is known but how they were read."""
    return Timing(NONE, NONE, 0.3, 3, NONE, reading, NONE)


@pytest.mark.parametrize(
    ("rows", "fixed_min", "asked"),
    [(5, 0.5, [False, True]), (5, 0.0, [False]), (4, 0.5, [False])],
)
def test_any_fixed_part_on_five_rows_is_tried_within_the_minutes(
    monkeypatch, rows, fixed_min, asked
):
    """Half a minute is a fixed part as 30 are; where there is none both readings are the same."""
    links = [(n, 0, 0.0, 0.0, 1.0) for n in range(rows)]
    timed, tried = trims([10.0] * rows, links, fixed_min=[fixed_min] * rows), []
    monkeypatch.setattr(learn, "timed_trims", lambda *_: timed)
    monkeypatch.setattr(learn, "kind_of", lambda _: None)

    def keep(_trims, _kind, reading):
        tried.append(reading.fixed)
        return timing_read(reading), 0.0

    monkeypatch.setattr(learn, "regress", keep)
    book = SimpleNamespace(practice=SimpleNamespace(whole_tank_minutes=""))
    learn.learn_timing(book, SimpleNamespace(design=None))
    assert tried == asked
