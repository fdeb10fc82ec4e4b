"""Rows are added the way the file is written; everything that stood there stays, byte for byte."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from growthcast.book.tables import TABLES
from growthcast.book.writing import append
from growthcast.book.writing.append import add_rows, would_add
from growthcast.book.writing.journal import entries
from growthcast.book.writing.replace import replace_files
from growthcast.book.writing.source import (
    edited,
    new_source,
    rewritten,
    taken_apart,
    widened,
)
from growthcast.book.writing.unlog import take_back
from growthcast.errors import FileChanged, NotWritten, RowsRefused, UsageError
from tests.unit.book.small_book import FILES, TODAY

ROW = {"date": date(2026, 3, 1), "tank_id": "T1", "area_id": "A1", "before_cm": 24.5, "after_cm": 9}


def put(old, row):
    return edited(taken_apart(old, "trims")[0], {}, [row])[0]


@pytest.mark.parametrize(
    ("old", "line"),
    [
        (b"date,tank_id,area_id,before_cm,after_cm\n", b"2026-03-01,T1,A1,24.5,9\n"),
        (b"date,tank_id,area_id,before_cm,after_cm", b"\n2026-03-01,T1,A1,24.5,9\n"),
        (b"date;tank_id;area_id;before_cm;after_cm\r\n", b"2026-03-01;T1;A1;24,5;9\r\n"),
        (b"sep=;\rdate;tank_id;area_id;before_cm;after_cm\r", b"2026-03-01;T1;A1;24,5;9\r"),
        (
            b"date;tank_id;area_id;before_cm;after_cm\n2026-02-01;T1;A1;20.5;9\n",
            b"2026-03-01;T1;A1;24.5;9\n",
        ),
        (
            b"after_cm\tdate\tmine\ttank_id\tarea_id\tbefore_cm\n",
            b"9\t2026-03-01\t\tT1\tA1\t24.5\n",
        ),
        (
            b"\xef\xbb\xbfdate,tank_id,area_id,before_cm,after_cm\r\n",
            b"2026-03-01,T1,A1,24.5,9\r\n",
        ),
        (
            "\ufeffdate;tank_id;area_id;before_cm;after_cm".encode("utf-16-le"),
            "\n2026-03-01;T1;A1;24,5;9\n".encode("utf-16-le"),
        ),
        (
            "\ufeffdate;tank_id;area_id;before_cm;after_cm\r\n".encode("utf-16-be"),
            "2026-03-01;T1;A1;24,5;9\r\n".encode("utf-16-be"),
        ),
        (b'"date","tank_id","area_id","before_cm","after_cm"\n\n\n', b"2026-03-01,T1,A1,24.5,9\n"),
    ],
)
def test_a_line_is_written_as_the_others_are(old, line):
    assert put(old, ROW) == old + line


def test_windows_text_stays_windows_text():
    old = "date,tank_id,area_id,note\n2026-02-01,T1,A1,gekürzt\n".encode("cp1252")
    row = {"date": "2026-03-01", "tank_id": "T1", "area_id": "A1", "note": "schön, gut"}
    new = put(old, row)
    assert new == old + '2026-03-01,T1,A1,"schön, gut"\n'.encode("cp1252")
    with pytest.raises(UsageError, match=r"saved as Windows-1252, which cannot hold \"茶\""):
        put(old, {**row, "note": "茶"})


def test_a_new_file_is_written_as_the_tanks_are():
    like = "\ufefftank_id;water_depth_cm\r\nT1;40,5\r\n".encode()
    new = edited(new_source("trims", like), {}, [ROW])[0]
    assert new.startswith("\ufeffdate;tank_id;area_id;".encode())
    blank = b";" * (len(TABLES["trims"]) - 5)
    assert new.endswith(b"\r\n2026-03-01;T1;A1;24,5;9" + blank + b"\r\n")
    assert edited(new_source("trims"), {}, [ROW])[0].count(b"\n") == 2


def test_a_column_that_is_not_there_is_named():
    with pytest.raises(UsageError, match=r"trims.csv has no column \"lok\"; did you mean \"look\""):
        put(b"date,tank_id,area_id,look\n", {"lok": "over"})
    with pytest.raises(UsageError, match="control character"):
        put(b"date,note\n", {"note": "two\nlines"})
    with pytest.raises(RowsRefused):
        taken_apart(b"\x81\xff", "trims")


def add(folder, **cells):
    return add_rows(
        folder, "trims", [{**ROW, **cells}], today=TODAY, command="log", summary="a visit"
    )


def test_the_book_with_the_row_is_returned_and_the_journal_knows(make_book):
    folder = make_book()
    old = (folder / "trims.csv").read_bytes()
    added = add(folder)
    assert added.book is not None
    assert len(added.book.trims) == len(old.splitlines())
    assert (folder / "trims.csv").read_bytes().startswith(old)
    assert [entry.command for entry in entries(folder)] == ["log"]
    assert added.entry is not None
    assert added.entry.summary == "a visit"


@pytest.mark.parametrize(
    ("cells", "slug"),
    [
        ({"area_id": "A9"}, "unknown-id"),
        ({"tank_id": "T9"}, "unknown-id"),
        ({"after_cm": 30.0}, "after-above-before"),
        ({"before_cm": 900.0}, "out-of-range"),
        ({"date": date(2030, 1, 1)}, "future-date"),
        ({"area_id": "../A1"}, "id-form"),
    ],
)
def test_a_row_that_does_not_check_is_refused_and_nothing_is_written(make_book, cells, slug):
    folder = make_book()
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    with pytest.raises(RowsRefused, match="nothing was written") as refused:
        add(folder, **cells)
    assert slug in [item.slug for item in refused.value.findings]
    del_lock = {p.name: p.read_bytes() for p in folder.iterdir() if not p.name.startswith(".")}
    assert del_lock == before


def test_the_same_row_twice_is_refused(make_book):
    folder = make_book()
    add(folder)
    with pytest.raises(UsageError, match=r"trims.csv holds this already"):
        add(folder)


def test_problems_elsewhere_do_not_stop_a_row_and_are_told(make_book):
    folder = make_book(conditions_csv="tank_id,from_date\nT9,2026-01-01\n")
    added = add(folder)
    assert added.book is None
    assert [item.slug for item in added.problems_before] == ["unknown-id"]


def test_a_table_with_problems_is_mended_first(make_book):
    folder = make_book(trims_csv=FILES["trims.csv"] + "2026-03-01,T1,A1,2")
    with pytest.raises(RowsRefused) as refused:
        add(folder)
    assert [item.slug for item in refused.value.findings] == ["torn-row"]


def test_trying_writes_nothing(make_book):
    folder = make_book()
    before = sorted(path.name for path in folder.iterdir())
    tried = would_add(folder, "trims", [{**ROW, "before_cm": 60.0}], today=TODAY)
    assert [item.slug for item in tried.findings][:1] == ["height-above-water"]
    assert sorted(path.name for path in folder.iterdir()) == before


def test_a_spreadsheets_row_of_meanwhile_is_kept(make_book, monkeypatch):
    folder = make_book()
    theirs = (folder / "trims.csv").read_bytes() + b"2026-03-05,T1,A1,20,10,,,,,\n"
    calls = []

    def meanwhile(*arguments, **options):
        calls.append(1)
        if len(calls) == 1:
            (folder / "trims.csv").write_bytes(theirs)
        return replace_files(*arguments, **options)

    monkeypatch.setattr(append, "replace_files", meanwhile)
    add(folder)
    assert (folder / "trims.csv").read_bytes() == theirs + b"2026-03-01,T1,A1,24.5,9,,,,,\n"
    assert len(calls) == 2


def test_a_file_that_never_rests_is_left_alone(make_book, monkeypatch):
    folder = make_book()

    def always(*arguments, **options):
        with (folder / "trims.csv").open("ab") as stream:
            stream.write(b"\n")
        return replace_files(*arguments, **options)

    monkeypatch.setattr(append, "replace_files", always)
    with pytest.raises(FileChanged, match="changed by another program"):
        add(folder)
    assert issubclass(FileChanged, NotWritten)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("date,tank_id,note\n2026-02-01,T1,x\n", "date,tank_id,note,by\n2026-02-01,T1,x\n"),
        ("\ufeffsep=;\r\ndate;tank_id\r\n", "\ufeffsep=;\r\ndate;tank_id;by\r\n"),
        ("date,tank_id", "date,tank_id,by"),
    ],
)
def test_a_column_is_added_to_the_header_and_rows_stay(old, new):
    rows = [{"by": "Ida", "note": None}]
    source, wide = (taken_apart(text.encode(), "trims")[0] for text in (old, new))
    assert source.lacking(rows) == ("by",)
    assert wide.lacking(rows) == ()
    assert widened(source, ["by"]) == replace(wide, line_end=source.line_end)


def test_a_visit_taken_back_leaves_the_columns_it_brought(make_book):
    folder = make_book(trims_csv=b"date,tank_id,area_id,before_cm,after_cm\n")
    row = {**ROW, "by": "Ida"}
    assert would_add(folder, "trims", [row], today=TODAY).columns == ("by",)
    assert add(folder, by="Ida").columns == ("by",)
    assert add(folder, by="Bo", before_cm=25.0, date=date(2026, 3, 2)).columns == ()
    assert [one.command for one in entries(folder)] == ["add column", "log", "log"]
    take_back(folder, id_=[*entries(folder)][1].id, today=TODAY)
    assert (folder / "trims.csv").read_text() == (
        "date,tank_id,area_id,before_cm,after_cm,by\n2026-03-02,T1,A1,25,9,Bo\n"
    )


def test_a_first_visit_stays_readable_when_the_next_brings_a_column(make_book):
    """Its one row ends early then, and no other does."""
    head = "date,tank_id,area_id,before_cm"
    folder = make_book(trims_csv=f"{head}\n2026-02-01,T1,A1,24\n")
    rows = [
        {"date": date(2026, 3, 1), "tank_id": "T1", "area_id": area, "before_cm": 9.0, "by": "Ida"}
        for area in ("A1", "A2")
    ]
    added = add_rows(folder, "trims", rows, today=TODAY, command="log", summary="a visit")
    assert added.columns == ("by",)
    assert (folder / "trims.csv").read_text().startswith(f"{head},by\n2026-02-01,T1,A1,24\n")


def test_a_visit_that_brought_a_column_is_taken_back_where_the_log_had_no_last_line_end(make_book):
    """The row before it is shorter than the header by then, and would be torn without its end."""
    head = "date,tank_id,area_id,before_cm,after_cm"
    folder = make_book(trims_csv=f"{head}\r\n2026-02-01,T1,A1,24,9")
    assert add(folder, by="Ida").columns == ("by",)
    assert take_back(folder, today=TODAY).command == "log"
    log = (folder / "trims.csv").read_bytes().decode()
    assert log == f"{head},by\r\n2026-02-01,T1,A1,24,9\r\n"


def test_rows_that_are_not_changed_stay_as_typed_also_short_and_blank_ones():
    """A new column makes a place in every row that holds something; a row left out leaves none."""
    text = "date;tank_id;area_id;note\r\n2026-02-01;T1\r\n\r\n; \r\n"
    text += "2026-02-02;T1;A1;x\r\n2026-02-03;T2"
    source, problems = taken_apart(text.encode(), "trims")
    assert [item.slug for item in problems] == ["torn-row"]
    assert [record.row for record, _ in source.rows()] == [2, 5, 6]
    new, rows = rewritten(source, {5: {"note": "y"}}, [{"tank_id": "T3"}], without=frozenset([6]))
    assert new.decode() == text.replace("A1;x", "A1;y").replace("2026-02-03;T2", ";T3;;\r\n")
    assert rows == [6]
    wide, rows = rewritten(source, {5: {"by": "I"}}, [], new_columns=["by", "look"])
    assert rows == []
    assert wide.decode().split("\r\n") == [
        "date;tank_id;area_id;note;by;look",
        *("2026-02-01;T1;;;;", "", "; ;;;;"),
        *("2026-02-02;T1;A1;x;I;", "2026-02-03;T2;;;;"),
    ]
    assert edited(source, {}, [])[0] == text.encode()
    assert edited(source, {6: {"by": "I"}}, [])[0].decode() == (
        text.replace("note\r", "note;by\r")
        .replace("T1\r", "T1;;;\r")
        .replace("; \r", "; ;;;\r")
        .replace("x\r", "x;\r")
        + ";;;I"
    )


def test_a_new_file_is_edited_as_it_is_begun():
    new, rows = edited(new_source("closed"), {}, [{"client": "a"}, {"tank_id": "T1"}])
    assert new == b"client,tank_id,from_date,to_date,note\na,,,,\n,T1,,,\n"
    assert rows == [2, 3]
    latin = new_source("closed", "tank_id;note\r\nT1;gr\xfcn\r\n".encode("cp1252"))
    assert edited(latin, {}, [{"client": "\u8336"}])[0] == (
        "client;tank_id;from_date;to_date;note\r\n\u8336;;;;\r\n".encode()
    )


def test_text_that_would_be_taken_for_another_encoding_is_refused():
    """In Windows-1252 two letters, the same bytes in UTF-8 are one."""
    source = taken_apart("date,note\n2026-02-01,gr\xfcn\n".encode("cp1252"), "trims")[0]
    with pytest.raises(UsageError, match="would not be read back as typed"):
        edited(source, {2: {"note": "\xc3\xa4"}}, [])
    assert edited(source, {2: {"note": "gr\xfcner"}}, [])[0].endswith(b"gr\xfcner\n")


def test_cells_are_written_as_the_file_has_them():
    """Quotes around what needs them, a cell of another type plain, a blank one for none."""
    source = taken_apart(b"date;tank_id;note;mine\n2026-02-01;T1;;1,5\n", "trims")[0]
    assert source.text(date(2026, 3, 1)) == "2026-03-01"
    assert (source.text(0.1 + 0.2), source.text(12.0), source.text(None)) == ("0,3", "12", "")
    assert source.line(["a;b"], {"mine": 'say "x"', "tank_id": "c\rd"}) == (
        '"a;b";"c\rd";;"say ""x"""'
    )
    assert source.typed({"note": None, "by": None, "look": ""}) == {"note": ""}
    assert source.lacking([{"by": "I", "look": None}, {"minutes": 0.0}]) == ("minutes", "by")
    assert (source.decimal_comma, source.line_end) == (True, "\n")
    tabs = taken_apart(b"date\tbefore_cm\n2026-02-01\t12\n", "trims")[0]
    assert not tabs.decimal_comma  # nothing tells, and no spreadsheet writes tabs for a comma
