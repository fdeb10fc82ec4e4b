"""``growthcast rescape`` and ``--suppose`` end to end, with good and bad input."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path
from typing import Any

import pytest

from growthcast.book.files import demo_dir
from growthcast.book.tables import CONDITION_WORDS
from growthcast.say.plants import saves_in_words
from growthcast.service.effort.hours import Range, Saving
from tests.books import stem_log, write_book
from tests.cli import run
from tests.e2e.test_commands import strict_json

pytestmark = pytest.mark.slow

DEMO = str(demo_dir())
LOBBY = ("--tank", "lobby-stems")
GOOD = """area,plant,area_cm2,floor,budget
lobby-hygro,alternanthera-reineckii,580,9,20.5
lobby-rotala,rotala-rotundifolia-green,720,8,22
"""


def test_interval_under_other_conditions() -> None:
    ran = run("interval", DEMO, *LOBBY, "--suppose", "co2_mg_l=0", "--json")
    assert ran.status == 0, ran.err
    answer = strict_json(ran.out)
    supposed = answer["hypothetical"]["conditions"]["co2_mg_l"]
    assert supposed["now"] == 25
    assert supposed["supposed"] == 3
    assert supposed["none_added"]
    [then] = answer["tanks"]
    assert then["recommended_interval_d"] > answer["as_it_is"]["recommended_interval_d"]
    assert all(0 < f < 1 for f in answer["hypothetical"]["growth_factor"].values())
    as_it_is = strict_json(run("interval", DEMO, *LOBBY, "--json").out)
    [alone] = as_it_is["tanks"]
    worked_out_alone = ("mends", "certainty")
    assert {**alone, **dict.fromkeys(worked_out_alone)} == {
        **answer["as_it_is"],
        **dict.fromkeys(worked_out_alone),
    }
    assert "hypothetical" not in as_it_is


@pytest.mark.parametrize("command", ["interval", "forecast"])
def test_the_help_names_the_conditions_that_may_be_supposed(command) -> None:
    words = run(command, "--help").out.replace("\n", " ").split()
    assert {name.strip("(),") for name in words} >= set(CONDITION_WORDS)


def test_forecast_with_another_plant(tmp_path: Path) -> None:
    file = tmp_path / "f.svg"
    change = ("--suppose", "lobby-rotala=rotala-macrandra", "--plot", str(file))
    ran = run("forecast", DEMO, *LOBBY, *change, "--json")
    assert ran.status == 0, ran.err
    answer = strict_json(ran.out)
    ids = [area["area_id"] for area in answer["areas"]]
    assert "lobby-rotala" not in ids
    assert "lobby-rotala=rotala-macrandra" in ids
    before = {area["area_id"]: area for area in answer["as_it_is"]}
    others = [area for area in answer["areas"] if area["area_id"] in before]
    assert len(others) == 4
    assert all(a["rate_per_day"] == before[a["area_id"]]["rate_per_day"] for a in others)
    assert "SUPPOSED, not as the book has it: rotala-macrandra" in file.read_text("utf-8")


def test_no_co2_added_is_said_once(tmp_path) -> None:
    conditions = "tank_id,from_date,co2_mg_l\nlobby,2025-01-01,0\n"
    book = str(write_book(tmp_path / "book", conditions=conditions))
    ran = run("forecast", book)
    assert ran.err.count("No CO2 is added in lobby: taken as 3 mg/L, 2 to 5") == 1
    ran = run("forecast", DEMO, *LOBBY, "--suppose", "co2_mg_l=0")
    said = " ".join(ran.out.split())
    assert "no CO2 added (taken as 3 mg/L, 2 to 5 in 8 tanks of 10 by common practice)" in said


def test_supposed_answers_say_so_in_words() -> None:
    ran = run("forecast", DEMO, "--tank", "home-lowtech", "--suppose", "k_mg_l=2")
    assert ran.status == 0
    words = " ".join(ran.out.split())
    assert "SUPPOSED, not as the book has it: potassium 2 mg/L" in words
    assert "never given" in words
    ran = run("interval", DEMO, *LOBBY, "--suppose", "temperature_c=34", "--suppose", "co2_mg_l=45")
    assert "fish" in ran.err
    assert "limits of warmth" in ran.err
    assert "Supposed: a visit every" in " ".join(ran.out.split())


def test_a_tank_as_it_is_has_one_number_whatever_is_compared_with_it(tmp_path: Path) -> None:
    """Without CO2, and a visit of the whole tank timed on the very day."""
    log = stem_log() + "2026-05-25,lobby,,,,,,,21,\n2026-06-01,lobby,,,,,,,24,\n"
    conditions = "tank_id,from_date,ppfd_umol,photoperiod_h,co2_mg_l\nlobby,2025-01-01,70,8,0\n"
    book = str(write_book(tmp_path / "book", trims=log, conditions=conditions))
    layout = tmp_path / "new.csv"
    layout.write_text("area,plant,area_cm2,floor,budget\nstems,rotala-macrandra,400,7,22\n")

    def told(*arguments: str) -> dict[str, Any]:
        return strict_json(run(*arguments, book, "--tank", "lobby", "--json").out)

    layouts = told("rescape", "--layouts", str(layout))["layouts"]
    plants = told("rescape", "--area", "stems")["plants"]
    swaps = told("rescape", "--reach", "21")
    as_it_is = (
        layouts[0]["options"],
        next(plant["tank"]["options"] for plant in plants if plant["is_there_now"]),
        swaps["now"]["options"],
    )
    [alone] = told("interval")["tanks"]
    options = {option["interval_d"]: option for option in alone["options"]}
    for compared in as_it_is:
        for one in compared:
            known = options[one["interval_d"]]
            assert one == {name: known[name] for name in one}
    assert [one["interval_d"] for one in swaps["now"]["options"]] == [21]


def test_plants_for_an_area(tmp_path: Path) -> None:
    file = tmp_path / "plants.svg"
    plants = "rotala-macrandra,limnophila-sessiliflora,alternanthera-reineckii"
    asked = ("--area", "lobby-hygro", "--plants", plants)
    ran = run("rescape", DEMO, *LOBBY, *asked, "--plot", str(file), "--json")
    assert ran.status == 0, ran.err
    answer = strict_json(ran.out)
    assert [p["rank"] for p in answer["plants"]] == [1, 2, 3, 4]
    by_name = {p["species_id"]: p for p in answer["plants"]}
    assert by_name["hygrophila-polysperma"]["is_there_now"]
    assert by_name["hygrophila-polysperma"]["basis"] == "own log"
    assert by_name["alternanthera-reineckii"]["basis"] == "own practice"
    assert by_name["rotala-macrandra"]["basis"] == "table"
    assert by_name["limnophila-sessiliflora"]["regulated_in_places"]
    assert by_name["limnophila-sessiliflora"]["minutes_per_year"] > 0
    for one in answer["plants"]:
        for name in ("minutes_per_year", "litres_per_year"):
            low, middle, high = one[f"{name}_range"].values()
            assert low <= middle == one[name] <= high
        for option in one["tank"]["options"]:
            assert option["cost_per_year_range"]["p50"] == option["cost_per_year"]
        assert (one["saves_per_year"] is None) == one["is_there_now"]
    drawn = file.read_text(encoding="utf-8")
    assert all(f"{p['species_id']}" in drawn for p in answer["plants"])
    words = run("rescape", DEMO, *LOBBY, *asked, "--details")
    assert words.status == 0
    saves = r"1. alternanthera-reineckii: the tank saves \d+ to \d+ h and \d+ to \d+ EUR a year; "
    assert re.search(saves + "alone it allows", " ".join(words.out.split()))
    lines = words.out.split("\nVisit: ")[0].splitlines()
    table = [line for line in lines if line.startswith(" ") and not line.startswith("  ")]
    assert max(map(len, table)) <= 80
    assert "the rules of your place decide" in words.err


def test_all_that_fit_are_compared_and_the_rest_is_counted() -> None:
    asked = ("--area", "home-moss", "--form", "moss", "--details")
    ran = run("rescape", DEMO, "--tank", "home-lowtech", *asked)
    assert ran.status == 0, ran.err
    assert "taxiphyllum-barbieri (there now)" in ran.out
    floating = run("rescape", DEMO, "--tank", "home-lowtech", "--area", "home-frogbit", "--json")
    assert {p["form"] for p in strict_json(floating.out)["plants"]} == {"floating"}


def test_a_place_and_a_stock_list_narrow_the_plants(tmp_path: Path) -> None:
    stock = tmp_path / "stock.txt"
    stock.write_text("# the shop\nJava fern\nbacopa caroliniana\nrotala makrandra\n\n", "utf-8")
    asked = (*LOBBY, "--area", "lobby-ambulia")
    ran = run("rescape", DEMO, *asked, "--place", "back", "--stock", str(stock), "--json")
    assert ran.status == 0, ran.err
    plants = {one["species_id"] for one in strict_json(ran.out)["plants"]}
    assert plants == {"leptochilus-pteropus", "bacopa-caroliniana", "limnophila-sessiliflora"}
    assert 'stock.txt, line 4, left out: the species table has no plant "rotala mak' in ran.err
    assert 'did you mean "rotala-macrandra"?' in ran.err
    same_form = strict_json(run("rescape", DEMO, *asked, "--stock", str(stock), "--json").out)
    assert {one["form"] for one in same_form["plants"]} == {"stem"}
    book = tmp_path / "book"
    shutil.copytree(DEMO, book)
    areas = (book / "areas.csv").read_text(encoding="utf-8").splitlines()
    placed = [f"{line},{'place' if n == 0 else 'wood'}" for n, line in enumerate(areas)]
    (book / "areas.csv").write_text("\n".join(placed) + "\n", encoding="utf-8")
    wood = strict_json(run("rescape", str(book), *asked, "--stock", str(stock), "--json").out)
    forms = {one["form"] for one in wood["plants"] if not one["is_there_now"]}
    assert forms == {"epiphyte"}
    reach = strict_json(
        run("rescape", DEMO, *LOBBY, "--reach", "10", "--stock", str(stock), "--json").out
    )
    swaps = [swap for one in reach["proposals"] for swap in one["swaps"]]
    assert {swap["to_species_id"] for swap in swaps} == {"bacopa-caroliniana"}


def test_a_carpet_names_what_never_fills_it_and_that_width_is_open() -> None:
    ran = run("rescape", DEMO, "--tank", "study-rhizome", "--area", "study-anubias", "--details")
    assert "Never fill the place: anubias-barteri-nana-petite." in ran.out
    asked = ("--tank", "desk-nano", "--area", "nano-cuba", "--details")
    carpet = " ".join(run("rescape", DEMO, *asked).out.split())
    assert "width is not forecast: All of these." in carpet


def test_layouts_side_by_side(tmp_path: Path) -> None:
    (tmp_path / "A.csv").write_text(GOOD, encoding="utf-8")
    (tmp_path / "B.csv").write_text(GOOD.replace("22", "17"), encoding="utf-8")
    a, b = str(tmp_path / "A.csv"), str(tmp_path / "B.csv")
    both = run("rescape", DEMO, *LOBBY, "--layouts", a, "--layouts", b, "--json")
    assert both.status == 0, both.err
    found = strict_json(both.out)["layouts"]
    assert [one["name"] for one in found] == ["as it is", "A", "B"]
    assert found[1]["recommended_interval_d"] >= found[2]["recommended_interval_d"]
    assert found[2]["areas"][1]["keeps_its_log"]
    assert found[0]["saves_per_year"] is None
    assert found[1]["saves_per_year"]["cost"]["p10"] > found[2]["saves_per_year"]["cost"]["p10"]
    after = run("rescape", DEMO, *LOBBY, "--layouts", a, b, "--json")
    assert after.out == both.out
    file = tmp_path / "l.png"
    assert run("rescape", DEMO, *LOBBY, "--layouts", a, b, "--plot", str(file)).status == 0
    assert file.stat().st_size > 10_000


def test_swaps_that_reach_an_interval() -> None:
    ran = run("rescape", DEMO, *LOBBY, "--reach", "10", "--json")
    assert ran.status == 0, ran.err
    answer = json.loads(ran.out)
    assert answer["recommended_interval_d_now"] == 7
    assert answer["proposals"]
    assert answer["proposals"][0]["chance_all_within"] >= 0.9
    assert answer["proposals"][0]["saves_per_year"]["hours"]["p10"] > 0
    said = run("rescape", DEMO, *LOBBY, "--reach", "10").out
    assert "against the tank as it is every 7 days" in said
    assert max(map(len, said.split("\n1. ")[0].splitlines()[3:])) <= 80
    words = run("rescape", DEMO, *LOBBY, "--reach", "7")
    assert "holds as it is" in words.out
    kept = run("rescape", DEMO, *LOBBY, "--reach", "28", "--keep", "lobby-hygro")
    assert "what is kept does not hold that long by itself" in " ".join(kept.out.split())


@pytest.fixture
def dark(tmp_path: Path) -> str:
    """Return the demo with the lobby tank's light switched off."""
    book = tmp_path / "dark"
    shutil.copytree(DEMO, book)
    with (book / "conditions.csv").open("a", encoding="utf-8") as conditions:
        conditions.write("lobby-stems,2026-11-20,0" + "," * 10 + "\n")
    return str(book)


