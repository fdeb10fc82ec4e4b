"""Plain ways to forecast, with middles and widths worked out by hand."""

from __future__ import annotations

import numpy as np
import pytest

from growthcast.fit.model.noise import ErrorModel
from growthcast.forecast.baselines import (
    Past,
    Spans,
    Start,
    last_rate,
    line,
    start_heights,
    unpooled,
)
from growthcast.forecast.scores import NORMAL_SCORES
from growthcast.log.visits import Visits

BOTH = np.array([0, 1])
RULER = np.full(2, np.nan)


def past(spans, start_cm, ceiling_cm=(40.0, 40.0), budget_cm=(70.0, 50.0), start_sd=RULER):
    """Two areas whose spans are (area, start, end, days), and where they stand now."""
    area, start, end, days = np.array(spans, dtype=float).reshape(-1, 4).T
    height, budget = np.array(start_cm), np.array(budget_cm)
    now = Start(height, np.zeros(2), np.zeros(2, dtype=bool), np.full(2, -1), start_sd)
    errors = ErrorModel(np.full(2, 0.1), np.zeros(2), 0.2, 0.15, 0.2)
    known = Spans(area.astype(np.int64), start, end, days, *np.full((2, days.size), np.nan))
    return Past(known, now, np.array(ceiling_cm), budget, errors)


def test_a_cut_of_unread_height_left_the_usual_cut_else_the_mean_of_those_read():
    """Cut to 4 and 7 cm, then 20 g of cuttings: 5.5 cm, unless the book says 5.

    Area 2 was never read and area 4 never visited: nothing tells.
    """
    area = np.array([0, 0, 0, 1, 1, 2, 3, 3, 3])
    after = np.array([4.0, 7.0, np.nan, 9.0, 6.0, np.nan, 4.0, 7.0, np.nan])
    nothing, no = np.full(area.size, np.nan), np.zeros(area.size, dtype=bool)
    visits = Visits(
        area=area,
        day=np.array([1.0, 8.0, 15.0, 1.0, 8.0, 1.0, 1.0, 8.0, 15.0]),
        before_cm=nothing,
        after_cm=after,
        removed_cm=nothing,
        removed_g=np.where(np.isnan(after), 20.0, np.nan),
        before_sd_cm=nothing,
        look=np.zeros(area.size, dtype=np.int64),
        cut=~no,
        unsaid=no,
        bucket=np.full(area.size, -1),
        row=np.arange(area.size),
    )
    start = start_heights(visits, np.array([np.nan, np.nan, 0.0, 5.0, 5.0]))
    np.testing.assert_array_equal(start.height_cm, [5.5, 6.0, np.nan, 5.0, np.nan])
    np.testing.assert_array_equal(start.day, [15.0, 8.0, 1.0, 15.0, np.nan])
    assert start.row.tolist() == [2, 4, 5, 8, -1]


def test_a_line_goes_on_as_the_last_three_spans_did_and_is_as_wide_as_it_erred():
    """Three spans of 1 cm a day are foreseen without error; the last is 7 cm of 70 too high."""
    spans = [(0, 6, 13, 7), (0, 6, 13, 7), (0, 6, 16, 10), (0, 6, 20, 7), (1, 5, 15, 5)]
    found = line(past(spans, (6.0, 5.0)), BOTH, np.array([12.0, 3.0]))
    # Area 0: 7 + 10 + 14 cm in 24 days. Area 1: 10 cm in 5 days.
    middle = np.array([6 + 31 / 24 * 12, 5 + 2 * 3])
    # Four errors of 15 % stand beside the three of the book, 0, 0 and 10 %; and four of the book's
    # beside an area's own, of which area 1 has none.
    book = (0.1**2 + 4 * 0.15**2) / (3 + 4)
    spread = np.sqrt([(0.1**2 + 4 * book) / (3 + 4), book]) * (70.0, 50.0)
    assert found.height_cm == pytest.approx(middle[:, None] + spread[:, None] * NORMAL_SCORES)
    assert found.error_cm == pytest.approx(np.tile(0.02 * spread[:, None], NORMAL_SCORES.size))


