"""Files that hold a table in another form than CSV."""

from __future__ import annotations

import pytest

from growthcast.book.files import book_folder, demo_dir, find_book, find_own_book
from growthcast.book.read import inspect_book
from growthcast.errors import MissingBook
from tests.unit.book.small_book import FILES, TODAY


def look(folder):
    _, findings = inspect_book(folder, today=TODAY)
    return [(item.slug, item.file) for item in findings], findings


@pytest.mark.parametrize(
    ("name", "fix"),
    [
        ("trims.xlsx", "export it as CSV named trims.csv"),
        ("Trims.ODS", "export it as CSV named trims.csv"),
        ("trim.xls", "export it as CSV named trims.csv"),
        ("trims.csv.txt", "rename it to trims.csv"),
        ("trims.txt", "rename it to trims.csv"),
        ("trims.csv.csv", "rename it to trims.csv"),
    ],
)
def test_a_log_in_another_form_is_not_missed(make_book, name, fix):
    folder = make_book(trims_csv=None)
    (folder / name).write_bytes(b"PK\x03\x04")
    named, findings = look(folder)
    assert named == [("not-csv", name)]
    assert findings[0].fix == fix
    assert (folder / name).read_bytes() == b"PK\x03\x04"


@pytest.mark.parametrize("name", ["conditions.xlsx", "species.ods", "areas.csv.txt", "tanks.xlsx"])
def test_every_table_is_looked_for(make_book, name):
    table = name.split(".")[0] + ".csv"
    folder = make_book(**{table.replace(".", "_"): None}) if table in FILES else make_book()
    (folder / name).write_bytes(b"x")
    named, _ = look(folder)
    assert ("not-csv", name) in named
    assert ("missing-file", table) not in named


def test_one_file_under_another_name_hides_no_other_that_is_missing(make_book):
    folder = make_book(tanks_csv=None, areas_csv=None)
    (folder / "areas.xlsx").write_bytes(b"x")
    named, _ = look(folder)
    assert sorted(named) == [("missing-file", "tanks.csv"), ("not-csv", "areas.xlsx")]


def test_a_settings_file_with_one_ending_too_many(make_book):
    folder = make_book(practice_toml=None)
    (folder / "practice.toml.txt").write_text(FILES["practice.toml"])
    assert look(folder)[0] == [("not-csv", "practice.toml.txt")]


@pytest.mark.parametrize(
    ("name", "meant"),
    [
        ("trims (conflicted copy).csv", "trims.csv"),
        ("trims (laptop's conflicted copy 2026-11-25).csv", "trims.csv"),
        ("trims.sync-conflict-20261125-101010-ABCDEFG.csv", "trims.csv"),
        ("trims-conflict-2.csv", "trims.csv"),
        ("Areas (Konfliktkopie).csv", "areas.csv"),
        ("tanks (1).csv", "tanks.csv"),
        ("tanks 2.csv", "tanks.csv"),
        ("tanks - Copy.csv", "tanks.csv"),
        ("practice (1).toml", "practice.toml"),
    ],
)
def test_a_second_version_of_a_file_is_noted(make_book, name, meant):
    folder = make_book()
    (folder / name).write_bytes(b"x")
    named, findings = look(folder)
    assert named == [("conflict-copy", name)]
    assert findings[0].expected == meant


@pytest.mark.parametrize(
    "name",
    [
        "README.txt",
        "journal.jsonl",
        ".growthcast.lock",
        ".trims.csv.growthcast-new",
        "trims-2025.csv",
        "tanks-old.csv",
    ],
)
def test_what_writing_leaves_in_a_book_is_passed_by(make_book, name):
    folder = make_book()
    (folder / name).write_bytes(b"x")
    assert look(folder)[0] == []


@pytest.mark.parametrize(
    "name", ["trims.csv.bak", "~$trims.xlsx", ".~lock.trims.csv#", "plan.xlsx"]
)
def test_other_files_are_left_alone(make_book, name):
    folder = make_book()
    (folder / name).write_bytes(b"x")
    assert look(folder)[0] == []


def test_a_spreadsheet_beside_its_csv_is_a_remark(make_book):
    folder = make_book()
    (folder / "areas.xlsx").write_bytes(b"PK")
    named, findings = look(folder)
    assert named == [("spreadsheet-beside", "areas.xlsx")]
    assert findings[0].level == "remark"


@pytest.mark.parametrize("start", [b"PK\x03\x04", b"\xd0\xcf\x11\xe0"])
def test_a_workbook_under_the_name_of_a_csv(make_book, start):
    named, findings = look(make_book(trims_csv=start + bytes(range(256))))
    assert named == [("workbook", "trims.csv")]
    assert "export it as CSV named trims.csv" in findings[0].fix


def test_the_folder_of_a_book_is_the_one_named_the_one_here_or_the_demo(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "file").write_text("")
    assert book_folder(tmp_path) == tmp_path
    for name, seen in (("file", "is not a folder"), ("none", "does not exist")):
        with pytest.raises(MissingBook, match=f"it {seen}"):
            find_book(name)
    with pytest.raises(MissingBook, match="cannot be opened"):
        book_folder("x" * 5000)
    folder, said = find_book(None)
    assert folder == demo_dir()
    assert "using the demo book at" in said
    with pytest.raises(MissingBook, match="name the folder of your book"):
        find_own_book(None)
    (tmp_path / "practice.toml").write_text("")
    assert find_book(None) == (tmp_path, None)
    assert find_own_book(None) == tmp_path
    assert find_own_book(tmp_path) == tmp_path
