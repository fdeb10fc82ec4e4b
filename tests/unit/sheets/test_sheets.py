"""What export writes and import reads, on small books with one thing odd in each."""

from __future__ import annotations

import datetime as dt
import io
from dataclasses import replace
from pathlib import Path

import openpyxl
import pytest
from python_calamine import CalamineWorkbook

from growthcast.book import read as reading
from growthcast.book.sheets import export
from growthcast.book.sheets.export import book_sheets, check_workbook_target, xlsx_bytes
from growthcast.book.sheets.load import Workbook, read_sheet, read_workbook
from growthcast.book.sheets.merge import check_merge, merge_workbook
from growthcast.book.sheets.values import (
    SheetTable,
    as_text,
    as_value,
    key_of,
    read_stamps,
    stamp_rows,
)
from growthcast.book.tables import TABLES, column_of
from growthcast.book.writing.source import read_source, rewritten
from growthcast.errors import BookProblems, RowsRefused, UsageError
from tests.unit.book.small_book import FILES, TODAY, write_book, write_species

HEADINGS = tuple(FILES["trims.csv"].split("\n")[0].split(","))


@pytest.fixture
def book(tmp_path, monkeypatch):
    species = write_species(tmp_path / "shipped")
    monkeypatch.setattr(reading, "shipped_species_dir", lambda: species)
    return write_book(tmp_path / "book", {})


def log(*rows, headings=HEADINGS, table="trims") -> Workbook:
    """A workbook of one sheet, its rows numbered from 2."""
    padded = [(*row, *(None for _ in range(len(headings) - len(row)))) for row in rows]
    return Workbook(
        "book.xlsx", (SheetTable(table, headings, tuple(enumerate(padded, start=2))),), ()
    )


DAY = dt.date(2026, 3, 1)
NEW = (DAY, "T1", "A1", 24.5, 12.0)


def sheet_of(book: Path, name: str):
    data = xlsx_bytes(book_sheets(book))
    page = CalamineWorkbook.from_filelike(io.BytesIO(data)).get_sheet_by_name(name)
    return page.to_python(skip_empty_area=False)


def test_cells_have_the_kinds_of_their_columns(book):
    """Read by a reader that is not ours: dates are dates, numbers numbers, ids text."""
    (book / "tanks.csv").write_text(FILES["tanks.csv"].replace("T2", "007").replace("a sc", "=1+"))
    (book / "areas.csv").write_text(FILES["areas.csv"].replace("T2", "007"))
    (book / "trims.csv").write_text(FILES["trims.csv"].replace("T2", "007"))
    (book / "conditions.csv").write_text(FILES["conditions.csv"].replace("T2", "007"))
    tanks = sheet_of(book, "tanks")
    assert tanks[0][:3] == ["tank_id", "client", "length_cm [cm]"]
    assert tanks[2][:5] == ["007", "=1+hool", 60.0, 30.0, 30.0]
    trims = sheet_of(book, "trims")
    assert trims[0][0] == "date [YYYY-MM-DD]"
    assert trims[1][:5] == [dt.date(2026, 2, 1), "T1", "A1", 24.5, 12.0]
    assert trims[4][trims[0].index("note")] == "a, quoted note"


def test_the_workbook_helps_with_typing_and_protects_nothing(book):
    made = openpyxl.load_workbook(io.BytesIO(xlsx_bytes(book_sheets(book))))
    assert made.sheetnames == [
        "tanks", "areas", "bounds", "trims", "conditions", "closed", "species", "lists",
        "stamp",
    ]  # fmt: skip
    offered = {
        page.title: {
            str(one.sqref).split(":")[0]: one.formula1
            for one in page.data_validations.dataValidation
        }
        for page in made
    }
    assert offered["trims"]["B2"].startswith("tanks!$A$2:$A$")
    assert offered["trims"]["C2"].startswith("areas!$A$2:$A$")
    assert offered["trims"]["H2"] == '"short,right,over"'
    known = [cell.value for cell in made["lists"]["A"][1:] if cell.value]
    assert offered["areas"]["D2"] == f"lists!$A$2:$A${1 + len(known)}"  # every species, no blank
    for page in made:
        assert page.freeze_panes == "A2"
        assert not page.protection.sheet
        assert page.column_dimensions["A"].width > 8


