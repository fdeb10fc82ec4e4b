"""What a client reads of past forecasts: how many held, and what a shortfall may mean."""

from __future__ import annotations

import pytest

from growthcast.say.client import record_sentences
from growthcast.say.locale import open_locale
from growthcast.service.pages.record import Record


def said(inside: int, readings: int) -> list[str]:
    record = Record(readings, inside, is_cover=False, alone=False)
    return record_sentences(open_locale("en-GB"), record)[1:]


def test_the_chance_of_a_shortfall_is_the_binomial_tail():
    assert Record(2, 0, False, False).chance == pytest.approx(0.04)  # 0.2 squared
    assert Record(2, 1, False, False).chance == pytest.approx(1.0 - 0.64)


@pytest.mark.parametrize(
    ("inside", "readings", "what"),
    [
        (33, 42, []),  # 33.6 were expected
        (7, 11, ["So small a difference may be chance."]),  # 8.8; 16 of 100 logs do worse
        (15, 30, ["So far our ranges for this tank are too narrow."]),  # 24; hardly ever
    ],
)
def test_a_shortfall_is_explained(inside: int, readings: int, what: list[str]):
    assert said(inside, readings) == what
