"""Laws of reading: no bytes break it, and how a table is written does not change what it says."""

from __future__ import annotations

import csv
import io
import shutil
import tempfile
from pathlib import Path
from typing import Any
from unittest.mock import patch

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from growthcast.book import read
from growthcast.book.cells import records
from growthcast.book.cells.numbers import parse_date, parse_number
from growthcast.book.findings import Fault, format_findings
from growthcast.book.practice import read_practice
from tests.unit.book.small_book import FILES, SPECIES_HEADER, TODAY, write_book, write_species

pytestmark = pytest.mark.slow

NAMES = [*FILES, "species.csv"]
BRIEF = settings(max_examples=60, deadline=None)


def look_at(changes: dict[str, bytes]) -> tuple[Any, Any]:
    folder = Path(tempfile.mkdtemp())
    try:
        book = write_book(folder / "book", changes)
        species = write_species(folder / "shipped")
        before = {path: path.read_bytes() for path in book.iterdir()}
        with patch.object(read, "shipped_species_dir", lambda: species):
            seen = read.inspect_book(book, today=TODAY)
        assert {path: path.read_bytes() for path in book.iterdir()} == before
        return seen
    finally:
        shutil.rmtree(folder)


def survives(changes: dict[str, bytes]) -> None:
    book, findings = look_at(changes)
    assert (book is None) == any(item.level == "problem" for item in findings)
    text = format_findings(findings)
    assert all(char.isprintable() or char == "\n" for char in text)


@BRIEF
@given(st.sampled_from(NAMES), st.binary(max_size=200))
def test_no_bytes_break_the_reading(name, data):
    survives({name: data})


@BRIEF
@given(st.sampled_from(NAMES), st.text(alphabet='",;\t\r\n\x00 #=[]T1A2026-.é１', max_size=80))
def test_no_text_after_a_true_header_breaks_it(name, text):
    start = FILES.get(name, SPECIES_HEADER).split("\n")[0] + "\n"
    survives({name: (start + text).encode()})


@BRIEF
@given(st.sampled_from(list(FILES)), st.data())
def test_no_slip_in_a_correct_file_breaks_it(name, data):
    good = FILES[name].encode()
    at = data.draw(st.integers(0, len(good)))
    upto = data.draw(st.integers(at, len(good)))
    survives({name: good[:at] + data.draw(st.binary(max_size=6)) + good[upto:]})


TOML = st.text(alphabet="[]{}=\"'#,.:;\\ \n\ta1_-%“”é", max_size=60)


@settings(max_examples=300, deadline=None)
@example(text="{}", start="[visit]\nfixed_min = ")
@given(TOML, st.sampled_from(["", FILES["practice.toml"], "[visit]\nfixed_min = "]))
def test_no_text_breaks_the_settings(text, start):
    practice, findings = read_practice((start + text).encode())
    assert (practice is None) == any(item.level == "problem" for item in findings)
    lines = (start + text).count("\n") + 1
    assert all(item.row is None or 1 <= item.row <= lines for item in findings)


@pytest.mark.slow
@settings(max_examples=300, deadline=None)
@given(st.text(max_size=12), st.booleans())
def test_numbers_and_dates_take_any_text(text, comma):
    number = parse_number(text.strip(), decimal_comma=comma)
    assert isinstance(number, Fault) or np.isfinite(number)
    parse_date(text.strip())


@BRIEF
@given(st.floats(0, 1e6), st.booleans())
def test_a_number_reads_as_it_was_written(value, comma):
    text = repr(value).replace(".", ",") if comma else repr(value)
    assert parse_number(text, decimal_comma=comma) == value


def rewritten(table: str, order: list[int], mark: str) -> str:
    rows = list(csv.reader(io.StringIO(table)))
    stream = io.StringIO()
    out = csv.writer(stream, delimiter=mark, lineterminator="\n")
    out.writerows([row[place] for place in order] for row in rows)
    return stream.getvalue()


@settings(max_examples=40, deadline=None)
@given(
    st.permutations(range(10)),
    st.sampled_from([",", ";", "\t"]),
    st.sampled_from(["\n", "\r\n", "\r"]),
    st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"]),
)
def test_the_way_of_writing_changes_nothing(order, mark, ends, codec):
    """Column order, separator, line ends and encoding leave every cell as it was."""
    plain, _ = look_at({})
    text = rewritten(FILES["trims.csv"], order, mark).replace("\n", ends)
    other, findings = look_at({"trims.csv": text.encode(codec)})
    assert {item.level for item in findings} <= {"remark"}
    assert other.trims.rows.tolist() == plain.trims.rows.tolist()
    for name, cells in plain.trims.columns.items():
        np.testing.assert_array_equal(other.trims.columns[name], cells)


@settings(max_examples=30, deadline=None)
@given(st.permutations(range(4)), st.lists(st.integers(0, 4), max_size=3))
def test_row_order_and_blank_lines_change_only_row_numbers(order, blanks):
    plain, _ = look_at({})
    header, *rows = FILES["trims.csv"].splitlines()
    lines = [rows[place] for place in order]
    for at in blanks:
        lines.insert(at, "")
    other, findings = look_at({"trims.csv": "\n".join([header, *lines, ""]).encode()})
    assert findings == ()
    for name, cells in plain.trims.columns.items():
        np.testing.assert_array_equal(other.trims.columns[name], cells[list(order)])
    assert other.trims.rows.tolist() == [n for n, line in enumerate(lines, 2) if line]


CELLS = st.text(alphabet="ab1.é-", max_size=36)
FIRST = st.text(alphabet="ab", min_size=1, max_size=12) | CELLS
KNOWN = frozenset({"first", "second", "third"})


@BRIEF
@given(st.lists(st.tuples(FIRST, CELLS, CELLS), max_size=40), st.integers(1, 9))
def test_blocks_of_any_size_read_alike(rows, size):
    text = "first,second,third\n" + "".join(",".join(row) + "\n" for row in rows)
    whole, _ = records.read_grid(text.encode(), "x.csv", KNOWN)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(records, "_BLOCK", size)
        parts, _ = records.read_grid(text.encode(), "x.csv", KNOWN)
    assert parts.header == whole.header
    assert parts.rows.tolist() == whole.rows.tolist()
    for ours, theirs in zip(parts.columns, whole.columns, strict=True):
        cells = [[column.values[code] for code in column.codes] for column in (ours, theirs)]
        assert cells[0] == cells[1]
