"""A correct book, by column."""

from __future__ import annotations

import numpy as np


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