def test_what_each_column_says_and_offers_and_how_wide_it_is(book):
    """Two tanks, three areas and a thousand rows below them; three plants and one of our own."""
    (book / "species.csv").write_text(
        "species_id,common_name,scientific_name\nnew-moss,a moss,\nsalvinia-natans, fern ,\n"
    )
    sheets = {sheet.name: sheet for sheet in book_sheets(book)}
    trims = {heading.text: heading for heading in sheets["trims"].headings}
    areas = {heading.text: heading for heading in sheets["areas"].headings}
    assert trims["tank_id"].choices == "=tanks!$A$2:$A$1003"
    assert trims["area_id"].choices == "=areas!$A$2:$A$1004"
    assert areas["species_id"].choices == "=lists!$A$2:$A$5"
    assert (areas["area_id"].choices, areas["label"].choices) == ((), ())
    assert trims["look"].choices == ("short", "right", "over")
    assert trims["replanted"].choices == ("true", "false")
    # A heading and two letters, 12 to 40; an id's names are longer, and so is a note.
    assert (trims["look"].width, trims["date [YYYY-MM-DD]"].width) == (12, 19)
    assert (trims["tank_id"].width, trims["note"].width) == (18, 40)
    assert trims["before_cm [cm]"].meaning.endswith("; centimetres above 0, at most 300")
    assert {name: sheet.count for name, sheet in sheets.items()} == {
        **{"tanks": 2, "areas": 3, "bounds": 0, "trims": 4, "conditions": 2, "closed": 0},
        **{"species": 2, "lists": 4, "stamp": 13},
    }
    assert [*sheets["lists"].rows] == [
        ("hydrocotyle-tripartita", "pennywort", "Hydrocotyle tripartita"),
        ("new-moss", "a moss", ""),
        ("rotala-rotundifolia", "roundleaf toothcup", "Rotala rotundifolia"),
        ("salvinia-natans", "fern", "Salvinia natans"),
    ]


def test_cells_keep_their_kind_also_where_nothing_stands_in_them_yet(book):
    """A day before March 1900, which spreadsheets count wrongly, goes out as text."""
    text = FILES["areas.csv"].replace("A1,T1,left", 'A1,T1,"a\rb"')
    text = text.replace("2026-01-01\nA2", "1900-02-28\nA2").replace("A3,T2", "A3 ,T2")
    (book / "areas.csv").write_bytes(text.replace("2026-01-01\nA3", "1900-03-01\nA3").encode())
    made = openpyxl.load_workbook(io.BytesIO(xlsx_bytes(book_sheets(book))))
    page = made["areas"]
    planted = next(cell for cell in page[1] if cell.value == "planted_on [YYYY-MM-DD]").column
    days = [page.cell(row, planted) for row in (2, 3, 4)]
    assert [cell.value for cell in days] == [
        "1900-02-28",
        dt.datetime(1900, 3, 1),
        dt.datetime(2026, 1, 1),
    ]
    assert [cell.number_format for cell in days] == ["@", "yyyy-mm-dd", "yyyy-mm-dd"]
    assert [page["C2"].value, page["A4"].value] == ["a\nb", "A3 "]
    assert page.column_dimensions["A"].width == pytest.approx(18, abs=1)
    assert page["A1"].comment.text.endswith("text without slash, backslash or control characters")
    assert made["stamp"].sheet_state == "veryHidden"
    assert [made[name].sheet_state for name in ("areas", "lists")] == ["visible"] * 2


