"""Visits as lines of text, what was tapped on photos, and the phones' keys. All of it invented."""

from __future__ import annotations

import json
import stat
from datetime import date

import pytest

from growthcast.book.writing.unlog import take_back
from growthcast.book.writing.visit.lines import (
    LONGEST_LINE,
    LONGEST_NAME,
    MOST_LINES,
    PHONES,
    TAPS,
    Line,
    checked_name,
    checked_number,
    keep_picture,
    keep_taps,
    log_line,
    numbered,
    read_lines,
    read_phones,
    read_taps,
    write_phones,
)
from growthcast.errors import UsageError
from tests.unit.book.small_book import TODAY

DAY = date(2026, 3, 2)
TOLD = {
    "width": 4000,
    "height": 3000.0,
    "corners": [[0, 0], [1, 0], [1, 1], [0, 1]],
    "areas": {
        "A1": {"base": [2, 3], "top": [2, 1]},
        "A2": "skip",
        "A3": {"base": 0, "top": [1, 1]},
    },
}


@pytest.mark.parametrize(
    "text",
    [
        "--tank T1 --on 2026-03-02 A1=18/9 35min",
        "-t T1 -on 2026-03-02 -y A1=18/9 35min",
        "A1=18/9 --tank=T1 35min --on=2026-03-02 --yes",
        "\N{EM DASH}tank T1 \N{EN DASH}on 2026-03-02 A1=18/9 35min",
        "said: growthcast log the-book --tank T1 --on 2026-03-02 A1=18/9 35min",
        "growthcast log A1=18/9 35min --tank T1 --on 2026-03-02",
        "\ufeff# a remark\n\n   \n--tank T1 --on 2026-03-02 “A1=18/9” 35min",
    ],
)
def test_a_visit_is_read_from_a_line_as_it_is_typed(text):
    [line] = read_lines(text)
    assert (line.tank_id, line.day, line.items) == ("T1", DAY, ("A1=18/9", "35min"))
    assert (line.number, line.by, line.taps) == ("", "", "")
    assert line.content == "--tank T1 --on 2026-03-02 A1=18/9 35min"


def test_lines_keep_their_rows_and_doubled_ones_count_once():
    """Two visits that are alike but for their numbers are two."""
    same = "--tank T1 --on 2026-03-02 A1=18"
    lines = read_lines(
        f"{same}\n#\n{same}\n{same} --visit abc123 --by  Ann  \n{same} --visit abc124"
    )
    assert [(one.row, one.number, one.by) for one in lines] == [
        (1, "", ""),
        (4, "abc123", "Ann"),
        (5, "abc124", ""),
    ]
    assert read_lines("--on 2026-03-02 A1=18")[0].tank_id is None


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("--tank T1 A1=18", "line 1: the day is missing"),
        ("--on 2026-03-02 --on 2026-03-03", "--on is given twice"),
        ("A1=18 --on", "--on has nothing after it"),
        ("--on 2.3.26", '--on "2.3.26": a value'),
        ("--on 2026-03-02 'A1=18", "a quotation mark without its pair"),
        ("--on 2026-03-02 --visit AB", '--visit "AB" is no number of a visit'),
        ("--on 2026-03-02 --taps {}", "the taps are not as"),
        ("--on 2026-03-02 " + "x" * (LONGEST_LINE - 15), "4001 letters are too many"),
        ("# nothing\n\n", "the file holds no visit"),
        ("\n" * (MOST_LINES + 1), "the file has 1001 lines; at most 1000"),
    ],
)
def test_a_line_that_is_not_understood_is_named(text, why):
    with pytest.raises(UsageError) as refused:
        read_lines(text)
    assert why in str(refused.value)


def test_lines_and_letters_up_to_their_most_are_read():
    [line] = read_lines("--on 2026-03-02 " + "x" * (LONGEST_LINE - 16) + "\n" * MOST_LINES)
    assert len(line.items[0]) == LONGEST_LINE - 16


def test_numbers_and_names_of_visits_have_their_letters():
    for number in ("abc123", "a" * 40, ""):
        assert checked_number(number) == number
    for number in ("abc12", "a" * 41, "Abc123"):
        with pytest.raises(UsageError):
            checked_number(number)
    assert checked_name("  Ann \t B. ") == "Ann B."
    assert checked_name("é" * LONGEST_NAME) == "é" * LONGEST_NAME
    for name in ("é" * (LONGEST_NAME + 1), "=1+1", "@ann", "-a", "+a", "a\x07"):
        with pytest.raises(UsageError, match="--by"):
            checked_name(name)


