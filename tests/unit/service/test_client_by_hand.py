"""What a client's page says of its tanks, on nouns made by hand."""

from __future__ import annotations

from datetime import date, timedelta
from types import SimpleNamespace

import numpy as np
import pytest

from growthcast.fit.design import build_design, day_number
from growthcast.service.advice import TankAdvice
from growthcast.service.effort.hours import Range
from growthcast.service.pages import client, contract
from growthcast.service.pages.client import TankFacts, _next_visit, _rhythms, _usual_gap_d
from growthcast.service.pages.contract import _journeys_a_visit, contract_of, longer_each
from tests.books import HEADER, make_book

ON = date(2026, 6, 1)  # a Monday


def facts(**more):
    known = {"tank_id": "a", "name": "", "site": "", "on": ON, "fixed_min": 30.0}
    return TankFacts(**known | {"advice": SimpleNamespace()} | more)


def row_of(days, feasible=True, areas=()):
    year = SimpleNamespace(visits=365 / days, hours=1000.0 / days, cost=50_000.0 / days)
    return SimpleNamespace(interval_d=days, feasible=feasible, areas=areas, year=year)


def test_a_tank_is_a_first_estimate_until_something_there_was_measured():
    bases = [SimpleNamespace(forecast=SimpleNamespace(basis=basis)) for basis in ("table", "tank")]
    assert facts(areas=tuple(bases)).first_estimate
    measured = SimpleNamespace(forecast=SimpleNamespace(basis="log"))
    assert not facts(areas=(*bases, measured)).first_estimate
    assert facts(plants_d=7).fits
    assert not facts().fits


def test_a_rhythm_costs_what_all_tanks_do_where_that_is_told():
    row = row_of(10)
    assert facts().takes(row) == (5000.0, 100.0)
    assert facts(together={10: (7.0, 8.0)}).takes(row) == (7.0, 8.0)


def test_the_review_falls_two_rhythms_after_the_next_visit():
    option, day = row_of(10), ON + timedelta(days=3)
    assert facts(option=option, next_on=day).review_on == ON + timedelta(days=23)
    assert facts(option=option).review_on is None
    assert facts(next_on=day).review_on is None


class Looks(SimpleNamespace):
    """An option that can be told anew."""


@pytest.mark.parametrize(
    ("holds", "advised", "asked", "own", "shown", "recut", "limited"),
    [
        # Up to 14 days hold and 14 are proposed: one shorter as the proposed is cut, two longer.
        ((7, 10, 14), 14, None, False, [28, 21, 14, 10], [10], False),
        ((7, 10, 14), 14, None, True, [28, 21, 14, 10], [10], True),
        ((7,), 7, None, False, [14, 10, 7], [], False),
        # Nothing holds: the shortest is proposed.
        ((), None, None, False, [14, 10, 7], [], False),
        # A shorter rhythm is asked for than the plants need: both, and one beyond.
        ((7, 10, 14), 14, 7, True, [21, 14, 10, 7], [7, 10], False),
        # A longer one, which is none of those listed: what the plants allow stands beside it.
        ((7, 10), 10, 24, False, [28, 24, 21, 14, 10], [10, 14, 21], False),
        ((7, 10, 14, 21, 28), 28, None, False, [28, 21], [21], False),
    ],
)
def test_rhythms_beside_the_proposed_one(
    monkeypatch, holds, advised, asked, own, shown, recut, limited
):
    """Those shorter than proposed and allowed are cut as that one, at their own cost."""
    listed = (7, 10, 14, 21, 28)

    def made(days):
        areas = [SimpleNamespace(cut_cm=100.0 + days)]
        return SimpleNamespace(
            interval_d=days,
            feasible=days in holds,
            areas=areas,
            year=f"{days} d",
            minutes_per_visit=days,
            minutes_range=-days,
        )

    calls = []

    def worked_out(book, fit, tank, days, cut_cm=None):
        calls.append((days, None if cut_cm is None else cut_cm.tolist()))
        return made(days), None

    def told_anew(looks, year, **mine):
        return SimpleNamespace(**vars(looks) | {"year": ("kept", year)} | mine)

    monkeypatch.setattr(client, "option_of", worked_out)
    monkeypatch.setattr(client, "replace", told_anew)
    advice = SimpleNamespace(
        options=[made(days) for days in listed],
        recommended_interval_d=advised,
        own_limit=own,
        longest_interval_d=14,
    )
    column = np.array(["for fish"])
    book = SimpleNamespace(tanks=SimpleNamespace(text=lambda _: column))
    found = _rhythms(book, "fit", 0, advice, asked)
    chosen = asked or advised or 7
    assert [row.interval_d for row in found["rows"]] == shown
    assert found["option"].interval_d == chosen
    assert found["plants_d"] == max(holds, default=None)
    assert found["asked"] == bool(holds and chosen != max(holds))
    assert found["reason"] == ("for fish" if limited else "")
    anew = [row.interval_d for row in found["rows"] if row.year[0] == "kept"]
    assert sorted(anew) == recut
    model = 100.0 + max(chosen, max(holds, default=0))
    fresh = [(chosen, None)] if chosen not in listed else []
    assert calls == fresh + [(days, [model]) for days in reversed(recut)]


