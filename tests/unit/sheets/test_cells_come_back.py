"""A cell of a spreadsheet beside what the file holds: the same, or changed, and of which kind."""

from __future__ import annotations

import datetime as dt

import pytest

from growthcast.book.sheets.values import SettingRow, same, with_settings
from growthcast.book.tables import column_of

PRACTICE = b"""[x]
whole = 35
broken = 35.5
flag = true
day = 2026-01-15
word = "a"
days = [14, 7]
names = ["a", "b"]
"""


@pytest.mark.parametrize(
    ("key", "value", "line"),
    [
        ("whole", 40.0, b"whole = 40\n"),  # spreadsheets know no whole numbers
        ("whole", 40.5, b"whole = 40.5\n"),
        ("whole", "40", b"whole = 40\n"),
        ("whole", "many", b'whole = "many"\n'),
        ("broken", "36.5", b"broken = 36.5\n"),
        ("flag", "FALSE", b"flag = false\n"),
        ("flag", False, b"flag = false\n"),
        ("flag", "maybe", b'flag = "maybe"\n'),  # which the check then names
        ("day", dt.datetime(2026, 1, 16), b"day = 2026-01-16\n"),
        ("word", 5.0, b'word = "5"\n'),
        ("days", "14; 21,7", b"days = [14, 21, 7]\n"),
        ("names", "a, c", b'names = ["a", "c"]\n'),
    ],
)
def test_a_key_keeps_its_kind(key, value, line):
    new, [change], left_out = with_settings(PRACTICE, [SettingRow(2, "x", key, value)])
    assert line in new
    assert new.count(b"\n") == PRACTICE.count(b"\n")
    assert (change.section, change.key, left_out) == ("x", key, [])


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("whole", 35.0),
        ("broken", 35.5),
        ("flag", True),
        ("flag", "True"),
        ("day", dt.datetime(2026, 1, 15)),
        ("word", "a"),
        ("word", "  "),
        ("whole", None),
        ("days", "14, 7"),
        ("names", "a;b"),
    ],
)
def test_what_says_the_same_changes_nothing(key, value):
    assert with_settings(PRACTICE, [SettingRow(2, "x", key, value)]) == (PRACTICE, [], [])


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
