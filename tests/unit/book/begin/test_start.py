"""A new book from the sheets of a workbook: ids follow from the names that a person wrote."""

from __future__ import annotations

from datetime import date

from growthcast.book.begin.start import start_from
from growthcast.book.read import read_book
from growthcast.book.sheets.load import SheetTable, Workbook

TODAY = date(2026, 6, 1)
TANKS = SheetTable(
    "tanks",
    ("name", "client", "length_cm", "width_cm", "water_depth_cm"),
    ((2, ("Front Hall", "Client A", 120, 50, 45)), (3, ("Office", "Client A", 60, 30, 33))),
)
AREAS = SheetTable(
    "areas",
    ("tank_id", "label", "species_id", "area_cm2", "floor_cm", "budget_cm"),
    (
        (2, ("Front Hall", "Back stems", "rotala-rotundifolia", 400, 7, 22)),
        (3, ("Office", "Left stems", "rotala-rotundifolia", 150, 2, 9)),
    ),
)


def test_areas_stand_in_the_tanks_that_their_rows_name(tmp_path):
    folder = tmp_path / "book"
    start_from(folder, Workbook("new.xlsx", (TANKS, AREAS), (), ()), today=TODAY)
    book = read_book(folder, today=TODAY)
    assert book.tanks.text("tank_id").tolist() == ["front-hall", "office"]
    assert book.areas.text("tank_id").tolist() == ["front-hall", "office"]
    assert book.areas.text("species_id").tolist() == 2 * ["rotala-rotundifolia"]