def fit_on(day=ON):
    return SimpleNamespace(design=SimpleNamespace(on_day=day_number(day)))


TANKS = "tank_id,client,water_depth_cm,visit_weekday\nlobby,A,46,{}\nhome,B,34,\n"


@pytest.mark.parametrize(
    ("log", "due", "said"),
    [
        ("", ON, (None, "2026-06-02")),  # a first visit is agreed before: tomorrow at the earliest
        ("2026-06-01,lobby,stems,18,9,,,,,\n", ON, (None, "2026-06-02")),  # visited today
        ("2026-05-25,lobby,stems,18,9,,,,,\n", ON, (None, "2026-06-01")),
        ("2026-05-25,lobby,stems,18,9,,,,,\n", date(2026, 5, 29), ("2026-05-29", "2026-06-01")),
        ("2026-05-25,home,moss,8,3,,,,,\n", ON, (None, "2026-06-02")),  # of the other tank
        ("2026-05-25,lobby,stems,18,9,,,,,\n", date(2026, 8, 30), (None, "2026-08-28")),
    ],
)
def test_the_next_visit_is_on_the_last_working_day_in_time(tmp_path, log, due, said):
    book = make_book(tmp_path, tanks=TANKS.format(""), trims=HEADER + log)
    fit = SimpleNamespace(design=build_design(book, ON))
    over, on = _next_visit(book, fit, 0, due)
    assert (over and str(over), str(on)) == said


def test_a_visit_is_sought_up_to_sixty_days_after_it_is_due(tmp_path, monkeypatch):
    """Closed until July: the first Friday after that; closed all the time, as if it were not."""
    (tmp_path / "closed.csv").write_text(
        "client,tank_id,from_date,to_date\nA,,2026-05-01,2026-07-01\n"
    )
    book = make_book(tmp_path, tanks=TANKS.format("fri"), trims=HEADER)
    assert _next_visit(book, fit_on(), 0, date(2026, 6, 12)) == (None, date(2026, 7, 3))
    asked = []
    monkeypatch.setattr(
        client,
        "working_dates",
        lambda practice, start, days: asked.append((start, days)) or [start],
    )
    tomorrow = ON + timedelta(days=1)
    _next_visit(book, fit_on(), 0, date(2026, 6, 12))
    assert _next_visit(book, fit_on(), 0, date(2026, 5, 1)) == (date(2026, 5, 1), tomorrow)
    assert asked == [(tomorrow, 70), (tomorrow, 60)]


def test_the_usual_time_between_visits_is_the_middle_one(tmp_path):
    """7, 7 and 28 days of the lobby; two visits to the home are too few."""
    days = [("lobby", "stems", d) for d in ("04-20", "04-27", "05-04", "06-01")]
    days += [("home", "moss", d) for d in ("04-20", "05-04")]
    rows = "".join(f"2026-{day},{tank},{area},18,9,,,,,\n" for tank, area, day in days)
    book = make_book(tmp_path, trims=HEADER + rows)
    assert (_usual_gap_d(book, 0), _usual_gap_d(book, 1)) == (7.0, 0.0)