def test_a_new_row_goes_to_the_end_as_the_file_is_written(book):
    text = FILES["trims.csv"].replace(",", ";").replace("24.5", "24,5").replace("\n", "\r\n")
    text = text.replace('"a; quoted note"', "größer").rstrip("\r\n")
    (book / "trims.csv").write_bytes(text.encode("cp1252"))
    merge = merge_workbook(book, log((*NEW, None, None, "over", None, "a;b")))
    old, new = text.encode("cp1252"), merge.files["trims.csv"]
    assert new == old + b'\r\n2026-03-01;T1;A1;24,5;12;;;over;;"a;b"\r\n'
    assert merge.tables[0].added[0].sheet_row == 2
    assert len(merge.tables[0].missing) == 4


def test_text_which_the_files_encoding_does_not_know_is_refused(book):
    text = FILES["trims.csv"].replace("whole tank", "größer").encode("cp1252")
    (book / "trims.csv").write_bytes(text)
    with pytest.raises(UsageError, match="Windows-1252"):
        merge_workbook(book, log((*NEW, None, None, None, None, "🌿")))


def test_only_the_changed_line_changes(book):
    """Quotes, spaces, odd numbers and other columns of all other lines stay as typed."""
    text = 'own,date,tank_id,area_id,before_cm,after_cm\n"x", 2026-02-01 ,T1,A1,024.50,"12"\n'
    text += "\n y ,2026-02-15,T1,A1,2e1,9\n"
    (book / "trims.csv").write_text(text)
    day = dt.date(2026, 2, 15)
    headings = ("date", "tank_id", "area_id", "before_cm [cm]")
    rows = ((dt.date(2026, 2, 1), "T1", "A1", 24.5), (day, "T1", "A1", 21.0))
    merge = merge_workbook(book, log(*rows, headings=headings))
    [change] = merge.tables[0].changed
    assert (change.row, change.sheet_row) == (4, 3)
    assert [(c.column, c.old, c.new) for c in change.cells] == [("before_cm", "2e1", "21")]
    assert merge.files["trims.csv"].decode() == text.replace("2e1", "21")


def test_missing_rows_stay_unless_told_otherwise(book):
    rows = ((dt.date(2026, 2, 1), "T1", "A1", 24.5, 12.0, None, None, "over", 10.0),)
    kept = merge_workbook(book, log(*rows))
    assert (len(kept.tables[0].missing), kept.files) == (3, {})
    gone = merge_workbook(book, log(*rows), delete_missing=True)
    assert gone.files["trims.csv"].decode() == "\n".join(FILES["trims.csv"].split("\n")[:2]) + "\n"


def test_a_new_column_is_added_only_where_it_holds_something(book):
    (book / "trims.csv").write_text(
        "date,tank_id,area_id,before_cm\n2026-02-01,T1,A1,24\n2026-02-08,T1,A1\n"
    )
    headings = ("date", "tank_id", "area_id", "before_cm", "minutes [min]", "look")
    rows = (
        (dt.date(2026, 2, 1), "T1", "A1", 24.0, 12.0),
        (dt.date(2026, 2, 8), "T1", "A1"),
    )
    merge = merge_workbook(book, log(*rows, headings=headings))
    assert merge.tables[0].new_columns == ("minutes",)
    assert merge.files["trims.csv"].decode().split("\n") == [
        "date,tank_id,area_id,before_cm,minutes",
        "2026-02-01,T1,A1,24,12",
        "2026-02-08,T1,A1,,",
        "",
    ]


def test_a_table_the_book_did_not_have_becomes_a_file(book):
    (book / "conditions.csv").unlink()
    headings = ("tank_id", "from_date", "ppfd_umol")
    merge = merge_workbook(book, log(("T1", DAY, 80.0), headings=headings, table="conditions"))
    assert merge.files["conditions.csv"] == b"tank_id,from_date,ppfd_umol\nT1,2026-03-01,80\n"
    assert merge.before["conditions.csv"] is None
    assert check_merge(book, merge, "book.xlsx", today=TODAY) == []


