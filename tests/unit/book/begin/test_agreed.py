"""Dates and numbers as people write them, read only where a whole column agrees."""

from __future__ import annotations

from datetime import date

import pytest

from growthcast.book.begin.agreed import Names, read_dates, read_numbers, read_pairs
from growthcast.errors import UsageError

THIRD_OF_APRIL = date(2026, 4, 3)


@pytest.mark.parametrize(
    "text",
    [
        "2026-04-03",
        "2026/4/3",
        "3 April 2026",
        "3. Apr. 2026",
        "3 avril 2026",
        "2026-04-03 00:00:00",
    ],
)
def test_a_date_that_says_its_parts_is_read_alone(text):
    assert read_dates([text]) == [THIRD_OF_APRIL]


def test_one_row_decides_the_order_of_all():
    assert read_dates(["3.4.26", "13.4.2026", "", "soon"]) == [
        THIRD_OF_APRIL,
        date(2026, 4, 13),
        None,
        None,
    ]
    assert read_dates(["4/3/2026", "4/13/2026"])[0] == THIRD_OF_APRIL
    assert read_dates(["5/5/2026"]) == [date(2026, 5, 5)]  # the same either way


def test_where_none_decides_or_two_disagree_it_is_asked():
    with pytest.raises(
        UsageError, match=r'"3.4.26" may begin with the day or the month; write dates'
    ):
        read_dates(["3.4.26", "5.6.26"])
    assert read_dates(["3.4.26", "5.6.26"], "day-first")[0] == THIRD_OF_APRIL
    with pytest.raises(UsageError, match="no order of day and month fits all of them"):
        read_dates(["13/4/2026", "4/13/2026"])


def test_numbers_with_their_units():
    assert read_numbers(["12", "120 mm", "12,5cm", "", "tall", "-3"], "cm") == [
        *(12.0, 12.0, 12.5),
        *(None, None, None),
    ]
    assert read_numbers(["0.9kg", "900 g"], "g") == [900.0, 900.0]
    assert read_numbers(["1h10", "1:10", "45 min", "1.5h"], "min") == [70.0, 70.0, 45.0, 90.0]
    assert read_numbers(["50%", "30 %"], "share") == [0.5, 0.3]
    assert read_numbers(["50", "30"], "share") == [0.5, 0.3]
    assert read_numbers(["0.5", "1"], "share") == [0.5, 1.0]
    assert read_numbers(["-50%", "30%"], "share") == [None, 0.3]


def test_a_mark_before_three_digits_is_read_only_where_another_cell_tells():
    assert read_numbers(["1.234"], "g") == [None]
    assert read_numbers(["1.234", "12,5"], "g") == [1234.0, 12.5]
    assert read_numbers(["1.234", "12.5"], "g") == [1.234, 12.5]
    with pytest.raises(UsageError, match="some numbers have a comma, others a point"):
        read_numbers(["12,5", "12.5"], "g")
    assert read_numbers(["12,5", "12.5"], "g", "comma") == [12.5, None]


def test_heights_before_and_after_in_one_cell():
    assert read_pairs(["24/12", "24 -> 12,5", "24", "/12", "24/12/6", "24/low", ""]) == [
        (24.0, 12.0),
        (24.0, 12.5),
        (24.0, None),
        (None, 12.0),
        *[(None, None)] * 3,
    ]


AREAS = """area_id,tank_id,label,species_id,area_cm2,floor_cm,budget_cm,planted_on,removed_on
A1,T1,left,rotala-rotundifolia,300,8,25,2026-01-01,2026-02-01
A2,T1,left,rotala-rotundifolia,300,8,25,2026-02-02,
A3,T2,left,salvinia-natans,1800,10,60,2026-01-01,
"""


@pytest.mark.parametrize(
    ("tank", "area", "day", "found"),
    [
        ("T1", "", 10, ("T1", None)),
        ("a school", "", 10, ("T2", None)),
        ("t1", "left", 1, ("T1", "A1")),  # 1 February: its last day
        ("T1", "left", 2, ("T1", "A2")),
        ("", "floating fern", 1, ("T2", "A3")),
        ("a clinic", "Rotala rotundifolia", 3, ("T1", "A2")),
        ("", "A1", 20, ("T1", "A1")),  # an id is that area's on any day
        ("T9", "", 1, 'no one tank goes by "T9"'),
        ("", "", 1, "no tank and no area"),
        ("", "left", 2, 'no one area of that day goes by "left" (A2, A3)'),
        ("T2", "A1", 1, 'no one area of that day goes by "A1" (none)'),
        ("T1", "fern", 1, 'no one area of that day goes by "fern" (none)'),
    ],
)
def test_a_place_goes_by_any_name_that_is_one_areas_on_that_day(inspect, tank, area, day, found):
    names = Names(inspect(areas_csv=AREAS, trims_csv=None)[0])
    cells, on = {"tank_id": tank, "area_id": area}, date(2026, 2, day)
    if isinstance(found, str):
        with pytest.raises(UsageError) as refused:
            names.place(cells, on)
        assert str(refused.value) == found
    else:
        assert names.place(cells, on) == found