def test_courses_of_the_limiting_area_and_of_those_beside_it(monkeypatch):
    """From today to the first visit; then each rhythm from its own first visit on, the shortest
    first. Beside it three of the others, the likeliest to be over first."""
    seen = []

    def course(standing, area, until, visits=(), days=0, cut_cm=None):
        seen.append((area, until, list(visits)[:2], days, cut_cm))
        return len(seen)

    monkeypatch.setattr(client, "course", course)

    def areas(cut):
        chances = (0.9, 0.7, 0.95, 0.8, 0.99)
        return [SimpleNamespace(cut_cm=cut + n, chance_within=c) for n, c in enumerate(chances)]

    weekly, slower, slow = (row_of(days, areas=areas(days * 10.0)) for days in (7, 14, 28))
    first = {days: ON + timedelta(days=n) for days, n in ((7, 2), (14, 3), (28, 20))}
    known = facts(rows=(slow, slower, weekly), first_on=first, limiting=1, next_on=first[14])
    told = client._courses(known, slower, "standing")
    assert told == {
        "courses": ((None, 1), (slower, 2), (slow, 3)),
        "beside": ((3, 4), (0, 5), (2, 6)),
    }
    assert seen == [
        (1, 3, [], 0, None),
        (1, 56, [3, 17], 14, 141.0),
        (1, 56, [20, 48], 28, 281.0),
        (3, 56, [3, 17], 14, 143.0),
        (0, 56, [3, 17], 14, 140.0),
        (2, 56, [3, 17], 14, 142.0),
    ]
    today = facts(rows=(slower,), first_on={14: ON}, limiting=0, next_on=ON)
    assert [row for row, _ in client._courses(today, slower, "standing")["courses"]] == [slower]


def test_the_limiting_area_is_the_advised_or_the_first_to_be_too_tall():
    """By the middle forecast, then by the early one; never is later than any day."""
    days = [ON + timedelta(days=n) for n in range(9)]

    def area(name, *passes):
        forecast = SimpleNamespace(area_id=name, passes_budget_on=passes)
        return SimpleNamespace(forecast=forecast)

    areas = (
        area("a", days[3], None, None),
        area("b", days[2], days[6], None),
        area("c", days[1], days[6], days[8]),
    )
    assert client._limiting(SimpleNamespace(limited_by="b"), areas) == 1
    assert client._limiting(SimpleNamespace(limited_by=None), areas) == 2
    assert client._limiting(SimpleNamespace(limited_by="x"), areas[:2]) == 1


def tank_of(tank_id, days, rows, site="", own_limit=False, travel_min=20.0):
    rows = tuple(row_of(each) for each in rows)
    option = next((row for row in rows if row.interval_d == days), None)
    advice = SimpleNamespace(own_limit=own_limit, longest_interval_d=14)
    known = {"tank_id": tank_id, "site": site, "travel_min": travel_min}
    return facts(rows=rows, option=option, advice=advice, **known)


@pytest.mark.parametrize(
    ("days", "rows", "own", "longer"),
    [
        (7, (14, 7), False, 14),
        (7, (14, 7), True, 14),  # its own limit of 14 days allows it
        (7, (21, 7), True, 7),
        (14, (21, 14), False, 21),
        (14, (14, 7), False, 14),  # none is longer
    ],
)
def test_a_longer_rhythm_is_the_next_within_the_tanks_own_limit(days, rows, own, longer):
    tank, idle = tank_of("a", days, rows, own_limit=own), tank_of("b", None, ())
    [(found, row)] = longer_each([tank, idle])
    assert (found, row.interval_d) == (tank, longer)


