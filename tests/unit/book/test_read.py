"""A correct book, by column."""

from __future__ import annotations

from datetime import date

import numpy as np

from growthcast.book.read import inspect_book, read_once
from tests.unit.book.small_book import FILES, TODAY


def test_a_correct_book_has_no_findings(inspect):
    book, findings = inspect()
    assert findings == ()
    assert book is not None
    assert book.practice.intervals_d == (7, 14, 21)
    assert len(book.trims) == 4
    assert book.trims.rows.tolist() == [2, 3, 4, 5]
    assert book.trims.text("area_id").tolist() == ["A1", "A2", "", "A3"]
    np.testing.assert_array_equal(book.trims.number("before_cm"), [24.5, 5, np.nan, 50])
    assert book.trims.date("date")[0] == np.datetime64("2026-02-01")
    assert book.trims.text("note")[3] == "a, quoted note"
    assert np.isnat(book.areas.date("removed_on")).all()
    assert book.species.flag("reaches_surface").tolist() == [True, False, False]


def test_the_same_bytes_are_read_once_where_that_is_asked_for(make_book):
    """Whether they stand in the file or would; other bytes, another day or a file more are not."""
    folder, tanks = make_book(), FILES["tanks.csv"].encode()
    with read_once():
        book = inspect_book(folder, today=TODAY)[0]
        assert inspect_book(folder, today=TODAY)[0] is book
        assert inspect_book(folder, today=TODAY, instead={"tanks.csv": tanks})[0] is book
        more = inspect_book(folder, today=TODAY, instead={"tanks.csv": tanks + b"T3,,,,30,\n"})[0]
        assert len(more.tanks) == 3
        assert inspect_book(folder, today=TODAY, on=date(2026, 2, 14))[0] is not book
        assert inspect_book(folder, today=date(2026, 4, 2))[0] is not book
        bare = inspect_book(folder, today=TODAY, instead={"trims.csv": None})[0]
        assert len(bare.trims) == 0
        (folder / "areas.xlsx").write_bytes(b"PK")
        assert [i.slug for i in inspect_book(folder, today=TODAY)[1]] == ["spreadsheet-beside"]
    assert inspect_book(folder, today=TODAY)[0] is not inspect_book(folder, today=TODAY)[0]
