"""One row typed as column=value."""

from __future__ import annotations

import pytest

from growthcast.book.writing.append import parse_cells, parse_row, row_in_words, slug_for
from growthcast.errors import UsageError

AREA = ["id=stems", "tank_id=lobby", "species_id=x", "area_cm2=400", "floor_cm=8", "budget_cm=22"]


def test_a_row_with_units_commas_and_short_names():
    row = parse_row(
        "area", [*AREA, "planted_on=2026-01-15", "light_share=80%", "cut=9,5cm", "note=a=b"]
    )
    assert row["area_id"] == "stems"
    assert row["light_share"] == 0.8
    assert row["cut_cm"] == 9.5
    assert row["note"] == "a=b"
    assert row_in_words(row).endswith("light_share 0.8, cut_cm 9.5, note a=b")


def test_conditions_by_short_names_and_own_columns():
    row, troubles = parse_cells(
        "conditions",
        ["tank_id=t", "from_date=2026-01-15", "co2=20mg/l", "k=0", "Lamp=two"],
        ("tank_id", "Lamp"),
    )
    assert troubles == []
    assert (row["co2_mg_l"], row["k_mg_l"], row["Lamp"]) == (20.0, 0.0, "two")


@pytest.mark.parametrize(
    ("items", "said"),
    [
        (["water_depth_cm"], "has no ="),
        (["water_dept_cm=45"], r'did you mean "water_depth_cm"\?'),
        (["water_depth_cm=45", "water_depth_cm=45"], "is given twice"),
        (["tank_id=a"], r"also needs water_depth_cm \(water above the substrate, centimetres"),
        (["tank_id=a", "water_depth_cm="], "also needs water_depth_cm"),
        (["tank_id=a", "water_depth_cm=deep"], "not a number"),
        (["tank_id=a", "water_depth_cm=1,234"], "thousands mark"),
        (["tank_id=a", "water_depth_cm=45l"], "a number with its unit; write 45"),
        (["tank_id=a", "w=3"], "no column w"),
    ],
)
def test_what_is_not_understood_is_said(items, said):
    with pytest.raises(UsageError, match=said):
        parse_row("tank", items)


def test_dates_say_how():
    with pytest.raises(UsageError, match="write 2026-01-15"):
        parse_row("area", [*AREA, "planted_on=15.1.2026"])


@pytest.mark.parametrize(
    ("name", "shorter"),
    [
        ("Practice Hall 2", "practice-hall-2"),
        ("hall-2_a.b", None),  # typed as easily
        ("", None),
        ("?!", None),  # nothing is left of it
    ],
)
def test_an_id_that_is_easier_to_type(name, shorter):
    assert slug_for("tank", {"tank_id": name}) == shorter


@pytest.mark.parametrize(
    ("item", "share"),
    [("light_share=80 %", 0.8), ("light_share=0.8", 0.8), ("light_share=0,25", 0.25)],
)
def test_a_share_may_be_typed_in_per_cent(item, share):
    assert parse_row("area", [item], whole=False) == {"light_share": share}


def test_a_unit_may_stand_beside_a_number_without_a_change():
    row = parse_row("area", ["cut=9.5 cm", "area_cm2=400"], whole=False)
    assert row == {"cut_cm": 9.5, "area_cm2": 400.0}