def test_all_tanks_together_share_the_journeys_to_one_place(monkeypatch):
    """Two tanks in the hall share three journeys in four; the third tank has a place of its own.

    A year's hours at each are 1000 over its days, of which a third of an hour a visit is the road.
    """
    book = SimpleNamespace(
        practice=SimpleNamespace(labour_rate_per_h=50.0),
        tanks=SimpleNamespace(text=lambda _: np.array(["x", "a", "b", "c", "d"])),
    )
    drawn = {(1, 7): [100.0, 150.0, 170.0], (2, 14): [50.0, 60.0, 70.0], (3, 28): [1.0, 2.0, 3.0]}
    monkeypatch.setattr(
        contract, "option_of", lambda b, f, place, days: (None, np.array(drawn[place, days]))
    )
    asked = []

    def shared(book, fit, advised, rhythms):
        asked.append(rhythms)
        return 0.75 if len(rhythms) > 1 else 1.0

    monkeypatch.setattr(contract, "_journeys_a_visit", shared)
    tanks = [
        tank_of("a", 7, (14, 7), "hall"),
        tank_of("b", 14, (28, 14), "hall"),
        tank_of("c", 28, (28,), "home"),
        tank_of("d", None, ()),
    ]
    told, whole = contract_of(book, "fit", tanks)

    def hours(*days):
        visits = [365 / d for d in days]
        road = [v / 3 for v in visits]
        at = [1000.0 / d - r for d, r in zip(days, road, strict=True)]
        return sum(at) + 0.75 * (road[0] + road[1]) + road[2]

    assert whole.visits == pytest.approx(365 / 7 + 365 / 14 + 365 / 28)
    assert whole.journeys == pytest.approx(0.75 * (365 / 7 + 365 / 14) + 365 / 28)
    assert whole.hours.p50 == pytest.approx(hours(7, 14, 28))
    low, middle, high = np.quantile([151.0, 212.0, 243.0], [0.1, 0.5, 0.9])
    assert whole.hours.p10 == pytest.approx(hours(7, 14, 28) + low - middle)
    assert whole.hours.p90 == pytest.approx(hours(7, 14, 28) + high - middle)
    assert whole.hours_apart == pytest.approx(1000 / 7 + 1000 / 14 + 1000 / 28)
    assert whole.hours_longer == pytest.approx(hours(14, 28, 28))
    at_tanks = [1000 / d - 365 / d / 3 for d in (7, 14, 28)]
    assert whole.hours_at_tanks == pytest.approx((*at_tanks, 0.0))
    assert whole.cost.p50 == pytest.approx(50 * hours(7, 14, 28))
    rarer = hours(14, 14, 28)
    assert told[0].together[14] == pytest.approx((50 * rarer, rarer))
    assert told[1].together[28][1] == pytest.approx(hours(7, 28, 28))
    assert told[3].together == {}
    assert len(asked) == len(set(asked))
    assert contract_of(book, "fit", tanks[3:]) == ([tanks[3]], None)


def test_journeys_are_counted_by_a_plan_of_these_tanks_alone(monkeypatch):
    """Five visits of two tanks on three days; others in the plan are left aside."""
    advised = [SimpleNamespace(tank_id=name, options=(1,)) for name in "abc"]
    monkeypatch.setattr(
        contract, "replace", lambda one, **more: SimpleNamespace(**vars(one) | more)
    )
    plans = []

    def plan(book, fit, advice, start, weeks):
        plans.append((advice, start, weeks))
        days = [("a", 1), ("b", 1), ("a", 8), ("c", 9), ("a", 15), ("b", 15)]
        visits = [SimpleNamespace(tank_id=t, on=ON + timedelta(days=d)) for t, d in days]
        return SimpleNamespace(visits=visits)

    monkeypatch.setattr(contract, "plan_rounds", plan)

    def share(*rhythms):
        return _journeys_a_visit("book", fit_on(), lambda: advised, frozenset(rhythms))

    assert share(("a", 7)) == 1.0
    assert plans == []
    assert share(("a", 7), ("b", 14)) == 3 / 5
    [(advice, start, weeks)] = plans
    assert (start, weeks) == (ON + timedelta(days=1), 12)
    assert [one.options for one in advice] == [(1,), (1,), ()]
    assert [one.recommended_interval_d for one in advice[:2]] == [7, 14]
    assert share(("x", 7), ("y", 14)) == 1.0  # no visit is planned


def test_ranges_of_cost_are_those_of_hours():
    whole = contract.Contract(1.0, 1.0, Range(1.0, 2.0, 3.0), 2.0, 2.0, (2.0,), 50.0)
    assert whole.cost == Range(50.0, 100.0, 150.0)


