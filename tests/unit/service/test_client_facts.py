"""The review and the neighbours of the rhythm on a client's page."""

from __future__ import annotations

from datetime import date
from types import SimpleNamespace

import pytest

from growthcast.fit.design import day_number
from growthcast.service.pages.client import TankFacts, _next_visit
from tests.books import HEADER, make_book

MONTHLY, WEEKLY = SimpleNamespace(interval_d=28), SimpleNamespace(interval_d=7)


def facts(**more):
    return TankFacts("lobby", "", "", date(2026, 6, 1), 30.0, SimpleNamespace(), **more)


def test_a_rhythm_is_gone_over_after_its_third_visit():
    held = facts(option=WEEKLY, next_on=date(2026, 6, 4))
    assert held.review_on == date(2026, 6, 18)
    assert facts(option=WEEKLY).review_on is None


def test_the_next_longer_rhythm_stands_before_the_proposed_one():
    assert facts(rows=(MONTHLY, WEEKLY), option=WEEKLY).longer is MONTHLY
    assert facts(rows=(MONTHLY, WEEKLY), option=MONTHLY).longer is None


@pytest.mark.parametrize(
    ("weekday", "due", "said"),
    [
        ("wed", 12, (None, 10)),  # of Wednesdays the 3rd and the 10th the later that is in time
        ("fri", 12, (None, 12)),
        ("sat", 12, (None, 12)),  # nobody works then: any day does
        ("", 11, (None, 11)),
        ("thu", 3, (None, 4)),  # none is in time: the first after it
    ],
)
def test_the_next_visit_keeps_the_tanks_weekday_where_it_can(tmp_path, weekday, due, said):
    """Of a tank without a visit so far, on Monday 1 June 2026."""
    tanks = f"tank_id,client,water_depth_cm,visit_weekday\nlobby,A,46,{weekday}\nhome,B,34,\n"
    book = make_book(tmp_path / "b", tanks=tanks, trims=HEADER)
    fit = SimpleNamespace(design=SimpleNamespace(on_day=day_number(date(2026, 6, 1))))
    over, on = _next_visit(book, fit, 0, date(2026, 6, due))
    assert (over, on) == (said[0], date(2026, 6, said[1]))
