"""A cell of a spreadsheet beside what the file holds: the normal, or changed, and of which kind."""

from __future__ import annotations

import pytest

from growthcast.book.sheets.values import normal
from growthcast.book.tables import column_of


def same(old, new, column, *, decimal_comma):
    """Whether two texts of a cell say the same in their column."""
    one, other = (normal(text, column, decimal_comma=decimal_comma) for text in (old, new))
    return one == other


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
