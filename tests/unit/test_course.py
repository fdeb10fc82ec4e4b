"""The simulator stepped by hand, and what its truth expects of an interval."""

from __future__ import annotations

import csv
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from tests.simulator import Course, Richness, simulate, true_chance_all_within
from tests.simulator.plan import AreaPlan, Condition, PracticePlan, TankPlan, Traits
from tests.simulator.practice import random_practice

FIRST = date(2026, 1, 1)
STEM = Traits("stem", "stem", 0.10, 40.0, pause_d=0.0)


def one_tank(budget_cm=22.0, traits=STEM, conditions=()):
    """Return a plan of one tank with one stem area, visited every week."""
    tank = TankPlan("tank", "", "", 100, 40, 50, 7, FIRST, conditions=conditions)
    area = AreaPlan("area", "tank", "", "stem", 400, 8.0, budget_cm, 10.0, date(2025, 1, 1))
    last = FIRST + timedelta(days=120)
    return PracticePlan("", FIRST, last, (tank,), (area,), {"stem": traits})


def test_a_course_left_to_its_gardener_is_the_simulation():
    plan = random_practice(3, 60, 4, (2, 3), 5)
    practice, course = simulate(plan, 4), Course(plan, 4)
    due = [set(course.gardener.visit_days(tank)) for tank in plan.tanks]
    while course.row < course.days:
        today = course.on.toordinal()
        for tank, days in enumerate(due):
            if today in days:
                course.visit(tank)
        course.grow()
    stepped = course.practice()
    assert stepped.log == practice.log
    np.testing.assert_array_equal(stepped.truth.height_before_cm, practice.truth.height_before_cm)


def test_a_visit_with_aims_cuts_to_them_and_leaves_what_is_lower():
    course = Course(one_tank(), 1, Richness.exact())
    for _ in range(20):
        course.grow()
    high = float(course.height[0])
    course.visit(0, np.array([high + 1.0]))
    assert course.height[0] == high
    course.visit(0, np.array([9.0]))
    assert course.height[0] == 9.0
    assert course.gardener.log[-1].after_cm == 9.0


def test_a_book_written_on_the_way_knows_nothing_of_what_is_to_come(tmp_path):
    later = Condition(FIRST + timedelta(days=50), {"ppfd_umol": 60.0})
    now = Condition(FIRST, {"ppfd_umol": 100.0})
    course = Course(one_tank(conditions=(now, later)), 1, Richness.exact())
    for day in range(40):
        if day % 7 == 0:
            course.visit(0)
        course.grow()
    folder = course.write_book(tmp_path)
    for name, column in (("trims.csv", "date"), ("conditions.csv", "from_date")):
        with (folder / name).open(encoding="utf-8") as file:
            dates = [date.fromisoformat(row[column]) for row in csv.DictReader(file)]
        assert dates
        assert max(dates) <= course.on


def chance(interval_d, budget_cm=22.0, traits=STEM, richness=None, draws=400):
    course = Course(one_tank(budget_cm, traits), 1, richness or Richness.exact())
    return true_chance_all_within(course, [0], interval_d, np.array([8.0]), draws, 1)[0]


def test_without_scatter_the_true_chance_is_yes_or_no():
    """From 8 cm under a ceiling of 40 cm at 0.1 a day: ln(22/18) - ln(8/32) = 1.587, 15.87 days."""
    assert chance(15) == 1.0
    assert chance(16) == 0.0


def test_the_pause_of_a_hard_cut_buys_days():
    """In 19 days 8 cm become 25 cm; cutting 68 % off brings 3.6 of 10 days without growth."""
    rests = replace(STEM, pause_d=10.0)
    assert chance(19, traits=rests, richness=Richness.exact(pause=1.0)) == 1.0
    assert chance(20, traits=rests, richness=Richness.exact(pause=1.0)) == 0.0


@pytest.mark.slow
def test_the_true_chance_is_what_comes_true():
    """Courses of as many seeds, each cut once to 8 cm and left for 15 days."""
    richness = Richness.exact(week_spread=0.3, drift_spread=0.2, hand_spread=0.1)
    plan = one_tank()
    within = []
    for seed in range(200):
        course = Course(plan, seed, richness)
        course.height[:] = 30.0
        course.visit(0, np.array([8.0]))
        for _ in range(15):
            course.grow()
        within.append(course.height[0] <= 22.0)
    expected = chance(15, richness=richness, draws=2000)
    assert 0.3 < expected < 0.8
    assert np.mean(within) == pytest.approx(expected, abs=0.12)
