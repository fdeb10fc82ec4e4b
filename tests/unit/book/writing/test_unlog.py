"""The last visit logged is taken back byte for byte, or not at all."""

from __future__ import annotations

from datetime import date

import pytest

from growthcast.book.writing.append import add_rows
from growthcast.book.writing.areas import move_bounds, replace_area, retire
from growthcast.book.writing.journal import JOURNAL, entries, hash_of, splice_of
from growthcast.book.writing.unlog import (
    CHANGES,
    _begins_with,
    _without,
    change_visit,
    last_entry,
    take_back,
)
from growthcast.errors import RowsRefused, UsageError
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


def test_rows_added_after_it_stay(make_book):
    folder = make_book()
    log(folder, 1)
    path, before = folder / "trims.csv", FILES["trims.csv"].encode()
    added = b"2026-03-02,T1,A1,25,,,,,,\n"
    path.write_bytes(path.read_bytes() + added)
    take_back(folder)
    assert path.read_bytes() == before + added


def test_two_rows_never_become_one(make_book):
    folder = make_book(trims_csv=FILES["trims.csv"].rstrip("\n"))
    log(folder, 1)
    path = folder / "trims.csv"
    after = path.read_bytes() + b"2026-03-02,T1,A1,25,,,,,,\n"
    path.write_bytes(after)
    with pytest.raises(UsageError, match="rows were added after it") as told:
        take_back(folder)
    assert '"2026-03-01,T1,A1,24' in str(told.value)
    assert path.read_bytes() == after


def test_a_row_that_others_need_is_not_taken_back(make_book):
    folder = make_book()
    row = {"area_id": "A4", "tank_id": "T1", "species_id": "rotala-rotundifolia"}
    row |= {"area_cm2": 100.0, "floor_cm": 5.0, "budget_cm": 9.0, "planted_on": "2026-01-01"}
    add_rows(folder, "areas", [row], today=TODAY, command="add area", summary="A4")
    logged = {"date": date(2026, 3, 1), "tank_id": "T1", "area_id": "A4", "before_cm": 7.0}
    add_rows(folder, "trims", [logged], today=TODAY, command="log", summary="day 1")
    with pytest.raises(RowsRefused) as told:
        take_back(folder, ("add",), today=TODAY)
    assert [(i.file, i.slug) for i in told.value.findings] == [("trims.csv", "unknown-id")]
    assert take_back(folder, CHANGES, today=TODAY).summary == "day 1"
    assert take_back(folder, CHANGES, today=TODAY).summary == "A4"
    assert (folder / "areas.csv").read_text() == FILES["areas.csv"]


def test_changes_of_areas_are_taken_back_in_any_order_that_they_allow(make_book):
    folder = make_book()
    before = {name: (folder / name).read_bytes() for name in ("areas.csv", "trims.csv")}
    replace_area(folder, "A1", "rotala-rotundifolia", date(2026, 3, 1), today=TODAY)
    move_bounds(folder, "A2", date(2026, 3, 1), budget_cm=5.0, today=TODAY)
    retire(folder, date(2026, 3, 20), tank_id="T2", today=TODAY)
    first = next(entries(folder))
    with pytest.raises(UsageError, match="take back what came after it first"):
        take_back(folder, CHANGES, first.id[:6], today=TODAY)
    for command in ("retire", "move", "replace"):
        assert take_back(folder, CHANGES, today=TODAY).command == command
    assert not (folder / "bounds.csv").exists()
    assert {name: (folder / name).read_bytes() for name in before} == before
    with pytest.raises(UsageError, match='no change "zz" is left'):
        take_back(folder, CHANGES, "zz", today=TODAY)


def test_a_visit_is_taken_back_whatever_was_logged_since(make_book):
    folder = make_book()
    log(folder, 1)
    log(folder, 2)
    change = change_visit(folder, "T1", date(2026, 2, 1), today=TODAY, write=False)
    assert change.lines == (
        "A1: before_cm 24.5, after_cm 12, look over, minutes 10: taken out",
        "A2: before_cm 5, after_cm 3, removed_cm 2, minutes 5: taken out",
    )
    change_visit(folder, "T1", date(2026, 2, 1), today=TODAY)
    kept = [line for line in FILES["trims.csv"].splitlines() if not line.startswith("2026-02-01")]
    now = (folder / "trims.csv").read_text().splitlines()
    assert now[: len(kept)] == kept
    assert len(now) == len(kept) + 2
    row = {"date": date(2026, 3, 4), "tank_id": "T1", "area_id": "A1", "before_cm": 20.0}
    said = {"command": "log", "summary": "T1 on 2026-03-04, 1 row"}
    add_rows(folder, "trims", [row], today=TODAY, **said)
    log(folder, 5)
    change_visit(folder, "T1", date(2026, 3, 4), today=TODAY)
    first, last = (list(entries(folder))[i] for i in (-3, -1))
    assert (last.command, last.takes_back) == ("unlog", first.id)
    assert last.summary == "T1 on 2026-03-04, 1 row taken back"
    with pytest.raises(UsageError, match="no row of T1 on 2026-03-04"):
        change_visit(folder, "T1", date(2026, 3, 4), today=TODAY)


