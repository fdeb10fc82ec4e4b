"""A backtest in words: the numbers of a sentence are those of forecasts made by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from growthcast.forecast.scores import NORMAL_SCORES, Forecasts, Predictive
from growthcast.forecast.verdict import BacktestResult, Readings
from growthcast.say.backtest import backtest_answer, too_few_words

DAY = 20454.0  # 2026-01-01


def made_of(reading, *, middle=100.0, sd=5.0, made=None):
    height = np.tile(middle + sd * NORMAL_SCORES, (reading.size, 1))
    if made is not None:
        height[~made] = np.nan
    return Forecasts.of(Predictive(height, np.full_like(height, 0.01)), reading)


def result(held=40, out=10, middle=100.0, **baselines):
    """``held`` readings of 100 cm and ``out`` of 200 cm, two a visit, forecast 100 +- 5 cm."""
    count = held + out
    reading = np.where(np.arange(count) < held, 100.0, 200.0)
    tank, day = np.zeros(count, np.int64), DAY + np.arange(count) // 2
    budget, cover = np.full(count, 50.0), np.zeros(count, bool)
    readings = Readings(np.arange(count), tank, day, day, reading, budget, cover, day * np.nan)
    others = {name: made_of(reading, **how) for name, how in baselines.items()}
    model = made_of(reading, middle=middle)
    return BacktestResult(readings, model, others, np.zeros(0), (DAY, DAY + 6.0), 80)


def said(found):
    answer = backtest_answer(found)
    return " ".join([answer.lead, *answer.notes, *answer.details])


def test_readings_visits_days_and_what_held_are_counted():
    words = said(result(held=47, out=5))
    assert words.startswith("8 of 10 ranges held 90 of 100 times; ")
    assert (
        "52 readings on 26 tank visits, each forecast from the book as it was before one of 2 days "
        "between 1 Jan 2026 and 7 Jan 2026. "
    ) in words
    # 47 of 52 lie in the middle of their forecasts, 5 far above: 90 % held at any level.
    assert "8 of 10 ranges held 90 of 100 times; 5 of 10 ranges 90, 9 of 10 ranges 90." in words
    # Five of 52 readings lie 100 cm above the middle, twice a budget of 50 cm: 10 / 52 of it.
    assert "Forecasts ran low by 19 % of the height budget on average." in words


def test_readings_that_some_way_could_not_forecast_are_left_out_and_counted():
    could = np.arange(50) < 36
    found = result(line={"made": could}, last_rate={"made": np.arange(50) < 9})
    words = said(found)
    assert "The tables compare the 36 of them that every way could forecast." in words
    assert "The rate of the last span could forecast 9, too few to be compared." in words
    assert "The tables compare" not in said(result(line={}))


def test_the_better_and_the_worse_way_are_named_with_how_sure_that_is():
    """The model is 20 cm off throughout, one way 30 cm, another not at all."""
    sure = result(50, 0, 120.0, line={"middle": 130.0}, unpooled={})
    share = {name: 100 * sure.scores(name).crps_share for name in (None, "line", "unpooled")}
    words = said(sure)
    assert (
        "The curve of each area alone forecast this book better than growthcast: CRPS "
        f"{share['unpooled']:.1f} % of the budget against {share[None]:.1f} % on 50 readings."
    ) in words
    less = 100 * (1 - share[None] / share["line"])
    assert f"the error (CRPS) was {less:.0f} % smaller than by a straight line." in words
    # A forecast 20 or 30 cm off with a deviation of 5 scores its distance less 5 / sqrt pi.
    assert share[None] == pytest.approx((20.0 - 5.0 / np.sqrt(np.pi)) * 2.0, rel=0.01)
    assert share["line"] == pytest.approx((30.0 - 5.0 / np.sqrt(np.pi)) * 2.0, rel=0.01)


def test_a_difference_within_two_standard_errors_may_be_chance():
    rng = np.random.default_rng(6)
    found = result(50, 0, 100.0, line={})
    noise = rng.normal(0.0, 1.0, 50)
    for shift, doubt in ((0.05, True), (2.0, False)):
        off = noise - noise.mean() + shift
        better = replace(found.model, crps_cm=found.model.crps_cm - off)
        words = said(replace(found, baselines={"line": better}))
        assert ("the difference may be chance" in words) == doubt
        worse = replace(found.model, crps_cm=found.model.crps_cm + off)
        words = said(replace(found, baselines={"line": worse}))
        assert ("which may be chance" in words) == doubt


@pytest.mark.parametrize(
    ("error_d", "words"),
    [
        ([], "No area passed its budget between two readings, so no crossing date was tested."),
        ([np.nan, np.nan], "None of 2 crossings of a budget was foreseen."),
        (
            [2.0, 4.0, -6.0, np.nan],  # the middle of -6, 2, 4 and of 2, 4, 6
            "Budgets were passed between two readings 4 times: the forecast date was 2 days too "
            "late in the middle case and 4 days off (1 not foreseen).",
        ),
        ([-1.0], "1 time: the forecast date was 1 day too early in the middle case and 1 day off."),
        ([-1.0, 0.0, 3.0], "the forecast date was the right day in the middle case and 1 day off."),
    ],
)
def test_dates_are_late_or_early_by_their_median(error_d, words):
    assert words in said(replace(result(), crossing_error_d=np.array(error_d)))


@pytest.mark.slow
def test_a_spread_that_is_too_wide_or_narrow_is_named_with_its_factor():
    reading = 100.0 + 10.0 * np.tile(NORMAL_SCORES, 4)  # twice as far as 5 cm
    found = result(400, 0)
    readings = replace(found.readings, reading_cm=reading)
    wide = replace(found, readings=readings, model=made_of(reading))
    factor = wide.widening()[0].factor
    assert factor == pytest.approx(2.0 ** (200 / 220), rel=0.03)  # 200 visits, 20 of doubt
    assert f"too narrow: it should be {factor:.2f} times what it is. Write widening = " in said(
        wide
    )
    done = said(replace(wide, applied_widening=round(factor, 2)))
    assert f"widening = {factor:.2f} in practice.toml does that" in done
    right = replace(found, readings=readings, model=made_of(reading, sd=10.0))
    assert "the spread of forecast heights is about right" in said(right)


def test_too_few_readings_are_counted():
    found = result(held=9, out=0)
    assert not found.enough
    assert too_few_words(found) == (
        "Too few visits to say how often forecasts are right: 9 readings could be forecast from "
        "earlier visits, and 10 are needed. Log heights before cutting (before_cm): with 80 visit "
        "days in the log, the first third is only learnt from."
    )


def test_the_table_scores_every_way_on_the_same_readings():
    could = np.arange(50) < 36
    found = result(line={"made": could}, last_rate={"made": np.arange(50) < 9})
    table = backtest_answer(found).table
    assert [row[:2] for row in table.rows] == [
        ["growthcast", "36"],
        ["rate of the last span", "9"],
        ["straight line through three spans", "36"],
    ]
    assert table.rows[1][2:] == ["-", "-", "-", "-"]
    assert "-" not in table.rows[2]