def test_a_new_file_has_the_declared_columns_of_its_sheet_and_others_that_hold_something(book):
    (book / "conditions.csv").unlink()
    headings = ("tank_id", "from_date", "ppfd_umol", "note", "blank", "ours", "")
    row = ("T1", DAY, 80.0, None, None, "x")
    merge = merge_workbook(book, log(row, headings=headings, table="conditions"))
    header = b"tank_id,from_date,ppfd_umol,note,ours\n"
    assert merge.files["conditions.csv"] == header + b"T1,2026-03-01,80,,x\n"
    assert merge.letters["conditions.csv", "ours"] == "F"
    assert not merge_workbook(book, log(headings=headings, table="conditions")).files


def test_rows_of_one_key_are_matched_in_their_order(book):
    """The first of a key with the first; a third is new."""
    header, rows = "date,tank_id,area_id,removed_g", ("2026-02-01,T1,,50", "2026-02-01,T1,,60")
    (book / "trims.csv").write_text("\n".join([header, *rows, ""]))
    day = dt.date(2026, 2, 1)
    sheet = log(*((day, "T1", None, g) for g in (50.0, 61.0, 70.0)), headings=header.split(","))
    [table] = merge_workbook(book, sheet).tables
    assert [(c.row, c.sheet_row, c.cells[0].old, c.cells[0].new) for c in table.changed] == [
        (3, 3, "60", "61")
    ]
    assert [change.sheet_row for change in table.added] == [4]
    assert table.missing == ()


def test_what_changed_in_the_book_since_the_export_stays(book):
    """A cell changed in the book, a row taken out of it and one added to it; the sheet is older.

    One cell is changed in the sheet alone, one in both, and one row is taken out of the sheet.
    """
    stamps = read_stamps(enumerate(stamp_rows({"trims": read_source(book, "trims")}), start=2))
    text = FILES["trims.csv"].replace("24.5,12", "25,11").replace("2026-02-15,T1,,,", "#")
    text = "".join(line + "\n" for line in text.splitlines() if line[0] != "#")
    (book / "trims.csv").write_text(text + "2026-03-01,T2,A3,40,20,,,,,\n")
    first, second = dt.date(2026, 2, 1), dt.date(2026, 2, 15)
    sheet = log(
        (first, "T1", "A1", 24.5, 13.0, None, None, "right", 10.0),
        (first, "T1", "A2", 5.0, 3.0, 2.0, None, None, 6.0),
        (second, "T1", None, None, None, None, 120.0, None, 25.0, "whole tank"),
    )
    merge = merge_workbook(book, replace(sheet, stamps=stamps))
    [table] = merge.tables
    assert [
        (c.row, [(one.column, one.old, one.new) for one in c.cells]) for c in table.changed
    ] == [(2, [("look", "over", "right")]), (3, [("minutes", "5", "6")])]
    assert table.added == ()
    assert [change.row for change in table.missing] == [4]  # of the 15th, in T2
    since = "the book has changed since the export, "
    assert merge.not_taken == [
        f'sheet trims, row 2, before_cm: {since}to "25"; "24.5" of the sheet was not taken',
        f'sheet trims, row 2, after_cm: {since}to "11"; "13" of the sheet was not taken',
        f"sheet trims, row 4: {since}this row was taken out of it; it was not added again",
    ]
    one = merge_workbook(book, sheet).tables[0]  # without a stamp the book is as it was
    assert [len(part) for part in (one.changed, one.added, one.missing)] == [2, 1, 2]


