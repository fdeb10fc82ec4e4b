"""A book from its first file to a visit logged and taken back, as a person would do it."""

from __future__ import annotations

import io
import json
import sys
from datetime import date, timedelta

import pytest

from growthcast.book.begin.start import GUIDE
from growthcast.errors import NotFinite
from growthcast.service.visit import logged
from tests.books import AREAS, TANKS, write_book
from tests.cli import run


@pytest.fixture
def folder(tmp_path):
    return write_book(tmp_path / "book")


def log(folder, *visit, day="2026-06-08"):
    return run("log", str(folder), "--tank", "lobby", "--on", day, *visit)


def files(folder):
    return {p.name: p.read_bytes() for p in folder.iterdir() if not p.name.startswith(".")}


def test_from_nothing_to_a_book_that_checks(tmp_path):
    book = str(tmp_path / "my book")
    started = run("start", book)
    assert started.status == 0
    assert "growthcast add tank '" in " ".join(started.out.split())
    checked = run("check", book)
    assert checked.status == 2
    assert checked.err.count("use growthcast add") == 2
    assert "labour_rate_per_h" in checked.err
    assert "README" not in checked.err
    assert "journal" not in checked.err
    tank = run("add", "tank", book, "tank_id=lobby", "client=Client A", "water_depth_cm=46cm")
    assert tank.status == 0
    assert "The book has 1 problem still" in tank.err
    area = ["area_id=stems", "tank_id=lobby", "species_id=rotala-rotundifolia", "area_cm2=400"]
    assert run("add", "area", book, *area).status == 2
    area += ["floor_cm=8", "budget_cm=22", "planted_on=2026-01-15"]
    assert run("add", "area", book, *area).status == 0
    water = ["tank_id=lobby", "from_date=2026-01-15", "co2=20", "ppfd_umol=80"]
    assert run("add", "conditions", book, *water).status == 0
    practice = tmp_path / "my book" / "practice.toml"
    written = practice.read_text().replace("# labour_rate_per_h", "labour_rate_per_h")
    practice.write_text(written.replace("# whole_tank_", "whole_tank_"))
    checked = run("check", book)
    assert checked.status == 0, checked.err
    logged = run("log", book, "--on", "2026-02-02", "stems=24/12", "35min", "--yes")
    assert logged.status == 0
    assert run("check", book).status == 0
    assert run("interval", book).status == 0
    assert (tmp_path / "my book" / GUIDE).read_text().count("budget_cm") >= 2


def test_start_never_writes_over_anything(folder):
    before = files(folder)
    again = run("start", str(folder))
    assert again.status == 2
    assert "practice.toml, tanks.csv, areas.csv, trims.csv already" in again.err
    assert files(folder) == before
    inside = run("start", str(folder / "tanks.csv"))
    assert inside.status == 2
    assert "is a file" in inside.err
    assert run("start", str(folder / "tanks.csv" / "x")).status == 2


def test_without_yes_a_visit_is_only_said_back(folder):
    before = files(folder)
    tried = log(folder, "stems=18/12", "carpet=look:right", "all=180g", "35min")
    assert tried.status == 0
    assert tried.out.splitlines() == [
        "Tank lobby, Monday 2026-06-08:",
        "  Back stems (stems): stood at 18 cm; cut to 12 cm",
        "  Front carpet (carpet): looked right (between floor and height budget)",
        "  whole tank: 180 g of trimmings, everything that came out of the tank, the amounts of "
        "Back stems",
        "    (stems) included (nothing in the log tells, so everything); 35 min of trimming",
    ]
    assert "Nothing is written yet; the same line with --yes writes it." in tried.err
    assert files(folder) == before


def test_a_visit_is_written_and_says_what_follows(folder):
    old = (folder / "trims.csv").read_bytes()
    logged = log(folder, "stems=20,5/12", "carpet=over", "--yes")
    assert logged.status == 0
    new = b"2026-06-08,lobby,stems,20.5,12,,,,,\n2026-06-08,lobby,carpet,,,,,over,,\n"
    assert (folder / "trims.csv").read_bytes() == old + new
    for words in ("expected", "20.5 cm", "passes it", "Next due by", "cut to"):
        assert words in logged.out
    assert run("check", str(folder)).status == 0
    again = log(folder, "stems=20.5/12", "carpet=over", "--yes")
    assert again.status == 2
    assert "trims.csv holds this already" in again.err
    back = run("unlog", str(folder))
    assert back.status == 0
    assert "Taken back: lobby on 2026-06-08, 2 rows" in back.out
    assert (folder / "trims.csv").read_bytes() == old
    assert run("unlog", str(folder)).status == 2


def with_reading(folder, reading):
    practice = folder / "practice.toml"
    practice.write_text(f'{practice.read_text()}[log]\nwhole_tank_grams = "{reading}"\n')
    return folder


