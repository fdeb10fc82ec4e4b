"""A new book from the sheets of a workbook: ids follow from the names that a person wrote."""

from __future__ import annotations

from datetime import date

import pytest

from growthcast.book.begin.start import check_new_folder, start_book, start_from
from growthcast.book.read import read_book
from growthcast.book.sheets.load import Workbook
from growthcast.book.sheets.values import SheetTable
from growthcast.errors import RowsRefused, UsageError

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
    start_from(folder, Workbook("new.xlsx", (TANKS, AREAS), ()), today=TODAY)
    book = read_book(folder, today=TODAY)
    assert book.tanks.text("tank_id").tolist() == ["front-hall", "office"]
    assert book.areas.text("tank_id").tolist() == ["front-hall", "office"]
    assert book.areas.text("species_id").tolist() == 2 * ["rotala-rotundifolia"]


def test_a_new_book_is_written_into_a_folder_that_holds_none(tmp_path):
    tank = {"tank_id": "hall", "length_cm": 120.0, "width_cm": 50.0, "water_depth_cm": 45.0}
    area = {"area_id": "stems", "tank_id": "hall", "species_id": "rotala-rotundifolia"}
    area |= {"area_cm2": 400.0, "floor_cm": 7.0, "budget_cm": 22.0, "planted_on": TODAY}
    folder = tmp_path / "new" / "book"
    written = start_book(
        folder, {"name": "P", "labour_rate_per_h": 50.0}, [tank], [area], today=TODAY
    )
    assert {"practice.toml", "tanks.csv", "areas.csv"} <= set(written)
    settings = (folder / "practice.toml").read_bytes()
    assert b'currency = "EUR"                # three capital letters' in settings  # others stay
    book = read_book(folder, today=TODAY)
    assert (book.practice.name, book.practice.labour_rate_per_h) == ("P", 50.0)
    assert book.areas.number("budget_cm").tolist() == [22.0]
    with pytest.raises(UsageError, match=r"holds practice.toml, tanks.csv.* already"):
        start_book(folder, {}, [tank], [area], today=TODAY)
    (tmp_path / "file").write_text("")
    with pytest.raises(UsageError, match="is a file; name a folder"):
        start_book(tmp_path / "file", today=TODAY)
    with pytest.raises(RowsRefused):
        start_book(tmp_path / "other", {}, [tank], [area | {"budget_cm": 5.0}], today=TODAY)
    assert not (tmp_path / "other").exists()
    check_new_folder(tmp_path / "other")
