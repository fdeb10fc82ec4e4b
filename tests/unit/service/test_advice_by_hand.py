"""Which interval is chosen, what limits it and what is said of it, on nouns made by hand."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from growthcast.book.book import area_label
from growthcast.errors import UsageError
from growthcast.plain import plain
from growthcast.service import compared
from growthcast.service import recommend as module
from growthcast.service.advice import Certainty, Option, TankAdvice, cut_limit
from growthcast.service.advice import NextLonger as Longer
from growthcast.service.compared import compare, falling_short
from growthcast.service.effort.hours import Range, Saving
from growthcast.service.interval import interval_options, needed_budgets
from growthcast.service.recommend import _limits
from tests.unit.service.made import made_areas


@pytest.mark.parametrize("briefly", [False, True])
def test_the_longest_before_the_first_that_fails_is_chosen_within_a_tanks_cap(monkeypatch, briefly):
    """Intervals of 5, 7, 14 and 21 days; 5 is a cap of one tank, and of no other."""
    holds = {  # by tank: cap, those that hold, then what is chosen and what fails next
        "all hold": (28, (5, 7, 14, 21), 21, 0),
        "cap": (14, (5, 7, 14, 21), 14, 0),
        "one fails": (28, (5, 7), 7, 14),
        "a shorter one fails": (28, (7, 21), 7, 14),
        "none": (28, (), 0, 7),
        "short cap": (5, (5, 7, 14), 5, 0),
        "short cap fails": (5, (), 0, 5),
    }
    living = made_areas((1,) * 7, draws=8)
    living = replace(living, tank=np.arange(7))
    worked_out = []

    def option(some, days, wanted):
        assert wanted.tolist() == (0.1 * some.tank).tolist()
        feasible = np.array([days in [*holds.values()][tank][1] for tank in some.tank])
        worked_out.append((days, some.tank.tolist()))
        return SimpleNamespace(living=some, feasible=feasible)

    monkeypatch.setattr(compared, "interval_options", option)
    caps = np.array([cap for cap, *_ in holds.values()], dtype=float)
    options, chosen, failing = compare(living, {7, 14, 21}, caps, 0.1 * np.arange(7), briefly)
    assert [*options] == [5, 7, 14, 21]
    assert chosen.tolist() == [days for *_, days, _ in holds.values()]
    assert failing.tolist() == [days for *_, days in holds.values()]
    going = [[5, 6], [0, 1, 2, 3, 4], [0, 1, 2, 3], [0]]  # those that held all shorter ones
    tanks = going if briefly else [[*range(7)]] * 4
    assert worked_out == [*zip((5, 7, 14, 21), tanks, strict=True)]


def option_of(living, cut, chance, short):
    return SimpleNamespace(
        living=living,
        cut_cm=np.array(cut),
        chance_within=np.array(chance),
        falls_short=np.array(short),
    )


def test_areas_that_fall_short_come_first_to_worst():
    """Of those at their least cut the likeliest to be over; none short, the likeliest alone."""
    living = made_areas((1, 4), draws=8)  # least cuts of 8, 6.5, 8, 7.5 and 8 cm
    cut = [9.0, 6.5, 8.0, 7.6, 8.0]
    chance = [0.1, 0.7, 0.6, 0.2, 0.5]
    short = [True, True, True, True, False]
    assert falling_short(option_of(living, cut, chance, short), 1).tolist() == [2, 1, 3]
    lone = [True] + [False] * 4
    assert falling_short(option_of(living, cut, chance, lone), 1).tolist() == [4]
    assert falling_short(option_of(living, cut, chance, short), 0).tolist() == [0]
    # The fourth is at its least cut, short and all but sure: it comes after the sole other.
    lone = [False, False, True, False, True]
    assert falling_short(option_of(living, cut, [0, 0, 0.9, 0, 0.2], lone), 1).tolist() == [4, 2]


def test_areas_are_limits_with_the_budgets_that_would_do():
    """By their places in the book, 3 to 5; briefly no budgets are sought."""
    living = made_areas((2, 1), draws=64, budget_cm=np.full(3, 12.0))
    option = interval_options(living, 14, np.array([0.8, 0.9]))
    budgets = needed_budgets(living, 14, option.confidence, option.falls_short)
    assert (budgets > 12.0).any()
    found, told = _limits(option, False), _limits(option, True)
    assert [*found] == [*told] == [2, 5]
    for run, tank in enumerate((2, 5)):
        places = falling_short(option, run)
        assert [*found[tank]] == [*told[tank]] == (3 + places).tolist()
        assert [*found[tank].values()] == budgets[places].tolist()
        assert {*told[tank].values()} == {12.0}


def test_areas_are_told_by_label_and_unit():
    columns = {"label": np.array(["Back", ""]), "area_id": np.array(["a1", "a2"])}
    book = SimpleNamespace(areas=SimpleNamespace(text=columns.__getitem__))
    assert [area_label(book.areas, n) for n in (0, 1)] == ["Back", "a2"]


def test_a_cut_is_limited_where_the_lowest_lies_above_the_floor():
    design = SimpleNamespace(
        traits=SimpleNamespace(floor_cm=np.array([5.0, 5.0]), lowest_cut_cm=np.array([7.0, 4.0])),
        area_id=np.array(["a", "b"]),
        species_id=np.array(["s"]),
        species=np.array([0, 0]),
        is_cover=np.array([True, False]),
    )
    fit = SimpleNamespace(design=design, lowest_cut_cm=np.array([6.0, 5.0]))
    limit = cut_limit(fit, 0)
    assert (limit.species_id, limit.table_cm, limit.limit_cm) == ("s", 7.0, 6.0)
    assert cut_limit(fit, 1) is None


def area_advice(label, needed, least=8.0):
    return SimpleNamespace(
        label=label, cut_needed_cm=needed, least_cut_cm=least, days_below_floor=2.34
    )


def option_at(days, chance, presentable, hours, areas=()):
    return SimpleNamespace(
        interval_d=days,
        chance_all_within=chance,
        share_of_days_presentable=presentable,
        visits_over_per_year=(1 - chance) * 365 / days,
        year=SimpleNamespace(hours=hours, cost=50 * hours),
        areas=areas,
    )


def test_the_next_longer_interval_is_compared_with_the_chosen_one():
    """A tenth of a year's days lost, 20 h and 1,000 saved; who is bare, who is lost."""
    areas = (area_advice("A", 8.0), area_advice("B", 7.994), area_advice("C", None))
    longer = option_at(14, 0.7, 0.8, 60.0, areas)
    saved = Saving(Range(1.0, 2.0, 3.0), Range(50.0, 100.0, 150.0))
    told = Longer.against(option_at(7, 0.95, 0.9, 80.0), longer, saved)
    assert told.presentable_days_lost == pytest.approx(36.5)
    assert (told.hours_saved, told.cost_saved) == (20.0, 1000.0)
    assert [area.label for area in told.bare_areas] == ["B"]
    assert told.lost_areas == ("C",)
    said = plain(told)
    assert said["bare_areas"] == [{"label": "B", "cut_cm": 7.99, "days_below_floor": 2.3}]
    assert said["hours_saved_range"] == {"p10": 1.0, "p50": 2.0, "p90": 3.0}
    assert said["visits_over_per_year"] == 7.8  # 0.3 of 26 visits


