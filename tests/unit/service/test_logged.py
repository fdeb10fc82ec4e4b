"""What a visit changes: what was expected, what follows, when to come again."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from types import SimpleNamespace

import numpy as np
import pytest

from growthcast.book.supposed import with_rows
from growthcast.fit.design import day_number
from growthcast.fit.growth import fit_growth, recalled_fit
from growthcast.log.visits import Look
from growthcast.service.effort.hours import Range
from growthcast.service.pages.overview import tank_standings
from growthcast.service.visit import logged
from growthcast.service.visit.logged import AreaAfterVisit, after_visit
from growthcast.service.visit.logged import _unsure as unsure
from tests.books import PRACTICE, make_book

ON = date(2026, 6, 8)


def area(label, *passes):
    day = [None if d is None else date(2026, 6, d) for d in passes]
    return AreaAfterVisit(label, label, "cm", 22, Range(1, 2, 3), Range(1, 2, 3), tuple(day), None)


def visited(book, **amounts):
    row = {"date": ON, "tank_id": "lobby", "area_id": "stems", **amounts}
    return replace(book, trims=with_rows(book.trims, [row]))


def test_a_deeper_cut_is_due_later_and_the_reading_is_compared_with_the_forecast(tmp_path):
    book = make_book(tmp_path / "book")
    fit = recalled_fit(book, ON)
    high = after_visit(fit, visited(book, before_cm=18.0, after_cm=14.0), "lobby", ON)
    low = after_visit(fit, visited(book, before_cm=18.0, after_cm=8.0), "lobby", ON)
    stems = next(a for a in low.areas if a.area_id == "stems")
    assert stems.expected_cm.p10 < 18 < stems.expected_cm.p90
    assert stems.height_cm_now.p50 == pytest.approx(8, abs=1)
    assert high.areas[0].passes_budget_on[1] < stems.passes_budget_on[1]
    assert high.areas[0].expected_cm == stems.expected_cm
    assert {a.area_id for a in low.areas} == {"stems", "carpet"}


def test_a_look_alone_may_have_been_cut_and_is_not_lowered_by_the_next_one(tmp_path):
    """Over at one visit and over at the next: the first may have cut it, and the second says so."""
    trims = "date,tank_id,area_id,before_cm,after_cm,removed_cm,removed_g,look,minutes,note\n"
    first = trims + "2026-05-11,lobby,stems,,,,,over,,\n"
    book = make_book(tmp_path / "book", trims=first)
    news = after_visit(recalled_fit(book, ON), visited(book, look="over"), "lobby", ON)
    stems = news.areas[0]
    assert stems.height_cm_now.p50 > stems.expected_cm.p50
    assert stems.perhaps_cut is None


def test_a_look_beside_a_bucket_may_have_been_cut_at_the_visit(tmp_path):
    book = make_book(tmp_path / "book")
    looked = visited(book, look="over")
    weighed = {"date": ON, "tank_id": "lobby", "removed_g": 150.0, "grams_of": "all"}
    looked = replace(looked, trims=with_rows(looked.trims, [weighed]))
    stems = after_visit(recalled_fit(book, ON), looked, "lobby", ON).areas[0]
    assert stems.height_cm_now.p50 < stems.expected_cm.p50
    assert stems.perhaps_cut.on == ON
    assert 0.0 < stems.perhaps_cut.chance <= 1.0


def test_later_rows_are_not_used(tmp_path):
    book = make_book(tmp_path / "book")
    fit = recalled_fit(book, ON)
    now = visited(book, before_cm=18.0, after_cm=8.0)
    later = {"date": date(2026, 6, 20), "tank_id": "lobby", "area_id": "stems", "before_cm": 2.0}
    after = replace(now, trims=with_rows(now.trims, [later]))
    assert after_visit(fit, now, "lobby", ON) == after_visit(fit, after, "lobby", ON)


@pytest.mark.parametrize(("after_cm", "by"), [(8.0, "rhythm"), (21.5, "chance")])
def test_the_next_visit_is_due_when_the_overview_says_so(tmp_path, after_cm, by):
    practice = PRACTICE + "[targets]\nintervals_d = [3, 28]\n"
    book = make_book(tmp_path / "book", practice=practice)
    now = visited(book, before_cm=22.0, after_cm=after_cm)
    carpet = {"date": ON, "tank_id": "lobby", "area_id": "carpet", "after_cm": 1.2}
    now = replace(now, trims=with_rows(now.trims, [carpet]))
    news = after_visit(recalled_fit(book, ON), now, "lobby", ON)
    [there] = [s for s in tank_standings(now, fit_growth(now, ON)) if s.advice.tank_id == "lobby"]
    assert (news.due_on, news.due_by) == (there.due_on, there.due_by)
    assert news.due_by == by
    assert news.due_for == ("Back stems" if by == "chance" else None)
    if by == "rhythm":
        shortest = min(book.practice.intervals_d)
        assert news.due_on == ON + timedelta(days=news.interval_d or shortest)


def test_an_area_hardly_known_names_no_day():
    assert unsure(area("a", 8, 20, None), ON)
    assert unsure(area("a", 8, None, None), ON)
    assert not unsure(area("a", 8, 8, 9), ON)
    assert not unsure(area("a", 9, 20, 29), ON)


def test_the_last_cut_without_a_word_is_that_of_an_area_which_looks_over_today(monkeypatch):
    """Of areas 0 to 4 the first alone was only looked at, is over, and was not cut: on this day."""
    today = day_number(ON)
    visits = SimpleNamespace(
        area=np.array([0, 1, 2, 3, 4]),
        look=np.array([Look.OVER, Look.OVER, Look.OVER, Look.RIGHT, Look.OVER]),
        cut=np.array([False, True, False, False, False]),
        before_cm=np.array([np.nan, np.nan, 18.0, np.nan, np.nan]),
        day=np.array([today] * 4 + [today - 7.0]),
    )
    unsaid = SimpleNamespace(
        area=np.array([0, 0, 1, 2, 3, 4, 0]),
        day=today - np.array([14.0, 7.0, 7.0, 7.0, 7.0, 7.0, 21.0]),
        chance=np.array([0.2, 0.4, 0.5, 0.5, 0.5, 0.5, 0.9]),
    )
    design = SimpleNamespace(area_id=np.array(list("abcde")), on_day=today)
    monkeypatch.setattr(logged, "read_log", lambda _: SimpleNamespace(visits=visits))
    found = logged._perhaps_cut(None, SimpleNamespace(unsaid_cuts=unsaid, design=design))
    assert found == {"a": logged.PerhapsCut(ON - timedelta(days=7), 0.4)}


@pytest.mark.parametrize(
    ("stands", "expected", "share", "perhaps", "cut"),
    [
        (9.0, 10.0, 0.006, True, True),
        (10.0, 10.0, 0.005, False, False),
        (11.0, 10.0, 0.3, False, True),
    ],
)
def test_what_follows_of_a_visit_is_told_against_what_was_foretold(
    tmp_path, monkeypatch, stands, expected, share, perhaps, cut
):
    """A cut is named where more than half a percent comes off, a hidden one where less stands."""
    book = make_book(tmp_path)
    design = SimpleNamespace(
        area_id=np.array(["stems", "carpet"]), traits=SimpleNamespace(floor_cm=np.array([7.0, 1.0]))
    )
    fit = SimpleNamespace(design=design, lowest_cut_cm=np.array([5.0, 2.0]))

    def areas(*middles):
        return [
            SimpleNamespace(
                area_id=name,
                is_cover=name == "carpet",
                budget_cm=22.0,
                height_cm_now=np.array([middle - 1.0, middle, middle + 1.0]),
                passes_budget_on=passes,
            )
            for name, middle, passes in zip(("stems", "carpet"), middles, passing, strict=True)
        ]

    passing = [(ON + timedelta(days=9), None, None), (ON, ON + timedelta(days=1), None)]
    foretold = {0: areas(expected, 3.0), 1: areas(stands, 3.0)}
    asked = []

    def forecast(of, days, horizon_d, tanks):
        asked.append((of is fit, days, horizon_d, tanks.tolist()))
        return foretold[int(of is fit)]

    known = logged.PerhapsCut(ON, 0.4)
    option = SimpleNamespace(
        areas=[SimpleNamespace(area_id="stems", removed_share=share, cut_cm=9.0)]
    )
    advice = SimpleNamespace(recommended_interval_d=14, chosen=option)
    due = SimpleNamespace(due_on=ON, due_by="chance")
    monkeypatch.setattr(logged, "recalled_fit", lambda *_: fit)
    monkeypatch.setattr(logged, "forecast_growth", forecast)
    monkeypatch.setattr(logged, "recommend", lambda *_: [advice])
    monkeypatch.setattr(logged, "tanks_due", lambda *_: [due])
    monkeypatch.setattr(logged, "_perhaps_cut", lambda *_: {"stems": known, "carpet": known})
    found = after_visit(SimpleNamespace(), book, "lobby", ON)
    assert asked == [(False, (ON,), 60, [0]), (True, (ON,), 60, [0])]
    stems, carpet = found.areas
    assert stems.perhaps_cut == (known if perhaps else None)
    assert (stems.cut_cm, carpet.cut_cm) == (9.0 if cut else None, None)
    assert (stems.expected_cm.p50, stems.height_cm_now.p50) == (expected, stands)
    assert (stems.unit, carpet.unit) == ("cm", "%")
    assert (stems.least_cut_cm, carpet.least_cut_cm) == (7.0, 2.0)
    assert (found.due_for, found.unsure) == ("Front carpet", ("Front carpet",))
    due.due_by, advice.recommended_interval_d = "rhythm", None
    again = after_visit(SimpleNamespace(), book, "lobby", ON)
    assert (again.due_for, again.areas[0].cut_cm) == (None, None)