def test_a_last_rate_goes_on_along_the_curve_and_never_backwards():
    """From 10 to 30 cm under 40 cm the odds grow nine-fold, from 1 to 3 to 3 to 1."""
    spans = [(0, 10, 30, 10), (0, 10, 30, 20), (1, 30, 10, 10)]
    found = last_rate(past(spans, (10.0, 12.0)), BOTH, np.array([10.0, 30.0]))
    # Nine-fold in the last 20 days is three-fold in 10: even odds. Area 1 shrank: it stands still.
    middle = np.array([20.0, 12.0])
    # At the rate of the first span the second would have come to odds of 27: 40 * 27 / 28 cm.
    error = np.log(30 / (40 * 27 / 28))
    book = (error**2 + 4 * 0.25**2) / (1 + 4)
    spread = np.sqrt([(error**2 + 4 * book) / (1 + 4), book])
    wanted = middle[:, None] * np.exp(spread[:, None] * NORMAL_SCORES)
    assert found.height_cm == pytest.approx(wanted)
    assert found.error_cm == pytest.approx(0.02 * wanted)


def test_a_curve_of_its_own_is_as_sure_as_the_readings_and_the_weeks():
    """Readings are off by 0.1 cm; a week's growth by a fifth, in variance as 1 over the weeks."""
    known = past([], (6.0, 6.0))
    at_once = unpooled(known, BOTH, np.full(2, 1e-6), RULER)
    assert at_once.height_cm == pytest.approx(6.0, rel=1e-4)
    assert at_once.error_cm == pytest.approx(0.1 * np.sqrt(2), rel=1e-4)  # the start's, the end's
    photo, own = past([], (6.0, 6.0), start_sd=np.array([np.nan, 0.4])), np.array([0.5, 0.3])
    found = unpooled(photo, BOTH, np.full(2, 1e-6), own).error_cm[:, 0]  # photos bring their own
    assert found == pytest.approx([np.hypot(0.1, 0.5), np.hypot(0.4, 0.3)], rel=1e-4)
    # After ten thousand days every curve stands at its ceiling, and where it began is forgotten.
    grown = unpooled(known, BOTH, np.full(2, 1e4), RULER)
    weeks = (0.2 * (grown.height_cm - 6.0)) ** 2 * 7 / 1e4
    assert grown.error_cm == pytest.approx(np.sqrt(0.1**2 + weeks), rel=1e-6)
    # Ceilings scatter by 30 % around that of the table, on a grid from -0.6 to 0.9.
    assert np.median(grown.height_cm) == pytest.approx(40.0, rel=0.06)
    assert grown.height_cm.min() >= 40.0 * np.exp(-0.6) - 1e-6
    assert np.log(grown.height_cm / 40.0).std() == pytest.approx(0.3, abs=0.03)


def test_spans_of_an_area_of_its_own_move_no_other():
    """Fast spans of one area draw its curve up, and leave the other at the prior."""
    fast = [(0, 6, 30, 14)] * 3
    days = np.full(2, 14.0)
    alone = unpooled(past([], (6.0, 6.0)), BOTH, days, RULER)
    taught = unpooled(past(fast, (6.0, 6.0)), BOTH, days, RULER)
    assert taught.height_cm[1] == pytest.approx(alone.height_cm[1])
    assert taught.quantile_cm(0.5)[0] == pytest.approx(30.0, rel=0.05)
    assert alone.quantile_cm(0.5)[0] == pytest.approx(10.5, rel=0.1)  # 6 e^(0.05 14) less a little


def test_without_any_span_rates_scatter_three_fold_around_a_slow_one():
    """Far below the ceiling height grows as e to the rate: 0.05 a day, log sd 1 (an estimate)."""
    wide = past([], (1.0, 1.0), ceiling_cm=(4e9, 4e9), budget_cm=(8e9, 8e9))
    grown = unpooled(wide, BOTH, np.full(2, 20.0), RULER).height_cm[0]
    rate = np.log(np.log(grown) / 20.0)
    assert np.median(rate) == pytest.approx(np.log(0.05), abs=0.1)
    assert rate.std() == pytest.approx(1.0, abs=0.08)
