"""What is known of tanks before their visits are planned, and what these come to, by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from types import SimpleNamespace

import numpy as np
import pytest

from growthcast.book.book import Practice
from growthcast.errors import UsageError
from growthcast.service.rounds import windows
from growthcast.service.rounds.windows import Stop, _follow, tank_windows, working_dates
from growthcast.service.urgency import Chances, TankDue, nothing_over
from tests.books import HEADER, make_book

FRIDAY = date(2026, 6, 5)


def test_dates_of_a_plan_are_working_days_that_are_not_off():
    practice = Practice(days_off=(date(2026, 6, 8),))
    assert working_dates(practice, FRIDAY, 6) == [FRIDAY, date(2026, 6, 9), date(2026, 6, 10)]
    assert working_dates(replace(practice, days_off=()), FRIDAY, 1) == [FRIDAY]
    with pytest.raises(UsageError, match=r"between 2026-06-06 and 2026-06-08.* is 2026-06-09"):
        working_dates(practice, date(2026, 6, 6), 3)
    with pytest.raises(UsageError, match=r"outside working_days in practice.toml$"):
        working_dates(replace(practice, working_days=()), FRIDAY, 3)
    feast = replace(practice, holidays="DE", days_off=())
    assert working_dates(feast, date(2026, 12, 24), 5) == [date(2026, 12, 24), date(2026, 12, 28)]
    with pytest.raises(UsageError, match="is 2026-12-28"):  # Christmas Day, and a weekend
        working_dates(feast, date(2026, 12, 25), 2)


class Standing:
    """Areas that are over with a chance of 2 % more every day since they were cut."""

    def __init__(self, after_d, cut_on):
        self.after_d, self.cut_on = after_d, cut_on
        self.chance = np.array([1.0 - 0.02 * (after_d - cut_on)])

    def later(self, days):
        return Standing(self.after_d + days, self.cut_on)


@pytest.mark.parametrize(("due_d", "when_due"), [(2, 0.06), (-4, 0.02), (9, 0.08)])
def test_a_tank_is_followed_from_visit_to_visit(monkeypatch, due_d, when_due):
    """The plan begins a day after the fit; visits on its days 3, 8 and 10 are days 4, 9 and 11."""
    asked = []

    def cut_to_last(found, days, confidence):
        asked.append((found.after_d, days, confidence.tolist()))
        cut = np.array([4.0 + len(asked)])
        began = Standing(found.after_d, found.after_d)
        return SimpleNamespace(began=began, ended=began.later(days), cut_cm=cut)

    monkeypatch.setattr(windows, "cut_to_last", cut_to_last)
    window = SimpleNamespace(due_d=due_d, interval_d=7, confidence=0.85)
    stops = _follow(Standing(0, 0), window, [3, 8, 10], 1, 19, ["a"])
    assert asked == [
        (4, 5, [0.85]),
        (9, 2, [0.85]),
        (11, 7, [0.85]),
    ]  # until the next visit; after it, an interval
    assert [stop.over for stop in stops] == pytest.approx([0.08, 0.1, 0.04, 0.18])
    # The second visit is due on day 10 and the third on 15, when they are over; the last on 17.
    assert [stop.over_when_due for stop in stops] == pytest.approx([when_due, 0.1, 0.04, 0.14])
    assert [stop.cuts for stop in stops] == [{"a": 5.0}, {"a": 6.0}, {}, {}]


@pytest.mark.parametrize(("visits", "due_d"), [([3, 8], 2), ([], 15)])
def test_the_end_of_a_plan_by_which_no_visit_is_late_is_not_worked_out(monkeypatch, visits, due_d):
    """Visited on its days 3 and 8 it is due on day 15, as the plan of fifteen days ends."""

    def cut_to_last(found, days, confidence):
        began = Standing(found.after_d, found.after_d)
        return SimpleNamespace(began=began, ended=began.later(days), cut_cm=np.array([4.0]))

    monkeypatch.setattr(windows, "cut_to_last", cut_to_last)
    window = SimpleNamespace(due_d=due_d, interval_d=7, confidence=0.85)
    *before, end = _follow(Standing(0, 0), window, visits, 1, 15, ["a"])
    assert [stop.over for stop in before] == pytest.approx([0.08, 0.1][: len(visits)])
    assert [stop.cuts for stop in before] == [{"a": 4.0}, {}][: len(visits)]
    assert end == Stop(0.0, 0.0, {})


def test_what_is_known_of_a_tank_before_its_visits_are_planned(tmp_path, monkeypatch):
    tanks = (
        "tank_id,client,site,name,water_depth_cm,longest_interval_d,visit_weekday,travel_min\n"
        "lobby,A,Hall,Big one,46,12,tue,15\nhome,B,,,34,9,,\nattic,B,,,34,8,,\n"
    )
    rows = ("06-01,lobby,stems", "06-01,lobby,carpet", "05-20,lobby,stems", "05-20,home,moss")
    trims = HEADER + "".join(f"2026-{row},9,,,,,,\n" for row in rows)
    book = make_book(tmp_path, tanks=tanks, trims=trims)
    asked = []
    over = np.array([[0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7], [0.0] * 8])
    here = Chances(1.0 - over[0], over)

    def dues(*given):
        asked.append(given[3:])
        return [
            TankDue(10, None, "", 6, "chance", None, here),
            TankDue(10, 5, "none holds", 5, "limit", None, nothing_over(7)),
            TankDue(10, 7, "cleared", None, "", None, nothing_over(7)),
        ]

    nothing = nothing_over(5)
    after = {0: Chances(here.all_within[:6], over[:, :6]), 1: nothing, 2: nothing}
    monkeypatch.setattr(windows, "tanks_due", dues)
    monkeypatch.setattr(windows, "learn_timing", lambda *_: None)
    monkeypatch.setattr(windows, "_chances_after", lambda *_: after)
    monkeypatch.setattr(windows, "closed_times", lambda _: {"home": ("shut",)})
    advice = [
        SimpleNamespace(
            tank_id=name,
            client="A",
            confidence=0.9,
            recommended_interval_d=days,
            option=lambda days: SimpleNamespace(minutes_per_visit=60.0 + days),
        )
        for name, days in (("lobby", None), ("home", None), ("attic", 8))
    ]
    places = {"stays": np.array([True, False, True]), "tank": np.array([0, 0, 0])}
    fit = SimpleNamespace(design=SimpleNamespace(on_day=-2.0, **places))
    lobby, home, attic = tank_windows(book, fit, advice, 0.0, 5)  # begins two days after the fit
    [(tanks, until_d)] = asked
    assert (tanks.tolist(), until_d) == ([0, 1, 2], 7)
    assert lobby.now.all_within.tolist() == here.all_within[2:].tolist()
    assert lobby.now.over.tolist() == over[:, 2:].tolist()
    assert lobby.after is after[0]
    assert home.now.over.shape == (0, 6)
    assert [(w.due_d, w.due_by) for w in (lobby, home, attic)] == [
        (4, "chance"),
        (3, "limit"),
        (5, "rhythm"),  # not planned: due after the plan
    ]
    # Minutes at the tank: a visit of its interval without the journey, or the fixed ones alone.
    assert (lobby.minutes, lobby.travel_min) == (70.0 - 15.0, 15.0)
    assert (home.minutes, home.travel_min) == (30.0, 20.0)
    assert [(w.limit_d, w.longest_d) for w in (lobby, home, attic)] == [
        (None, None),
        (3, 9),
        (None, None),
    ]
    assert [w.feasible for w in (lobby, home, attic)] == [False, True, True]
    assert [w.visits_logged for w in (lobby, home, attic)] == [2, 1, 0]
    assert (lobby.labels, home.labels) == (("Back stems", "Stone moss"), ())
    assert (lobby.name, lobby.weekday, home.closed) == ("Big one", "tue", ("shut",))
