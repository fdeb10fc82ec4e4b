"""``growthcast check``: what it prints and its exit status."""

from __future__ import annotations

import json

import pytest
import typer
from typer.testing import CliRunner

from growthcast.cli.check import check_command
from growthcast.errors import MissingBook, UsageError
from tests.unit.book.small_book import FILES

app = typer.Typer()
app.command()(check_command)


def run(*arguments):
    return CliRunner().invoke(app, [str(argument) for argument in arguments])


def test_a_clean_book(make_book):
    result = run(make_book())
    assert result.exit_code == 0
    assert result.stdout == "2 tanks, 3 areas, 4 log rows: no problems\n"
    assert result.stderr == ""


def test_remarks_alone_are_clean(make_book):
    result = run(make_book(), "--on", "2026-02-14")
    assert result.exit_code == 0
    assert "[after-on]" in result.stderr
    assert result.stdout == "2 tanks, 3 areas, 2 log rows: no problems, 1 remark\n"


def test_notes(make_book):
    result = run(make_book(tanks_csv=FILES["tanks.csv"].replace("client", "lamp")))
    assert result.exit_code == 1
    assert result.stdout.endswith("no problems, 1 note\n")


def test_problems_as_json(make_book):
    result = run(make_book(areas_csv=FILES["areas.csv"].replace("8,25", "8,x")), "--json")
    assert result.exit_code == 2
    assert result.stderr == ""
    content = json.loads(result.stdout)
    assert (content["problems"], content["notes"]) == (1, 0)
    assert list(content["findings"][0]) == [
        "file",
        "row",
        "column",
        "heading",
        "found",
        "expected",
        "fix",
        "slug",
        "level",
    ]
    assert content["findings"][0]["column"] == "G"


def test_a_day_that_is_none(make_book):
    result = run(make_book(), "--on", "yesterday")
    assert isinstance(result.exception, UsageError)


def test_a_folder_that_is_none(tmp_path):
    result = run(tmp_path / "nowhere")
    assert isinstance(result.exception, MissingBook)


@pytest.mark.parametrize("arguments", [["--help"]])
def test_help_has_an_example_and_the_exit_statuses(arguments):
    text = run(*arguments).stdout
    assert "Example:" in text
    assert "Exit status" in text
