"""No bytes break the reading of workbooks or the taking apart of files: a sentence, or a result."""

from __future__ import annotations

import contextlib
import functools
import io
import tempfile
import zipfile
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from growthcast.book.sheets.export import book_sheets, xlsx_bytes
from growthcast.book.sheets.load import read_workbook
from growthcast.book.sheets.merge import merge_workbook
from growthcast.book.writing.source import read_source, rewritten
from growthcast.errors import BookProblems, GrowthcastError
from tests.unit.book.small_book import FILES, write_book

pytestmark = pytest.mark.slow

PARTS = ["xl/workbook.xml", "xl/worksheets/sheet4.xml", "xl/_rels/workbook.xml.rels"]
TAGS = st.sampled_from(
    [
        *(b"<", b">", b"</", b"\0", b"&#x0;", b't="s"', b"<v>99999</v>"),
        *(b'r="XFD1048576"', b'r="A0"', b'r="ZZZZ1"'),
        *(b"<v>nan</v>", b"<v>1e999</v>"),
    ]
)
BRIEF = settings(max_examples=80, deadline=None)


@functools.cache
def exported() -> bytes:
    with tempfile.TemporaryDirectory() as name:
        folder = write_book(Path(name) / "book", {})
        return xlsx_bytes(book_sheets(folder))


def with_part(data: bytes, part: str, new: bytes) -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(stream, "w") as made:
        for name in old.namelist():
            made.writestr(name, new if name == part else old.read(name))
    return stream.getvalue()


def lay_over_a_book(data: bytes) -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = write_book(Path(name) / "book", {})
        file = Path(name) / "book.xlsx"
        file.write_bytes(data)
        before = sorted(Path(name).rglob("*"))
        with contextlib.suppress(GrowthcastError):
            merge_workbook(folder, read_workbook(file))
        assert sorted(Path(name).rglob("*")) == before


@BRIEF
@example(b"PK\x03\x04")
@given(st.binary(max_size=200))
def test_no_bytes_break_the_reading_of_a_workbook(data):
    lay_over_a_book(data)


@BRIEF
@given(st.data())
def test_no_slip_in_a_workbook_breaks_it(data):
    whole = exported()
    at = data.draw(st.integers(0, len(whole)))
    upto = data.draw(st.integers(at, min(len(whole), at + 40)))
    lay_over_a_book(whole[:at] + data.draw(st.binary(max_size=6)) + whole[upto:])


@BRIEF
@given(st.sampled_from(PARTS), st.data())
def test_no_slip_inside_a_part_breaks_it(part, data):
    with zipfile.ZipFile(io.BytesIO(exported())) as packed:
        old = packed.read(part)
    at = data.draw(st.integers(0, len(old)))
    upto = data.draw(st.integers(at, min(len(old), at + 30)))
    new = data.draw(st.binary(max_size=4) | TAGS)
    lay_over_a_book(with_part(exported(), part, old[:at] + new + old[upto:]))


@BRIEF
@given(st.sampled_from(["tanks", "areas", "trims", "conditions"]), st.data())
def test_a_file_taken_apart_is_the_file_whatever_it_holds(table, data):
    text = FILES[f"{table}.csv"].encode()
    at = data.draw(st.integers(0, len(text)))
    upto = data.draw(st.integers(at, min(len(text), at + 10)))
    new = data.draw(st.binary(max_size=8) | st.sampled_from([b"\r", b'"', b"\xff", b"sep=;\n"]))
    text = text[:at] + new + text[upto:]
    with tempfile.TemporaryDirectory() as name:
        folder = write_book(Path(name) / "book", {f"{table}.csv": text})
        with contextlib.suppress(BookProblems):
            source = read_source(folder, table)
            assert rewritten(source, {}, [])[0] == text
