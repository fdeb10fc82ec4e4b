"""What a visit changes: what was expected, what follows, when to come again."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from growthcast.book.supposed import with_rows
from growthcast.fit.growth import fit_growth, recalled_fit
from growthcast.service.effort.hours import Range
from growthcast.service.pages.overview import tank_standings
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
