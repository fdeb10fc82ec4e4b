"""Due windows and plans of small books: what is due, what is shared, what is lost."""

from __future__ import annotations

from datetime import date, timedelta
from itertools import pairwise
from types import SimpleNamespace

import numpy as np
import pytest

from growthcast.errors import UsageError
from growthcast.fit.design import day_number
from growthcast.fit.growth import fit_growth
from growthcast.forecast.heights import forecast_heights
from growthcast.say.rounds import rounds_notes
from growthcast.service.interval import interval_options
from growthcast.service.living import living_areas
from growthcast.service.recommend import recommend
from growthcast.service.rounds.plan import plan_rounds
from growthcast.service.rounds.windows import Stop, follow_visits, tank_windows
from tests.books import AREAS, PRACTICE, make_book, stem_log

ON = date(2026, 6, 1)  # a Monday
SITES = (
    "tank_id,client,site,water_depth_cm,longest_interval_d,visit_weekday\n"
    "lobby,Client A,Hall,46,,{}\nhome,{},{},34,,{}\n"
)
TANKS = SITES.format("", "Client B", "", "")


def planned(folder, *, rounds="", tanks=TANKS, start=ON + timedelta(days=1), weeks=3, **files):
    book = make_book(folder, practice=PRACTICE + rounds, tanks=tanks, **files)
    fit = fit_growth(book, ON)
    return plan_rounds(book, fit, recommend(book, fit), start, weeks)


@pytest.fixture(scope="module")
def windows(tmp_path_factory):
    trims = stem_log() + "2026-06-01,lobby,carpet,4,1.5,,,,,\n2026-06-01,home,moss,6,3,,,,,\n"
    book = make_book(tmp_path_factory.mktemp("book"), tanks=TANKS, trims=trims)
    fit = fit_growth(book, ON)
    advice = recommend(book, fit)
    return fit, advice, tank_windows(book, fit, advice, day_number(ON), 28)


def test_chances_now_are_those_of_the_forecast(windows):
    fit, _, (lobby, home) = windows
    days = np.arange(0, 29, 7)
    for window, areas in ((lobby, [0, 1]), (home, [2])):
        told = forecast_heights(fit, np.array(areas), day_number(ON) + days.astype(float))
        np.testing.assert_allclose(window.now.over[:, days], told.chance_over_budget, atol=0.03)


def test_a_tank_in_which_nothing_grows_stands_at_nothing_at_every_stop():
    """One stop a visit and one for the end of the plan; nothing there can be over its budget."""
    nothing = SimpleNamespace(
        stays=np.zeros(1, bool), tank=np.zeros(1, int), tank_id=np.array(["lobby", "home"])
    )
    stops = follow_visits(SimpleNamespace(design=nothing), [None] * 2, [[3, 10], []], 0, 28)
    assert stops == [[Stop(0.0, 0.0, {})] * 3, [Stop(0.0, 0.0, {})]]


def test_chances_after_a_hard_cut_are_those_of_the_forecast(tmp_path):
    """A low budget, passed while the pause still counts."""
    trims = stem_log() + "2026-06-02,lobby,stems,9,2,,,,,\n"
    areas = AREAS.replace("400,7,22,9", "400,7,8,7.5")
    book = make_book(tmp_path, tanks=TANKS, areas=areas, trims=trims)
    on = ON + timedelta(days=1)
    fit = fit_growth(book, on)
    [lobby, _] = tank_windows(book, fit, recommend(book, fit), day_number(on), 28)
    days = np.arange(0, 29, 7)
    told = forecast_heights(fit, np.array([0]), day_number(on) + days.astype(float))
    np.testing.assert_allclose(lobby.now.over[:1, days], told.chance_over_budget, atol=0.03)


def test_chances_after_a_visit_are_those_of_the_interval(windows):
    fit, advice, (lobby, _) = windows
    days = advice[0].recommended_interval_d
    option = interval_options(living_areas(fit, np.array([0])), days, np.array([0.9]))
    assert lobby.after.all_within[days] == pytest.approx(option.chance_all_within[0], abs=2e-3)
    np.testing.assert_allclose(1 - lobby.after.over[:, days], option.chance_within, atol=2e-3)


def test_the_first_visit_is_due_when_the_joint_chance_falls(windows):
    _, _, (lobby, home) = windows
    for window in (lobby, home):
        within = window.now.all_within
        assert within[window.due_d] >= window.confidence > within[window.due_d + 1]
        assert (np.diff(within) <= 0).all()
        assert (np.diff(window.now.lost()) >= 0).all()


def test_areas_of_a_tank_are_over_together(windows):
    _, _, (lobby, _) = windows
    apart = np.prod(1 - lobby.now.over, axis=0)
    worst = 1 - lobby.now.over.max(axis=0)
    assert (lobby.now.all_within <= worst + 1e-9).all()
    assert (lobby.now.all_within >= apart - 0.05).all()


def test_with_hours_enough_nothing_is_late(tmp_path):
    plan = planned(tmp_path)
    assert not [note for note in rounds_notes(plan) if "overdue when the plan begins" in note]
    assert plan.visits
    assert not plan.late
    assert plan.area_days_over == 0.0
    assert all(visit.days_late == 0 for visit in plan.visits)
    assert all(visit.on.weekday() < 5 for visit in plan.visits)
    assert all(plan.start <= visit.on <= plan.end for visit in plan.visits)