NOT_LIKELY = "no interval is named, since none of its plants is likely to hold"


def test_without_light_no_interval_is_named(dark: str, tmp_path: Path) -> None:
    (tmp_path / "A.csv").write_text(GOOD, encoding="utf-8")
    questions = (
        ("interval", dark, *LOBBY),
        ("interval", dark),
        ("interval", DEMO, *LOBBY, "--suppose", "ppfd_umol=0"),
        ("rescape", dark, *LOBBY, "--reach", "28"),
        ("rescape", dark, *LOBBY, "--layouts", str(tmp_path / "A.csv")),
    )
    for question in questions:
        ran = run(*question)
        assert ran.status == 0, ran.err
        assert NOT_LIKELY in " ".join(ran.out.split()), question
        assert "best" not in ran.out
    plants = ("--area", "lobby-hygro", "--plants", "rotala-macrandra", "--details")
    area = run("rescape", dark, *LOBBY, *plants)
    assert " ".join(area.out.split()).count("so no interval is named") == 2
    assert "alone it allows" not in area.out
    [tank] = strict_json(run("interval", dark, *LOBBY, "--json").out)["tanks"]
    assert tank["recommended_interval_d"] is None
    assert len(tank["not_holding"]) == 5
    reach = strict_json(run("rescape", dark, *LOBBY, "--reach", "28", "--json").out)
    assert not reach["holds_already"]
    page = run("brief", dark, *LOBBY, "--out", str(tmp_path / "page.html"))
    assert page.status == 2
    assert NOT_LIKELY in page.err


