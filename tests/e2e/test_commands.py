"""The commands end to end, on the demo and on small books, with good and bad input."""

from __future__ import annotations

import json
import os
import re
import shutil
from datetime import date

import pytest

from growthcast.book.files import demo_dir
from tests.books import AREAS, HEADER, TANKS, stem_log, write_book
from tests.cli import KNOWN, run

DEMO = str(demo_dir())


def strict_json(text):
    """Parse JSON and refuse NaN and infinity."""

    def refuse(name):
        raise AssertionError(f"{name} in JSON")

    return json.loads(text, parse_constant=refuse)


@pytest.mark.slow
def test_areas_whose_floor_is_the_ground_get_every_answer(tmp_path):
    """Nothing is bare there: half of the demo's areas may be cut to nothing."""
    book = shutil.copytree(DEMO, tmp_path / "book")
    head, *rows = (book / "areas.csv").read_text(encoding="utf-8").splitlines()
    place = head.split(",").index("floor_cm")
    cells = [row.split(",") for row in rows]
    for row in cells[::2]:
        row[place] = "0"
    text = "\n".join([head, *(",".join(row) for row in cells)]) + "\n"
    (book / "areas.csv").write_text(text, encoding="utf-8")
    page = str(tmp_path / "page.html")
    for tank in strict_json(run("interval", str(book), "--json").out)["tanks"]:
        assert all(0 <= o["share_of_days_presentable"] <= 1 for o in tank["options"])
    for command in (
        ["interval", "--tank", "lobby-stems", "--json"],
        ["forecast", "--json"],
        ["cuts", "--tank", "lobby-stems", "--json"],
        ["brief", "--tank", "lobby-stems", "--out", page],
        ["rescape", "--tank", "lobby-stems", "--area", "lobby-rotala", "--json"],
    ):
        ran = run(*command, str(book))
        assert ran.status == 0, ran.err
        if "--json" in command:
            strict_json(ran.out)


def test_interval_on_the_demo():
    ran = run("interval", DEMO, "--json")
    assert ran.status == 0
    tanks = strict_json(ran.out)["tanks"]
    assert len(tanks) >= 6
    for tank in tanks:
        days = tank["recommended_interval_d"]
        assert tank["reason"]
        if days is not None:
            assert days <= tank["longest_interval_d"]
            chosen = next(o for o in tank["options"] if o["interval_d"] == days)
            assert chosen["feasible"]
            assert chosen["chance_all_within"] >= tank["confidence"]
        for option in tank["options"]:
            assert 0 <= option["share_of_days_presentable"] <= 1
            assert option["hours_per_year"] == pytest.approx(
                option["visits_per_year"] * option["minutes_per_visit"] / 60, rel=0.01
            )
            for name in ("minutes_per_visit", "hours_per_year", "cost_per_year"):
                spread = option[f"{name}_range"]
                assert spread["p10"] < option[name] < spread["p90"]
            for area in option["areas"]:
                assert 0 <= area["chance_within"] <= 1
                assert area["cut_cm"] > 0
                assert area["unit"] in ("cm", "% cover")
                assert area["label"]


def test_interval_says_what_time_and_money_rest_on():
    ran = run("interval", DEMO, "--tank", "lobby-stems")
    assert ran.status == 0
    said = " ".join(ran.out.split())
    assert "Minutes of trimming are fitted from 54 timed visits in the log" in said
    assert re.search(r"lobby-stems .* \d+ min \(\d+–\d+\) \d+ h \(\d+–\d+\)", said)


def test_forecast_on_the_demo():
    ran = run("forecast", DEMO, "--json", "--on", "2026-11-20", "--at", "2026-12-01")
    assert ran.status == 0
    answer = strict_json(ran.out)
    assert answer["on"] == "2026-11-20"
    bases = {area["basis"] for area in answer["areas"]}
    assert "log" in bases
    for area in answer["areas"]:
        [ahead] = area["heights"]
        assert ahead["at"] == "2026-12-01"
        levels = [ahead[name] for name in ("p05", "p10", "p25", "p50", "p75", "p90", "p95")]
        assert levels == sorted(levels)