def test_tanks_of_one_place_share_the_journey(tmp_path):
    same = SITES.format("", "Client A", "Hall", "")
    rounds = '[rounds]\nworking_days = ["mon"]\n'
    together, apart = (
        planned(tmp_path / str(n), tanks=tanks, rounds=rounds, start=ON + timedelta(days=7))
        for n, tanks in enumerate((same, TANKS))
    )
    for plan, shared in ((together, True), (apart, False)):
        joint = {day for day in plan.dates if sum(v.on == day for v in plan.visits) == 2}
        assert joint
        for day in joint:
            here = [visit for visit in plan.visits if visit.on == day]
            assert sorted(visit.travel_min for visit in here) == ([0, 20] if shared else [20, 20])
            total = sum(visit.minutes + visit.travel_min for visit in here)
            assert plan.minutes_per_day[plan.dates.index(day)] == pytest.approx(total)


def test_too_few_hours_stretch_the_tank_that_loses_least(tmp_path):
    """One visit a working day, and one working day a week: the plants that lose more go first."""
    rounds = '[rounds]\nworking_days = ["wed"]\nhours_per_day = 1.2\n'
    plan = planned(tmp_path, rounds=rounds, trims=stem_log(before=21.5), weeks=4)
    assert plan.late
    assert all(minutes <= 72 + 1e-6 for minutes in plan.minutes_per_day)
    for one in plan.late:
        assert one.days_late > 0
        came = one.on or plan.end + timedelta(days=1)  # none: late until the plan is over
        assert came - one.due_on == timedelta(days=one.days_late)
        assert one.chance_over >= one.chance_over_when_due
        assert one.area in {"Back stems", "Front carpet", "Stone moss"}
    assert plan.area_days_over == pytest.approx(sum(one.area_days_over for one in plan.late))
    more = planned(
        tmp_path / "more", rounds=rounds.replace("1.2", "8"), trims=stem_log(before=21.5)
    )
    assert more.area_days_over <= plan.area_days_over


def test_it_is_told_whether_hours_or_days_are_wanting(tmp_path):
    tanks = TANKS.replace("lobby,Client A,Hall,46,,", "lobby,Client A,Hall,46,5,")
    days = planned(tmp_path / "days", rounds='[rounds]\nworking_days = ["fri"]\n', tanks=tanks)
    lobby = [one for one in days.late if one.tank_id == "lobby"]
    assert lobby
    assert not any(one.for_want_of_hours for one in lobby)
    assert any(one.past_own_limit for one in lobby)
    short = '[rounds]\nworking_days = ["fri"]\nhours_per_day = 1.2\n'
    hours = planned(tmp_path / "hours", rounds=short, tanks=tanks)
    unplanned = [one for one in hours.late if one.on is None]
    assert unplanned
    assert all(one.for_want_of_hours for one in unplanned)


def test_a_fixed_weekday_is_kept(tmp_path):
    plan = planned(tmp_path, tanks=SITES.format("thu", "Client B", "", "tue"), weeks=4)
    days = {"lobby": 3, "home": 1}
    assert {visit.tank_id for visit in plan.visits} == set(days)
    assert all(visit.on.weekday() == days[visit.tank_id] for visit in plan.visits)


def test_a_fixed_weekday_that_nobody_works_is_told(tmp_path):
    plan = planned(tmp_path, tanks=SITES.format("sun", "Client B", "", ""))
    assert any("lobby is to be visited on a Sunday" in note for note in rounds_notes(plan))
    assert any(visit.tank_id == "lobby" for visit in plan.visits)


def test_days_off_are_kept_and_a_plan_of_nothing_else_is_refused(tmp_path):
    off = [ON + timedelta(days=n) for n in range(1, 22)]
    some = f"[rounds]\ndays_off = [{', '.join(map(str, off[:7]))}]\n"
    plan = planned(tmp_path / "some", rounds=some)
    assert all(visit.on not in off[:7] for visit in plan.visits)
    every = f"[rounds]\ndays_off = [{', '.join(map(str, off))}]\n"
    with pytest.raises(UsageError, match="the first working day after it is 2026-06-23"):
        planned(tmp_path / "every", rounds=every)


def test_a_visit_longer_than_a_day_is_planned_alone_and_told(tmp_path):
    plan = planned(tmp_path, rounds="[rounds]\nhours_per_day = 0.5\n")
    assert any(
        "longer" in note or "planned alone on its day" in note for note in rounds_notes(plan)
    )
    assert plan.visits
    assert len({visit.on for visit in plan.visits}) == len(plan.visits)


def test_a_tank_in_which_nothing_grows_keeps_its_rhythm(tmp_path):
    areas = AREAS.replace("3,2025-01-01,\n", "3,2025-01-01,2026-03-01\n")
    tanks = TANKS.replace("home,Client B,,34,,", "home,Client B,,34,10,")
    plan = planned(tmp_path, areas=areas, tanks=tanks, weeks=4)
    home = [visit for visit in plan.visits if visit.tank_id == "home"]
    assert len(home) >= 2
    assert all(visit.chance_over == 0.0 for visit in home)
    gaps = [(b.on - a.on).days for a, b in pairwise(home)]
    assert all(gap <= 10 for gap in gaps)


def test_a_visit_keeps_its_number_when_the_one_before_is_logged(tmp_path):
    """The log grows by the first planned visit: the second one is told as the same event."""
    plan = planned(tmp_path / "a", weeks=4)
    first, second, *_ = [visit for visit in plan.visits if visit.tank_id == "lobby"]
    log = stem_log() + f"{first.on},lobby,stems,17.0,9.0,,,,,\n"
    book = make_book(tmp_path / "b", practice=PRACTICE, tanks=TANKS, trims=log)
    fit = fit_growth(book, first.on)
    again = plan_rounds(book, fit, recommend(book, fit), first.on + timedelta(days=1), 4)
    assert next(v for v in again.visits if v.tank_id == "lobby").number == second.number
