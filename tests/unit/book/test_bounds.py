"""Heights agreed anew: which hold on which day, and what is odd about them."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from growthcast.book.book import Book, bounds_on
from growthcast.book.read import read_book
from tests.unit.book.small_book import FILES, TODAY

HEADER = "area_id,from_date,floor_cm,budget_cm,cut_cm\n"
BOUNDS = HEADER + "A1,2026-02-10,,20,\nA2,2026-02-10,3,,2.5\nA1,2026-02-20,9,,11\n"


def held(book, area, day):
    number = float(np.datetime64(day, "D").astype(np.int64))
    found = bounds_on(book.areas, book.bounds, np.array([area]), number)
    return [found.floor_cm[0], found.budget_cm[0], found.cut_cm[0]]


def test_a_row_holds_from_its_day_until_the_next_and_a_blank_keeps_what_was(make_book):
    book = read_book(make_book(bounds_csv=BOUNDS), today=TODAY)
    assert held(book, 0, "2026-02-09") == [8, 25, 12]  # as areas.csv has it
    assert held(book, 0, "2026-02-10") == [8, 20, 12]
    assert held(book, 0, "2026-02-19") == [8, 20, 12]
    assert held(book, 0, "2026-02-20") == [9, 20, 11]
    assert held(book, 1, "2026-02-10") == [3, 6, 2.5]  # a cut where none was agreed before
    assert np.isnan(held(book, 1, "2026-02-09")[2])
    assert held(book, 2, "2026-03-01") == [10, 60, 20]
    on = book.bounds_on(date(2026, 2, 15))
    assert on.budget_cm.tolist() == [20, 6, 60]


def test_without_rows_all_is_as_areas_has_it(make_book):
    book = read_book(make_book(), today=TODAY)
    on = book.bounds_on(date(2026, 2, 15))
    for name in ("floor_cm", "budget_cm", "cut_cm"):
        assert getattr(on, name) == pytest.approx(book.areas.number(name), abs=0, nan_ok=True)
    assert isinstance(book, Book)


@pytest.mark.parametrize(
    ("row", "slug", "heading", "level"),
    [
        ("A1,2026-02-10,25,,", "floor-at-budget", "floor_cm", "problem"),
        ("A1,2026-02-10,,8,", "floor-at-budget", "floor_cm", "problem"),
        ("A9,2026-02-10,5,,", "unknown-id", "area_id", "problem"),
        ("A1,2025-12-31,5,,", "outside-life", "from_date", "problem"),
        ("A1,2026-02-10,5,high,", "not-a-number", "budget_cm", "problem"),
        ("A1,2026-02-10,,45,", "budget-above-water", "budget_cm", "note"),
        ("A1,2026-02-10,,,26", "cut-outside-range", "cut_cm", "note"),
        ("A3,2026-02-10,,120,", "cover-range", "budget_cm", "problem"),
        ("A1,2026-02-10,5,,\nA1,2026-02-10,6,,", "two-rows", "from_date", "problem"),
        ("A1,2026-02-10,5,,\nA1,2026-02-10,5,,", "same-rows", "from_date", "note"),
    ],
)
def test_what_is_odd_about_a_row_is_said(inspect, row, slug, heading, level):
    _, findings = inspect(bounds_csv=f"{HEADER}{row}\n")
    assert [(i.file, i.slug, i.heading, i.level) for i in findings] == [
        ("bounds.csv", slug, heading, level)
    ]


def test_of_a_row_only_the_heights_that_it_gives_are_asked(inspect):
    """A budget above the water has its note where it stands, not where it is kept."""
    areas = FILES["areas.csv"].replace("300,8,25,12", "300,8,45,12")
    _, findings = inspect(
        areas_csv=areas, bounds_csv=f"{HEADER}A1,2026-02-10,9,,\nA1,2026-03-01,,44,\n"
    )
    assert [(i.file, i.row, i.slug) for i in findings] == [
        ("areas.csv", 2, "budget-above-water"),
        ("bounds.csv", 3, "budget-above-water"),
    ]


def test_a_look_is_held_against_the_bounds_of_its_day(inspect):
    """24.5 cm on 1 February lies below the first 25 cm, and above 20 cm that held from January."""
    log = FILES["trims.csv"].replace("over", "short")
    assert inspect(trims_csv=log)[1] == ()
    moved = HEADER + "A1,2026-01-20,,20,\n"
    _, findings = inspect(trims_csv=log, bounds_csv=moved)
    assert [(i.file, i.row, i.slug) for i in findings] == [("trims.csv", 2, "look-differs")]
    assert inspect(trims_csv=log, bounds_csv=moved.replace("01-20", "02-02"))[1] == ()