def test_a_visit_is_logged_once_however_often_it_arrives(make_book):
    folder = make_book()
    taps = json.dumps(TOLD)
    line = Line("T1", DAY, ("A1=18/9",), "abc123", by="Ann", taps=taps)
    said = {"area_id": "A1", "before_cm": 18.0, "after_cm": 9.0}
    rows = [{"date": DAY, "tank_id": "T1", **said}]
    assert numbered(folder, line) == "new"
    state, added = log_line(folder, line, rows, today=TODAY)
    assert (state, added.entry.summary) == ("new", "T1 on 2026-03-02, 1 row")
    assert len((folder / TAPS).read_bytes().splitlines()) == 1
    log = (folder / "trims.csv").read_bytes()
    assert log_line(folder, line, rows, today=TODAY) == ("known", None)
    # The same rows without a number, or with another: the log has them all.
    assert log_line(folder, Line("T1", DAY, line.items), rows, today=TODAY) == ("known", None)
    other = Line("T1", DAY, ("A1=20/9",), "abc123")
    assert numbered(folder, other) == "other"
    assert log_line(folder, other, rows, today=TODAY) == ("other", None)
    assert numbered(folder, Line("T1", DAY, line.items)) == "new"
    two = [row | {"date": TODAY} for row in (*rows, {"tank_id": "T1", "minutes": 5.0})]
    _, both = log_line(folder, Line("T1", TODAY, (), "abc125"), two, today=TODAY)
    assert (both.entry.summary, both.entry.by) == ("T1 on 2026-04-01, 2 rows", None)
    take_back(folder, today=TODAY)
    assert (folder / "trims.csv").read_bytes() == log


def test_taps_are_kept_as_numbers_and_nothing_else():
    assert read_taps(json.dumps(TOLD | {"said": "more"})) == {
        "width": 4000.0,
        "height": 3000.0,
        "magnified": False,
        "corners": [[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]],
        "areas": {
            "A1": {"base": [2.0, 3.0], "top": [2.0, 1.0]},
            "A2": "skip",
            "A3": {"top": [1.0, 1.0]},
        },
    }
    told = read_taps(json.dumps(TOLD | {"focal": 3.5, "back": [[1, 2], [3, 4]], "magnified": 1}))
    assert (told["focal"], told["back"], told["magnified"]) == (3.5, [[1, 2], [3, 4]], True)


@pytest.mark.parametrize(
    "wrong",
    [
        {"width": 10**400},
        {"width": 0},
        {"height": float("inf")},
        {"focal": -1},
        {"corners": TOLD["corners"][:3]},
        {"back": [[1, 2]]},
        {"corners": [[0, 0], [1, 0], [1, 1], [0, float("nan")]]},
        {"areas": {"A1": {"base": [2, 3]}}},
        {"areas": ["A1"]},
        {"more": "x" * 20_000},
    ],
)
def test_taps_that_are_not_as_the_page_writes_them_are_refused(wrong):
    with pytest.raises(UsageError, match="the taps are not as the page"):
        read_taps(json.dumps(TOLD | wrong))


def test_taps_of_a_visit_are_kept_once(make_book):
    folder, text = make_book(), json.dumps(TOLD)
    for number in ("abc123", "abc123", "abc124"):
        keep_taps(folder, "T1", DAY, number, text)
    held = [json.loads(line) for line in (folder / TAPS).read_text().splitlines()]
    assert [one["visit"] for one in held] == ["abc123", "abc124"]
    assert held[0] == {
        "date": "2026-03-02",
        "tank_id": "T1",
        "visit": "abc123",
        "taps": read_taps(text),
    }


def test_a_picture_that_is_there_already_stays(make_book):
    folder = make_book()
    paths = [keep_picture(folder, "T1/é", DAY, content) for content in (b"1", b"2", b"3")]
    names = ["2026-03-02-T1--.jpg", "2026-03-02-T1---2.jpg", "2026-03-02-T1---3.jpg"]
    assert [path.name for path in paths] == names
    assert [path.read_bytes() for path in paths] == [b"1", b"2", b"3"]


def test_keys_of_phones_are_for_the_owner_alone_and_a_torn_file_holds_none(make_book):
    folder = make_book()
    assert read_phones(folder) == {}
    for known in ({"a": {"key": "x"}}, {"b": {"key": "y"}}):
        write_phones(folder, known)
        assert read_phones(folder) == known
    assert stat.S_IMODE((folder / PHONES).stat().st_mode) == 0o600
    (folder / PHONES).write_text('{"a": {')
    assert read_phones(folder) == {}
