"""``growthcast check``: what it prints and its exit status."""

from __future__ import annotations

import json

import pytest
import typer
from typer.testing import CliRunner

from growthcast.cli.commands import takes_options
from growthcast.errors import MissingBook, UsageError
from tests.unit.book.small_book import FILES

app = typer.Typer()
app.command()(takes_options("check"))


def run(*arguments):
    return CliRunner().invoke(app, [str(argument) for argument in arguments])


def test_a_clean_book(make_book):
    result = run(make_book())
    assert result.exit_code == 0
    assert result.stdout == "Nothing is wrong or odd in 2 tanks, 3 areas and 4 log rows.\n"
    assert result.stderr == ""


def test_remarks_alone_are_clean(make_book):
    result = run(make_book(), "--on", "2026-02-14")
    assert result.exit_code == 0
    assert "[after-on]" in result.stderr
    assert result.stdout == "No problems, 1 remark in 2 tanks, 3 areas and 2 log rows.\n"


def test_notes(make_book):
    result = run(make_book(tanks_csv=FILES["tanks.csv"].replace("client", "lamp")))
    assert result.exit_code == 1
    assert result.stdout.startswith("No problems, 1 note in ")


def test_check_says_which_co2_it_assumes(make_book):
    water = "tank_id,from_date,co2_mg_l,ph,kh_dkh\nT1,2026-01-01,{},,\nT2,2026-01-01,,7,4\n"
    for typed, says in (
        ("0", "No CO2 is added in T1: taken as 3 mg/L, 2 to 5 in 8 tanks of 10"),
        ("", "CO2 is not known in T1: growth is taken as at 25 mg/L with wider ranges."),
    ):
        book = make_book(conditions_csv=water.format(typed))
        result, as_json = run(book), run(book, "--json")
        assert result.exit_code == 0
        assert says in " ".join(result.stdout.split())
        assert "T2" not in result.stdout  # its pH and hardness tell
        [assumed] = json.loads(as_json.stdout)["assumed"]
        assert assumed.startswith(says)


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