def test_what_does_not_check_is_refused_at_the_sheets_own_cells(book):
    merge = merge_workbook(book, log((DAY, "T1", "A1", "24,5", 30.0), (DAY, "T9", "A2", 5.0)))
    before = {path: path.read_bytes() for path in book.iterdir()}
    with pytest.raises(RowsRefused, match="nothing was written") as told:
        check_merge(book, merge, "book.xlsx", today=TODAY)
    places = [(item.file, item.row, item.column, item.slug) for item in told.value.findings]
    assert ("book.xlsx, sheet trims", 2, "D", "decimal-comma") in places
    assert ("book.xlsx, sheet trims", 3, "B", "unknown-id") in places
    assert {path: path.read_bytes() for path in book.iterdir()} == before


def test_notes_on_what_the_workbook_changes_are_told_and_no_others(book):
    """Remarks are not, nor notes on rows that it leaves as they are."""
    (book / "practice.toml").write_text(FILES["practice.toml"].replace("\n", "\r\n"))
    (book / "trims.csv").write_text(FILES["trims.csv"].replace("24.5", "50"))
    merge = merge_workbook(book, log((DAY, "T1", "A1", 60.0)))
    notes = check_merge(book, merge, "book.xlsx", today=TODAY)
    assert [(i.file, i.row, i.column, i.slug) for i in notes] == [
        ("book.xlsx, sheet trims", 2, "D", "height-above-water")
    ]


def test_a_changed_row_is_named_at_its_own_cell_though_rows_above_it_go_away(book):
    """The sheet's second row holds the file's third, of the last day but two."""
    cells = (dt.date(2026, 2, 1), "T1", "A2", 5.0, 30.0, 2.0, None, None, 5.0)
    merge = merge_workbook(book, log(cells), delete_missing=True)
    [changed] = merge.tables[0].changed
    assert (changed.row, changed.sheet_row) == (3, 2)
    assert merge.places["trims.csv", 2] == 2  # where it stands once the row above it is gone
    with pytest.raises(RowsRefused) as told:
        check_merge(book, merge, "book.xlsx", today=TODAY)
    [found] = [item for item in told.value.findings if item.slug == "after-above-before"]
    assert (found.file, found.row, found.column) == ("book.xlsx, sheet trims", 2, "E")


def test_sheets_that_cannot_be_told_apart_are_refused(book, tmp_path):
    with pytest.raises(UsageError, match="has no column date and no area_id"):
        merge_workbook(book, log(("T1",), headings=("tank_id",)))
    with pytest.raises(UsageError, match="two columns named"):
        merge_workbook(book, log(NEW, headings=("date", "tank_id", "area_id", "look", "LOOK ")))
    (book / "trims.csv").write_text("date,tank_id,area_id,before_cm,\n2026-02-01,T1,A1,24,\n")
    headings = ("date", "tank_id", "area_id", "minutes")
    with pytest.raises(UsageError, match="ends with blank columns"):
        merge_workbook(book, log((DAY, "T1", "A1", 5.0), headings=headings))
    (book / "trims.csv").write_text('date,tank_id\n"never closed')
    with pytest.raises(BookProblems):
        merge_workbook(book, log(NEW))


@pytest.mark.parametrize(
    ("value", "comma", "text"),
    [
        (24.0, False, "24"),
        (24.5, True, "24,5"),
        (0.1 + 0.2, False, "0.3"),
        (1e-7, False, "0.0000001"),
        (1234567890.55, False, "1234567890.55"),
        (123.456789012345, True, "123,456789012345"),
        (-0.0, False, "0"),
        (-100.0, False, "-100"),
        (1e300 * 1e10, True, "inf"),
        (float("nan"), False, "nan"),
        (True, False, "true"),
        (DAY, False, "2026-03-01"),
        (dt.datetime(2026, 3, 1), False, "2026-03-01"),
        (dt.datetime(2026, 3, 1, 14, 30), False, "2026-03-01 14:30:00"),
        (dt.time(14, 30), False, "14:30:00"),
        (None, False, ""),
    ],
)
def test_typed_cells_come_back_as_the_books_text(value, comma, text):
    assert as_text(value, decimal_comma=comma) == text