@pytest.fixture
def tank(monkeypatch):
    """Return what is gathered of the second tank, its rhythms of 14 and 7 days worked out."""
    rows, asked = (row_of(14), row_of(7)), {}
    monkeypatch.setattr(client, "learn_timing", lambda *_: None)
    monkeypatch.setattr(client, "fixed_minutes", lambda *_: np.array([1.0, 40.0]))
    monkeypatch.setattr(client, "_rhythms", lambda *_: {"rows": rows, "option": rows[1]})
    monkeypatch.setattr(
        client, "_next_visit", lambda b, f, tank, due: (due, due + timedelta(days=1))
    )
    standing = SimpleNamespace(living=SimpleNamespace(area=np.array([4, 5])))
    monkeypatch.setattr(client, "standing_areas", lambda *_: standing)
    monkeypatch.setattr(client, "forecast_growth", lambda *_: "forecasts")
    monkeypatch.setattr(client, "_areas", lambda f, places, *_: tuple(places))
    monkeypatch.setattr(client, "_limiting", lambda *_: 1)
    monkeypatch.setattr(client, "_usual_gap_d", lambda *_: 9.0)
    monkeypatch.setattr(client, "_courses", lambda *_: {"courses": ("a course",)})

    def dues(book, fit, advice, tanks):
        asked["rhythms"] = [
            (one.recommended_interval_d, tank) for one, tank in zip(advice, tanks, strict=True)
        ]
        return [SimpleNamespace(due_on=ON + timedelta(days=n)) for n in (9, 2)]

    monkeypatch.setattr(client, "tanks_due", dues)
    columns = {"name": np.array(["", "Big"]), "site": np.array(["", "Hall"])}
    book = SimpleNamespace(
        tanks=SimpleNamespace(text=columns.__getitem__),
        of_tanks=lambda _: np.array([1.0, 25.0]),
        practice=SimpleNamespace(horizon_d=90),
    )

    def gathered(planned=(), every_d=None, **changes):
        advice = TankAdvice(
            **{
                "tank_id": "b",
                "client": "A",
                "recommended_interval_d": 7,
                "limited_by": None,
                "longest_interval_d": 28,
                "own_limit": False,
                "confidence": 0.9,
                "options": (SimpleNamespace(areas=("one",)),),
            }
            | changes
        )
        monkeypatch.setattr(client, "recommend", lambda *_, full: [advice])
        return client.gather_tank(book, fit_on(), 1, every_d, planned), asked

    return gathered


def test_a_page_gathers_each_rhythms_first_visit_and_the_next_one(tank):
    """The proposed rhythm's next visit is the first planned from today on, if one is."""
    found, asked = tank()
    assert asked["rhythms"] == [(14, 1), (7, 1)]
    assert (found.name, found.site, found.fixed_min, found.travel_min) == (
        "Big",
        "Hall",
        40.0,
        25.0,
    )
    assert found.due_on == ON + timedelta(days=2)
    assert found.next_on == ON + timedelta(days=3)
    assert found.first_on == {14: ON + timedelta(days=10), 7: ON + timedelta(days=3)}
    assert (found.areas, found.limiting, found.now_d, found.courses) == (
        (4, 5),
        1,
        9.0,
        ("a course",),
    )
    days = [ON + timedelta(days=n) for n in (-1, 0, 8)]
    for planned, first in ((days, ON), (days[2:], days[2]), (days[:1], found.next_on)):
        page, _ = tank(planned)
        assert (page.next_on, page.first_on[7]) == (first, first)
    assert tank(every_d=7)[0].due_on is None


def test_a_page_of_a_tank_in_which_nothing_grows_or_holds_has_no_rhythm(tank):
    for changes in ({"options": ()}, {"not_holding": ("one",)}):
        found, _ = tank(**changes)
        assert (found.rows, found.option, found.next_on, found.areas) == ((), None, None, ())
        assert found.name == "Big"


def test_areas_are_told_by_their_plant_and_forecast(monkeypatch):
    """Their forecasts stand in another order; a plant without a scientific name goes by its id."""
    speed = np.array([[1.0, 2.0, 3.0], [4.0, 5.0, 6.0]])
    monkeypatch.setattr(client, "growth_a_week", lambda fit, places: speed)
    names = {"scientific_name": ["S. s", ""], "common_name": ["s", "m"], "caution": ["", "spreads"]}
    names["species_id"] = ["stem", "moss"]
    priors = SimpleNamespace(**{name: np.array(told) for name, told in names.items()})
    species = np.array([9, 9, 9, 9, 0, 9, 9, 1])
    fit = SimpleNamespace(design=SimpleNamespace(priors=priors, species=species))
    forecasts = [SimpleNamespace(area_id=name) for name in "zyx"]
    areas = [SimpleNamespace(area_id=name, label=f"area {name}", unit="cm") for name in "xy"]
    option = SimpleNamespace(areas=areas)
    first, second = client._areas(fit, np.array([4, 7]), option, forecasts)
    assert (first.label, first.plant, first.common_name, first.caution) == (
        "area x",
        "S. s",
        "s",
        "",
    )
    assert (second.label, second.plant, second.caution) == ("area y", "moss", "spreads")
    assert (first.forecast, second.forecast) == (forecasts[2], forecasts[1])
    assert second.speed.tolist() == [4.0, 5.0, 6.0]
