"""Minutes of visits and what they come to, against plain loops on nouns made by hand."""

from __future__ import annotations

from datetime import date
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.stats import norm

from growthcast.fit.growth import fit_growth
from growthcast.plain import plain
from growthcast.service.effort import hours
from growthcast.service.effort.hours import (
    FixedMinutes,
    Hands,
    Range,
    TankDays,
    fixed_minutes,
    hands_of,
    learn_fixed_minutes,
    month_of_work,
    saving,
    tank_days,
    visit_effort,
    year_of_visits,
)
from growthcast.service.effort.learn import KINDS, Timing
from growthcast.service.interval import interval_options
from growthcast.service.living import HAND_SPREAD
from tests.books import make_book
from tests.curve import height_after
from tests.unit.service.made import made_areas

NEVER = np.nan


def test_ranges_are_the_tenth_the_half_and_the_ninetieth():
    values = np.random.default_rng(1).normal(size=(2, 31))
    for row, made in zip(values, Range.of_rows(values), strict=True):
        assert (made.p10, made.p50, made.p90) == pytest.approx(np.quantile(row, [0.1, 0.5, 0.9]))
    assert Range(1.0, 2.0, 4.0).times(3.0) == Range(3.0, 6.0, 12.0)


def test_a_year_of_visits_and_what_one_rhythm_saves_against_another():
    """Every 73 days five visits of an hour: 5 h, at 50 an hour 250."""
    year = year_of_visits(73, Range(30.0, 60.0, 120.0), 50.0)
    assert (year.visits, year.hours, year.cost) == (5.0, 5.0, 250.0)
    assert plain(year)["visits_per_year"] == 5.0
    assert (year.hours_range, year.cost_range) == (Range(2.5, 5, 10), Range(125.0, 250.0, 500.0))
    saved = saving(np.array([10.0, 20.0, 30.0]), np.array([8.0, 17.0, 29.0]), 50.0)
    assert saved.hours.p50 == 2.0
    assert saved.cost.p50 == 100.0


def test_minutes_are_set_up_and_work_where_anything_comes_off():
    """Scatter evens out with the root of the visits; 2 + 3 x 4 cm, by e or by root of e."""
    one = np.ones((2, 1), np.float32)
    hands = Hands(2 * one, 3 * one, one)
    off = np.float32([[4.0], [0.0]])
    assert hands.minutes(off)[:, 0].tolist() == pytest.approx([14 * np.e, 0.0])
    assert hands.minutes(off, 4.0)[0, 0] == pytest.approx(14 * np.exp(0.5))


def timing(scatter=0.3):
    """Kinds 0 and 1 take 2 and 3 minutes, and 4 and 5 a litre, give or take a tenth each."""
    log_min = np.zeros(2 * KINDS)
    log_min[[0, 1, KINDS, KINDS + 1]] = np.log([2.0, 3.0, 4.0, 5.0])
    kind = np.array([0, 0, 0, 0, 1, 1])
    seen = np.zeros(KINDS, bool)
    return Timing(log_min, 0.01 * np.eye(2 * KINDS), scatter, 3, seen, None, kind)


DESIGN = SimpleNamespace(
    area_cm2=np.full(6, 500.0), is_cover=np.array([False, False, False, False, False, True])
)


def test_hands_are_drawn_by_kind_and_scatter_by_tank():
    """Areas 3 to 5 of the book: half a litre a centimetre, and 5 dm2 a hundredth of cover."""
    living = made_areas((2, 1), draws=256)
    hands = hands_of(living, DESIGN, timing())
    assert hands.set_up_min.shape == (3, 256)
    assert np.median(hands.set_up_min, axis=1) == pytest.approx([2.0, 3.0, 3.0], rel=0.01)
    work = np.median(hands.min_per_cm, axis=1)
    assert work == pytest.approx([4.0 * 0.5, 5.0 * 0.5, 5.0 * 0.05], rel=0.01)
    spread = np.log(hands.min_per_cm).std(axis=1)
    assert spread == pytest.approx([0.1] * 3, rel=0.02)
    np.testing.assert_allclose(hands.min_per_cm[1], 10.0 * hands.min_per_cm[2], rtol=1e-6)
    assert hands.scatter.std(axis=1) == pytest.approx([0.3] * 3, rel=0.02)
    np.testing.assert_array_equal(hands.scatter[0], hands.scatter[1])
    tanks = {tuple(hands.scatter[0].tolist()), tuple(hands.scatter[2].tolist())}
    assert len(tanks) == 2
    for part in (hands.set_up_min[1], hands.min_per_cm[1]):  # what is drawn apart
        assert abs(np.corrcoef(part, hands.scatter[1])[0, 1]) < 0.2


