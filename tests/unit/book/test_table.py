"""Tables by column."""

from __future__ import annotations

import numpy as np

from tests.unit.book.small_book import FILES


def test_a_mask_keeps_every_kind_of_column(inspect):
    text = "weather," + FILES["trims.csv"].replace("\n2026", "\nsun,2026")
    book, _ = inspect(trims_csv=text)
    kept = book.trims.keep(np.array([False, True, False, True]))
    assert kept.rows.tolist() == [3, 5]
    assert kept.text("area_id").tolist() == ["A2", "A3"]
    assert kept.extra == {"weather": ("sun", "sun")}
    cells = kept.coded["area_id"]
    assert [cells.values[code] for code in cells.codes] == ["A2", "A3"]


def test_absent_columns_are_there_and_blank(inspect):
    book, _ = inspect()
    assert np.isnan(book.areas.number("light_share")).all()
    assert book.areas.text("note").tolist() == [""] * 3
    assert np.isnat(book.areas.date("removed_on")).all()


def test_absent_files_are_tables_without_rows(inspect):
    book, findings = inspect(trims_csv=None, conditions_csv=None)
    assert [item.slug for item in findings] == ["no-log"]
    assert len(book.trims) == len(book.conditions) == 0
    assert book.trims.number("before_cm").shape == (0,)


def test_headers_alone_are_fine(inspect):
    header = FILES["trims.csv"].split("\n")[0]
    for text in (header, header + "\n"):
        book, findings = inspect(trims_csv=text, conditions_csv="tank_id,from_date\n")
        assert findings == ()
        assert len(book.trims) == 0
