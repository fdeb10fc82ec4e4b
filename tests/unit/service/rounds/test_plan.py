"""Due windows and plans of small books: what is due, what is shared, what is lost."""

from __future__ import annotations

from datetime import date, timedelta
from itertools import pairwise
from types import SimpleNamespace

import numpy as np
import pytest

from growthcast.book.book import Practice
from growthcast.book.checks.rounds import ClosedTime
from growthcast.errors import UsageError
from growthcast.fit.design import day_number
from growthcast.fit.growth import fit_growth
from growthcast.forecast.heights import forecast_heights
from growthcast.say.rounds import rounds_notes
from growthcast.service.interval import interval_options
from growthcast.service.living import living_areas
from growthcast.service.recommend import recommend
from growthcast.service.rounds import plan as plans
from growthcast.service.rounds.plan import PlannedVisit, _allowed, _sites, _visits, plan_rounds
from growthcast.service.rounds.solve import solve_rounds
from growthcast.service.rounds.windows import Stop, follow_visits, tank_windows
from growthcast.service.urgency import Chances
from tests.books import AREAS, PRACTICE, make_book, stem_log

ON = date(2026, 6, 1)  # a Monday
SITES = (
    "tank_id,client,site,water_depth_cm,longest_interval_d,visit_weekday\n"
    "lobby,Client A,Hall,46,,{}\nhome,{},{},34,,{}\n"
)
TANKS = SITES.format("", "Client B", "", "")


def window(tank_id, *, days=14, **changes):
    """Make a tank of two areas; with each day 1 % is over more of one, and 5 % of the other."""
    later = np.arange(days + 1.0)
    over = np.stack([0.01 * later, np.full(days + 1, 0.05)])
    known = {
        "client": "A",
        "site": "Hall",
        "name": "",
        "due_d": 2,
        "due_by": "chance",
        "interval_d": 7,
        "limit_d": None,
        "longest_d": None,
        "minutes": 30.0,
        "travel_min": 20.0,
        "weekday": "",
        "closed": (),
        "visits_logged": 4,
        "labels": ("x", "y"),
        "idle": "",
        "now": Chances(np.ones(days + 1), over),
        "after": Chances(np.ones(days + 1), 0.5 * over[::-1]),
    }
    return SimpleNamespace(tank_id=tank_id, **known | changes)


def test_a_visit_is_late_by_the_days_after_it_was_due():
    for due, late in ((ON, 3), (ON + timedelta(days=5), 0)):
        visit = PlannedVisit(ON + timedelta(days=3), "a", "", "", 1, 30.0, 20.0, due, 0.1)
        assert visit.days_late == late


def test_a_tank_is_visited_on_its_weekday_where_somebody_works_on_it_and_nobody_is_shut_out():
    dates = [ON + timedelta(days=n) for n in (0, 1, 2, 7, 8)]  # from a Monday on
    shut = (ClosedTime(ON + timedelta(days=2), ON + timedelta(days=7)),)
    for weekday, closed, may in (
        ("", (), [1, 1, 1, 1, 1]),
        ("mon", (), [1, 0, 0, 1, 0]),
        ("mon", shut, [1, 0, 0, 0, 0]),
        ("sun", shut, [1, 1, 0, 0, 1]),
    ):
        assert _allowed(window("a", weekday=weekday, closed=closed), dates).tolist() == may


def test_tanks_of_one_client_and_site_share_the_journey():
    tanks = (("A", "Hall"), ("", ""), ("A", "Bar"), ("A", "Hall"), ("", ""), ("B", ""), ("B", ""))
    named = [window(str(n), client=c, site=s) for n, (c, s) in enumerate(tanks)]
    assert _sites(named).tolist() == [0, 1, 2, 0, 3, 4, 4]


def test_visits_and_what_those_lose_that_come_late():
    """Visited on days 3 and 9 of 14, due by day 1 at first and then every four days.

    Before the first visit 0.05 + 0.01 a day is over on each day, so that from day 1 to day 3 are
    lost 0.06 + 0.07; after one half of it, and from its 4th to its 6th day 0.045 + 0.05.
    """
    one = window("one", due_d=1, interval_d=4, limit_d=2, longest_d=5)
    way = [Stop(0.1 * n, 0.01 * n, {"x": float(n)}) for n in range(3)]
    offsets = np.array([0, 2, 3, 9, 12])
    all_days = np.ones(5, dtype=bool)
    visits, late = _visits([one], [[3, 9]], [way], ON, offsets, [all_days])
    days = [ON + timedelta(days=n) for n in range(15)]
    assert [(v.on, v.due_on, v.next_on, v.number) for v in visits] == [
        (days[3], days[1], days[9], 5),
        (days[9], days[7], None, 6),
    ]
    assert [(v.chance_over, v.due_by, v.cuts) for v in visits] == [
        (0.0, "chance", {"x": 0.0}),
        (0.1, "rhythm", {"x": 1.0}),
    ]
    first, second, third = sorted(late, key=lambda one: one.due_on)
    assert [one.on for one in (first, second, third)] == [days[3], days[9], None]
    assert [one.days_late for one in (first, second, third)] == [2, 2, 1]
    assert [one.area_days_over for one in (first, second, third)] == pytest.approx(
        [0.06 + 0.07, 0.045 + 0.05, 0.045]
    )
    assert list(late) == [first, second, third]  # what loses most comes first
    # On day 3 before any visit 5 % of "y" are over, and 3 % of "x"; later "x" is halved 5 %.
    assert [one.area for one in (first, second, third)] == ["y", "y", "x"]
    assert [one.chance_over_when_due for one in (first, second, third)] == [0.0, 0.01, 0.02]
    # No visit earlier than half of the interval after the last: days 5 to 8, and 11 to 13.
    assert [one.for_want_of_hours for one in (first, second, third)] == [True, False, True]
    assert [one.past_own_limit for one in (first, second, third)] == [True, True, False]
    assert not _visits([one], [[1, 5, 9, 13]], [way + way[:2]], ON, offsets, [all_days])[1]


