"""The review and the neighbours of the rhythm on a client's page."""

from __future__ import annotations

from datetime import date
from types import SimpleNamespace

from growthcast.service.pages.client import TankFacts

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
