"""A year of small changes without an editor: replaced, given up, moved, and taken back."""

from __future__ import annotations

import json

import pytest

from tests.books import write_book
from tests.cli import run

AUTUMN = "2026-10-05"


@pytest.fixture
def folder(tmp_path):
    return write_book(tmp_path / "book")


def files(folder):
    return {p.name: p.read_bytes() for p in folder.iterdir() if p.suffix == ".csv"}


def test_a_plant_is_replaced_said_back_first(folder):
    before = files(folder)
    line = ["replace", str(folder), "stems=Ludwigia repens", "floor=8", "--on", AUTUMN]
    told = run(*line)
    assert told.status == 0, told.err
    assert "stems (rotala-rotundifolia) ends on 2026-10-05; stems-2 (ludwigia-repens" in told.out
    assert "floor 8 cm, budget 22 cm, cut 9 cm." in told.out
    assert "Nothing is written yet; the same line with --yes writes it." in told.err
    assert files(folder) == before
    done = run(*line, "--by", "Ann", "--yes", "--json")
    answer = json.loads(done.out)
    assert answer["written"] is True
    assert answer["ended"] == ["stems"]
    assert answer["row"]["area_id"] == "stems-2"
    assert answer["row"]["planted_on"] == AUTUMN
    assert run("interval", str(folder), "--on", "2026-10-12").status == 0
    asked = run("unlog", str(folder))
    assert "This would be taken back: replace: lobby: stems" in asked.out
    assert files(folder) != before
    assert run("unlog", str(folder), "--yes").status == 0
    assert files(folder) == before
    listed = run("journal", str(folder))
    lines = [line for line in listed.out.splitlines() if "lobby: stems" in line]
    assert "unlog: took back" in lines[0]
    assert "Ann" in lines[1]
    [last, first] = json.loads(run("journal", str(folder), "--json").out)["changes"]
    assert (first["by"], first["taken_back"], last["takes_back"]) == ("Ann", True, first["id"])


def test_a_client_leaves_and_no_longer_stands_among_those_to_visit(folder):
    line = ["retire", str(folder), "--client", "Client A", "--on", AUTUMN, "--yes"]
    done = run(*line)
    assert "Client A: tank lobby given up on 2026-10-05; 2 areas end: stems, carpet." in done.out
    told = run("interval", str(folder), "--on", "2026-10-12")
    assert [line.split()[0] for line in told.out.splitlines() if "Client" in line] == ["home"]
    assert "No row for lobby: nothing is planted there any more." in told.out
    for asked in (["away", "--from", "2026-11-01", "--to", "2026-11-07"], ["watch"]):
        told = run(asked[0], str(folder), *asked[1:], "--on", "2026-10-12")
        assert "No row for lobby: nothing is planted there any more." in told.out
        assert "lobby" not in told.out.replace("No row for lobby", "")
        told = run(asked[0], str(folder), *asked[1:], "--on", "2026-10-12", "--tank", "lobby")
        assert told.out == "No row for lobby: nothing is planted there any more.\n"
        told = run(asked[0], str(folder), *asked[1:], "--on", "2026-10-12", "--json")
        assert [one["tank_id"] for one in json.loads(told.out)["tanks"]] == ["lobby", "home"]
    rounds = run("rounds", str(folder), "--on", "2026-10-12", "--from", "2026-10-12", "--json")
    assert {visit["tank_id"] for visit in json.loads(rounds.out)["visits"]} <= {"home"}
    again = run(*line)
    assert again.status == 2
    assert "Client A: no area lives beyond 2026-10-05" in again.err


def test_heights_move_from_a_day_on(folder):
    line = ["move", str(folder), "stems", "--budget", "20cm", "--cut", "8,5", "--on", AUTUMN]
    told = run(*line)
    moved = "budget 22 cm to 20 cm, cut 9 cm to 8.5 cm"
    assert told.out == f"lobby: stems from 2026-10-05 on: {moved}.\n"
    assert not (folder / "bounds.csv").exists()
    assert run(*line, "--yes").status == 0
    budgets = {}
    for day in ("2026-10-04", AUTUMN):
        told = json.loads(run("forecast", str(folder), "--on", day, "--json").out)
        budgets[day] = {area["area_id"]: area["budget_cm"] for area in told["areas"]}
    assert budgets["2026-10-04"] == {"stems": 22.0, "carpet": 4.5, "moss": 9.0}
    assert budgets[AUTUMN] == {"stems": 20.0, "carpet": 4.5, "moss": 9.0}
    nothing = run("move", str(folder), "stems", "--on", AUTUMN)
    assert nothing.status == 2
    assert "say which height moves" in nothing.err
    wrong = run("move", str(folder), "stems", "--floor", "21", "--on", AUTUMN, "--yes")
    assert wrong.status == 2
    assert "bounds.csv:2:C: floor_cm: found 21 cm, not below" in wrong.err
    (folder / "bounds.csv").write_text("area_id,from_date,floor_cm\n")
    told = run("move", str(folder), "stems", "--cut", "10", "--on", AUTUMN)
    assert "bounds.csv gets at the end of its first line: cut_cm.\n" in told.err


@pytest.mark.slow
def test_yesterday_is_corrected_whatever_was_logged_since(folder):
    log = ["log", str(folder), "--tank", "lobby", "--on"]
    assert run(*log, "2026-06-08", "stems=20/12", "carpet=over", "--yes").status == 0
    once = files(folder)
    assert run(*log, "2026-06-15", "stems=19/12", "--yes").status == 0
    line = [*log, "2026-06-08", "stems=20.5/11", "--again"]
    told = run(*line)
    assert told.status == 0, told.err
    assert "stems: before_cm 20, after_cm 12; now before_cm 20.5, after_cm 11" in told.err
    assert "carpet: look over: taken out" in told.err
    done = run(*line, "--yes")
    assert done.status == 0, done.err
    lines = (folder / "trims.csv").read_text().splitlines()
    assert lines[-2:] == [
        "2026-06-08,lobby,stems,20.5,11,,,,,",
        "2026-06-15,lobby,stems,19,12,,,,,",
    ]
    assert (
        "trims.csv has no row of home on 2026-06-08"
        in run(
            *["log", str(folder), "--tank", "home", "--on", "2026-06-08", "moss=5", "--again"]
        ).err
    )
    back = ["unlog", str(folder), "--tank", "lobby", "--on", "2026-06-08"]
    assert "  stems: before_cm 20.5, after_cm 11: taken out" in run(*back).out
    assert run(*back, "--yes").status == 0
    assert (folder / "trims.csv").read_text().splitlines()[-1] == lines[-1]
    assert run("unlog", str(folder)).status == 0
    assert files(folder)["trims.csv"].splitlines() == once["trims.csv"].splitlines()[:-2]
