"""Heights, labels and looks that are possible but odd, in the units of their area."""

from __future__ import annotations

import pytest

from growthcast.book.findings import format_finding
from growthcast.book.tables import column_of
from growthcast.book.words import plain
from tests.unit.book.small_book import FILES

HEADER = "date,tank_id,area_id,before_cm,after_cm,removed_cm,look\n"


@pytest.mark.parametrize(
    ("row", "expected"),
    [
        ("A1,44,12,,", []),  # the water is 40 cm: a tenth more is let pass
        ("A1,44.1,12,,", ["height-above-water"]),
        ("A1,44.1,44.1,,", ["height-above-water", "height-above-water"]),
        ("A1,,,44.1,", ["height-above-water"]),  # nor can more come off
        ("A2,30,4,,", []),  # the ceiling is 20 cm
        ("A2,30.1,4,,", ["height-above-ceiling"]),
        ("A2,44.1,4,,", ["height-above-water"]),  # once is enough
        ("A3,80,0,,", []),  # cover: nothing left is nothing odd
        ("A1,26,12,,over", []),
        ("A1,25,12,,short", []),
        ("A1,26,12,,short", ["look-differs"]),
        ("A1,7,,,over", ["look-differs"]),
        ("A1,8,,,over", []),
        ("A1,,0,,", ["cut-to-nothing"]),
    ],
)
def test_readings(inspect, row, expected):
    tank = "T2" if row.startswith("A3") else "T1"
    book, findings = inspect(trims_csv=HEADER + f"2026-02-01,{tank},{row}\n")
    assert [item.slug for item in findings] == expected
    assert book is not None


def test_a_cut_above_the_budget(inspect):
    _, findings = inspect(areas_csv=FILES["areas.csv"].replace("25,12", "25,26"))
    assert [(item.slug, item.found) for item in findings] == [
        ("cut-outside-range", "26 cm, above the height budget of 25 cm")
    ]


def test_a_label_may_pass_to_the_next_planting(inspect):
    header = "area_id,tank_id,label,species_id,area_cm2,floor_cm,budget_cm,planted_on,removed_on\n"
    rows = (
        "B1,T1,left,rotala-rotundifolia,300,8,25,2026-01-01,2026-01-31\n"
        "B2,T1,left,rotala-rotundifolia,300,8,25,2026-02-01,\n"
        "B3,T2,left,rotala-rotundifolia,300,8,25,2026-02-01,\n"
    )
    log = FILES["trims.csv"].split("\n")[0] + "\n"
    assert inspect(areas_csv=header + rows, trims_csv=log)[1] == ()
    assert inspect(areas_csv=header + rows.replace("01-31", "02-01"), trims_csv=log)[1] == ()
    _, findings = inspect(areas_csv=header + rows.replace("01-31", "02-02"), trims_csv=log)
    assert [(item.slug, item.row) for item in findings] == [("double-label", 3)]
    blank = rows.replace("01-31", "02-02").replace("left", " ")
    assert inspect(areas_csv=header + blank, trims_csv=log)[1] == ()
    nowhere = rows.replace("01-31", "02-02").replace("T1", "T9")
    _, findings = inspect(areas_csv=header + nowhere, trims_csv=log)
    assert [item.slug for item in findings] == ["unknown-id"] * 2


def test_areas_without_a_label_share_none(inspect):
    areas = FILES["areas.csv"].replace(",left,", ",,").replace(",front,", ",,")
    assert inspect(areas_csv=areas)[1] == ()


@pytest.mark.parametrize(
    ("cell", "expected", "fix"),
    [
        ("tall", "percent cover above 0, at most 100", None),
        (
            "-3",
            "percent cover above 0, at most 100",
            "check the number and that it is percent cover",
        ),
        ("130", "percent cover from 0 to 100", None),
    ],
)
def test_a_floating_plant_is_spoken_of_in_cover(inspect, cell, expected, fix):
    _, findings = inspect(trims_csv=HEADER + f"2026-02-01,T2,A3,{cell},,,\n")
    assert findings[0].expected == expected
    assert "centimetres" not in format_finding(findings[0])
    assert fix is None or findings[0].fix == fix
    _, findings = inspect(trims_csv=HEADER + "2026-02-01,T1,A1,tall,,,\n")
    assert findings[0].expected == "centimetres above 0, at most 300"


