"""Species of the practice's own: what they need, and where the rest comes from."""

from __future__ import annotations

import numpy as np
import pytest

from growthcast.book.checks.species_rows import FILLED_FROM_FORM
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
