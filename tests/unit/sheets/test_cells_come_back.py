"""A cell of a spreadsheet beside what the file holds: the normal, or changed, and of which kind."""

from __future__ import annotations

import pytest

from growthcast.book.sheets.values import SettingRow, normal, with_settings
from growthcast.book.tables import column_of

PRACTICE = b"""[practice]
name = "a"
labour_rate_per_h = 35.5
[visit]
fixed_min = 35
[targets]
intervals_d = [14, 7]
[rounds]
working_days = ["mon", "thu"]
days_off = [2026-12-25]
"""
SECTION = {"fixed_min": "visit", "intervals_d": "targets"}
SECTION |= {"working_days": "rounds", "days_off": "rounds"}


def same(old, new, column, *, decimal_comma):
    """Whether two texts of a cell say the same in their column."""
    one, other = (normal(text, column, decimal_comma=decimal_comma) for text in (old, new))
    return one == other


def row(key, value):
    return SettingRow(2, SECTION.get(key, "practice"), key, value)


@pytest.mark.parametrize(
    ("key", "value", "line"),
    [
        ("fixed_min", 40.0, b"fixed_min = 40\n"),  # spreadsheets know no whole numbers
        ("fixed_min", 40.5, b"fixed_min = 40.5\n"),
        ("fixed_min", "40", b"fixed_min = 40\n"),
        ("fixed_min", "many", b'fixed_min = "many"\n'),  # which the check then names
        ("labour_rate_per_h", "36.5", b"labour_rate_per_h = 36.5\n"),
        ("labour_rate_per_h", 36.0, b"labour_rate_per_h = 36.0\n"),
        ("name", 5.0, b'name = "5"\n'),
        ("intervals_d", "14; 21,7", b"intervals_d = [14, 21, 7]\n"),
        ("working_days", "mon, fri", b'working_days = ["mon", "fri"]\n'),
    ],
)
def test_a_key_keeps_its_kind(key, value, line):
    new, [change], left_out = with_settings(PRACTICE, [row(key, value)])
    assert line in new
    assert new.count(b"\n") == PRACTICE.count(b"\n")
    assert (change.section, change.key, left_out) == (SECTION.get(key, "practice"), key, [])


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("fixed_min", 35.0),
        ("fixed_min", None),
        ("labour_rate_per_h", 35.5),
        ("name", "a"),
        ("name", "  "),
        ("intervals_d", "14, 7"),
        ("working_days", "mon;thu"),
        ("days_off", "2027-01-01"),  # a list of dates is no text of one cell
    ],
)
def test_what_says_the_same_changes_nothing(key, value):
    assert with_settings(PRACTICE, [row(key, value)]) == (PRACTICE, [], [])


@pytest.mark.parametrize(
    ("column", "old", "new", "equal"),
    [
        ("before_cm", "12.50", "12.5", True),
        ("before_cm", "12.5", "12.6", False),
        ("before_cm", " 12 ", "12", True),
        ("before_cm", "12 cm", "12", False),  # no number: text against text
        ("before_cm", "", " ", True),
        ("before_cm", "", "0", False),
        ("date", "2026-01-15", "2026-01-15 ", True),
        ("date", "2026-01-15", "2026-01-16", False),
        ("date", "soon", "soon ", True),
        ("look", "over", "Over", False),
        ("look", " over", "over", True),
        ("note", " ", "", True),
        ("note", "a\r\nb", "a\nb", True),
        ("note", "a ", "a", False),  # spaces of a text are its own
    ],
)
def test_whether_two_cells_of_the_log_say_the_same(column, old, new, equal):
    assert same(old, new, column_of("trims", column), decimal_comma=False) is equal
    assert same(new, old, column_of("trims", column), decimal_comma=False) is equal


def test_decimal_commas_and_flags_in_other_letters():
    height = column_of("trims", "before_cm")
    assert same("12,50", "12,5", height, decimal_comma=True)
    assert not same("12,5", "125", height, decimal_comma=True)
    flag = column_of("species", "reaches_surface")
    assert same("true", "TRUE", flag, decimal_comma=False)
    assert not same("true", "FALSE", flag, decimal_comma=False)
    assert not same("a column of its own ", "a column of its own", None, decimal_comma=False)


def test_lists_of_days_come_back_as_lists():
    rows = [
        SettingRow(2, "rounds", "working_days", "mon; thu"),
        SettingRow(3, "rounds", "days_off", "2026-12-25, 2027-01-01"),
    ]
    new, _, _ = with_settings(b"[rounds]\n", rows)
    assert b'working_days = ["mon", "thu"]\n' in new
    assert b'days_off = ["2026-12-25", "2027-01-01"]\n' in new
