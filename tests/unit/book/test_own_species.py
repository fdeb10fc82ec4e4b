"""Species of the practice's own: what they need, and where the rest comes from."""

from __future__ import annotations

import numpy as np
import pytest

from growthcast.book.read import FILLED_FROM_FORM
from growthcast.book.tables import TABLES

FEW = "species_id,form,measure,rate_per_day,ceiling_cm,temp_opt_c\n"


def test_five_cells_are_enough(inspect):
    book, findings = inspect(species_csv=FEW + "new-stem,stem,height_cm,0.07,50,26\n")
    assert [item.slug for item in findings] == ["own-species", "species-filled"]
    note = findings[1]
    assert (note.row, note.column) == (2, "A")
    listed = note.found.split(" for ")[1].split(", ")
    assert listed == [name for name in FILLED_FROM_FORM if name != "temp_opt_c"]
    row = book.species.text("species_id").tolist().index("new-stem")
    for column in TABLES["species"]:
        if column.kind == "number":
            assert np.isfinite(book.species.number(column.name)[row]), column.name
    assert book.species.number("rate_per_day")[row] == 0.07
    assert book.species.number("temp_opt_c")[row] == 26
    assert book.species.number("light_floor")[row] == 0.3  # the one stem of the table
    assert book.species.extra["filled"][row].split(";") == listed


def test_the_median_of_the_same_measure_where_the_form_is_new(inspect):
    book, findings = inspect(species_csv=FEW + "new-moss,moss,height_cm,0.05,4,\n")
    assert "measured as height_cm" in findings[1].found
    assert book.species.number("density_g_l")[-1] == 70  # between 60 and 80
    assert book.species.number("lowest_cut_cm")[-1] == 2  # never above half of the ceiling


def test_one_finding_for_all_that_is_missing(inspect):
    book, findings = inspect(species_csv="species_id,ceiling_cm\nnew-stem,50\nother,\n")
    assert book is None
    hits = [item for item in findings if item.slug == "incomplete-species"]
    assert [item.row for item in hits] == [2, 3]
    assert hits[0].found == "no form, measure, rate_per_day for the new species new-stem"
    assert hits[1].found.startswith("no form, measure, rate_per_day, ceiling_cm ")


@pytest.mark.parametrize("name", ["rate_spread", "settle_d"])
def test_a_shipped_species_is_never_filled(inspect, name):
    book, findings = inspect(species_csv=f"species_id,{name}\nrotala-rotundifolia,\n")
    assert findings == ()
    assert set(book.species.extra["filled"]) == {""}


@pytest.mark.parametrize(
    ("row", "column", "found"),
    [
        ("lowest_cut_cm\nhydrocotyle-tripartita,20.5", "B", "20.5 cm, not below the ceiling of"),
        ("ceiling_cm\nhydrocotyle-tripartita,1", "B", "1 cm, not below the ceiling of 1 cm"),
        ("lowest_cut_cm\nrotala-rotundifolia,40", "B", "40 cm, not below the water of 40 cm"),
        ("lowest_cut_cm\nsalvinia-natans,100", "B", "100 %, not below the ceiling of 100 %"),
        ("lowest_cut_cm\nrotala-rotundifolia,39", None, None),
        ("lowest_cut_cm\nhydrocotyle-tripartita,19", None, None),
    ],
)
def test_a_plant_that_stands_no_cut_below_its_ceiling(inspect, row, column, found):
    _, findings = inspect(species_csv=f"species_id,{row}\n")
    hits = [item for item in findings if item.slug == "lowest-cut-at-ceiling"]
    assert [item.column for item in hits] == ([] if column is None else [column])
    assert not hits or found in hits[0].found


def test_an_area_that_no_light_reaches(inspect):
    header = "area_id,tank_id,species_id,area_cm2,floor_cm,budget_cm,planted_on,light_share\n"
    rows = "A1,T1,rotala-rotundifolia,300,8,25,2026-01-01,{}\n"
    _, findings = inspect(areas_csv=header + rows.format(0))
    [note] = [item for item in findings if item.slug == "no-light"]
    assert (note.file, note.row, note.column, note.level) == ("areas.csv", 2, "H", "note")
    _, findings = inspect(areas_csv=header + rows.format(0.05))
    assert "no-light" not in {item.slug for item in findings}
