"""Conditions that are possible, bearable and agree with each other."""

from __future__ import annotations

import pytest

HEADER = "tank_id,from_date,co2_mg_l,ph,kh_dkh,temperature_c\n"


def slugs(inspect, *rows):
    _, findings = inspect(conditions_csv=HEADER + "".join(row + "\n" for row in rows))
    return [(item.slug, item.row, item.column) for item in findings]


@pytest.mark.parametrize(
    ("row", "expected"),
    [
        ("T1,2026-01-01,,7,4,", []),  # 12 mg/L by the rule
        ("T1,2026-01-01,,6.6,4,", ["co2-caution"]),  # 30.1
        ("T1,2026-01-01,,6.61,4,", []),
        ("T1,2026-01-01,,6.2,8,", ["co2-caution"]),  # 151
        ("T1,2026-01-01,,5.5,4,", ["co2-impossible"]),  # 379
        ("T1,2026-01-01,25,5.5,4,", ["co2-contradiction"]),
        ("T1,2026-01-01,25,6.8,4,", []),  # 19
        ("T1,2026-01-01,5,6.6,4,", ["co2-contradiction"]),
        ("T1,2026-01-01,0,8.5,4,", []),  # both next to nothing
        ("T1,2026-01-01,25,6.5,0,", ["kh-zero"]),
        ("T1,2026-01-01,,,,9.9", ["cold-water"]),
        ("T1,2026-01-01,,,,10", []),
    ],
)
def test_a_row_alone(inspect, row, expected):
    assert [slug for slug, _, _ in slugs(inspect, row)] == expected


def test_a_kept_value_counts(inspect):
    rows = ("T1,2026-02-01,,6,,", "T1,2026-01-01,,7,4,", "T2,2026-01-01,,,9,")
    assert slugs(inspect, *rows) == [("co2-caution", 2, "D")]


def test_typed_co2_is_what_counts(inspect):
    rows = ("T1,2026-01-01,20,,,", "T1,2026-02-01,,5.5,4,")
    assert slugs(inspect, *rows) == []
