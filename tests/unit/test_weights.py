"""Weights of whole tanks: whose they are, and what areas can hold."""

from __future__ import annotations

import pytest

from growthcast.book.book import WholeTank
from growthcast.book.checks.checks import remark_on_grams
from tests.books import PRACTICE, make_book, write_book
from tests.cli import run

HEADER = "date,tank_id,area_id,before_cm,after_cm,removed_g,look,grams_of\n"
CUTS = "2026-06-01,lobby,stems,18,9,,,\n"
ALL_CUT = CUTS + "2026-06-01,lobby,carpet,4,1.5,,,\n"


def slugs(folder, rows, practice=PRACTICE):
    book = make_book(folder, trims=HEADER + rows, practice=practice)
    return [item.slug for item in book.findings]


@pytest.mark.parametrize(
    ("rows", "word", "noted"),
    [
        (ALL_CUT, "", False),
        (ALL_CUT, "all", False),
        (ALL_CUT, "rest", True),
        (CUTS, "rest", False),
        ("2026-06-01,lobby,stems,,,,right,\n2026-06-01,lobby,carpet,,,,right,\n", "rest", False),
        ("", "rest", False),
    ],
)
def test_only_a_weight_of_the_rest_needs_areas_without_amounts(tmp_path, rows, word, noted):
    found = slugs(tmp_path, f"{rows}2026-06-01,lobby,,,,90,,{word}\n")
    assert found == (["nothing-to-share"] if noted else [])


@pytest.mark.parametrize(("word", "noted"), [("", True), ("all", False)])
def test_the_practice_says_it_for_rows_that_do_not(tmp_path, word, noted):
    practice = f'{PRACTICE}[log]\nwhole_tank_grams = "rest"\n'
    found = slugs(tmp_path, f"{ALL_CUT}2026-06-01,lobby,,,,90,,{word}\n", practice)
    assert found == (["nothing-to-share"] if noted else [])


def test_rows_that_differ_in_whose_grams_they_hold_are_not_the_same(tmp_path):
    rows = "2026-06-01,lobby,,,,90,,all\n2026-06-01,lobby,,,,90,,rest\n"
    checked = run("check", str(write_book(tmp_path, trims=HEADER + rows)))
    assert "two-rows" in checked.err


@pytest.mark.parametrize(
    ("grams", "area", "noted"),
    [(1380, "stems", False), (1381, "stems", True), (2595, "", False), (2596, "", True)],
)
def test_areas_hold_three_times_what_the_table_says_at_their_ceilings(tmp_path, grams, area, noted):
    """400 cm2 of stems, 46 cm of 25 g/l: 460 g; 900 cm2 of carpet, 5 cm of 90 g/l: 405 g."""
    found = slugs(tmp_path, f"2026-06-01,lobby,{area},,,{grams},,\n")
    assert found == (["weight-above-areas"] if noted else [])


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        (CUTS + "2026-06-01,lobby,,,,90,,\n", "1 weight of whole tanks beside amounts of areas"),
        (CUTS + "2026-06-01,lobby,,,,90,,all\n", ""),
        (CUTS + "2026-06-02,lobby,,,,90,,\n", ""),
        (CUTS + "2026-06-01,home,,,,9,,\n", ""),
        ("2026-06-01,lobby,stems,,,,right,\n2026-06-01,lobby,,,,90,,\n", ""),
    ],
)
def test_how_weights_are_read_is_said_where_it_makes_a_difference(tmp_path, rows, said):
    book = make_book(tmp_path, trims=HEADER + rows)
    readings: tuple[WholeTank | None, ...] = ("all", "rest", None)
    found = ["".join(i.found for i in remark_on_grams(book.trims, r, "why")) for r in readings]
    assert all(words.startswith(said) and bool(words) == bool(said) for words in found)
    assert len(set(found)) == (3 if said else 1)


def test_check_says_how_weights_are_read(tmp_path):
    rows = CUTS + "2026-06-01,lobby,,,,90,,\n"
    folder = write_book(tmp_path, trims=HEADER + rows)
    checked = run("check", str(folder))
    assert checked.status == 0
    assert "read as the log tells (growthcast check --deep says how)" in checked.err
    assert "[whole-tank-grams]" in run("check", str(folder), "--deep").err
    practice = f'{PRACTICE}[log]\nwhole_tank_grams = "rest"\n'
    write_book(tmp_path, trims=HEADER + rows, practice=practice)
    said = "read as what the areas without amounts of their own gave (as [log] whole_tank_grams"
    assert said in run("check", str(folder)).err