def test_plants_whose_log_shows_them_growing_hold(dark: str) -> None:
    """A light meter may be wrong; five months of trims under the same light are not."""
    conditions = Path(dark) / "conditions.csv"
    text = conditions.read_text(encoding="utf-8")
    conditions.write_text(text.replace("lobby-stems,2026-11-20,0", "lobby-stems,2026-06-20,4"))
    [tank] = strict_json(run("interval", dark, *LOBBY, "--json").out)["tanks"]
    assert tank["not_holding"] == []
    assert tank["recommended_interval_d"] is not None


def test_some_plants_that_will_not_hold_are_named_beside_the_interval() -> None:
    ran = run("interval", DEMO, "--tank", "desk-nano", "--suppose", "ppfd_umol=15", "--json")
    [tank] = strict_json(ran.out)["tanks"]
    assert tank["recommended_interval_d"] is not None
    assert [one["area_id"] for one in tank["not_holding"]] == ["nano-cuba", "nano-hairgrass"]
    assert "Not likely to hold" in tank["reason"]
    assert strict_json(ran.out)["as_it_is"]["not_holding"] == []


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ((), "--tank"),
        (LOBBY, "name one area with --area ID"),
        ((*LOBBY, "--area", "lobby-hygro", "--reach", "10"), "one at a time"),
        ((*LOBBY, "--area", "lobby-higro"), 'did you mean "lobby-hygro"'),
        ((*LOBBY, "--area", "lobby-hygro", "--plants", "rotala"), "no plant"),
        ((*LOBBY, "--area", "lobby-hygro", "--plants", ""), "--plants names no plant"),
        ((*LOBBY, "--area", "lobby-hygro", "--form", "floating"), "measured by its height"),
        ((*LOBBY, "--area", "lobby-hygro", "--plants", "hygrophila-polysperma"), "stands in"),
        ((*LOBBY, "--reach", "10", "--plants", " , "), "--plants names no plant"),
        ((*LOBBY, "--reach", "10", "--keep", ""), "--keep names no area"),
        ((*LOBBY, "--area", "lobby-hygro", "--plants", "lemna-minor"), "by its percent cover"),
        ((*LOBBY, "--area", "lobby-hygro", "--form", "stems"), 'did you mean "stem"'),
        ((*LOBBY, "--area", "lobby-hygro", "--keep", "lobby-rotala"), "--keep goes with --reach"),
        (("--tank", "shop-window", "--area", "shop-bacopa"), "not planted"),
        (("--tank", "nowhere", "--reach", "10"), "no tank"),
        ((*LOBBY, "--reach", "0"), "1 to 365"),
        ((*LOBBY, "--reach", "10", "--place", "back"), "--place goes with --area"),
        ((*LOBBY, "--area", "lobby-hygro", "--place", "bak"), 'did you mean "back"'),
        ((*LOBBY, "--area", "lobby-hygro", "--stock", "no.txt"), "cannot be read"),
        ((*LOBBY, "--area", "lobby-hygro", "--place", "surface"), "no other plant"),
        ((*LOBBY, "--reach", "10", "--keep", "nothing"), "no area"),
        ((*LOBBY, "--reach", "10", "--plot", "a.svg"), "--plot"),
        ((*LOBBY, "--layouts", "none.csv"), "no layout"),
        (("more.csv", *LOBBY, "--reach", "10"), "one argument too many"),
    ],
)
def test_what_cannot_be_answered_is_said(arguments, said) -> None:
    ran = run("rescape", DEMO, *arguments)
    assert ran.status == 2
    assert ran.out == ""
    assert said in ran.err
    assert "Traceback" not in ran.err


