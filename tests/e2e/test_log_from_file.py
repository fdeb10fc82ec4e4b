"""Visits that come as lines of text: logged once, however often and by whichever way they come."""

from __future__ import annotations

import json
from unittest import mock

import pytest

from growthcast.book.writing.journal import entries
from tests.books import write_book
from tests.cli import run

NUMBERED = "--tank lobby --on 2026-06-08 --visit 5f0c9a77e1b2 stems=19/9,5 rest=right 35min"


@pytest.fixture
def folder(tmp_path):
    return write_book(tmp_path / "book")


@pytest.fixture
def log_file(folder, tmp_path):
    def log(*lines, options=("--yes",)):
        file = tmp_path / "visits.txt"
        file.write_text("\n".join(lines), encoding="utf-8")
        return run("log", str(folder), "--from", str(file), *options)

    return log


def trims(folder):
    return (folder / "trims.csv").read_text().splitlines()[9:]


def test_lines_are_said_back_and_written_with_yes(folder, log_file):
    said = log_file(NUMBERED, options=())
    assert said.status == 0
    assert "stood at 19 cm; cut to 9.5 cm" in said.out
    assert "1 visit would be written" in said.err
    assert trims(folder) == []
    assert log_file(NUMBERED).status == 0
    assert trims(folder) == [
        "2026-06-08,lobby,stems,19,9.5,,,,,",
        "2026-06-08,lobby,,,,,,,35,",
        "2026-06-08,lobby,carpet,,,,,right,,",
    ]


def test_who_logged_is_kept_with_each_row_and_in_the_journal(folder, log_file):
    said = log_file("--tank home --on 2026-06-08 --visit 5f0c9a77e1b2 --by 'Ida  Ask' moss=right")
    options = ("--tank", "home", "--on", "2026-06-09", "--by", "Bo", "moss=right", "--yes")
    assert "trims.csv gets at the end of its first line: by." in said.err
    assert "gets at the end" not in run("log", str(folder), *options).err
    assert [row.rpartition(",")[2] for row in trims(folder)] == ["Ida Ask", "Bo"]
    assert [entry.by for entry in entries(folder)] == ["Ida Ask", "Ida Ask", "Bo"]


def test_the_same_visit_of_another_name_is_the_same_visit(folder, log_file):
    log_file("--tank home --on 2026-06-08 --by Ida moss=right")
    again = log_file("--tank home --on 2026-06-08 --by Bo moss=right")
    assert "in the book already" in again.err
    assert len(trims(folder)) == 1


@pytest.mark.parametrize("name", ["=1+1", "x" * 61, "a\u202eb"])
def test_a_name_that_no_table_should_hold_is_refused(folder, name):
    said = run("log", str(folder), "--on", "2026-06-08", "--by", name, "moss=right", "--yes")
    assert said.status == 2
    assert "write a name of at most 60 letters" in said.err
    assert trims(folder) == []


def test_a_visit_that_comes_again_is_not_doubled(folder, log_file):
    by_hand = "--tank home --on 2026-06-08 moss=right"
    log_file(NUMBERED, by_hand)
    written = trims(folder)
    again = log_file(NUMBERED, by_hand, by_hand)
    assert again.status == 0
    assert again.err.count("in the book already") == 2
    run("log", str(folder), *NUMBERED.split(), "--yes")
    assert trims(folder) == written
    told = json.loads(log_file(NUMBERED, options=("--json",)).out)
    assert told == {
        "visits": [{"line": 1, "visit": "5f0c9a77e1b2", "state": "known", "written": False}]
    }


def test_a_visit_that_came_by_another_way_meanwhile_is_not_said_to_be_written(folder):
    line = ["log", str(folder), *NUMBERED.split(), "--yes"]
    with mock.patch("growthcast.cli.log.log_line", return_value=("known", None)):
        said = run(*line)
    assert said.status == 0
    assert "Written" not in said.out
    assert "this visit is in the book already, so nothing was written." in said.err


def test_a_visit_taken_back_does_not_return_by_its_number(folder, log_file):
    log_file(NUMBERED)
    assert run("unlog", str(folder)).status == 0
    assert log_file(NUMBERED).status == 0
    assert trims(folder) == []


def test_the_number_of_another_visit_is_set_aside_and_named(folder, log_file):
    log_file(NUMBERED)
    written = trims(folder)
    other = log_file(NUMBERED.replace("9,5", "8"))
    assert "another visit of this number is in the book" in other.err
    assert trims(folder) == written


def test_each_visit_is_taken_back_by_itself(folder, log_file):
    log_file("--tank home --on 2026-06-08 moss=right", NUMBERED)
    run("unlog", str(folder))
    assert trims(folder) == ["2026-06-08,home,moss,,,,,right,,"]
    assert [one.command for one in entries(folder)] == ["log", "log", "unlog"]


def test_what_messengers_do_to_a_line_is_read(folder, log_file):
    """They put a name before it, and turn two hyphens and straight quotes into printers' ones."""
    line = "[28.11.26, 10:02] Anna: growthcast log my-book —tank home —on 2026-06-08 “note:no sun”"
    assert log_file("", "# today", line).status == 0
    assert trims(folder) == ["2026-06-08,home,,,,,,,,no sun"]


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("--tank lobby stems=19/9", "the day is missing"),
        ("--on 8.6.2026 stems=19/9", "a value which is not written YYYY-MM-DD"),
        ("--on 2026-06-08 --visit ../x stems=19/9", "no number of a visit"),
        ("--on 2026-06-08 --visit", "has nothing after it"),
        ("--on 2026-06-08 stens=19/9", "name the tank"),
        ("--tank lobby --on 2026-06-08 stens=19/9", 'did you mean "stems"'),
        ('--tank lobby --on 2026-06-08 "note:torn', "quotation mark without its pair"),
        ("hello", "the day is missing"),
    ],
)
def test_a_line_not_understood_is_named_and_nothing_is_written(folder, log_file, line, said):
    refused = log_file(NUMBERED, line)
    assert refused.status == 2
    assert "line 2: " in refused.err
    assert said in refused.err
    assert trims(folder) == []


def test_two_visits_that_cannot_both_be_are_refused_together(folder, log_file):
    refused = log_file(NUMBERED, "--tank lobby --on 2026-06-08 stems=17/9")
    assert refused.status == 2
    assert trims(folder) == []