@pytest.mark.parametrize("days", [1, 9, 500])
def test_efforts_are_what_each_draw_takes(days):
    """A visit with its luck, hand and scatter; the mean of a year without luck, scatter by root."""
    living = made_areas((2, 1), draws=512)
    option = interval_options(living, days, np.array([0.8, 0.8]))
    effort = visit_effort(DESIGN, timing(), option, np.array([50.0, 60.0]))
    hands, cut, some = hands_of(living, DESIGN, timing()), option.cut_cm[:, None], slice(0, 256)
    growth, rest_d = (each[:, some] for each in living.growth_after_cut(days))
    ceiling, hand = (each[:, some] for each in (living.draws.ceiling_cm, living.draws.hand))
    usual = living.unrested(days).usual[:, some]
    still = living._usual_growth(days, 0.0)[:, some]
    # Beyond its knots the drift is what it is expected to be all year.
    without = made_areas((2, 1), draws=512)
    without.draws.drift[:] = 0.0
    lasting = without.unrested(days).usual[:, some]
    assert not np.allclose(lasting, still)
    np.testing.assert_array_equal(usual, still)
    share = np.exp(HAND_SPREAD * hand)
    once = height_after(np.minimum(cut * share, ceiling * (1 - 1e-6)), 1.0, growth, ceiling)
    mean = height_after(
        np.minimum(cut, ceiling * (1 - 1e-6)), 1.0, lasting * (1 - rest_d / days), ceiling
    )
    visits = max(365 / days, 1.0)
    off_once, off_mean = np.maximum(once - cut * share, 0), np.maximum(mean - cut, 0)

    def minutes(off, scatter):
        each = (hands.set_up_min + hands.min_per_cm * off) * (off > 0) * np.exp(scatter)
        return np.array([each[:2].sum(axis=0) + 50.0, each[2] + 60.0]), each

    for tank, taken in enumerate(minutes(off_once, hands.scatter)[0]):
        made = effort.visit_min[tank]
        levels = np.quantile(taken, [0.1, 0.5, 0.9])
        assert (made.p10, made.p50, made.p90) == pytest.approx(levels, rel=3e-3)
    whole, each = minutes(off_mean, hands.scatter / np.sqrt(visits))
    np.testing.assert_allclose(effort.mean_min, whole, rtol=1e-3)
    np.testing.assert_allclose(effort.removed_cm, off_mean, rtol=1e-3, atol=1e-3)
    for tank in (0, 1):
        made, levels = effort.year_min[tank], np.quantile(whole[tank], [0.1, 0.5, 0.9])
        assert (made.p10, made.p50, made.p90) == pytest.approx(levels, rel=1e-3)
    np.testing.assert_allclose(effort.hours_of_year(1, days), whole[1] * 365 / days / 60, rtol=1e-3)
    np.testing.assert_allclose(effort.area_min, each, rtol=1e-3, atol=1e-3)


TIMING = SimpleNamespace(whose="rest")


def tank_days_of(*rows):
    """Return days (tank, minutes at it in all, minutes of trimming)."""
    tank, visit, trimming = map(np.array, zip(*rows, strict=True))
    nothing = np.full(tank.size, NEVER)
    return TankDays(tank, np.arange(tank.size), visit * 1.0, trimming * 1.0, nothing)


def practice(monkeypatch, days, usual=(30.0, 2.0, 30.0), own=(False, False, False), timed=True):
    monkeypatch.setattr(hours, "tank_days", lambda *_: days)
    return SimpleNamespace(
        of_tanks=lambda _: np.array(usual),
        tanks=SimpleNamespace(
            text=lambda _: np.array(["a", "b", "c"]), given=lambda _: np.array(own)
        ),
        trims=SimpleNamespace(given=lambda _: np.array([timed])),
    )


def test_fixed_minutes_are_a_normal_mean_beside_the_books_word(monkeypatch):
    """The product of prior and likelihood on a grid; the scatter of all visits is one share.

    Visits of tank a leave 40, 50 and 60 min, one of b leaves 9, one took less than its trimming.
    Shares of the level (5 min at least) off their means: (1/3)^2 twice, beside four visits of 0.25.
    """
    days = tank_days_of(
        (0, 60, 20), (1, 19, 10), (0, 70, 20), (0, 80, 20), (2, 10, 20), (2, NEVER, 5)
    )
    book = practice(monkeypatch, days)
    share2 = (4 * 0.25**2 + 2 * (10 / 30) ** 2) / (4 + 4 - 2)
    found = learn_fixed_minutes(book, TIMING)
    assert [(one.tank_id, one.visits, one.book_min) for one in found] == [
        ("a", 3, 30.0),
        ("b", 1, 2.0),
    ]
    grid = np.linspace(0.0, 100.0, 200_001)
    for one, left, usual, level in ((found[0], (40, 50, 60), 30, 30), (found[1], (9,), 2, 5)):
        dense = norm.pdf(grid, usual, 0.5 * level)
        for minutes in left:
            dense = dense * norm.pdf(minutes, grid, np.sqrt(share2) * level)
        chance = np.cumsum(dense) / dense.sum()
        levels = [grid[np.searchsorted(chance, level)] for level in (0.1, 0.5, 0.9)]
        learnt = one.learnt_min
        assert (learnt.p10, learnt.p50, learnt.p90) == pytest.approx(levels, abs=0.01)


