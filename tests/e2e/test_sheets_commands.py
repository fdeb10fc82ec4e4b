"""Export and import as a person runs them, on the demo and on books with something odd."""

from __future__ import annotations

import datetime as dt
import json
import os
import shutil
from pathlib import Path

import openpyxl
import pytest

from growthcast.book.files import demo_dir
from growthcast.book.writing.journal import JOURNAL, entries
from tests.books import write_book
from tests.cli import run


@pytest.fixture
def demo(tmp_path: Path) -> Path:
    folder = tmp_path / "demo"
    folder.mkdir()
    for file in demo_dir().iterdir():
        if file.suffix in {".csv", ".toml"}:
            shutil.copy(file, folder / file.name)
    return folder


def bytes_of(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def typed_in(file: Path) -> None:
    """Change, add and take out rows in another program."""
    made = openpyxl.load_workbook(file)
    log = made["trims"]
    log["D3"] = 3.25
    log.delete_rows(5)
    log.append([dt.datetime(2026, 11, 20), "desk-nano", "nano-cuba", 2.5, 1, None, None, "over"])
    log.cell(log.max_row, 10).value = "'=1+1"
    made.create_sheet("practice").append(["section", "key", "value"])  # of an older export
    made.save(file)
    made.close()


def test_what_goes_out_comes_back_without_differences(demo, tmp_path):
    file = tmp_path / "demo.xlsx"
    ran = run("export", str(demo), "--xlsx", str(file))
    assert (ran.status, ran.err) == (0, f"Wrote {file}\n")
    assert "tanks 6, areas 27, bounds 0, trims 454" in ran.out
    before = bytes_of(demo)
    back = run("import", str(file), str(demo), "--yes")
    assert back.status == 0
    assert back.out == "No differences: the book says what the workbook says.\n"
    assert bytes_of(demo) == before


@pytest.mark.slow
def test_differences_are_shown_and_written_only_with_yes(demo, tmp_path):
    file = tmp_path / "demo.xlsx"
    run("export", str(demo), "--xlsx", str(file))
    typed_in(file)
    before = bytes_of(demo)
    ran = run("import", str(file), str(demo))
    assert ran.status == 0
    assert 'sheet "practice" was not read: practice.toml is edited as text.\n' in ran.err
    assert "trims.csv: 1 changed, 1 added, 1 not in the sheet and kept\n" in ran.out
    assert "nano-hairgrass: before_cm 3 -> 3.25\n" in ran.out
    assert ran.err.endswith("Nothing was written; --yes writes trims.csv.\n")
    assert bytes_of(demo) == before
    assert run("import", str(file), str(demo), "--yes").status == 0
    after = bytes_of(demo)
    old, new = (one["trims.csv"].split(b"\n") for one in (before, after))
    assert new[:2] == old[:2]
    assert new[2] == old[2].replace(b",3,", b",3.25,", 1)
    assert new[3:-2] == old[3:-1]
    assert new[-2] == b"2026-11-20,desk-nano,nano-cuba,2.5,1,,,over,,'=1+1"
    [entry] = entries(demo)
    assert (entry.command, entry.files.keys()) == ("import", {"trims.csv"})
    again = run("import", str(file), str(demo), "--json")
    [table] = json.loads(again.out)["tables"]
    assert (table["changed"], table["added"], len(table["missing"])) == ([], [], 1)
    assert "taken out" in run("import", str(file), str(demo), "--delete-missing", "--yes").out
    assert "No differences" in run("import", str(file), str(demo)).out


def test_what_does_not_check_is_refused_and_nothing_written(demo, tmp_path):
    file = tmp_path / "demo.xlsx"
    run("export", str(demo), "--xlsx", str(file))
    made = openpyxl.load_workbook(file)
    made["trims"]["D3"] = "3,5 cm"
    made["trims"]["B4"] = "no-such-tank"
    made.save(file)
    made.close()
    before = bytes_of(demo)
    ran = run("import", str(file), str(demo), "--yes")
    assert ran.status == 2
    assert "demo.xlsx, sheet trims:3:D: before_cm: found" in ran.err
    assert "demo.xlsx, sheet trims:4:B: tank_id: found" in ran.err
    assert "nothing was written" in ran.err
    assert "Traceback" not in ran.err
    assert bytes_of(demo) == before
    assert JOURNAL not in before


def test_only_a_workbook_of_the_same_kind_is_replaced(demo, tmp_path):
    file = tmp_path / "demo.xlsx"
    assert run("export", str(demo), "--xlsx", str(file)).status == 0
    assert run("export", str(demo), "--xlsx", str(file)).err == f"Replaced the workbook {file}\n"
    letter = tmp_path / "letter.xlsx"
    letter.write_text("dear client")
    for option, target, words in (
        ("--xlsx", letter, "is there already and is no workbook"),
        ("--xlsx", tmp_path / "demo.ods", "does not end in .xlsx"),
        ("--xlsx", demo / "tanks.csv", "does not end in .xlsx"),
        ("--xlsx", tmp_path / "none" / "a.xlsx", "there is no folder"),
    ):
        ran = run("export", str(demo), option, str(target))
        assert (ran.status, words in ran.err) == (2, True), ran.err
    assert letter.read_text() == "dear client"
    ran = run("export", str(demo))
    assert (ran.status, ran.err) == (2, "growthcast: name the file to write: --xlsx FILE.xlsx\n")
    link = tmp_path / "link.xlsx"
    link.symlink_to(file)
    assert "is a link" in run("export", str(demo), "--xlsx", str(link)).err


def test_a_book_file_under_another_name_is_not_written_over(demo, tmp_path):
    trap = tmp_path / "trap.xlsx"
    os.link(demo / "trims.csv", trap)
    before = bytes_of(demo)
    ran = run("export", str(demo), "--xlsx", str(trap))
    assert (ran.status, "is trims.csv of the book" in ran.err) == (2, True)
    assert bytes_of(demo) == before


def test_wrong_files_get_a_sentence(demo, tmp_path, monkeypatch):
    text = tmp_path / "book.xlsx"
    text.write_text("date,tank_id\n")
    assert "is no .xlsx workbook" in run("import", str(text), str(demo)).err
    assert "there is no file" in run("import", str(tmp_path / "no.xlsx"), str(demo)).err
    assert "is a folder" in run("import", str(tmp_path), str(demo)).err
    monkeypatch.chdir(tmp_path)
    ran = run("import", str(text))
    assert (ran.status, "name the folder of your book" in ran.err) == (2, True)


def test_a_book_with_problems_is_not_exported(tmp_path):
    book = write_book(tmp_path / "book", trims="date,tank_id\n2026-13-01,lobby\n")
    ran = run("export", str(book), "--xlsx", str(tmp_path / "a.xlsx"))
    assert (ran.status, "no-such-day" in ran.err) == (2, True)
    assert not (tmp_path / "a.xlsx").exists()


def test_ids_with_separators_never_become_paths(demo, tmp_path):
    """Neither from a workbook nor from the book's own files: they are told apart and refused."""
    file = tmp_path / "demo.xlsx"
    run("export", str(demo), "--xlsx", str(file))
    made = openpyxl.load_workbook(file)
    tanks = made["tanks"]
    tanks.append(["../../evil", "Client", "Site", 60, 30, 30])
    tanks.append(["C:\\evil", "Client", "Site", 60, 30, 30])
    made.save(file)
    made.close()
    ran = run("import", str(file), str(demo), "--yes")
    assert ran.status == 2
    assert ran.err.count("[id-form]") == 2
    tanks_csv = demo / "tanks.csv"
    tanks_csv.write_text(tanks_csv.read_text().replace("desk-nano", "../desk-nano"))
    out = tmp_path / "again.xlsx"
    for command in (("check", str(demo)), ("export", str(demo), "--xlsx", str(out))):
        ran = run(*command)
        assert (ran.status, "[id-form]" in ran.err) == (2, True)
    assert sorted(path.name for path in tmp_path.rglob("*") if path.parent != demo) == [
        "demo",
        "demo.xlsx",
    ]
