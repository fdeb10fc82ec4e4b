"""Checks of the log and of areas on both sides of what they allow. Today is 2026-04-01."""

from __future__ import annotations

import pytest

from tests.unit.book.small_book import FILES

HEADER = "date,tank_id,area_id,before_cm,after_cm,removed_cm,removed_g,look,note\n"
AREAS = (
    "area_id,tank_id,label,species_id,area_cm2,floor_cm,budget_cm,planted_height_cm,"
    "planted_on,removed_on\n"
)


def slugs(findings):
    return [item.slug for item in findings]


@pytest.mark.parametrize(
    ("row", "expected"),
    [
        ("2026-04-01,T1,A1,20,,,,,", []),
        ("2026-04-02,T1,A1,20,,,,,", ["date-tomorrow"]),
        ("2026-04-03,T1,A1,20,,,,,", ["future-date"]),
        ("2026-01-01,T1,A1,20,,,,,", []),  # the day of planting
        ("2025-12-31,T1,A1,20,,,,,", ["outside-life"]),
        ("2026-02-01,T2,A1,20,,,,,", ["tank-mismatch"]),
        ("2026-02-01,T1,A1,20,20,,,,", []),
        ("2026-02-01,T1,A1,20,20.1,,,,", ["after-above-before"]),
        ("2026-02-01,T1,A1,20,,20,,,", []),
        ("2026-02-01,T1,A1,20,,20.1,,,", ["removed-above-before"]),
        # Three numbers may disagree by half a centimetre or a tenth of what came off.
        ("2026-02-01,T1,A1,20,10,11,,,", []),  # 1 cm of 11
        ("2026-02-01,T1,A1,20,10,11.2,,,", ["removed-differs"]),  # 1.2 of 11.2
        ("2026-02-01,T1,A1,20,18,2.5,,,", []),
        ("2026-02-01,T1,A1,20,18,2.6,,,", ["removed-differs"]),
        ("2026-02-01,T1,,,,,100,,", []),
        ("2026-02-01,T1,,20,,,100,,", ["whole-tank-heights"]),
        ("2026-02-01,T1,,,,,100,over,", ["whole-tank-look"]),
        ("2026-02-01,T1,A1,,,,,,", ["empty-row"]),
        ("2026-02-01,T1,A1,,,,,short,", []),
        ("2026-02-01,T1,A1,,,,,,looks well", []),
        ("2026-02-01,T1,A1,abc,,,,,", ["not-a-number"]),  # not called empty as well
        # Three times what all would weigh at its ceiling: 60 g/L on 300 cm2 under 40 cm of water
        # are 720 g, 80 g/L on 400 cm2 of 20 cm 640 g, a full cover of 3 g/L cm on 1800 cm2 54 g.
        ("2026-02-01,T1,A1,,,,2160,,", []),
        ("2026-02-01,T1,A1,,,,2161,,", ["weight-above-areas"]),
        ("2026-02-01,T1,,,,,4080,,", []),
        ("2026-02-01,T1,,,,,4081,,", ["weight-above-areas"]),
        ("2026-02-01,T2,A3,,,,162,,", []),
        ("2026-02-01,T2,A3,,,,163,,", ["weight-above-areas"]),
    ],
)
def test_one_row_of_the_log(inspect, row, expected):
    _, findings = inspect(trims_csv=HEADER + row + "\n")
    assert slugs(findings) == expected


@pytest.mark.parametrize(
    ("rows", "expected"),
    [
        (("T1,A1,20,12,,,,", "T1,A2,20,12,,,,"), []),
        (("T1,A1,20,12,,,,", "T1,A1,20,12,,,,"), [("same-rows", 3)]),
        (("T1,A1,20,12,,,over,", "T1,A1,20,12,,,,"), [("two-rows", 3)]),
        (("T1,A1,20,12,,,,", "T1,A1,20,11,,,,"), [("two-rows", 3)]),
        (("T1,,,,,90,,", "T2,,,,,30,,"), []),
        (("T1,,,,,90,,", "T1,,,,,30,,"), [("two-rows", 3)]),
    ],
)
def test_two_rows_of_a_day(inspect, rows, expected):
    _, findings = inspect(trims_csv=HEADER + "".join(f"2026-02-01,{row}\n" for row in rows))
    assert [(item.slug, item.row) for item in findings] == expected


