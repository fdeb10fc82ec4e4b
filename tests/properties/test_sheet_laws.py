"""Laws of spreadsheets: a book that went out and came back unchanged differs in nothing."""

from __future__ import annotations

import csv
import io
import shutil
import tempfile
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from growthcast.book.sheets.export import book_sheets, xlsx_bytes
from growthcast.book.sheets.load import read_workbook
from growthcast.book.sheets.merge import merge_workbook
from growthcast.book.sheets.values import (
    DIGITS,
    as_text,
    as_value,
    canonical,
    normal,
)
from growthcast.book.tables import column_of
from growthcast.book.words import plain
from tests.unit.book.small_book import write_book

pytestmark = pytest.mark.slow

ODD = [
    "=1+1",
    "+49 30 1234",
    "-3 cm",
    "@home",
    '=HYPERLINK("http://127.0.0.1","x")',
    "2026-03-02",
    "0012",
    "12345678901234567890",
    "1e5",
    "TRUE",
    "'quoted",
    'say "so"',
    "a, b; c",
    "line\nbreak",
    "line\r\nbreak",
    "  two  spaces  ",
    "tab\there",
    "\u202bשלום\u202c",
    "🌿🐟",
    "e\u0301",
    "\x01\x0b\x1f",
    "_x0041_",
    "\ufffe\uffff",
    "<b>&amp;</b>",
    "#REF!",
    "https://127.0.0.1/x",
    "\n",
    "x" * 3000,
]
TEXT = st.sampled_from(ODD) | st.text(
    st.characters(exclude_characters="\0", exclude_categories=["Cs"]), max_size=20
)
IDS = st.sampled_from(
    ["=1", "0012", "2026-03-02", "1e5", "@a", "+1", "TRUE", "🌿", "a b"]
) | st.text(
    st.characters(exclude_characters="\0/\\", exclude_categories=["Cs", "Cc", "Cn", "Zl", "Zp"]),
    min_size=1,
    max_size=12,
).filter(lambda text: text.strip() and text[0] not in "-.#")


def same(old, new, column, *, decimal_comma):
    """Whether two texts of a cell say the same in their column."""
    one, other = (normal(text, column, decimal_comma=decimal_comma) for text in (old, new))
    return one == other


def as_csv(rows: list[list[str]], mark: str, end: str) -> str:
    lines = []
    for row in rows:
        stream = io.StringIO()  # a terminator of both kinds, so that breaks of either are quoted
        csv.writer(stream, delimiter=mark, lineterminator="\r\n").writerow(row)
        lines.append(stream.getvalue().removesuffix("\r\n") + end)
    return "".join(lines)


@st.composite
def odd_books(draw):
    """A book's files with odd text wherever text may stand; all of it is invented."""
    mark = draw(st.sampled_from([",", ";", "\t"]))
    end = draw(st.sampled_from(["\n", "\r\n"]))
    codec = draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]))
    comma = mark != "," and draw(st.booleans())
    tank, other = draw(st.lists(IDS, min_size=2, max_size=2, unique_by=str.casefold))
    area = draw(IDS)
    number = draw(st.sampled_from(["40", "40.5", "4e1", "040", "+40.0", "40.30000000000000004"]))
    number = number.replace(".", ",") if comma else number
    note, client, extra, when = draw(TEXT), draw(TEXT), draw(TEXT), draw(st.booleans())
    tables = {
        "tanks.csv": [
            ["note", "tank_id", "client", "water_depth_cm", "own column"],
            [note, tank, client, number, extra],
            ["", other, "", "30", ""],
        ],
        "areas.csv": [
            [
                "area_id",
                "tank_id",
                "label",
                "species_id",
                "area_cm2",
                "floor_cm",
                "budget_cm",
                "planted_on",
            ],
            [area, tank, draw(TEXT), "rotala-rotundifolia", "300", "8", "25", "1850-01-01"],
        ],
        "trims.csv": [
            ["date", "tank_id", "area_id", "before_cm", "note", "minutes"],
            ["2026-02-01 00:00:00" if when else "2026-02-01", tank, area, "24", draw(TEXT), "5"],
            ["2026-02-02", tank, "", "", draw(TEXT), "5"],
            ["2026-02-02", tank, "", "", draw(TEXT), "5"],
        ],
    }
    written: dict[str, str | bytes | None] = {"conditions.csv": None}
    for name, rows in tables.items():
        written[name] = as_csv(rows, mark, end).encode(codec)
    return written


