"""An old diary comes into the log: columns matched, nothing guessed. All of it invented."""

from __future__ import annotations

import json

import openpyxl
import pytest

from growthcast.book.read import read_book
from growthcast.book.writing.journal import entries
from tests.books import write_book
from tests.cli import run

DIARY = """Datum;Becken;Pflanze;vorher;nachher;Gramm;Wetter;Wasserwechsel;Bemerkung
13.04.2025;Lobby;Back stems;18,5;9;;sun;50%;
13.04.2025;Lobby;Front carpet;4 cm;1,5;;sun;50%;
20.04.2025;lobby;rotala rotundifolia;19;9;120 g;rain;30%;doses: iron
20.04.2025;lobby;;;;1,5 kg;;30%;bucket
27.04.2025;lobby;unknown plant;19;9;;;;
27.04.2025;home;Stone moss;tall;3;;;;
soon;home;Stone moss;6;3;;;;
04.05.2025;home;Stone moss;3;6;;;;after above before
04.05.2025;cellar;Stone moss;6;3;;;;
11.05.2025;home;;;;;;;
"""


@pytest.fixture
def book(tmp_path):
    return write_book(tmp_path / "book")


def call(tmp_path, book, *more, diary=DIARY, kept="columns.toml"):
    file = tmp_path / "diary.csv"
    file.write_text(diary, encoding="utf-8")
    return run("import", str(file), str(book), "--as", str(tmp_path / kept), *more)


def test_a_diary_is_shown_first_and_written_once_its_columns_are_kept(tmp_path, book):
    before = (book / "trims.csv").read_bytes()
    first = call(tmp_path, book, "--yes")
    assert first.status == 0, first.err
    assert (book / "trims.csv").read_bytes() == before
    kept = (tmp_path / "columns.toml").read_text(encoding="utf-8")
    assert 'Becken = "tank_id"' in kept
    assert 'Wetter = ""' in kept
    assert "5 rows for the log from diary.csv" in first.out
    for row, why in (
        (6, 'no one area of that day goes by "unknown plant"'),
        (7, 'vorher: "tall" is not understood'),
        (8, 'Datum: "soon" is not understood'),
        (9, "trims.csv refuses it: after_cm: 6 cm, above the 3 cm before"),
        (10, 'no one tank goes by "cellar"'),
        (11, "nothing that the log holds"),
    ):
        assert f"diary.csv, row {row}: {why}" in first.err
    second = call(tmp_path, book, "--yes")
    assert "Wrote" in second.err
    log = read_book(book).trims
    added = log.keep(log.rows > len(before.splitlines()))
    assert added.number("before_cm").tolist()[:3] == pytest.approx(
        [18.5, float("nan"), 4], nan_ok=True
    )
    assert sorted(added.number("removed_g")[added.given("removed_g")].tolist()) == [120, 1500]
    assert added.number("water_share")[added.given("water_share")].tolist() == [0.5, 0.3]
    assert [entry.command for entry in entries(book)] == ["import"]
    again = call(tmp_path, book, "--yes", "--json")
    assert json.loads(again.out)["rows"] == []
    assert "the log has this row already" in again.err + again.out


def test_what_may_be_read_in_two_ways_is_asked(tmp_path, book):
    diary = "date,tank,plant,before,after\n03/04/2025,lobby,stems,18,9\n"
    ran = call(tmp_path, book, diary=diary)
    assert ran.status == 2
    assert '"03/04/2025" may begin with the day or the month' in ran.err
    kept = tmp_path / "columns.toml"
    kept.write_text(kept.read_text().replace('dates = ""', 'dates = "month-first"'))
    ran = call(tmp_path, book, "--yes", diary=diary)
    assert ran.status == 0, ran.err
    assert "2025-03-04,lobby,stems,18,9" in (book / "trims.csv").read_text(encoding="utf-8")


def test_columns_are_known_by_what_is_in_them_and_a_workbook_will_do(tmp_path, book):
    made = openpyxl.Workbook()
    for row in (["when", "where", "heights (cm)"], ["13/4/2025", "Back stems", "18/9"]):
        made.active.append(row)
    made.save(tmp_path / "old.xlsx")
    kept = tmp_path / "columns.toml"
    ran = run("import", str(tmp_path / "old.xlsx"), str(book), "--as", str(kept), "--json")
    answer = json.loads(ran.out)
    assert answer["columns"] == {"when": "date", "where": "area_id", "heights (cm)": "heights"}
    assert answer["rows"][0]["after_cm"] == 9


def test_a_file_of_columns_that_is_not_understood_is_said(tmp_path, book):
    kept = tmp_path / "columns.toml"
    for text, why in (
        ('[columns]\nDatum = "day"\n', "no column is"),
        ('[columns]\nTag = "date"\n', 'has no column "Tag"'),
        ('[columns]\nDatum = "date"\nBecken = "date"\n', "two columns of the diary"),
        ("[columns\n", "cannot be read"),
        ('[reading]\ndates = "always"\n', "there is no"),
        ("[columns]\n", "no column holds the days"),
    ):
        kept.write_text(text)
        ran = call(tmp_path, book)
        assert (ran.status, why in ran.err) == (2, True), ran.err