def test_visits_over_are_the_share_of_a_years_visits_that_fails():
    year = SimpleNamespace(visits=26.0)
    option = Option(14, True, 0.9, 0.95, 0.8, 0.1, 60.0, Range(40.0, 59.0, 90.0), year)
    assert option.visits_over_per_year == pytest.approx(2.6)
    assert option.mean_visit == Range(40.0, 60.0, 90.0)


def advice(options=(), **more):
    known = {
        "tank_id": "a",
        "client": "A",
        "recommended_interval_d": 14,
        "limited_by": None,
        "longest_interval_d": 14,
        "own_limit": False,
        "confidence": 0.9,
        "listed_d": (7, 14, 21),
    }
    made = tuple(SimpleNamespace(interval_d=d, areas=("one", "two")) for d in options)
    return TankAdvice(**known | {"options": made} | more)


@pytest.mark.parametrize(
    ("made", "said"),
    [
        (advice(), "nothing grows"),
        (advice((7,), not_holding=("one", "two")), "none holds"),
        (advice((7,), not_holding=("one",), fails_at_d=14), "the plants"),
        (advice((7,)), "its own limit"),
        (advice((7,), listed_d=(7, 14)), "the longest listed"),
    ],
)
def test_what_sets_an_interval(made, said):
    assert made.set_by == said
    assert made.nothing_holds == (said == "none holds")


def test_the_next_visit_is_at_the_recommended_interval_else_at_the_shortest():
    assert advice((7, 14), recommended_interval_d=14).next_in_d == 14
    assert advice((3,), recommended_interval_d=None, listed_d=(3, 7, 14)).next_in_d == 3
    assert advice(recommended_interval_d=14, listed_d=()).next_in_d == 14  # nothing grows


def test_the_option_worked_to_is_the_recommended_or_the_first():
    assert advice((7, 14, 21)).chosen.interval_d == 14
    assert advice((7, 14), recommended_interval_d=None).chosen.interval_d == 7
    assert advice().chosen is None
    with pytest.raises(UsageError, match=r"21 days are not among those asked: \[7, 14\]"):
        advice((7, 14)).option(21)


def test_no_interval_at_all_is_told_as_none():
    said = plain(Certainty(0.5, {0: 0.25, 7: 0.75}))
    assert said["best_interval_d"] == {"none": 0.25, "7": 0.75}
    assert said["best_interval_d_from_floor"] is None


def test_doubtful_plants_are_told_of_their_own_tank(monkeypatch):
    """Chances of 0.5 and more are not doubted; each tank is asked about all of its living areas."""
    tanks = SimpleNamespace(
        text=lambda name: np.array(["a", "b"]), number=lambda name: np.array([np.nan, 14.0])
    )
    book = SimpleNamespace(tanks=tanks, of_tanks=lambda name: np.array([28.0, 14.0]))
    design = SimpleNamespace(stays=np.array([True, True, False, True]), tank=np.array([0, 1, 1, 1]))
    chances = SimpleNamespace(chance=np.array([0.9, 0.49, 0.5]))
    monkeypatch.setattr(module, "holding_of", lambda book, fit, areas: chances)
    monkeypatch.setattr(module, "not_holding", lambda book, fit, tank, mine: (tank, mine.tolist()))
    said = module._said(book, SimpleNamespace(design=design))
    assert "not_holding" not in said[0]
    assert said[1]["not_holding"] == (1, [1, 3])
    assert [one["own_limit"] for one in said] == [False, True]
    assert [one["longest_interval_d"] for one in said] == [28, 14]
