"""Cells to numbers and dates."""

from __future__ import annotations

import pytest

from growthcast.book.cells.numbers import check_range, parse_date, parse_number
from growthcast.book.findings import Fault
from growthcast.book.tables import column_of


@pytest.mark.parametrize(
    ("text", "value"),
    [("12", 12), ("12.5", 12.5), ("-3", -3), ("+4", 4), (".5", 0.5), ("5.", 5), ("1E-05", 1e-5)],
)
def test_plain_numbers(text, value):
    assert parse_number(text) == value
    assert parse_number(text.replace(".", ","), decimal_comma=True) == value


@pytest.mark.parametrize(
    ("text", "slug", "fix"),
    [
        ("12 cm", "unit-in-number", "write 12"),
        ("12cm", "unit-in-number", "write 12"),
        ("12,5 cm", "unit-in-number", "write 12.5"),
        ("90 %", "unit-in-number", "write 90"),
        ("400 cm²", "unit-in-number", "write 400"),
        ("24,5", "decimal-comma", "write 24.5"),
        ("0,25", "decimal-comma", "write 0.25"),
        ("1,250", "thousands-mark", "write 1250, or 1.250 if the mark is a decimal one"),
        ("1 250", "thousands-mark", "write 1250"),
        ("1'250.5", "thousands-mark", "write 1250.5"),
        ("1.250,5", "thousands-mark", "write 1250.5"),
        ("1,250,000", "thousands-mark", "write 1250000"),
        ("nan", "not-finite", "leave the cell blank"),
        ("-inf", "not-finite", "leave the cell blank"),
        ("1e999", "not-finite", "check the exponent"),
        ("n/a", "word-for-blank", "leave the cell blank"),
        ("NA", "word-for-blank", "leave the cell blank"),
        ("-", "word-for-blank", "leave the cell blank"),
        ("#N/A", "word-for-blank", "leave the cell blank"),
        ("１２．５", "other-digits", "type it as 12.5"),
        ("٣", "other-digits", "type it as 3"),
        ("12-14", "not-a-number", None),
        ("1_000", "thousands-mark", "write 1000"),
        ("0x10", "not-a-number", None),
        ("=A1", "not-a-number", None),
        ("true", "not-a-number", None),
    ],
)
def test_what_is_no_number_is_told_how_to_be_one(text, slug, fix):
    fault = parse_number(text)
    assert isinstance(fault, Fault)
    assert fault.slug == slug
    assert fix is None or fault.fix == fix


@pytest.mark.parametrize(
    ("text", "slug", "fix"),
    [
        ("24.5", "decimal-point", "write 24,5, as in the file's other cells"),
        ("24.500", "decimal-point", "write 24500 or 24,500, whichever is meant"),
        ("1.250,5", "thousands-mark", "write 1250,5"),
        ("12,5 cm", "unit-in-number", "write 12,5"),
    ],
)
def test_among_decimal_commas(text, slug, fix):
    fault = parse_number(text, decimal_comma=True)
    assert isinstance(fault, Fault)
    assert (fault.slug, fault.fix) == (slug, fix)


@pytest.mark.parametrize(
    ("text", "slug", "fix"),
    [
        ("2026/03/02", "date-form", "write 2026-03-02"),
        ("2026-3-2", "date-form", "write 2026-03-02"),
        ("20260302", "date-form", "write 2026-03-02"),
        (
            "2.3.2026",
            "date-form",
            "write 2026-03-02 (day first) or 2026-02-03 (month first), whichever is meant",
        ),
        ("25/12/2026", "date-form", "write 2026-12-25"),
        ("12/25/26", "date-form", "write 2026-12-25"),
        ("2026-02-29", "no-such-day", None),
        ("2026-13-01", "no-such-day", None),
        ("2026-03-02 09:30", "date-with-time", "write 2026-03-02"),
        ("2026-03-02T00:00:00", "date-with-time", "write 2026-03-02"),
        ("2026-03-02T00:00:00Z", "date-with-time", "write 2026-03-02"),
        ("2026-03-02Z", "date-with-time", "write 2026-03-02"),
        ("46083", "date-form", None),
        ("２０２６-03-02", "date-form", None),
        ("spring", "date-form", None),
    ],
)
def test_what_is_no_date_is_told_how_to_be_one(text, slug, fix):
    fault = parse_date(text)
    assert isinstance(fault, Fault)
    assert fault.slug == slug
    assert fix is None or fault.fix == fix


def test_dates():
    assert parse_date("2024-02-29") == "2024-02-29"
    assert parse_date("2026-03-02 00:00:00") == "2026-03-02"


@pytest.mark.parametrize(
    ("column", "value", "slug"),
    [
        (("trims", "before_cm"), 0, "out-of-range"),
        (("trims", "after_cm"), 0, None),
        (("trims", "after_cm"), -1, "out-of-range"),
        (("trims", "before_cm"), 300, None),
        (("trims", "before_cm"), 301, "out-of-range"),
        (("tanks", "confidence"), 90, "percent-for-share"),
        (("tanks", "confidence"), 0.995, "out-of-range"),
        (("tanks", "confidence"), 0.5, None),
        (("tanks", "longest_interval_d"), 10.5, "not-whole"),
        (("tanks", "longest_interval_d"), 0, "out-of-range"),
        (("conditions", "ph"), 3.9, "out-of-range"),
        (("conditions", "co2_mg_l"), 101, "out-of-range"),
        (("areas", "light_share"), 60, "percent-for-share"),
    ],
)
def test_limits(column, value, slug):
    fault = check_range(value, column_of(*column))
    assert (fault.slug if fault else None) == slug
    if slug == "percent-for-share":
        assert fault.fix == f"write {value / 100:.2f}"
