"""How urgent tanks are and which days are free, on nouns made by hand."""

from __future__ import annotations

from datetime import date, timedelta
from types import SimpleNamespace

import numpy as np
import pytest

from growthcast.book.checks.rounds import ClosedTime
from growthcast.fit.design import day_number
from growthcast.service.pages import overview
from growthcast.service.pages.overview import DayOff, days_off, overview_figures, tank_standings

ON = date(2026, 6, 1)


@pytest.fixture
def tanks(monkeypatch):
    """Return what stands on the page for tanks due in so many days with a risk in a week."""

    def standings(*due_and_risk):
        names = "abcdefgh"[: len(due_and_risk)]
        advice = [
            SimpleNamespace(
                tank_id=name,
                client="A",
                confidence=0.9,
                recommended_interval_d=7,
                limited_by=None,
                chosen=SimpleNamespace(year=SimpleNamespace(hours=10.0 + n, cost=20.0)),
            )
            for n, name in enumerate(names)
        ]
        dues = [
            SimpleNamespace(
                due_on=None if days is None else ON + timedelta(days=days),
                due_by="" if days is None else "chance",
                uncut=SimpleNamespace(all_within=np.array([1.0] * 7 + [1.0 - risk, 0.0])),
            )
            for days, risk in due_and_risk
        ]
        monkeypatch.setattr(overview, "ready_cases", lambda *_: (None, {1: "case"}, None))
        monkeypatch.setattr(overview, "course_of_tank", lambda one: ("course", one))
        growth = SimpleNamespace(growth=0.8)
        monkeypatch.setattr(overview, "recent_growth", lambda *_: growth)
        monkeypatch.setattr(overview, "recommend", lambda *_, briefly: advice)
        monkeypatch.setattr(overview, "tanks_due", lambda *_: dues)
        sites = np.array([f"site {name}" for name in names])

        class Tanks:
            def __len__(self):
                return len(names)

            def text(self, _):
                return sites

        fit = SimpleNamespace(design=SimpleNamespace(on_day=day_number(ON)))
        return tank_standings(SimpleNamespace(tanks=Tanks()), fit)

    return standings


@pytest.mark.parametrize(
    ("days", "risk", "state"),
    [
        (-1, 0.0, "overdue"),
        (0, 0.0, "tight"),
        (7, 0.0, "tight"),
        (8, 0.0625, "fine"),
        (8, 0.125, "tight"),
        (None, 0.5, "unplanned"),
    ],
)
def test_a_tank_is_tight_within_a_week_or_above_the_risk_that_is_agreed(tanks, days, risk, state):
    [one] = tanks((days, risk))
    assert (one.state, one.risk) == (state, risk)


def test_the_most_urgent_stand_first(tanks):
    """By state, day and then risk; a tank without a day comes last."""
    found = tanks((20, 0.0), (None, 0.25), (-1, 0.0), (3, 0.01), (3, 0.02), (-2, 0.0), (3, 0.01))
    assert "".join(one.advice.tank_id for one in found) == "fcedgab"
    assert [one.place for one in found][:2] == [5, 2]
    figures = {row["tank_id"]: row for row in overview_figures(found)}
    assert figures["b"] == {
        "tank_id": "b",
        "client": "A",
        "site": "site b",
        "state": "unplanned",
        "due_on": None,
        "due_by": "",
        "recommended_interval_d": 7,
        "limited_by": None,
        "chance_over_in_7_d": 0.25,
        "hours_per_year": 11.0,
        "cost_per_year": 20.0,
        "growth_share": 0.8,
    }
    assert figures["a"]["growth_share"] is None
    assert figures["a"]["due_on"] == "2026-06-21"


@pytest.mark.parametrize(
    ("holidays", "locale", "asked"),
    [("DE-BY", "en-GB", ("DE-BY", "holiday")), ("", "en-GB", ("GB", "worked")), ("", "de", None)],
)
def test_days_off_are_those_that_reach_into_the_time(monkeypatch, holidays, locale, asked):
    """From 1 to 11 June: both ends count, for days off and for closed times."""
    times = {
        "a": (ClosedTime(date(2026, 5, 1), date(2026, 5, 31)), ClosedTime(date(2026, 5, 1), ON)),
        "b": (ClosedTime(date(2026, 6, 11), date(2026, 7, 1)),),
        "c": (ClosedTime(date(2026, 6, 12), date(2026, 7, 1)), ClosedTime(date(2026, 5, 1), ON)),
    }
    monkeypatch.setattr(overview, "closed_times", lambda _: times)
    monkeypatch.setattr(
        overview, "wrong_region", lambda code: None if code.isupper() else "no code"
    )

    def named(region, first, last, language):
        assert (region, first, last, language) == (asked[0], ON, date(2026, 6, 11), "en")
        return {date(2026, 6, 4): "a feast"}

    monkeypatch.setattr(overview, "public_holidays", named)
    off = [date(2026, 5, 31), ON, date(2026, 6, 11), date(2026, 6, 12)]
    practice = SimpleNamespace(holidays=holidays, locale=locale, days_off=off)
    feast = [DayOff(date(2026, 6, 4), date(2026, 6, 4), asked[1], "a feast")] if asked else []
    assert days_off(SimpleNamespace(practice=practice), ON, 10, "en") == [
        DayOff(date(2026, 5, 1), ON, "closed", tanks=("a", "c")),
        DayOff(ON, ON, "off"),
        *feast,
        DayOff(date(2026, 6, 11), date(2026, 6, 11), "off"),
        DayOff(date(2026, 6, 11), date(2026, 7, 1), "closed", tanks=("b",)),
    ]
