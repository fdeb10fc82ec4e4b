"""Sums of the watch and of swaps on a few readings and draws, worked out by hand."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from growthcast.service.rescape.swaps import _chances
from growthcast.service.watch.judge import _alone, _contrast
from growthcast.service.watch.scan import Course, change_of
from growthcast.service.watch.watch import changes_between, recorded_change, tank_co2_mg_l
from tests.books import make_book

CONDITIONS = """tank_id,from_date,co2_mg_l,note
lobby,2026-03-01,20,
home,2025-01-01,5,
lobby,2025-01-01,25,as set up
lobby,2026-05-01,,valve  serviced
lobby,2026-05-20,15,
"""


@pytest.fixture
def book(tmp_path):
    return make_book(tmp_path / "b", conditions=CONDITIONS)


def day(text):
    return float(np.datetime64(text, "D").astype(int))


@pytest.mark.parametrize(
    ("tank", "on", "co2"),
    [
        ("lobby", "2024-12-31", np.nan),
        ("lobby", "2025-01-01", 25.0),
        ("lobby", "2026-02-28", 25.0),
        ("lobby", "2026-03-01", 20.0),
        ("lobby", "2026-05-19", 20.0),  # a blank cell leaves what was
        ("lobby", "2026-06-01", 15.0),
        ("home", "2026-06-01", 5.0),
        ("attic", "2026-06-01", np.nan),
    ],
)
def test_the_latest_co2_of_the_tank_itself(book, tank, on, co2):
    assert tank_co2_mg_l(book, tank, day(on)) == pytest.approx(
        np.nan if co2 is None else co2, nan_ok=True
    )


def test_changes_of_a_tank_come_by_date_and_without_its_first_row(book):
    assert changes_between(book, "lobby", -np.inf, np.inf).tolist() == [0, 3, 4]
    assert changes_between(book, "lobby", day("2026-03-02"), day("2026-05-01")).tolist() == [3]
    assert changes_between(book, "home", -np.inf, np.inf).tolist() == []
    found = recorded_change(book, "lobby", day("2026-06-15"), day("2026-05-19"))
    assert (found.on.isoformat(), found.note) == ("2026-05-01", "valve serviced")
    assert recorded_change(book, "lobby", day("2026-06-16"), day("2026-05-19")) is None  # 46 days


def test_a_species_is_told_from_its_tank_by_what_the_tank_does_not_explain():
    """A species of 1, 1, 0, 0 in a whole of 2, 2, 1, 1 is 4 tenths of it: the rest is its own."""
    whole, own = np.array([2.0, 2.0, 1.0, 1.0]), np.array([1.0, 1.0, 0.0, 0.0])
    course = SimpleNamespace(
        surprise=np.array([1.0, 2.0, 0.0, 1.0]),
        effect=np.stack([whole, own, whole - own])[:, None],
        open_week=np.ones((3, 1), dtype=bool),
    )
    case = SimpleNamespace(
        course=course, areas=np.array([0, 1]), evidence=SimpleNamespace(day=np.arange(4.0))
    )
    part = _contrast(case, np.array([5, 7]), 5)
    assert part[1][0] == pytest.approx([0.2, 0.2, -0.4, -0.4])
    # 0.2 + 0.4 - 0.4 over the root of 0.04 + 0.04 + 0.16 + 0.16.
    assert _alone(part, 0, 1.0) == pytest.approx(0.2 / np.sqrt(0.4))
    assert _alone(part, 0, -1.0) == pytest.approx(-0.2 / np.sqrt(0.4))
    assert _contrast(case, np.array([5, 5]), 5) is None  # all of the tank is of that species
    assert _contrast(case, np.array([5, 7]), 6) is None


def test_a_combination_holds_in_the_draws_in_which_all_of_it_does():
    """Four draws: the rest holds in three, of which each pair of comers shares some."""
    holds = np.array([[1, 1, 0, 1], [0, 1, 1, 1], [1, 0, 1, 1]], dtype=bool)
    rest = np.array([1, 1, 1, 0], dtype=bool)
    one = _chances(holds, rest, [np.array([0, 1, 2])])
    assert one.tolist() == [2 / 4, 2 / 4, 2 / 4]
    two = _chances(holds, rest, [np.array([0, 1]), np.array([1, 2])])
    assert two.tolist() == [[1 / 4, 1 / 4], [2 / 4, 1 / 4]]


def course(effect, surprise, opened=None):
    """Return readings of one suspect, ``effect`` by week and reading."""
    effect = np.asarray(effect, dtype=float)[None]
    weeks = np.ones(effect.shape[:2], bool) if opened is None else np.asarray(opened)[None]
    return Course(np.asarray(surprise, float), effect, np.arange(len(surprise)), weeks)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_the_size_of_a_change_is_its_regression_with_its_error(sign):
    """Three readings that move by 2 a unit: 6 / 12 of growth, known to 1 / root of 12."""
    found = change_of(course([[2.0, 2.0, 2.0]], sign * np.array([1.0, 0.5, 1.5])), 0, sign)
    middle, sd = sign * 0.5, 12**-0.5
    assert found.size_share == pytest.approx(
        [middle - 1.2816 * sd, middle, middle + 1.2816 * sd], abs=0.02
    )
    assert found.z == pytest.approx(0.5 / sd)
    assert found.gain == pytest.approx(0.5 * (0.5 / sd) ** 2)
    other = change_of(course([[2.0, 2.0, 2.0]], [1.0, 0.5, 1.5]), 0, -1.0)
    assert (other.z, other.gain) == (pytest.approx(-0.5 / sd), 0.0)


def test_a_week_is_as_likely_as_what_it_explains_and_as_its_size_is_open():
    """No surprise at all: weeks with information of 1, 4 and 16 have chances of 4, 2, 1 in 7."""
    flat = course([[1.0], [2.0], [4.0]], [0.0])
    assert change_of(flat, 0, 1.0).week.tolist() == [0, 0, 2]
    # Of two that are as well known, one of z = 2 is e^2 times as likely as one of z = 0: 0.88.
    sharp = course([[2.0, 0.0], [0.0, 2.0]], [2.0, 0.0])
    assert change_of(sharp, 0, 1.0).week.tolist() == [0, 0, 1]
    assert change_of(sharp, 0, 1.0).best_week == 0
    late = course([[0.0, 2.0], [2.0, 0.0]], [2.0, 0.0])
    assert change_of(late, 0, 1.0).week.tolist() == [0, 1, 1]


def test_weeks_that_are_closed_or_tell_nothing_hold_no_change():
    """An information below 1 is none; nor is a closed week's, whatever it would explain."""
    effect = [[0.9, 0.0], [0.0, 5.0], [1.0, 1.0]]
    found = change_of(course(effect, [3.0, 3.0], [True, False, True]), 0, 1.0)
    assert found.week.tolist() == [2, 2, 2]
    assert found.best_week == 2
    assert found.z == pytest.approx(6.0 / 2**0.5)
