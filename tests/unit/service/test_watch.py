"""The pieces of the watch: covariances, the scan, slips, and what it refuses to judge."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from types import SimpleNamespace

import numpy as np
import pytest

from growthcast.book.files import demo_dir
from growthcast.book.read import read_book
from growthcast.fit.design import day_number
from growthcast.fit.foreseen import Foreseen, doubts_of
from growthcast.fit.growth import last_logged
from growthcast.fit.solver import view
from growthcast.plain import plain
from growthcast.say.watch import checks_for, tank_sentence
from growthcast.service.watch.readings import (
    USUAL_WANDER,
    VISITS_NEEDED,
    gather_evidence,
    learn_wander,
    origin_of,
)
from growthcast.service.watch.scan import (
    LARGEST_SURPRISE,
    Course,
    change_of,
    course_of,
    slips_set_aside,
    strongest,
    thresholds,
    without,
)
from growthcast.service.watch.watch import Finding, changes_between, watch_growth
from tests.books import HEADER, TODAY, make_book, stem_log


@pytest.fixture(scope="module")
def demo():
    return read_book(demo_dir(), today=TODAY)


@pytest.fixture(scope="module")
def evidence(demo):
    on = day_number(last_logged(demo))
    return gather_evidence(demo, on, origin_of(demo, on))


def plain_course(visits=20, areas=3, weeks=20):
    """Readings of one unit of weekly growth each, with independent errors."""
    day = np.repeat(7.0 * np.arange(1, visits + 1), areas)
    grown = np.zeros((day.size, weeks))
    grown[np.arange(day.size), (day / 7.0).astype(int) - 1] = 1.0
    area = np.tile(np.arange(areas), visits)
    suspects = np.concatenate([np.ones((1, day.size), bool), np.arange(areas)[:, None] == area])
    known = Foreseen(np.zeros(day.size), np.zeros(day.size), np.eye(day.size), np.eye(day.size))
    opened = np.ones((areas + 1, weeks), dtype=bool)
    return known, grown, suspects, day, opened, area


def test_whitened_surprises_of_the_demo_are_about_standard_normal(evidence):
    wander = learn_wander(evidence)
    together = []
    for tank in np.unique(evidence.tank).tolist():
        mine = evidence.of(evidence.tank == tank)
        assert (np.diff(mine.day) >= 0.0).all()
        known = doubts_of(mine, tank).under(wander)
        root = np.linalg.cholesky(known.covariance)
        together.append(np.linalg.solve(root, known.surprise_cm - known.mean_cm))
    assert np.concatenate(together).std() == pytest.approx(1.0, abs=0.25)


def test_a_planted_drop_is_dated_and_measured():
    known, grown, suspects, day, opened, _ = plain_course()
    effect = np.where(day > 70.0, -1.2, 0.0)
    course = course_of(
        replace(known, surprise_cm=effect, covariance=0.25 * np.eye(day.size)),
        grown,
        suspects,
        day,
        opened,
    )
    change = change_of(course, 0, -1.0)
    assert change.best_week == 10
    assert change.size_share[1] == pytest.approx(-1.2, abs=0.05)
    assert change.week[0] <= 10 <= change.week[2]
    assert change.gain > change_of(course, 1, -1.0).gain  # the tank explains more than one area


def test_one_wild_reading_is_no_change():
    known, grown, suspects, day, opened, _ = plain_course()
    wild = known.surprise_cm.copy()
    wild[-1] = -50.0
    course = course_of(replace(known, surprise_cm=wild), grown, suspects, day, opened)
    reached = strongest(course, course.surprise[:, None], -1.0)
    assert reached.max() <= LARGEST_SURPRISE + 1e-9
    limits = thresholds(course, (np.array([0]), np.arange(1, 4)), (0.3, 0.1, 0.1, 0.1), 140.0)
    assert (reached[:, -1, 0] <= limits[:, 0]).all()


def test_fewer_false_alarms_ask_for_higher_thresholds_and_are_kept():
    known, grown, suspects, day, opened, _ = plain_course()
    course = course_of(known, grown, suspects, day, opened)
    groups = (np.array([0]), np.arange(1, 4))
    often, seldom = (
        thresholds(course, groups, (rate, rate, rate, rate), 140.0) for rate in (0.5, 0.1)
    )
    assert (seldom > often).all()
    drawn = np.clip(np.random.default_rng(3).normal(size=(day.size, 2000)), -3.0, 3.0)
    passed = strongest(course, drawn, -1.0)[0].max(axis=0) > often[0, 0]
    assert passed.mean() == pytest.approx(-np.expm1(-0.5 * 140.0 / 365.25), abs=0.03)


def test_what_is_allowed_for_is_gone():
    known, grown, suspects, day, opened, _ = plain_course()
    effect = np.where(day > 70.0, -2.0, 0.0)
    course = course_of(replace(known, surprise_cm=effect), grown, suspects, day, opened)
    left = without(course, course.effect[0, change_of(course, 0, -1.0).best_week])
    assert np.abs(left.surprise).max() < 1e-9


def test_weeks_that_are_closed_hold_no_change():
    known, grown, suspects, day, opened, _ = plain_course()
    course = course_of(known, grown, suspects, day, opened & False)
    assert isinstance(course, Course)
    assert strongest(course, np.full((day.size, 1), -3.0), -1.0).max() == 0.0


def test_a_slip_is_set_aside_and_a_repeated_one_taken_back():
    known, grown, _, day, _, area = plain_course()
    once = known.surprise_cm.copy()
    once[30] = 12.0
    _, aside = slips_set_aside(replace(known, surprise_cm=once), grown, area, day)
    assert np.flatnonzero(aside).tolist() == [30]
    twice = once.copy()
    twice[33] = 12.0  # the same area's next reading
    _, aside = slips_set_aside(replace(known, surprise_cm=twice), grown, area, day)
    assert not aside.any()


def test_wander_is_learnt_from_calm_readings(evidence):
    """Readings without any surprise ask for less wander than usual."""
    calm = replace(evidence, surprise_cm=np.zeros_like(evidence.surprise_cm))
    found = learn_wander(calm)
    assert found.tank < USUAL_WANDER.tank
    assert found.area < USUAL_WANDER.area


def test_without_readings_the_wander_is_what_learning_leans_on():
    """Means of the logarithms of both grids, worked out by hand.

    A wander that is off the usual 0.12 by a factor of r weighs exp(-2 ln(r)^2): of areas 0.3825,
    0.9357, 0.9052 and 0.4796 for 0.06, 0.1, 0.15 and 0.22.
    """
    found = learn_wander(SimpleNamespace(tank=np.zeros(0, int)))
    assert found.area == pytest.approx(0.12256, abs=2e-5)
    assert found.tank == pytest.approx(0.13036, abs=2e-5)


@pytest.mark.slow
def test_the_demo_is_judged_tank_by_tank_as_among_others(demo):
    on = last_logged(demo)
    whole = watch_growth(demo, on, np.arange(6))
    assert [tank.tank_id for tank in whole.tanks] == demo.tanks.text("tank_id").tolist()
    alone = watch_growth(demo, on, np.array([2]))
    assert alone.tanks[0] == whole.tanks[2]
    for tank in whole.tanks:
        for point in tank.course:
            assert 0.0 <= point.low <= point.growth <= point.high
            assert point.usual_low < 1.0 < point.usual_high


def test_too_few_visits_are_counted(tmp_path):
    book = make_book(tmp_path / "b", trims=stem_log(visits=3))
    report = watch_growth(book, date(2026, 6, 1), np.arange(2))
    assert not report.needs_attention
    assert report.tanks[0].visits == 2
    assert f"2 of {VISITS_NEEDED}" in tank_sentence(report.tanks[0])
    assert report.tanks[1].visits == 0


def test_a_log_without_rows_is_waiting(tmp_path):
    book = make_book(tmp_path / "b", trims=HEADER)
    report = watch_growth(book, date(2026, 6, 1), np.arange(2))
    assert [tank.status for tank in report.tanks] == ["too few visits"] * 2
    assert plain(report)["usual_until"] is None


def faulty_log(visits=40, slow_from=30, share=0.3):
    """Stems and carpet every week, growing at a share of the usual after a while."""
    rng, rows = np.random.default_rng(4), HEADER
    first = date(2026, 6, 1) - timedelta(days=7 * (visits - 1))
    for visit in range(visits):
        pace = share if visit >= slow_from else 1.0
        day = first + timedelta(days=7 * visit)
        stems, carpet = 9.0 + 7.0 * pace, 1.5 + 2.0 * pace
        rows += f"{day},lobby,stems,{stems + 0.4 * rng.normal():.1f},9,,,,,\n"
        rows += f"{day},lobby,carpet,{carpet + 0.2 * rng.normal():.1f},1.5,,,,,\n"
    return rows


def test_a_slow_tank_is_found_with_its_date_and_recorded_change(tmp_path):
    header = "tank_id,from_date,co2_mg_l,note\n"
    conditions = header + "lobby,2025-01-01,22,\nlobby,2026-03-20,21,valve serviced\n"
    book = make_book(tmp_path / "b", trims=faulty_log(), conditions=conditions)
    report = watch_growth(book, date(2026, 6, 1), np.arange(2))
    # Half a year before 1 June begins on 1 December: what is usual ends on the day before.
    assert report.usual_until == date(2025, 11, 30)
    (finding,) = report.tanks[0].findings
    assert finding.kind == "tank"
    assert finding.slower
    fault = date(2026, 6, 1) - timedelta(days=7 * 10)
    assert abs((finding.since[1] - fault).days) <= 10
    assert finding.growth_share[0] < 0.45
    assert "valve serviced" in checks_for(finding)[0]
    assert checks_for(finding)[1].startswith("CO2")
    assert report.needs_attention


def checks(kind="tank", share=0.5, **facts):
    day = date(2026, 6, 1)
    shares = (share - 0.1, share, share + 0.1)
    return checks_for(Finding(kind, ("a",), "", "", "", (day,) * 3, day, shares, **facts))


def test_what_to_check_depends_on_who_and_what():
    assert checks(has_co2=True)[0].startswith("CO2")
    assert checks()[0].startswith("lamp")
    assert "cannot be told apart" in checks(alone=True)[0]
    for kind in ("tank", "area", "species"):
        assert checks(kind, 0.5) != checks(kind, 1.5)


def test_the_first_row_of_conditions_is_no_change(demo):
    assert changes_between(demo, "desk-nano", -1e6, 1e6) == []
    assert "lamp dimmed" in changes_between(demo, "lobby-stems", 20455.0, 20700.0)[-1].note


def test_a_tank_that_cannot_be_fitted_is_named(tmp_path, monkeypatch):
    """What is usual is learnt without it, and the others are judged."""
    early = (date(2026, 6, 1) - timedelta(days=days) for days in (98, 84, 70))
    moss = "".join(f"{day},home,moss,7,3,,,,,\n" for day in early)
    book = make_book(tmp_path, trims=stem_log() + moss, on=date(2026, 6, 1))
    sound = view.linearise

    def linearise(problem, block, *args):
        at, nodes = sound(problem, block, *args), block.chains.nodes
        of_moss = (nodes.area == 2) & (nodes.row >= 0)
        return replace(at, residual=np.where(of_moss, np.nan, at.residual))

    monkeypatch.setattr(view, "linearise", linearise)
    report = watch_growth(book, date(2026, 6, 1), np.array([0, 1]))
    assert report.tanks[0].status != "too few visits"
    assert list(report.not_fitted) == ["home"]
    assert plain(report)["not_fitted"] == [
        {"tank_id": "home", "why": "no growth explains the log rows of moss"}
    ]
