"""The last visit logged is taken back byte for byte, or not at all."""

from __future__ import annotations

from datetime import date

import pytest

from growthcast.book.writing.append import add_rows, take_back
from growthcast.book.writing.journal import JOURNAL, entries
from growthcast.errors import UsageError
from tests.unit.book.small_book import FILES, TODAY


def log(folder, day, before=24.0):
    row = {"date": date(2026, 3, day), "tank_id": "T1", "area_id": "A1", "before_cm": before}
    add_rows(folder, "trims", [row], today=TODAY, command="log", summary=f"day {day}")


@pytest.mark.parametrize(
    "log_before",
    [
        FILES["trims.csv"].encode(),
        FILES["trims.csv"].encode().rstrip(b"\n"),
        FILES["trims.csv"].replace("\n", "\r\n").encode("utf-8-sig"),
        FILES["trims.csv"].encode("utf-16"),
    ],
    ids=["plain", "no last line end", "windows", "utf-16"],
)
def test_entries_are_taken_back_one_after_another(make_book, log_before):
    folder = make_book(trims_csv=log_before)
    log(folder, 1)
    once = (folder / "trims.csv").read_bytes()
    log(folder, 2)
    assert take_back(folder).summary == "day 2"
    assert (folder / "trims.csv").read_bytes() == once
    assert take_back(folder).summary == "day 1"
    assert (folder / "trims.csv").read_bytes() == log_before
    with pytest.raises(UsageError, match=r"nothing logged in .* is left to take back"):
        take_back(folder)
    assert [e.command for e in entries(folder)] == ["log", "log", "unlog", "unlog"]
    log(folder, 3)
    assert take_back(folder).summary == "day 3"


def test_a_log_that_began_with_the_visit_goes_away_with_it(make_book):
    folder = make_book(trims_csv=None)
    log(folder, 1)
    take_back(folder)
    assert not (folder / "trims.csv").exists()


def test_changes_by_hand_above_the_entry_are_kept(make_book):
    folder = make_book()
    log(folder, 1)
    path = folder / "trims.csv"
    path.write_bytes(path.read_bytes().replace(b"2026-02-01", b"2026-02-02"))
    take_back(folder)
    changed = FILES["trims.csv"].replace("2026-02-01", "2026-02-02")
    assert path.read_text() == changed


def test_rows_added_after_it_keep_it(make_book):
    folder = make_book()
    log(folder, 1)
    path = folder / "trims.csv"
    after = path.read_bytes() + b"2026-03-02,T1,A1,25,,,,,,\n"
    path.write_bytes(after)
    with pytest.raises(UsageError, match="rows were added after it") as told:
        take_back(folder)
    assert '"2026-03-01,T1,A1,24' in str(told.value)
    assert path.read_bytes() == after


def test_one_removed_by_hand_is_passed_over_once_said(make_book):
    folder = make_book()
    log(folder, 1)
    once = (folder / "trims.csv").read_bytes()
    log(folder, 2)
    (folder / "trims.csv").write_bytes(once)
    with pytest.raises(UsageError, match=r"day 2\) is not in trims.csv any more"):
        take_back(folder)
    assert (folder / "trims.csv").read_bytes() == once
    assert take_back(folder).summary == "day 1"


def test_a_book_without_a_journal_has_nothing_to_take_back(make_book):
    folder = make_book()
    with pytest.raises(UsageError, match="removed by hand"):
        take_back(folder)
    assert not (folder / JOURNAL).exists()