def test_whose_grams_are_meant_is_written_into_an_older_log_as_well(folder):
    with_reading(folder, "rest")
    visit = ("stems=18/9", "bucket=400g")
    tried = log(folder, *visit)
    assert "trims.csv gets at the end of its first line: grams_of." in tried.err
    assert log(folder, *visit, "--yes").status == 0
    assert (folder / "trims.csv").read_text().endswith("\n2026-06-08,lobby,,,,,400,,,,all\n")
    assert run("check", str(folder)).status == 0
    bare = log(folder, "stems=18/9", "400g", "--again")
    assert "(as [log] whole_tank_grams says)" in bare.out.replace("\n    ", " ")
    assert "gets at the end" not in bare.err


def test_one_look_is_written_for_every_area_that_lives(folder):
    assert log(folder, "rest=right", "stems=18/9", "--yes").status == 0
    assert (
        (folder / "trims.csv")
        .read_text()
        .endswith("2026-06-08,lobby,stems,18,9,,,,,\n2026-06-08,lobby,carpet,,,,,right,,\n")
    )
    assert "rows of stems, carpet on this day already" in log(folder, "all=right").err


def test_json_holds_the_rows_and_what_follows(folder):
    tried = json.loads(log(folder, "stems=20/12", "--json").out)
    assert not tried["written"]
    assert tried["outlook"] is None
    done = json.loads(log(folder, "stems=20/12", "--yes", "--json").out)
    assert done["written"]
    assert done["rows"] == [
        {
            "date": "2026-06-08",
            "tank_id": "lobby",
            "area_id": "stems",
            "before_cm": 20.0,
            "after_cm": 12.0,
        }
    ]
    outlook = done["outlook"]
    assert [area["area_id"] for area in outlook["areas"]] == ["stems", "carpet"]
    assert outlook["areas"][0]["height_cm_now"]["p50"] == pytest.approx(12, abs=1)
    assert outlook["next_due_on"] > "2026-06-08"
    back = json.loads(run("unlog", str(folder), "--json").out)
    assert back["taken_back"] == "lobby on 2026-06-08, 1 row"


@pytest.mark.parametrize(
    ("visit", "said"),
    [
        (["stms=20/12"], 'did you mean "stems"?'),
        (["moss=3/1"], 'area "moss" is in tank home'),
        (["stems=12/20"], "after-above-before"),
        (["stems=200/20"], "200 cm"),
        (["stems=400/20"], "out-of-range"),
        (["stems=tall"], "is not understood"),
        (["../../x=3"], 'the tank has no area "../../x"'),
        (["stems=20/12", "stems=21"], "given twice"),
        (["stems=rigth"], 'did you mean "right"?'),
        (["bucket=900"], 'did you mean "bucket=900g"?'),
    ],
)
def test_wrong_input_is_named_and_writes_nothing(folder, visit, said):
    before = files(folder)
    ran = log(folder, *visit)
    assert said in ran.err
    assert "Traceback" not in ran.err
    assert files(folder) == before


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--tank", "loby", "stems=20"], 'did you mean "lobby"?'),
        (["--tank", "lobby", "--on", "8.6.2026", "stems=20"], "write it as YYYY-MM-DD"),
        (["--tank", "lobby", "--on", "2199-01-01", "stems=20"], "future-date"),
        (["--on", "2026-06-08", "35min"], "name the tank with --tank ID; the tanks are lobby"),
        (["--tank", "lobby", "--on", "2020-06-08", "stems=20"], "outside-life"),
    ],
)
def test_wrong_options_are_named(folder, arguments, said):
    ran = run("log", str(folder), *arguments, "--yes")
    assert ran.status == 2
    assert said in ran.err


def test_the_tank_follows_from_the_areas(folder):
    ran = run("log", str(folder), "--on", "2026-06-08", "moss=3/1")
    assert ran.out.startswith("Tank home, Monday 2026-06-08:")


def test_doubts_are_marked_before_anything_is_written_and_said_where_it_is(folder):
    visit = ("stems=1.8/0.9", "bucket=9000g")
    tried = log(folder, *visit, "--json")
    [height, left, weight] = json.loads(tried.out)["doubts"]
    assert (height["area_id"], height["column"], height["found"]) == ("stems", "before_cm", 1.8)
    assert height["expected"]["p10"] < 18 < height["expected"]["p90"]
    assert height["cause"] == "a slipped decimal? 18 cm fits"
    assert (left["column"], weight["area_id"], weight["unit"]) == ("after_cm", None, "g")
    said = log(folder, *visit)
    assert "3 doubts are marked with ? above: look again" in said.err
    lines = said.out.splitlines()
    assert lines[1].endswith("stood at 1.8 cm; cut to 0.9 cm")
    assert lines[2].startswith("    ? 1.8 cm; expected ")
    written = log(folder, *visit, "--yes")
    assert written.status == 0
    assert "trims.csv, although 3 doubts are marked above." in written.out.replace("\n    ", " ")


def test_a_refused_visit_is_said_back_with_its_doubts(folder):
    refused = log(folder, "stems=9/18", "--yes")
    assert refused.status == 2
    assert "the heights before and after the wrong way round?" in refused.out.replace("\n    ", " ")
    assert "after-above-before" in refused.err


