"""What a sheet and a time away say of areas, from draws made by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from types import SimpleNamespace

import numpy as np
import pytest

from growthcast.arrays import rows_of
from growthcast.fit.design import day_number
from growthcast.forecast.report import Passing
from growthcast.service.effort.hours import Range
from growthcast.service.visit import away, cuts
from growthcast.service.visit.away import _sooner_or_later
from growthcast.service.visit.cuts import _areas, _rhythm, whole_parts
from tests.books import AREAS, HEADER, make_book
from tests.unit.service.test_standing import clock

TODAY = date(2026, 6, 8)
DRAWS = 10


def rows(*heights):
    """Make draws (A, D) of areas, each given as one height or as ten."""
    return np.array([np.broadcast_to(h, DRAWS) for h in heights], dtype=float)


def test_parts_are_rounded_so_that_they_add_up():
    assert whole_parts([20.4, 45.4, 46.4]) == [20, 46, 46]
    assert whole_parts([]) == []
    assert whole_parts([0.4, 0.4, 0.4]) == [0, 1, 0]


def test_how_high_areas_stand_is_told_against_what_regular_visits_find():
    """Half as high as usual and twice as high are as usual together; a middle of 2 and 8."""
    option = SimpleNamespace(
        end_cm=rows(20.0, [2.0] * 5 + [8.0] * 5), chance_all_within=np.array([0.93])
    )
    found = _rhythm(SimpleNamespace(height_cm=rows(10.0, 10.0)), option)
    assert (found.chance_all_within, found.height_share) == (0.93, pytest.approx(1.0))
    high = _rhythm(SimpleNamespace(height_cm=rows(40.0, 10.0)), option)
    assert high.height_share == pytest.approx(2.0)


def known_of(book, fit, areas):
    """Return what is known of areas elsewhere: nothing but their names matters here."""
    names = ("label", "unit", "basis", "species_id", "scientific_name", "common_name", "start")
    told = dict.fromkeys((*names, "cut_practice", "caution"), "")
    told |= {"limit": None, "settled": True}
    told |= {"since_planted_d": 9.0, "settles_d": 0.0, "planted_on": None}
    columns = {name: [value] * areas.size for name, value in told.items()}
    return columns | {"area_id": fit.design.area_id[areas]}


def sheet_of(book, monkeypatch, stood, left, ended, budgets, forms, needed):
    """Return what is done at four areas that stood at heights and are left at others."""
    monkeypatch.setattr(cuts, "_known_of", known_of)
    count = len(stood)
    place = np.arange(count)[::-1]  # the book has them the other way round
    bounds = np.array(budgets)
    living = SimpleNamespace(
        area=place,
        floor_cm=0.2 * bounds,
        budget_cm=bounds,
        safe_cut_cm=0.1 * bounds,
        least_cut_cm=0.2 * bounds,
    )
    design = SimpleNamespace(
        area_id=np.array(["moss", "carpet", "stems", "more"][:count]),
        species=np.arange(count),
        priors=SimpleNamespace(form=np.array(forms)),
        on_day=day_number(TODAY),
    )
    standing = SimpleNamespace(
        living=living, height_cm=stood, within=lambda: stood <= bounds[:, None]
    )
    lasting = SimpleNamespace(
        began=SimpleNamespace(height_cm=left),
        ended=SimpleNamespace(height_cm=ended, within=lambda: ended <= bounds[:, None]),
        cut_cm=0.5 * bounds,
        needed_cm=np.array(needed),
        days_below_floor=np.arange(count) + 0.5,
    )
    hands = SimpleNamespace(minutes=lambda off: (2.0 * off + 3.0) * (off > 0.0))
    usual = np.where(np.arange(count) == 1, np.nan, 0.4 * bounds)
    fit = SimpleNamespace(design=design)
    return _areas(book, fit, hands, standing, lasting, usual, np.arange(count))


def test_what_a_visit_does_to_each_area_is_told_in_the_order_of_work(tmp_path, monkeypatch):
    """Ten draws: stems of 20 cm lose 5 in all of them, others 4 in five and 2 % or less in one.

    Twice what comes off and 3 minutes: 13 at the stems in each draw, 11 at the second in half of
    them, and none where only 0.1 cm comes off.
    """
    trims = HEADER + f"{TODAY},lobby,stems,20,15,,,,,\n2026-06-01,lobby,carpet,4,2,,,,,\n"
    book = make_book(tmp_path, trims=trims)
    half, tenth = np.arange(DRAWS) < 5, np.arange(DRAWS) < 1
    stood = rows(20.0, np.where(half, 24.0, 12.0), 5.0, 4.0)
    left = rows(15.0, np.where(half, 20.0, 12.0), np.where(tenth, 4.91, 5.0), 4.5)
    ended = rows(np.where(tenth, 23.0, 18.0), 21.0, 6.0, 5.0)
    forms = ["moss", "carpet", "stem", "stem"]  # by species, which is the place in the book
    found, trimming = sheet_of(
        book, monkeypatch, stood, left, ended, [22, 22, 9, 9], forms, [8, np.nan, 2, 3]
    )
    # From the surface down, the taller of the stems first; mosses come last.
    assert [(one.order, one.area_id) for one in found] == [
        (1, "more"),
        (2, "stems"),
        (3, "carpet"),
        (4, "moss"),
    ]
    more, stems, _, moss = found
    assert [one.action for one in found] == ["cut", "cut", "leave", "leave"]
    assert trimming == Range(13.0, 18.5, 24.0)
    assert [one.minutes for one in found] == pytest.approx([13.0, 5.5, 0.0, 0.0])
    assert sum(one.minutes for one in found) == pytest.approx(trimming.p50)
    assert (more.removed_cm, more.removed_share) == (5.0, 0.25)
    assert (stems.removed_cm, stems.removed_share) == (2.0, pytest.approx(2.0 / 18.0))
    assert (moss.removed_cm, moss.removed_share) == (0.0, 0.0)
    assert [one.chance_over_now for one in found] == pytest.approx([0.0, 0.5, 0.0, 0.0])
    assert [one.chance_within for one in found] == pytest.approx([0.9, 1.0, 1.0, 1.0])
    assert [one.needed_cut_cm for one in found] == [8.0, None, 2.0, 3.0]
    assert [one.logged_today for one in found] == [False, True, False, False]
    assert [one.usual_cut_cm for one in found] == pytest.approx([8.8, None, 3.6, 3.6])
    assert [one.usual_lasts_visits for one in found] == [0, 1, 2, 3]
    assert (stems.height_now_cm.p50, stems.height_next_cm.p50) == (18.0, 21.0)
    assert (stems.cut_cm, stems.floor_cm, stems.lowest_safe_cut_cm) == pytest.approx((11, 4.4, 2.2))
    assert (stems.least_cut_cm, stems.days_below_floor) == pytest.approx((4.4, 1.5))


def test_an_area_of_which_a_fiftieth_comes_off_seldom_is_trimmed_where_it_stands_higher(
    tmp_path, monkeypatch
):
    book = make_book(tmp_path)
    stood = rows(10.0)
    for often, action in ((1, "leave"), (2, "trim what stands above"), (5, "cut")):
        for off, done in ((0.19, "leave"), (0.21, action)):
            left = rows(np.where(np.arange(DRAWS) < often, 10.0 - off, 10.0))
            told, _ = sheet_of(book, monkeypatch, stood, left, stood, [22], ["stem"], [8])
            assert told[0].action == done
    # A tenth of a centimetre takes no time, however often it comes off.
    for off, minutes in ((0.09, 0.0), (0.11, 3.22)):
        told, _ = sheet_of(book, monkeypatch, stood, stood - off, stood, [22], ["stem"], [8])
        assert told[0].minutes == pytest.approx(minutes)


def test_dates_by_which_something_happens_are_those_of_draws_and_none_where_it_does_not():
    """Ten draws after 1, 2, ... 5 days and never: a tenth by the first, a half by the fifth."""
    days = np.append(np.arange(1.0, 6.0) - 0.5, np.full(5, np.inf))
    early, middle, late = _sooner_or_later(day_number(TODAY), days)
    assert (early, middle, late) == (date(2026, 6, 9), date(2026, 6, 13), None)


def test_what_becomes_of_areas_over_a_time_away(monkeypatch):
    """From day 2 to day 12: cut as always the first area is over in 3 of 10 draws, by 4 cm."""
    monkeypatch.setattr(
        away,
        "known_of",
        lambda _, fit, areas: {
            "area_id": [fit.names[a] for a in areas],
            "label": ["", ""],
            "unit": ["cm", "cm"],
            "basis": ["log", "log"],
            "limit": [None, None],
        },
    )
    over = np.arange(DRAWS) < 3
    budget = np.array([22.0, 9.0])
    ends = rows(np.where(over, 26.0, 20.0), 5.0)
    asked = []

    def days_until(span, height_cm):
        asked.append((span, height_cm.tolist()))
        return np.array([np.where(over, 4.2, np.inf), np.full(DRAWS, np.inf)])

    living = SimpleNamespace(area=np.array([1, 0]), budget_cm=budget, floor_cm=0.1 * budget)
    usual = SimpleNamespace(living=living, after_d=2, days_until=days_until)
    ended = SimpleNamespace(after_d=12, height_cm=ends, within=lambda: ends <= budget[:, None])
    lasting = SimpleNamespace(
        ended=SimpleNamespace(within=lambda: rows(1, [1] * 9 + [0]).astype(bool)),
        needed_cm=np.array([7.0, np.nan]),
        cut_cm=np.array([8.0, 2.0]),
        days_below_floor=np.array([0.0, 3.0]),
    )
    fit = SimpleNamespace(names=["b", "a"], design=SimpleNamespace(on_day=day_number(TODAY)))
    first, second = away._areas(None, fit, np.array([9.0, 3.0]), usual, ended, lasting)
    assert asked == [(10, [22.0, 9.0])]
    assert (first.area_id, first.chance_over) == ("a", pytest.approx(0.3))
    assert (first.over_cm.p10, first.over_cm.p50, first.over_cm.p90) == (0.0, 0.0, 4.0)
    wanted: Passing = (date(2026, 6, 15), None, None)  # five days after the visit of day 2
    assert first.passes_on == wanted
    assert second.passes_on == (None, None, None)
    assert [one.chance_within for one in (first, second)] == [1.0, 0.9]
    assert [one.needed_cut_cm for one in (first, second)] == [7.0, None]
    assert (second.usual_cut_cm, second.bridging_cut_cm, second.days_below_floor) == (3.0, 2.0, 3.0)


def test_how_plants_came_and_how_long_ago_is_told_on_the_sheet(tmp_path, monkeypatch):
    """The tops of the second area's plants were planted three days ago; the moss comes later."""
    areas = AREAS.replace("planted_on,", "planted_on,start,")
    book = make_book(tmp_path, areas=areas.replace("2025-01-01,", "2025-01-01,in-vitro,"))
    monkeypatch.setattr(cuts, "known_of", lambda *_: {})
    names = ["rotala-rotundifolia", "hemianthus-callitrichoides", "taxiphyllum-barbieri"]
    told = {
        name: np.array(["a", "b", "c"]) for name in ("scientific_name", "common_name", "caution")
    }
    on = day_number(TODAY)
    ticking = replace(clock(3, planted=-100.0), planted_day=np.full(3, on - 100.0))
    again = np.array([[np.inf], [on - 3.0], [on + 2.0]])
    design = SimpleNamespace(
        priors=SimpleNamespace(species_id=np.array(names), **told),
        species=np.arange(3),
        clock=replace(ticking, replanted_day=again, start_factor=np.full(3, 2.0)),
        on_day=on,
    )
    fit = SimpleNamespace(design=design, converged=np.array([True, False, True]))
    stems, carpet, moss = rows_of(cuts._known_of(book, fit, np.arange(3)))
    assert [one["start"] for one in (stems, carpet, moss)] == [
        "in-vitro",
        "tops",
        "in-vitro",
    ]
    assert [one["since_planted_d"] for one in (stems, carpet, moss)] == [100.0, 3.0, 100.0]
    assert [one["settles_d"] for one in (stems, carpet, moss)] == [60.0, 30.0, 60.0]
    assert (carpet["species_id"], carpet["common_name"], carpet["settled"]) == (
        names[1],
        "b",
        False,
    )
    assert stems["planted_on"] == date(2025, 1, 1)
