"""Laws of writing: what stood there stays, what was added is read back, and goes away again."""

from __future__ import annotations

import contextlib
import csv
import io
import tempfile
from datetime import date, timedelta
from functools import partial
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from growthcast.book.read import inspect_book
from growthcast.book.tables import TABLES
from growthcast.book.writing.append import KINDS, add_rows, parse_row
from growthcast.book.writing.journal import splice_of
from growthcast.book.writing.unlog import take_back
from growthcast.book.writing.visit.entry import parse_visit
from growthcast.book.writing.visit.places import Place
from growthcast.errors import RowsRefused, UsageError
from tests.books import TODAY, write_book

pytestmark = pytest.mark.slow

COLUMNS = ["date", "tank_id", "area_id", "before_cm", "after_cm", "removed_g", "look", "note"]
TENTHS = st.integers(31, 219).map(lambda tenths: tenths / 10)
PRINTABLE = st.text(
    st.characters(min_codepoint=32, max_codepoint=0x2FF, exclude_categories=["C", "Z"])
    | st.sampled_from([" ", ",", ";", "\t", '"', "'", "=", "#", "é"]),
    max_size=12,
).filter(lambda text: text == text.strip() and text.isprintable())

CODECS = st.sampled_from(["utf-8", "utf-8-sig", "utf-16-le", "utf-16-be", "cp1252"])


@st.composite
def written_logs(draw):
    """Return a log as some program wrote it: its bytes, and how many rows it has."""
    codec = draw(CODECS)
    delimiter = draw(st.sampled_from([",", ";", "\t"]))
    comma = delimiter != "," and draw(st.booleans())
    columns = draw(st.permutations([*COLUMNS, "mine"]))
    rows = draw(st.integers(0, 4))
    buffer = io.StringIO(newline="")
    quoting = draw(st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL]))
    end = draw(st.sampled_from(["\n", "\r\n", "\r"]))
    writer = csv.writer(buffer, delimiter=delimiter, lineterminator=end, quoting=quoting)
    writer.writerow(columns)
    for n in range(rows):
        height = f"{draw(TENTHS):.1f}"
        cells = {
            "date": str(date(2025, 3, 1) + timedelta(days=n)),
            "tank_id": "lobby",
            "area_id": "stems",
            "before_cm": height.replace(".", ",") if comma else height,
            "note": "gekürzt" if codec == "cp1252" else draw(PRINTABLE),
        }
        writer.writerow([{**cells, "mine": "=1+1"}.get(name, "") for name in columns])
    text = buffer.getvalue()
    if draw(st.booleans()):
        text = text[: -len(end)]
    mark = "\ufeff" if codec.startswith("utf-16") else ""
    return (mark + text).encode(codec), rows


def reads_as_utf_8(note):
    """Whether letters beyond ASCII, as Windows-1252 holds them, are what UTF-8 has for others."""
    if note.isascii():
        return False
    with contextlib.suppress(UnicodeDecodeError):
        note.encode("cp1252").decode("utf-8")
        return True
    return False


@settings(max_examples=60, deadline=None)
@example(
    (
        b"date,tank_id,area_id,before_cm,after_cm,note,mine\n"
        b"2025-03-01,lobby,stems,3.1,,gek\xfcrzt,=1+1\n",
        1,
    ),
    3.1,
    "\u00c2\u00a1",
)
@given(written_logs(), TENTHS, PRINTABLE)
def test_what_is_added_is_read_back_and_taken_back(log, height, note):
    data, count = log
    note = note.encode("cp1252", "ignore").decode("cp1252") if b"\xfc" in data else note
    with tempfile.TemporaryDirectory() as scratch:
        folder = write_book(Path(scratch) / "book")
        path = folder / "trims.csv"
        path.write_bytes(data)
        row = {"date": date(2026, 3, 1), "tank_id": "lobby", "area_id": "stems"}
        row |= {"before_cm": height, "after_cm": 3.0, "note": note.strip()}
        adding = partial(add_rows, folder, "trims", today=TODAY, command="log", summary="x")
        if b"\xfc" in data and reads_as_utf_8(note.strip()):
            with pytest.raises(RowsRefused) as refused:
                adding([row])
            assert {found.slug for found in refused.value.findings} == {"mixed-encoding"}
            assert path.read_bytes() == data
            return
        added = adding([row])
        assert path.read_bytes().startswith(data)
        book, findings = inspect_book(folder, today=TODAY)
        assert book is not None, findings
        assert added.book is not None
        assert len(book.trims) == count + 1
        assert str(book.trims.date("date")[-1]) == "2026-03-01"
        assert book.trims.number("before_cm")[-1] == height
        assert book.trims.number("after_cm")[-1] == 3.0
        assert book.trims.text("note")[-1] == note.strip()
        assert book.trims.extra["mine"] == (*["=1+1"] * count, "")
        take_back(folder)
        assert path.read_bytes() == data


@given(st.binary(max_size=40), st.binary(max_size=40))
def test_a_splice_leads_from_the_old_to_the_new(old, new):
    s = splice_of(old, new)
    rest = s.at + len(s.removed)
    assert old[s.at : rest] == s.removed
    assert old[: s.at] + s.added + old[rest:] == new


@given(TENTHS, TENTHS, st.sampled_from([".", ","]), st.sampled_from(["", "cm", " cm"]))
def test_heights_are_read_as_typed(before, after, mark, unit):
    place = Place("stems", "", is_cover=False)
    typed = f"{before:.1f}{unit}/{after:.1f}{unit}".replace(".", mark)
    [row] = parse_visit([f"stems={typed}"], [place], {})
    assert row.amounts == {"before_cm": before, "after_cm": after}


@given(st.text(max_size=20))
def test_any_line_is_understood_or_refused_in_words(item):
    place = Place("stems", "Back stems", is_cover=False)
    for typed in (item, f"stems={item}"):
        with contextlib.suppress(UsageError):
            assert parse_visit([typed], [place], {"fern": "home"})


@given(st.lists(st.text(max_size=12), max_size=3), st.sampled_from(["tank", "area", "conditions"]))
def test_any_cells_are_understood_or_refused_in_words(items, kind):
    columns = [f"{column.name}={item}" for column in TABLES[KINDS[kind]] for item in items]
    for typed in (items, columns, columns[:1]):
        with contextlib.suppress(UsageError):
            assert parse_row(kind, typed)
