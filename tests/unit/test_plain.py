"""Nouns as plain data: rounding by the unit in a name, other names, what is hidden or beside."""

from __future__ import annotations

from dataclasses import dataclass, field, make_dataclass
from datetime import date
from typing import ClassVar

import numpy as np
import pytest

from growthcast.plain import BY_QUANTILE, FLAT, HIDDEN, NULL_IF_BLANK, in_json, plain


@dataclass(frozen=True, slots=True)
class Range:
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Area:
    area_id: str = field(metadata=NULL_IF_BLANK)
    label: str = field(metadata=HIDDEN)
    size: Range = field(metadata=FLAT)
    height_cm: Range
    stands: np.ndarray = field(metadata=in_json("height_cm_now", into=tuple))
    seen_on: tuple[date | None, ...] = field(metadata=BY_QUANTILE)
    factor_by_eye: float = field(metadata=in_json(digits=0))

    json_with: ClassVar = ("is_low",)

    @property
    def is_low(self) -> bool:
        return self.height_cm.high < 10.0


def test_a_noun_is_printed_as_its_fields_say():
    on = date(2026, 3, 2)
    stands = np.array([1 / 3])
    area = Area("", "red", Range(0.123456, 2), Range(1.005, 9.876), stands, (on, on, None), 1.6)
    assert plain(area) == {
        "area_id": None,
        "low": 0.123456,
        "high": 2,
        "height_cm": {"low": 1.0, "high": 9.88},
        "height_cm_now": [0.33],
        "seen_on": {"p10": "2026-03-02", "p50": "2026-03-02", "p90": None},
        "factor_by_eye": 2.0,
        "is_low": True,
    }


@pytest.mark.parametrize(
    ("name", "printed"),
    [
        ("rate_per_day", 0.12346),
        ("hours_per_day", 0.12346),
        ("cm_over_budget_p90", 0.12),
        ("share_of_days_presentable", 0.1235),
        ("area_days_over", 0.123),
        ("days_below_floor", 0.1),
        ("trimming_min", 0.1),
        ("cost_saved", 0.12),
        ("area_cm2", 0.123456789),
        ("confidence", 0.123456789),
    ],
)
def test_numbers_are_rounded_by_the_unit_in_their_name(name, printed):
    assert plain(make_dataclass("Noun", [name])(0.123456789)) == {name: printed}
    assert plain({name: 0.123456789}) == {name: 0.123456789}


def test_numbers_of_arrays_become_plain_numbers():
    made = plain({"n": np.int64(3), "grid": np.array([[0.25, 0.5]]), "single": np.float32(0.5)})
    assert made == {"n": 3, "grid": [[0.25, 0.5]], "single": 0.5}
    assert {type(made["n"]), type(made["single"])} == {int, float}
