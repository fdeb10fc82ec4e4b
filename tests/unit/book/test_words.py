"""Words about cells: what is quoted, shortened, escaped, and which names are alike."""

from __future__ import annotations

import pytest

from growthcast.book.words import (
    check_known,
    column_letter,
    did_you_mean,
    names_that_hold,
    nearest,
    plain,
    printable,
    shown,
    some_of,
)
from growthcast.errors import UsageError


def test_letters_of_columns_count_as_a_spreadsheet_does():
    """A to Z, then AA: the last of each length is followed by the first of the next."""
    places = {0: "A", 25: "Z", 26: "AA", 51: "AZ", 52: "BA", 701: "ZZ", 702: "AAA", 16_383: "XFD"}
    assert {index: column_letter(index) for index in places} == places


@pytest.mark.parametrize(
    ("cell", "text"),
    [
        ("x" * 40, f'"{"x" * 40}"'),  # 40 letters at most
        ("x" * 41, f'"{"x" * 39}…"'),
        ('a\tb\u202e"\\', '"a\\tb\\u202e\\"\\\\"'),
        (12.5, '"12.5"'),
    ],
)
def test_a_cell_is_shown_in_quotes_on_one_line(cell, text):
    assert shown(cell) == text
    assert shown(10**5000) == '"a very long number"'


def test_text_is_cut_at_300_letters_and_escaped():
    assert printable("x" * 300) == "x" * 300
    assert printable("x" * 301) == "x" * 299 + "…"
    assert printable("ä\n") == "ä\\n"


@pytest.mark.parametrize(
    ("number", "text"),
    [
        (24.0, "24"),
        (0.1 + 0.2, "0.3"),
        (1e-5, "0.00001"),
        (12345678901.0, "12345678901"),
        (-2.50, "-2.5"),
    ],
)
def test_a_number_has_neither_an_exponent_nor_digits_left_by_arithmetic(number, text):
    assert plain(number) == text


def test_the_nearest_name_is_hinted_else_the_names_are_listed():
    assert nearest("roses", ["rotala", "Rose ", "rose"]) == "rose"
    assert nearest("ROTALA ", ["rotala", "Rotala"]) == "rotala"  # case aside the first
    assert nearest("rose", ["moss", "fern"]) is None
    assert nearest("x" * 300, ["x" * 200]) == "x" * 200  # what is longer is not looked at
    assert did_you_mean("mos", ["moss"], "") == 'did you mean "moss"?'
    assert did_you_mean("zz", ["moss"], "no") == "no"
    check_known("moss", ["moss"], "", "")
    with pytest.raises(UsageError, match=r'^no plant "zz"; they are moss, fern$'):
        check_known("zz", ["moss", "fern"], "no plant", "they are")
    with pytest.raises(UsageError, match=r'^no plant "zz"; they are none$'):
        check_known("zz", [], "no plant", "they are")


def test_a_list_of_names_stays_short():
    letters = list("abcdefghi")
    assert some_of(letters[:8]) == "a, b, c, d, e, f, g, h"
    assert some_of(letters) == "a, b, c, d, e, f, g, h and others"
    assert some_of(letters, 2) == "a, b and others"


def test_names_that_hold_a_text_come_first_where_they_begin_with_it():
    known = {"a": ("Dwarf rose",), "b": ("Wild fern", "Rose-fern"), "c": ("Moss",)}
    assert names_that_hold("rose", known) == ["b", "a"]
    assert names_that_hold("Rose fern", known) == ["b"]
    assert names_that_hold(" ", known) == []