def test_a_book_is_never_guessed(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    ran = run("log", "--tank", "lobby", "stems=20/12", "--yes")
    assert ran.status == 2
    assert "growthcast start my-book" in ran.err
    write_book(tmp_path)
    assert run("log", "--tank", "lobby", "stems=20/12").status == 0


def test_without_amounts_every_area_is_asked_for(folder, monkeypatch):
    old = (folder / "trims.csv").read_bytes()
    monkeypatch.setattr(sys, "stdin", io.StringIO("?\ntall\n20/12\n\n180g 35min\ny\n"))
    asked = log(folder)
    assert asked.status == 0
    assert "Back stems (stems), cm before/after: " in asked.err
    assert "What to write:" in asked.err
    assert '"tall" is not understood' in asked.err
    new = b"2026-06-08,lobby,stems,20,12,,,,,\n2026-06-08,lobby,,,,,180,,35,\n"
    assert (folder / "trims.csv").read_bytes() == old + new


def test_words_for_the_tank_are_typed_at_its_question(folder, monkeypatch):
    monkeypatch.setattr(sys, "stdin", io.StringIO("\n\nrest=right bucket=180g 35min\ny\n"))
    old = (folder / "trims.csv").read_text()
    assert log(folder).status == 0
    head, _, rest = (folder / "trims.csv").read_text().partition(",grams_of\n")
    assert old.startswith(head)
    assert rest.removeprefix(old[len(head) + 1 :]).splitlines() == [
        "2026-06-08,lobby,,,,,180,,35,,all",
        "2026-06-08,lobby,stems,,,,,right,,,",
        "2026-06-08,lobby,carpet,,,,,right,,,",
    ]


def test_a_visit_of_tomorrow_is_noted_and_of_the_day_after_refused(folder):
    tomorrow, later = (date.today() + timedelta(days=n) for n in (1, 2))
    noted = log(folder, "stems=18/9", "--yes", day=tomorrow.isoformat())
    assert noted.status == 0
    assert "date-tomorrow" in noted.err
    refused = log(folder, "carpet=2", "--yes", day=later.isoformat())
    assert refused.status == 2
    assert "future-date" in refused.err
    assert run("check", str(folder)).status == 1


@pytest.mark.parametrize("typed", ["20/12\n\n\nn\n", "\n\n\n", "20/12\n"])
def test_a_visit_not_confirmed_is_not_written(folder, monkeypatch, typed):
    before = files(folder)
    monkeypatch.setattr(sys, "stdin", io.StringIO(typed))
    ran = log(folder)
    assert "othing" in ran.err
    assert files(folder) == before


def test_add_refuses_what_does_not_check(folder):
    before = files(folder)
    area = ["tank_id=loby", "species_id=rotala-rotundifolia", "area_cm2=400", "floor_cm=8"]
    area += ["budget_cm=22", "planted_on=2026-01-15"]
    unknown = run("add", "area", str(folder), "area_id=a2", *area)
    assert unknown.status == 2
    assert 'did you mean "lobby"?' in unknown.err
    area[0] = "tank_id=lobby"
    double = run("add", "area", str(folder), "area_id=stems", *area)
    assert "double-id" in double.err
    path = run("add", "area", str(folder), "area_id=../stems", *area)
    assert "id-form" in path.err
    assert run("add", "filter", str(folder)).status == 2
    assert files(folder) == before
    wrong = ["area_id=a 2", "tank_id=loby", "area_cm=400", "floor_cm=deep", "planted_on=15.1.2026"]
    every = run("add", "area", str(folder), *wrong, "budget_cm=400")
    assert every.status == 2
    for said in (
        "area_id=a-2 would be easier",
        'no column area_cm; did you mean "area_cm2"',
        "floor_cm=deep: a value which is not a number",
        "write 2026-01-15",
        "also needs species_id (",
        'tank_id: found "loby"',
        "budget_cm: found",
    ):
        assert said in every.err, said
    assert files(folder) == before
    added = run("add", "area", str(folder), "area_id=a2", *area, "--json")
    assert json.loads(added.out)["row"]["budget_cm"] == 22
    assert (folder / "areas.csv").read_text() == AREAS + (
        "a2,lobby,,rotala-rotundifolia,400,8,22,,2026-01-15,\n"
    )
    assert (folder / "tanks.csv").read_text() == TANKS


def test_a_second_version_beside_the_log_is_named(folder):
    (folder / "trims (conflicted copy).csv").write_text("date\n")
    ran = log(folder, "stems=20/12", "--yes")
    assert ran.status == 0
    assert "trims (conflicted copy).csv" in ran.err


def test_a_visit_stays_written_when_nothing_can_be_forecast(folder, monkeypatch):
    def fails(*arguments):
        raise NotFinite("the rates did not settle")

    monkeypatch.setattr(logged, "after_visit", fails)
    ran = log(folder, "stems=20/12", "--yes")
    assert ran.status == 0
    assert "Written to" in ran.out
    assert "The visit is written, but nothing can be forecast from it: the rates" in ran.err