def test_lengths_have_their_unit(inspect):
    _, findings = inspect(trims_csv=HEADER + "2026-02-01,T1,A1,12,24.5,,\n")
    assert findings[0].found == "24.5 cm, above the 12 cm before the cut"
    _, findings = inspect(trims_csv=HEADER + "2026-02-01,T2,A3,12,24.5,,\n")
    assert findings[0].found == "24.5 %, above the 12 % before the cut"


def test_the_right_tank_is_named(inspect):
    _, findings = inspect(trims_csv=HEADER + "2026-02-01,T2,A1,24,12,,\n")
    assert (findings[0].slug, findings[0].expected) == ("tank-mismatch", "T1")


def test_limits_are_plain_numbers():
    assert column_of("trims", "removed_g").expected == "grams from 0 to 1000000"
    assert [plain(n) for n in (1e6, 24.5, 0.1 + 0.2, 1e-5, 1e15)] == [
        "1000000",
        "24.5",
        "0.3",
        "0.00001",
        "1000000000000000",
    ]


def test_an_unknown_id_is_told_the_nearest_and_of_very_many_only_the_first(inspect):
    """A plant may go by its common name; what looks like none is to be added."""
    letters = "abcdefghijklmnopqrstu"
    rows = "".join(f"2026-02-01,T1,A1{letter},20,,,\n" for letter in letters)
    rows += "2026-02-02,T1,A1a,20,,,\n"
    _, findings = inspect(trims_csv=HEADER + rows)
    assert {item.slug for item in findings} == {"unknown-id"}
    fixes = [item.fix for item in findings]
    assert fixes[:20] == ['did you mean "A1"?'] * 20
    assert fixes[20:] == ["add it to areas.csv, or write one of its ids", 'did you mean "A1"?']
    _, findings = inspect(trims_csv=HEADER + "2026-02-01,T1,moss,20,,,\n")
    assert [item.fix for item in findings] == ["add it to areas.csv, or write one of its ids"]
    areas = FILES["areas.csv"].replace("rotala-rotundifolia", "Roundleaf Toothcup")
    _, findings = inspect(areas_csv=areas)
    assert [item.fix for item in findings] == ["write rotala-rotundifolia"]


def test_what_was_proposed_and_not_agreed_on_since_is_counted_once(inspect):
    """Neither an area that is gone nor one whose heights were agreed anew is still open."""
    header, *rows = FILES["areas.csv"].splitlines()
    more = [f"A{n},T1,l{n},rotala-rotundifolia,300,8,25,12,2026-01-01" for n in (4, 5)]
    notes = [
        "proposed: floor_cm",
        "",
        "near; proposed: area_cm2",
        "proposed: floor_cm",
        "proposed:",
    ]
    ends = ["", "", "", "2026-02-01", ""]
    lines = [",".join(cells) for cells in zip([*rows, *more], ends, notes, strict=True)]
    bounds = "area_id,from_date,floor_cm\nA5,2026-03-01,9\n"
    _, findings = inspect(
        areas_csv="\n".join([f"{header},removed_on,note", *lines, ""]), bounds_csv=bounds
    )
    [found] = findings
    assert (found.slug, found.row) == ("proposed", 2)
    assert found.found == "heights are proposals, not agreed on, in 2 areas: A1, A3"


def test_a_log_with_rows_of_areas_has_a_column_for_them(inspect):
    """Looks and heights are of areas; weights may be of whole tanks."""
    for header, row, lacks in (
        ("before_cm", "20", True),
        ("after_cm", "9", True),
        ("look", "over", True),
        ("removed_g", "90", False),
    ):
        _, findings = inspect(trims_csv=f"date,tank_id,{header}\n2026-02-01,T1,{row}\n")
        named = [item for item in findings if item.slug == "missing-column"]
        assert [(item.row, item.heading) for item in named] == [(1, "area_id")] * lacks