def test_headings_are_columns_with_or_without_their_unit_and_in_any_case():
    typed = {
        "Before_CM [cm]": "before_cm",
        " minutes ": "minutes",
        "look [any]": "look",
        "date [YYYY-MM-DD]": "date",
        "Ours": "ours",
        "ours 2 [x]": "Ours 2",
        "[x]": "[x]",
        "new [y]": "new [y]",
        "": "",
    }
    assert SheetTable("trims", tuple(typed), ()).names(("ours", "Ours 2", "")) == [*typed.values()]


@pytest.mark.parametrize(
    ("cells", "key"),
    [
        ({"date": " 2026-02-01 00:00:00", "tank_id": "T1 "}, ("2026-02-01", "T1 ", "")),
        ({"date": " soon ", "tank_id": " ", "area_id": "A1"}, ("soon", "", "A1")),
    ],
)
def test_a_row_is_known_by_its_day_and_ids(cells, key):
    assert key_of("trims", cells) == key


def test_what_is_no_number_or_date_goes_out_as_text():
    before, day = column_of("trims", "before_cm"), column_of("trims", "date")
    assert as_value("12 cm", before, decimal_comma=False) == "12 cm"
    assert as_value("1.3.2026", day, decimal_comma=False) == "1.3.2026"
    assert as_value("12", None, decimal_comma=False) == "12"


def test_a_file_taken_apart_is_the_file(book):
    for table in ("tanks", "areas", "trims", "conditions"):
        source = read_source(book, table)
        assert rewritten(source, {}, [])[0] == source.data


def test_more_than_a_spreadsheet_holds_is_refused(book, monkeypatch):
    monkeypatch.setattr(export, "MOST_ROWS", 4)
    assert book_sheets(book)
    monkeypatch.setattr(export, "MOST_ROWS", 3)
    with pytest.raises(UsageError, match=r"trims.csv has 4 rows, more than the 3"):
        book_sheets(book)
    monkeypatch.setattr(export, "MOST_ROWS", 9)
    columns = len(TABLES["trims"])  # four rows and the heading
    monkeypatch.setattr(export.values, "MOST_CELLS", 5 * columns)
    assert book_sheets(book)
    monkeypatch.setattr(export.values, "MOST_CELLS", 5 * columns - 1)
    with pytest.raises(UsageError, match=r"trims.csv has 4 rows, more than the 3"):
        book_sheets(book)
    monkeypatch.undo()
    (book / "tanks.csv").write_text(FILES["tanks.csv"].replace("a clinic", "x" * 32_767))
    assert xlsx_bytes(book_sheets(book))
    (book / "tanks.csv").write_text(FILES["tanks.csv"].replace("a clinic", "x" * 32_768))
    with pytest.raises(UsageError, match="row 2, client: 32,768 characters"):
        xlsx_bytes(book_sheets(book))


def saved(file: Path, *sheets: tuple[str, list[list[object]]]) -> Path:
    """Write a workbook as another program writes it."""
    made = openpyxl.Workbook()
    made.remove(made.active)
    for name, rows in sheets:
        page = made.create_sheet(name)
        for row in rows:
            page.append(row)
    made.save(file)
    made.close()
    return file


def test_sheets_that_are_not_a_books_are_named(tmp_path):
    tanks = [["tank_id", "client"], [7, "=1+1"]]
    file = saved(tmp_path / "a.xlsx", (" Tanks ", tanks), ("..notes", [["x"]]))
    workbook = read_workbook(file)
    assert workbook.not_read == ('sheet "..notes" is none of a book\'s and was not read',)
    assert workbook.tables[0].rows[0] == (2, (7.0, None))  # a formula nobody worked out is blank