def test_visits_without_anything_beside_trimming_count_and_ranges_end_at_nothing(monkeypatch):
    """No minute left over: the mean is below what the book says, its range cut off at 0."""
    book = practice(monkeypatch, tank_days_of((0, 20, 20), (0, 20, 20)), usual=(1.0, 1.0, 1.0))
    [one] = learn_fixed_minutes(book, TIMING)
    assert one.visits == 2
    assert one.learnt_min.p10 == 0.0
    assert 0.0 < one.learnt_min.p50 < 1.0


def test_learnt_minutes_stand_in_for_the_practices_from_three_visits_on(monkeypatch):
    days = tank_days_of(*[(0, 70, 20)] * 3, *[(1, 70, 20)] * 2, *[(2, 70, 20)] * 3)
    book = practice(monkeypatch, days, own=(False, False, True))
    learnt = learn_fixed_minutes(book, TIMING)
    assert fixed_minutes(book, TIMING).tolist() == [learnt[0].learnt_min.p50, 2.0, 30.0]
    book = practice(monkeypatch, days, timed=False)
    assert fixed_minutes(book, TIMING).tolist() == [30.0, 2.0, 30.0]


@pytest.mark.parametrize(
    ("book_min", "differs"), [(20.0, False), (19.9, True), (40.0, False), (40.1, True)]
)
def test_minutes_differ_that_lie_outside_what_is_learnt(book_min, differs):
    one = FixedMinutes("a", 3, Range(20.0, 30.0, 40.0), book_min, own=False)
    assert one.differs == differs


ROWS = """date,tank_id,area_id,before_cm,removed_g,grams_of,minutes,visit_min
2026-10-05,lobby,stems,,80,,10,
2026-10-05,lobby,carpet,,20,,,
2026-10-05,lobby,,,300,all,5,65
2026-09-28,home,,,40,,12,
2026-09-28,home,moss,9,,,,
2026-10-12,lobby,stems,,80,,10,
2026-10-12,lobby,,,60,all,,
2026-10-19,lobby,stems,,80,,4,
2026-10-19,lobby,,,35,rest,11,50
2026-10-26,lobby,stems,18,,,,
"""


@pytest.mark.parametrize(
    ("whose", "trimming"),
    [
        ("rest", [15.0, 10.0, 15.0, NEVER, 12.0]),
        # "All" of 5 min is less than the stems' own 10, of 11 min more than their 4.
        ("all", [10.0, 10.0, 11.0, NEVER, 12.0]),
    ],
)
def test_the_log_is_summed_up_by_tank_and_day(tmp_path, whose, trimming):
    """All stand for the areas' own where they are more; the rest is added."""
    days = tank_days(make_book(tmp_path, trims=ROWS), whose)
    assert days.tank.tolist() == [0, 0, 0, 0, 1]
    assert (days.day - days.day[0]).tolist() == [0.0, 7.0, 14.0, 21.0, -7.0]
    assert days.visit_min.tolist() == pytest.approx([65.0, NEVER, 50.0, NEVER, NEVER], nan_ok=True)
    assert days.trimming_min.tolist() == pytest.approx(trimming, nan_ok=True)
    grams = [300.0, 80.0, 115.0, NEVER, 40.0]
    assert days.grams.tolist() == pytest.approx(grams, nan_ok=True)


@pytest.mark.parametrize(("whose", "grams"), [("all", [300, 80, 115]), ("rest", [400, 140, 115])])
def test_grams_are_of_all_or_the_rest_where_the_row_does_not_say_it(tmp_path, whose, grams):
    rows = ROWS.replace("300,all", "300,").replace("60,all", "60,")
    assert tank_days(make_book(tmp_path, trims=rows), "all", whose).grams[:3].tolist() == grams


def test_a_month_begins_and_ends_with_its_days(tmp_path):
    rows = ROWS.replace("10-05", "09-30").replace("09-28", "10-31")
    rows = rows.replace("10-12", "10-01").replace("10-26", "11-01")
    book = make_book(tmp_path, trims=rows)
    fit = fit_growth(book, date(2026, 11, 1))
    work = month_of_work(book, fit, date(2026, 10, 15))
    assert work.month == "2026-10"
    assert [(one.tank_id, one.visits) for one in work.tanks] == [("lobby", 2), ("home", 1)]
    assert [(one.timed, one.visit_min) for one in work.tanks] == [(1, 50.0), (0, None)]
    assert [one.trimming_min for one in work.tanks] == [10.0 + max(4.0, 11.0), 12.0]
    assert [one.tank_id for one in work.fixed] == ["lobby"]
    [one] = month_of_work(book, fit, date(2026, 10, 15), "Client B").tanks
    assert (one.client, one.tank_id) == ("Client B", "home")