def test_rows_without_a_date_are_no_doubles(inspect):
    """Neither day is known, so they may be two: each lacks its date, and no more is said."""
    rows = ",T1,A1,20,12,,,,\n" * 3
    assert slugs(inspect(trims_csv=HEADER + rows)[1]) == ["blank-cell"] * 3


def test_the_note_beside_amounts_goes_into_their_row(inspect):
    rows = "2026-02-01,T1,A1,20,12,,,,\n2026-02-01,T1,A1,,,,,,a note\n"
    for text, fix in (
        (rows, "put the note of row 3 into row 2"),
        ("".join(reversed(rows.splitlines(keepends=True))), "put the note of row 2 into row 3"),
    ):
        [found] = inspect(trims_csv=HEADER + text)[1]
        assert (found.slug, found.row, found.fix) == ("two-rows", 3, fix)


@pytest.mark.parametrize(
    ("row", "expected"),
    [
        ("B,T1,x,rotala-rotundifolia,300,8,25,,2026-01-01,", []),
        ("B,T1,x,rotala-rotundifolia,300,25,25,,2026-01-01,", ["floor-at-budget"]),
        ("B,T1,x,rotala-rotundifolia,300,24.9,25,,2026-01-01,", []),
        # The ceiling of pennywort is 20 cm, the water of T1 40 cm deep.
        ("B,T1,x,hydrocotyle-tripartita,300,8,20,,2026-01-01,", []),
        ("B,T1,x,hydrocotyle-tripartita,300,8,20.5,,2026-01-01,", ["budget-above-ceiling"]),
        ("B,T1,x,hydrocotyle-tripartita,300,20,21,,2026-01-01,", ["floor-at-ceiling"]),
        ("B,T1,x,rotala-rotundifolia,300,8,40,,2026-01-01,", []),
        ("B,T1,x,rotala-rotundifolia,300,8,41,,2026-01-01,", ["budget-above-water"]),
        ("B,T1,x,rotala-rotundifolia,300,8,25,40,2026-01-01,", []),
        ("B,T1,x,rotala-rotundifolia,300,8,25,41,2026-01-01,", ["planted-above-water"]),
        # Its ground is 90 by 45 cm, 4050 cm2.
        ("B,T1,x,rotala-rotundifolia,4050,8,25,,2026-01-01,", []),
        ("B,T1,x,rotala-rotundifolia,4051,8,25,,2026-01-01,", ["area-above-tank"]),
        ("B,T1,x,rotala-rotundifolia,300,8,25,,2026-01-01,2026-01-01", []),
        ("B,T1,x,rotala-rotundifolia,300,8,25,,2026-01-01,2025-12-31", ["removed-before-planted"]),
        # Cover is per cent: 41 is no height above the water, and 101 is too much.
        ("B,T1,x,salvinia-natans,300,10,41,41,2026-01-01,", []),
        ("B,T1,x,salvinia-natans,300,10,100,,2026-01-01,", []),
        ("B,T1,x,salvinia-natans,300,10,101,,2026-01-01,", ["cover-range"]),
    ],
)
def test_one_area(inspect, row, expected):
    log = FILES["trims.csv"].split("\n")[0] + "\n"
    _, findings = inspect(areas_csv=AREAS + row + "\n", trims_csv=log)
    assert slugs(findings) == expected


@pytest.mark.parametrize(
    ("second", "expected"),
    [
        ("B2", []),
        ("B1", ["double-id"]),
        ("b1", ["id-case"]),
        ("2026-01", ["id-looks-like-value"]),
    ],
)
def test_ids_that_people_and_spreadsheets_keep_apart(inspect, second, expected):
    row = "{},T1,{},rotala-rotundifolia,300,8,25,,2026-01-01,\n"
    log = FILES["trims.csv"].split("\n")[0] + "\n"
    text = AREAS + row.format("B1", "left") + row.format(second, "right")
    assert slugs(inspect(areas_csv=text, trims_csv=log)[1]) == expected