def test_a_cell_without_a_heading_and_a_sheet_there_twice_are_refused(tmp_path):
    stray = saved(tmp_path / "b.xlsx", ("tanks", [["tank_id"], ["T1", None, "stray"]]))
    with pytest.raises(UsageError, match="C2: a cell without a heading"):
        read_workbook(stray)
    twice = saved(tmp_path / "c.xlsx", ("tanks", [["tank_id"]]), ("TANKS ", [["tank_id"]]))
    with pytest.raises(UsageError, match="two sheets named"):
        read_workbook(twice)


def test_the_rows_of_a_workbook_with_their_numbers(tmp_path):
    """Blank rows count, headings without text at the end do not, and a blank is no stray cell."""
    tanks = [["tank_id", "client", " "], [None], ["T1", None, "  "], [" "], ["T2", 5]]
    lists = [["species_id"], ["moss"]]
    sheets = ("tanks", tanks), ("Practice", [["key"], ["x"]]), ("lists", lists), ("areas", [])
    workbook = read_workbook(saved(tmp_path / "a.xlsx", *sheets))
    [table] = workbook.tables
    assert (table.headings, table.rows) == (
        ("tank_id", "client"),
        ((3, ("T1", None)), (5, ("T2", 5.0))),
    )
    [odd] = workbook.not_read
    assert odd == 'sheet "Practice" was not read: practice.toml is edited as text'
    assert workbook.stamps == {}
    bare = saved(
        tmp_path / "c.xlsx", ("tanks", []), ("stamp", [["table"], ["trims", "k", "a", "b"]])
    )
    assert (read_workbook(bare).not_read, read_workbook(bare).tables) == ((), ())
    assert read_workbook(bare).stamps["trims", ("k",)] == {"a": "b"}


def test_a_sheet_may_be_as_wide_as_is_read(tmp_path):
    names = [f"c{n}" for n in range(501)]
    wide = saved(tmp_path / "a.xlsx", ("tanks", [names[:500], ["T1"]]))
    assert len(read_workbook(wide).tables[0].headings) == 500
    wider = saved(tmp_path / "b.xlsx", ("tanks", [names, ["T1"]]))
    with pytest.raises(UsageError, match="has 501 columns; up to 500 are read"):
        read_workbook(wider)


def test_the_first_sheet_that_holds_something_is_read(tmp_path):
    file = saved(tmp_path / "a.xlsx", ("empty", [[None, " "]]), ("b", [["x", 1]]), ("c", [["y"]]))
    assert read_sheet(file) == [(1, ["x", 1.0])]
    with pytest.raises(UsageError, match="there is no file"):
        read_sheet(tmp_path / "none.xlsx")
    (tmp_path / "void.xlsx").write_bytes(b"")
    with pytest.raises(UsageError, match="cannot be read: it is 0 bytes"):
        read_sheet(tmp_path / "void.xlsx")


def test_stamps_are_kept_by_row_and_those_that_stand_twice_are_none():
    rows = [
        (1, ("trims", "2026-02-01\nT1", "before_cm,after_cm", "aa,bb")),
        (2, ("trims", "2026-02-02\nT1", "before_cm", "cc")),
        (3, ("trims", "2026-02-02\nT1", "before_cm", "dd")),
        (4, ("areas", "A1")),
    ]
    assert read_stamps(rows) == {
        ("trims", ("2026-02-01", "T1")): {"before_cm": "aa", "after_cm": "bb"},
        ("areas", ("A1",)): {"": ""},
    }


def test_only_an_ordinary_workbook_is_written_over(book, tmp_path):
    file = tmp_path / "out.xlsx"
    assert not check_workbook_target(file)
    file.write_bytes(xlsx_bytes(book_sheets(book)))
    assert check_workbook_target(file)
    (tmp_path / "text.xlsx").write_text("no workbook")
    (tmp_path / "link.xlsx").symlink_to(file)
    for name, why in (
        ("text.xlsx", "is no workbook; it was left as it is"),
        ("link.xlsx", "is a link"),
    ):
        with pytest.raises(UsageError, match=why):
            check_workbook_target(tmp_path / name)