def there_and_back(folder: Path):
    """Write a book as a spreadsheet and lay it over the book."""
    file = folder.parent / "book.xlsx"
    file.write_bytes(xlsx_bytes(book_sheets(folder)))
    return read_workbook(file)


@settings(max_examples=60, deadline=None)
@given(odd_books())
def test_a_book_that_comes_back_unchanged_differs_in_nothing(files):
    home = Path(tempfile.mkdtemp())
    try:
        folder = write_book(home / "book", files)
        merge = merge_workbook(folder, there_and_back(folder))
        assert merge.tables == []
        assert merge.files == {}
        assert merge.not_taken == []
    finally:
        shutil.rmtree(home)


@settings(max_examples=40, deadline=None)
@given(odd_books(), TEXT, st.data())
def test_one_changed_cell_changes_one_line(files, text, data):
    """Every byte outside the changed row stays; the cell reads back as typed."""
    home = Path(tempfile.mkdtemp())
    try:
        folder = write_book(home / "book", files)
        workbook = there_and_back(folder)
        table = data.draw(st.sampled_from(["tanks", "trims"]))
        sheet = next(one for one in workbook.tables if one.name == table)
        at = [heading.split(" [")[0] for heading in sheet.headings].index("note")
        place = data.draw(st.integers(0, len(sheet.rows) - 1))
        row, values = sheet.rows[place]
        changed = (*values[:at], text, *values[at + 1 :])
        rows = (*sheet.rows[:place], (row, changed), *sheet.rows[place + 1 :])
        laid = replace(workbook, tables=(replace(sheet, rows=rows),))
        merge = merge_workbook(folder, laid)
        old = as_text(values[at], decimal_comma=False)
        if same(old, text, column_of(table, "note"), decimal_comma=False):
            assert merge.files == {}
            return
        [change] = merge.tables[0].changed
        assert [(cell.column, cell.new) for cell in change.cells] == [("note", text)]
        before, after = merge.before[f"{table}.csv"], merge.files[f"{table}.csv"]
        (folder / f"{table}.csv").write_bytes(after)
        assert merge_workbook(folder, laid).files == {}
        start = next(
            (n for n, (a, b) in enumerate(zip(before, after, strict=False)) if a != b), len(before)
        )
        codec = "utf-16" if before[:2] in {b"\xff\xfe", b"\xfe\xff"} else "utf-8-sig"
        ours, theirs = (
            list(csv.reader(io.StringIO(one.decode(codec), newline=""), delimiter=mark_of(one)))
            for one in (before, after)
        )
        assert len(ours) == len(theirs)
        differing = [n for n, (a, b) in enumerate(zip(ours, theirs, strict=True)) if a != b]
        assert differing == [change.row - 1]
        assert start < len(after)
    finally:
        shutil.rmtree(home)


def mark_of(data: bytes) -> str:
    head = data[:200].replace(b"\0", b"")
    return max(",;\t", key=lambda mark: head.count(mark.encode()))


@given(st.floats(0, 1e9), st.booleans())
def test_a_number_comes_back_as_the_same_number(value, comma):
    column = column_of("trims", "before_cm")
    text = plain(value, DIGITS)
    text = text.replace(".", ",") if comma else text
    out = as_value(text, column, decimal_comma=comma)
    assert as_text(out, decimal_comma=comma) == text
    assert same(repr(value).replace(".", ","), text, column, decimal_comma=True) or not comma


@given(TEXT)
@example("\r")
def test_what_a_sheet_holds_is_held_again(text):
    assert canonical(canonical(text)) == canonical(text)


def test_the_same_book_gives_the_same_bytes(tmp_path):
    folder = write_book(tmp_path / "book", {})
    assert xlsx_bytes(book_sheets(folder)) == xlsx_bytes(book_sheets(folder))
