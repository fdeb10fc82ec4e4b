"""A workbook that is older than the book: what changed since is said cell by cell, and stays."""

from __future__ import annotations

import openpyxl
import pytest

from growthcast.book.read import read_book
from tests.books import write_book
from tests.cli import run


@pytest.fixture
def exported(tmp_path):
    book, file = write_book(tmp_path / "book"), tmp_path / "book.xlsx"
    assert run("export", str(book), "--xlsx", str(file)).status == 0
    return book, file


def typed(file, **cells):
    made = openpyxl.load_workbook(file)
    for place, value in cells.items():
        made["areas"][place] = value
    made.save(file)


def test_what_changed_in_the_book_since_is_said_and_stays(exported):
    book, file = exported
    areas = book / "areas.csv"
    areas.write_text(areas.read_text().replace(",7,22,9,", ",8,24,9,"))  # by hand, meanwhile
    trims = book / "trims.csv"
    trims.write_text(trims.read_text() + "2026-11-24,home,moss,5,3,,,,,\n")
    typed(file, G2=23, H2=10)
    ran = run("import", str(file), str(book), "--delete-missing", "--yes")
    assert ran.status == 0, ran.err
    since = "the book has changed since the export, to"
    assert f'row 2, floor_cm: {since} "8"; "7" of the sheet was not taken' in ran.err
    assert f'row 2, budget_cm: {since} "24"; "23" of the sheet was not taken' in ran.err
    stems = read_book(book).areas
    assert [stems.number(name)[0] for name in ("floor_cm", "budget_cm", "cut_cm")] == [8, 24, 10]
    assert "2026-11-24,home,moss" in trims.read_text()  # a visit since is not taken out


def test_what_was_taken_out_of_the_book_since_is_not_added_again(exported):
    book, file = exported
    trims = book / "trims.csv"
    lines = trims.read_text().splitlines(keepends=True)
    trims.write_text("".join(lines[:-1]))
    ran = run("import", str(file), str(book), "--yes")
    assert "this row was taken out of it; it was not added again" in ran.err
    assert trims.read_text() == "".join(lines[:-1])


def test_a_book_begun_a_moment_ago_goes_out_and_comes_back_filled(tmp_path):
    book, file = tmp_path / "book", tmp_path / "book.xlsx"
    assert run("start", str(book)).status == 0
    assert run("export", str(book), "--xlsx", str(file)).status == 0
    made = openpyxl.load_workbook(file)
    assert made["stamp"].sheet_state == "veryHidden"
    heads, *plants = made["lists"].iter_rows(values_only=True)
    assert heads == ("species_id", "common name", "Latin name")
    assert ("taxiphyllum-barbieri", "Java moss", "Taxiphyllum barbieri") in plants
    for name, row in (
        ("tanks", {"tank_id": "lobby", "water_depth_cm [cm]": 45}),
        (
            "areas",
            {"area_id": "moss", "tank_id": "lobby", "species_id": "taxiphyllum-barbieri"}
            | {"area_cm2 [cm²]": 200, "floor_cm [cm]": 2, "budget_cm [cm]": 8},
        ),
    ):
        heads = [cell.value for cell in made[name][1]]
        for head, value in row.items():
            made[name].cell(2, heads.index(head) + 1, value)
    made.save(file)
    ran = run("import", str(file), str(book), "--yes")
    assert ran.status == 0, ran.err
    assert read_book(book).areas.text("area_id").tolist() == ["moss"]