def test_a_bad_layout_is_named_with_row_and_column(tmp_path: Path) -> None:
    (tmp_path / "A.csv").write_text(GOOD.replace("22", "2x"), encoding="utf-8")
    ran = run("rescape", DEMO, *LOBBY, "--layouts", str(tmp_path / "A.csv"))
    assert ran.status == 2
    assert 'A.csv:3:E: budget_cm: found "2x"' in ran.err


@pytest.mark.parametrize(
    ("low_h", "high_h", "rate", "said"),
    [
        (20.0, 30.0, 50.0, "saves 20 to 30 h and 1000 to 1500 EUR a year"),
        (20.0, 30.0, 0.0, "saves 20 to 30 h a year"),
        (-3.0, -1.0, 50.0, "takes 1.0 to 3.0 h and 50 to 150 EUR a year more"),
        (-1.0, 2.0, 50.0, "between 1.0 h a year more and 2.0 h less (50 EUR more to 100 EUR less)"),
        (-1.0, 2.0, 0.0, "between 1.0 h a year more and 2.0 h less"),
        (-0.01, 0.01, 50.0, "takes as much time as now"),
    ],
)
def test_what_is_saved_in_words(low_h, high_h, rate, said) -> None:
    hours = Range(low_h, 0.5 * (low_h + high_h), high_h)
    assert saves_in_words(Saving(hours, hours.times(rate)), "EUR").endswith(said)
