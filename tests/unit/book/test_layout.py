"""A layout of a tank: whose rows count, what its ground holds, words that are read."""

from __future__ import annotations

from datetime import date

import pytest

from growthcast.book.supposed import read_layout
from growthcast.errors import BookProblems, UsageError

ON = date(2026, 4, 1)
HEADER = "area_id,species_id,area_cm2,floor_cm,budget_cm\n"
STEMS, CARPET = "rotala-rotundifolia,{},8,25\n", "hydrocotyle-tripartita,{},2,6\n"
FLOATING = "salvinia-natans,{},10,60\n"


@pytest.fixture
def layout(inspect, tmp_path):
    """Read a layout of tank T1, whose ground is 90 by 45 cm, 4050 cm2."""

    def read(text):
        path = tmp_path / "plan.csv"
        path.write_text(text)
        return read_layout(path, inspect()[0], "T1", ON)

    return read


def test_rows_become_areas_planted_that_day(layout):
    found = layout(HEADER + "N1," + STEMS.format(300) + "N2," + CARPET.format(400))
    assert found.name == "plan"
    assert found.areas.text("area_id").tolist() == ["N1", "N2"]
    assert found.areas.text("tank_id").tolist() == ["T1", "T1"]
    assert found.areas.date("planted_on").tolist() == [ON, ON]
    assert found.areas.number("budget_cm").tolist() == [25.0, 6.0]
    assert found.findings == ()


def test_short_words_are_read(layout):
    found = layout("Area,Plant,area_cm2,Floor,budget\nN1," + STEMS.format(300))
    assert found.areas.text("species_id").tolist() == ["rotala-rotundifolia"]
    assert found.areas.number("floor_cm").tolist() == [8.0]


def test_rows_of_other_tanks_and_of_the_past_do_not_count(layout):
    header = HEADER.replace("\n", ",tank_id,removed_on\n")
    rows = [("T1", ""), ("T2", ""), ("", ""), ("T1", "2026-03-31"), ("T1", "2026-04-01")]
    text = "".join(
        f"N{n}," + STEMS.format(300).replace("\n", f",{tank},{day}\n")
        for n, (tank, day) in enumerate(rows)
    )
    assert layout(header + text).areas.text("area_id").tolist() == ["N0", "N2", "N4"]


def test_rooted_plants_may_lean_over_a_tenth_more_than_the_ground(layout):
    def of(stems, carpet, floating=1000):
        rows = "N1," + STEMS.format(stems) + "N2," + CARPET.format(carpet)
        return HEADER + rows + "N3," + FLOATING.format(floating)

    assert len(layout(of(3000, 1455)).areas) == 3  # 4455 cm2 are 1.1 times 4050
    with pytest.raises(BookProblems) as raised:
        layout(of(3000, 1456))
    [found] = raised.value.findings
    assert (found.file, found.row, found.slug) == ("plan.csv", 2, "area-above-tank")
    assert "3000 cm², and 4456 cm² in all areas" in found.found


def test_without_ground_or_plants_in_it_no_ground_is_lacking(layout, inspect, tmp_path):
    """Floating plants need none; of a tank that is not in the book none is known.

    Nor is any asked for where a file is so wrong that no row is left of it.
    """
    assert len(layout(HEADER + "N1," + FLOATING.format(4050)).areas) == 1
    rows = HEADER + "N1," + STEMS.format(9000)
    for text, tank_id, slug in ((rows, "T9", "unknown-id"), ("area_id\n", "T1", "missing-column")):
        (tmp_path / "plan.csv").write_text(text)
        with pytest.raises(BookProblems) as raised:
            read_layout(tmp_path / "plan.csv", inspect()[0], tank_id, ON)
        assert {item.slug for item in raised.value.findings} == {slug}


def test_an_area_larger_than_the_ground_is_named_once(layout):
    with pytest.raises(BookProblems) as raised:
        layout(HEADER + "N1," + STEMS.format(300) + "N2," + CARPET.format(4456))
    assert [(item.row, item.slug) for item in raised.value.findings] == [(3, "area-above-tank")]


def test_checks_of_areas_are_made_of_layouts_too(layout):
    """A note stays a note; a problem beside it is raised with it."""
    note = HEADER + "N1," + STEMS.replace("25", "41").format(300)
    assert [item.slug for item in layout(note).findings] == ["budget-above-water"]
    with pytest.raises(BookProblems) as raised:
        layout(note + "N1," + CARPET.format(400) + "N2,no-such-plant,400,2,6\n")
    slugs = [item.slug for item in raised.value.findings]
    assert sorted(slugs) == ["budget-above-water", "double-id", "unknown-id"]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (HEADER, "has a header and no rows"),
        (
            HEADER.replace("\n", ",tank_id\n") + "N1," + STEMS.format(9).replace("\n", ",T2\n"),
            "has no row for tank T1",
        ),
    ],
)
def test_a_layout_of_nothing_is_said(layout, text, said):
    with pytest.raises(UsageError, match=said):
        layout(text)


def test_a_layout_that_is_not_there(inspect, tmp_path):
    with pytest.raises(UsageError, match="there is no layout"):
        read_layout(tmp_path / "none.csv", inspect()[0], "T1", ON)
