"""What a visit changes: what was expected, what follows, when to come again."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from growthcast.book.supposed.rows import with_rows
from growthcast.service.logged import AreaAfterVisit, after_visit, before_visit
from growthcast.service.logged import _due as due
from growthcast.service.logged import _unsure as unsure
from tests.books import make_book

ON = date(2026, 6, 8)


def area(label, *passes):
    day = [None if d is None else date(2026, 6, d) for d in passes]
    return AreaAfterVisit(label, label, "cm", 22, (1, 2, 3), (1, 2, 3), tuple(day), None)


def visited(book, **amounts):
    row = {"date": ON, "tank_id": "lobby", "area_id": "stems", **amounts}
    return replace(book, trims=with_rows(book.trims, [row]))


def test_a_deeper_cut_is_due_later_and_the_reading_is_compared_with_the_forecast(tmp_path):
    book = make_book(tmp_path / "book")
    fit = before_visit(book, ON)
    high = after_visit(fit, visited(book, before_cm=18.0, after_cm=14.0), "lobby", ON)
    low = after_visit(fit, visited(book, before_cm=18.0, after_cm=8.0), "lobby", ON)
    stems = next(a for a in low.areas if a.area_id == "stems")
    assert stems.expected[0] < 18 < stems.expected[2]
    assert stems.stands[1] == pytest.approx(8, abs=1)
    assert high.areas[0].passes_on[1] < stems.passes_on[1]
    assert high.areas[0].expected == stems.expected
    assert {a.area_id for a in low.areas} == {"stems", "carpet"}


def test_later_rows_are_not_used(tmp_path):
    book = make_book(tmp_path / "book")
    fit = before_visit(book, ON)
    now = visited(book, before_cm=18.0, after_cm=8.0)
    later = {"date": date(2026, 6, 20), "tank_id": "lobby", "area_id": "stems", "before_cm": 2.0}
    after = replace(now, trims=with_rows(now.trims, [later]))
    assert after_visit(fit, now, "lobby", ON) == after_visit(fit, after, "lobby", ON)


def test_the_earliest_area_or_the_longest_interval_says_when_it_is_due():
    areas = (area("a", 20, 25, 29), area("b", 15, 19, None), area("c", None, None, None))
    assert due(areas, ON, 28) == (date(2026, 6, 15), "b")
    assert due(areas, ON, 5) == (date(2026, 6, 13), None)
    assert due((area("d", 1, 2, 3),), ON, 28) == (ON, "d")
    assert due((), ON, 28) == (date(2026, 7, 6), None)


def test_an_area_hardly_known_names_no_day():
    assert unsure(area("a", 8, 20, None), ON)
    assert unsure(area("a", 8, None, None), ON)
    assert not unsure(area("a", 8, 8, 9), ON)
    assert not unsure(area("a", 9, 20, 29), ON)