def test_a_tank_that_is_due_as_the_plan_ends_is_not_late_and_an_overdue_one_is_from_its_start():
    all_days, way = np.ones(2, dtype=bool), [Stop(0.0, 0.0, {})] * 2
    for due, late_d in ((14, []), (13, [1]), (-3, [14])):
        _, late = _visits(
            [window("a", due_d=due)], [[]], [way[:1]], ON, np.array([0, 7]), [all_days]
        )
        assert [one.days_late for one in late] == late_d
        assert not any(one.past_own_limit for one in late)
    nothing = Chances(np.ones(5), np.zeros((0, 5)))
    idle = window("a", due_by="limit", idle="none holds", interval_d=3, now=nothing, after=nothing)
    visits, late = _visits([idle], [[0]], [way], ON, np.array([0, 1]), [all_days])
    assert [one.due_by for one in (*visits, *late)] == ["limit", "limit"]
    assert not late[0].for_want_of_hours  # it cannot be visited again before day 2
    assert (late[0].area, late[0].area_days_over) == (None, 0.0)


def test_a_plan_of_tanks_at_one_place_and_of_one_that_fills_a_day(tmp_path, monkeypatch):
    """A week of two hours a day, known three days before it begins; the log ends on a Friday.

    Two tanks are due on Wednesday at one place, 20 and 25 minutes away. One of 500 minutes fills
    Thursday. The last was due last week, and nobody is there on Monday: a day late weighs 0.02 and
    what is over on it. Its next visit but one is due when the plan is over.
    """
    late = Chances(np.ones(8), np.full((1, 8), 0.1))
    calm = Chances(np.ones(8), np.zeros((1, 8)))
    shut = (ClosedTime(ON, ON),)
    known = [
        window("one", days=7, now=late, after=calm),
        window("two", days=7, now=late, after=calm, minutes=40.0, travel_min=25.0),
        window("long", days=7, now=late, after=calm, minutes=500.0, due_d=3, client="B"),
        window(
            "shut", days=7, now=late, after=calm, client="C", due_d=-2, interval_d=3, closed=shut
        ),
    ]
    asked = []

    def follow(fit, windows, visited, first_d, days):
        asked.append((visited, first_d, days))
        return [[Stop(0.0, 0.0, {})] * (len(its) + 1) for its in visited]

    def of_tanks(book, fit, advice, from_day, days):
        asked.append((from_day, days))
        return known

    def solved(problem):
        asked.append((problem.capacity_min.tolist(), problem.work_min.tolist()))
        assert problem.travel_min.tolist() == [25.0, 20.0, 20.0]
        return solve_rounds(problem)

    monkeypatch.setattr(plans, "tank_windows", of_tanks)
    monkeypatch.setattr(plans, "solve_rounds", solved)
    monkeypatch.setattr(plans, "follow_visits", follow)
    book = SimpleNamespace(practice=Practice(hours_per_day=2.0))
    fit = SimpleNamespace(design=SimpleNamespace(on_day=day_number(ON) - 3))
    plan = plan_rounds(book, fit, [], ON, 1)
    assert asked == [
        (day_number(ON), 7),
        ([120.0] * 5, [30.0, 40.0, 100.0, 30.0]),
        ([[2], [2], [3], [1, 4]], 3, 7),
    ]
    assert (plan.on, plan.start, plan.end) == (ON - timedelta(days=3), ON, ON + timedelta(days=6))
    assert plan.minutes_per_day == (0.0, 50.0, 30.0 + 40.0 + 25.0, 520.0, 50.0)
    assert [(v.tank_id, v.travel_min) for v in plan.visits] == [
        ("shut", 20.0),
        ("one", 25.0),
        ("two", 0.0),
        ("long", 20.0),
        ("shut", 20.0),
    ]
    assert plan.weighed_loss == pytest.approx(0.1 + 0.02)
    [one] = plan.late
    assert (one.tank_id, one.days_late, one.for_want_of_hours) == ("shut", 1, False)
    assert plan.area_days_over == pytest.approx(0.1)
    assert plan.hours_per_day == 2.0
    assert plan.days[1] == {"date": ON + timedelta(days=1), "minutes": 50.0}


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