def test_a_visit_logged_again_changes_its_rows_in_their_place(make_book):
    folder = make_book()
    log(folder, 1)
    before = (folder / "trims.csv").read_text()
    visit = {"date": date(2026, 2, 1), "tank_id": "T1"}
    rows = [
        visit | {"area_id": "A1", "before_cm": 22.5, "after_cm": 12.0},
        visit | {"minutes": 9.0},
    ]
    change = change_visit(folder, "T1", date(2026, 2, 1), rows, today=TODAY)
    assert change.lines == (
        "A1: before_cm 24.5, after_cm 12, look over, minutes 10; now before_cm 22.5, after_cm 12",
        "A2: before_cm 5, after_cm 3, removed_cm 2, minutes 5: taken out",
        "whole tank: minutes 9: new",
    )
    head, _, _, *others = before.splitlines()
    new = ["2026-02-01,T1,A1,22.5,12,,,,,", *others, "2026-02-01,T1,,,,,,,9,"]
    assert (folder / "trims.csv").read_text().splitlines() == [head, *new]
    with pytest.raises(UsageError, match="in the book as typed already"):
        change_visit(folder, "T1", date(2026, 2, 1), rows, today=TODAY)
    take_back(folder, today=TODAY)
    assert (folder / "trims.csv").read_text() == before


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


def test_a_visit_logged_again_may_bring_a_column(make_book):
    """One row of three stays: it is filled up, as one that ends early would be torn."""
    head = "date,tank_id,area_id,before_cm"
    old = f"{head}\n2026-02-01,T1,A1,24\n2026-02-15,T1,A1,20\n2026-02-15,T1,A2,9\n"
    folder = make_book(trims_csv=old)
    rows = [
        {"date": date(2026, 2, 15), "tank_id": "T1", "area_id": area, "before_cm": cm, "by": "Ida"}
        for area, cm in (("A1", 21.0), ("A2", 8.0))
    ]
    change = change_visit(folder, "T1", date(2026, 2, 15), rows, today=TODAY)
    assert change.columns == ("by",)
    assert (folder / "trims.csv").read_text() == (
        f"{head},by\n2026-02-01,T1,A1,24,\n2026-02-15,T1,A1,21,Ida\n2026-02-15,T1,A2,8,Ida\n"
    )


@pytest.mark.parametrize(
    ("old", "new", "now", "found"),
    [
        (b"a\n", b"a\nb\n", b"a\nb\n", b"a\n"),
        (b"a\n", b"a\nb\n", b"a\nb\nc\r\n", b"a\nc\r\n"),  # a row added since
        (b"a\nx\n", b"a\ny\n", b"a\ny\nc", b"a\nx\nc"),
        (b"a\n", b"a\nb\n", b"z\nb\nc\n", b"z\nc\n"),  # lines above it changed by hand
        (b"a\n", b"a\nb\n", b"z\nb\nb\n", False),  # two such lines
        (b"a\n", b"a\nb\n", b"z\nc\n", False),
        (b"a\n", b"a\nb", b"z\nb\n", False),  # not a whole line
        (b"a", b"a\nb", b"a\nb", b"a"),
        (b"a", b"a\nb\n", b"a\nb\nc\n", False),  # two rows would become one
        ("a\r\n".encode("utf-16-le"), "a\r\nb\r\n".encode("utf-16-le"), None, False),
        (None, b"h\n", b"h\n", None),  # a file that it brought goes again
        (None, b"h\n", b"h\nc\n", False),  # but not its header
        (b"h\n", None, None, b"h\n"),  # and one that it took away comes back
        (b"h\n", None, b"c\n", False),
    ],
)
def test_what_a_change_put_into_a_file_is_found_and_taken_out(old, new, now, found):
    whole = _without(splice_of(old, new), now)
    assert whole == ((False, None) if found is False else (True, found))


def test_a_row_in_two_bytes_a_letter_is_taken_out_before_later_ones():
    old, new, later = (text.encode("utf-16-le") for text in ("a\r\n", "a\r\nb\r\n", "c\r\n"))
    assert _without(splice_of(old, new), new + later) == (True, old + later)


def test_how_much_of_a_file_has_a_hash_up_to_an_end_of_a_line():
    """Also the second byte of a line end of two, and the end of the file."""
    data = b"a\r\nb\nc"
    for size in (2, 3, 5, 6):
        assert _begins_with(data, hash_of(data[:size])) == size
    assert _begins_with(data, hash_of(b"a")) is None
    assert _begins_with(data, None) is None
    assert _begins_with(b"", hash_of(b"")) == 0


def test_an_entry_is_found_by_the_first_word_of_its_command_and_the_beginning_of_its_id(make_book):
    folder = make_book()
    assert last_entry(folder) is None
    row = {"client": "a clinic", "from_date": date(2026, 5, 1), "to_date": date(2026, 5, 2)}
    for command, day in (("add closed", 1), ("log", 2), ("log", 3)):
        said = {"today": TODAY, "command": command, "summary": f"{day}"}
        more = {"date": date(2026, 3, day), "tank_id": "T1", "area_id": "A1", "before_cm": 20.0}
        table, cells = ("closed", row) if command != "log" else ("trims", more)
        add_rows(folder, table, [cells], **said)
    added, first, second = entries(folder)
    assert last_entry(folder) == second
    assert last_entry(folder, id_=first.id[:9]) == first
    assert last_entry(folder, CHANGES, added.id) == added
    assert last_entry(folder, id_=added.id) is None
    take_back(folder, today=TODAY)
    assert last_entry(folder) == first
    assert last_entry(folder, CHANGES, second.id) is None