def test_fit_on_the_demo():
    ran = run("fit", DEMO, "--json")
    assert ran.status == 0
    answer = strict_json(ran.out)
    assert answer["rows_used"] > 100
    assert all(area["converged"] for area in answer["areas"])
    assert all(area["log_rate"]["sd"] > 0 for area in answer["areas"])
    assert all(row["why"] for row in answer["rows_left_out"])


@pytest.mark.parametrize("command", ["interval", "forecast", "fit"])
def test_tables_for_people_name_units_and_areas(command):
    ran = run(command, DEMO)
    assert ran.status == 0
    assert any(unit in ran.out for unit in ("days", " cm"))


def test_one_tank_in_full():
    tank = strict_json(run("interval", DEMO, "--json").out)["tanks"][0]
    ran = run("interval", DEMO, "--tank", tank["tank_id"])
    assert ran.status == 0
    assert "height to cut to" in ran.out
    assert ", best" in ran.out


def test_the_same_book_gives_the_same_answer():
    first = run("interval", DEMO, "--json")
    KNOWN.clear()
    assert run("interval", DEMO, "--json") == first


def test_without_a_book_the_demo_is_used_and_said(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    ran = run("interval", "--json")
    assert ran.status == 0
    assert "demo" in ran.err.lower()
    strict_json(ran.out)


def test_a_book_in_this_folder_is_used(tmp_path, monkeypatch):
    write_book(tmp_path)
    monkeypatch.chdir(tmp_path)
    ran = run("interval", "--json")
    assert [t["tank_id"] for t in strict_json(ran.out)["tanks"]] == ["lobby", "home"]


def test_a_book_with_problems_is_not_fitted(tmp_path):
    rows = HEADER + "2026-05-01,lobby,stems,9,18,,,,,\n2026-05-08,lobby,stms,9,,,,,,\n"
    book = write_book(tmp_path, trims=rows)
    for command in ("fit", "forecast", "interval"):
        ran = run(command, str(book))
        assert ran.status == 2
        assert ran.out == ""
        assert "trims.csv:2:" in ran.err
        assert "trims.csv:3:" in ran.err
        assert "did you mean" in ran.err
        assert "nothing was fitted or written" in ran.err


def test_an_empty_log_forecasts_from_the_table_and_says_so(tmp_path):
    book = write_book(tmp_path, trims=HEADER)
    ran = run("forecast", str(book), "--json")
    assert ran.status == 0
    assert "today" in ran.err
    areas = strict_json(ran.out)["areas"]
    assert {area["basis"] for area in areas} == {"table"}
    assert strict_json(ran.out)["on"] == date.today().isoformat()


def test_no_log_file_at_all(tmp_path):
    book = write_book(tmp_path)
    (book / "trims.csv").unlink()
    assert run("interval", str(book), "--json").status == 0


def test_an_area_with_one_row(tmp_path):
    book = write_book(tmp_path, trims=stem_log(visits=1))
    area = strict_json(run("forecast", str(book), "--json").out)["areas"][0]
    assert area["observations"] == 1
    assert area["basis"] == "table"


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["interval", "no/such/folder"], "no/such/folder"),
        (["interval", DEMO, "--tank", "nowhere"], "no tank"),
        (["forecast", DEMO, "--on", "1.3.2026"], "write it as YYYY-MM-DD"),
        (["forecast", DEMO, "--on", "20260301"], "write it as YYYY-MM-DD"),
        (["forecast", DEMO, "--at", "2020-01-01"], "lies before"),
        (["forecast", DEMO, "--plot", "x.svg"], "--tank"),
        (["fit", DEMO, "--no-such-option"], "--no-such-option"),
        (["no-such-command"], "no-such-command"),
    ],
)
def test_bad_arguments_end_in_a_sentence(arguments, said):
    ran = run(*arguments)
    assert ran.status == 2
    assert ran.out == ""
    assert said in ran.err
    assert "Traceback" not in ran.err


def test_a_day_before_anything_was_planted(tmp_path):
    book = write_book(tmp_path)
    ran = run("forecast", str(book), "--on", "2024-01-01")
    assert ran.status == 0
    assert "No area is planted on 2024-01-01" in ran.err
    assert strict_json(run("interval", str(book), "--on", "2024-01-01", "--json").out)


AS_ROOT = pytest.mark.skipif(os.geteuid() == 0, reason="root reads every file")


@AS_ROOT
@pytest.mark.parametrize("command", ["check", "interval"])
@pytest.mark.parametrize("closed", ["trims.csv", ""])
def test_what_may_not_be_read_is_a_finding(tmp_path, command, closed):
    book = write_book(tmp_path / "book")
    (book / closed).chmod(0)
    ran = run(command, str(book))
    (book / closed).chmod(0o700)
    assert ran.status == 2
    assert f"{closed or 'book'}: f" in ran.err
    assert "[unreadable-file]" in ran.err


@AS_ROOT
def test_a_folder_that_may_not_be_looked_into_is_a_sentence(tmp_path):
    book = write_book(tmp_path / "outer" / "book")
    book.parent.chmod(0)
    ran = run("interval", str(book))
    made = run("start", str(book.parent / "new"))
    book.parent.chmod(0o700)
    assert (ran.status, made.status) == (2, 2)
    assert "it cannot be opened (permission denied)" in ran.err
    assert "permission denied" in made.err


def test_a_folder_that_is_gone_is_a_sentence(tmp_path, monkeypatch):
    (tmp_path / "gone").mkdir()
    monkeypatch.chdir(tmp_path / "gone")
    (tmp_path / "gone").rmdir()
    ran = run("interval")
    assert ran.status == 2
    assert "this folder cannot be opened (no such file or directory)" in ran.err


LONG = 300 * "a"


@pytest.mark.parametrize(
    "arguments",
    [
        ("check", LONG),
        ("start", LONG),
        ("add", "tank", LONG, "tank_id=a"),
        ("unlog", LONG),
        ("import", f"{LONG}.xlsx", "BOOK"),
        ("rescape", "BOOK", "--tank", "lobby", "--layouts", f"{LONG}.csv"),
        ("rounds", "BOOK", "--csv", f"{LONG}.csv"),
        ("overview", "BOOK", "--out", f"{LONG}.html"),
    ],
)
def test_a_name_too_long_is_a_sentence(tmp_path, arguments):
    book = str(write_book(tmp_path)) if "BOOK" in arguments else ""
    ran = run(*(book if argument == "BOOK" else argument for argument in arguments))
    assert ran.status == 2
    assert "file name too long" in ran.err
    assert "fault" not in ran.err


def test_hostile_text_does_not_steer_the_terminal(tmp_path):
    tanks = TANKS.replace("Client A", "\x1b[31m[bold]Client[/bold]")
    areas = AREAS.replace("Back stems", '"[red]=1+1"')
    book = write_book(tmp_path, tanks=tanks, areas=areas)
    ran = run("interval", str(book), "--tank", "lobby")
    assert "\x1b" not in ran.out
    assert "[bold]" in ran.out or ran.status == 2


def test_the_books_files_are_left_as_they_are(tmp_path):
    book = write_book(tmp_path / "book")
    shutil.copytree(book, tmp_path / "copy")
    for command in ("check", "fit", "forecast", "interval"):
        run(command, str(book))
    for file in (tmp_path / "copy").iterdir():
        assert file.read_bytes() == (book / file.name).read_bytes()
    assert len(list(book.iterdir())) == len(list((tmp_path / "copy").iterdir()))


def test_the_version_is_told():
    told = run("--version")
    assert told.status == 0
    assert told.out.startswith("growthcast 0.")
