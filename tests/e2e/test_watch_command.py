"""``growthcast watch`` on the demo, on books with a fault, and on wrong input."""

from __future__ import annotations

import json
from datetime import date, timedelta

import numpy as np
import pytest

from growthcast.book.files import demo_dir
from tests.books import HEADER, stem_log, write_book
from tests.cli import run

pytestmark = pytest.mark.slow

DEMO = str(demo_dir())


def strict_json(text):
    def refuse(name):
        raise AssertionError(f"{name} in JSON")

    return json.loads(text, parse_constant=refuse)


def slow_lobby(share=0.3, visits=40, slow=10):
    """Write a log of stems and carpet that grow at a share of the usual in the last weeks."""
    rng, rows = np.random.default_rng(4), HEADER
    for visit in range(visits):
        pace = share if visit >= visits - slow else 1.0
        day = date(2026, 6, 1) - timedelta(days=7 * (visits - 1 - visit))
        rows += f"{day},lobby,stems,{9 + 7 * pace + 0.4 * rng.normal():.1f},9,,,,,\n"
        rows += f"{day},lobby,carpet,{1.5 + 2 * pace + 0.2 * rng.normal():.1f},1.5,,,,,\n"
    return rows


@pytest.fixture(scope="module")
def faulty(tmp_path_factory):
    return str(write_book(tmp_path_factory.mktemp("faulty") / "book", trims=slow_lobby()))


def test_the_demo_is_watched_and_drawn(tmp_path):
    file = tmp_path / "growth.svg"
    ran = run("watch", DEMO, "--json", "--plot", str(file))
    answer = strict_json(ran.out)
    assert ran.status == int(answer["needs_attention"])
    assert len(answer["tanks"]) == 6
    assert answer["not_fitted"] == []
    assert answer["false_alarms_per_tank_and_year"] == pytest.approx(0.5)
    for tank in answer["tanks"]:
        assert tank["visits"] >= tank["visits_needed"]
        assert tank["visits_against_usual"]
        assert tank["areas"]
    drawn = file.read_text(encoding="utf-8")
    assert "<svg" in drawn
    assert "Growth against usual" in drawn
    assert "lobby-stems" in drawn


def test_a_fault_ends_with_status_one_and_a_list_to_check(faulty):
    ran = run("watch", faulty)
    assert ran.status == 1
    said = " ".join(ran.out.split())
    assert "the whole tank grows at" in said
    assert "To check, in this order" in said
    assert "1. lamp" in said
    assert "5 visits are needed" in said
    answer = strict_json(run("watch", faulty, "--json").out)
    (finding,) = answer["tanks"][0]["findings"]
    assert finding["growth_share"]["p50"] < 0.5
    assert finding["since"]["p10"] <= finding["since"]["p50"] <= finding["since"]["p90"]
    assert abs((date.fromisoformat(finding["since"]["p50"]) - date(2026, 3, 23)).days) < 15


def test_before_the_fault_nothing_is_said(faulty):
    ran = run("watch", faulty, "--on", "2026-03-20", "--tank", "lobby")
    assert ran.status == 0
    assert ran.out.startswith("lobby grows as usual.")


def test_the_picture_of_a_fault_states_it(faulty, tmp_path):
    file = tmp_path / "fault.svg"
    assert run("watch", faulty, "--tank", "lobby", "--plot", str(file)).status == 1
    first = file.read_bytes()
    assert b"the whole tank grows at" in first
    run("watch", faulty, "--tank", "lobby", "--plot", str(file))
    assert file.read_bytes() == first


def test_how_soon_a_drop_is_noticed_is_in_the_table_and_the_json(faulty):
    ran = run("watch", faulty, "--on", "2026-03-20", "--tank", "lobby")
    drop = strict_json(run("watch", faulty, "--on", "2026-03-20", "--json").out)["tanks"][0][
        "drop_seen"
    ]
    assert drop["growth_share"] == 0.6
    chances = drop["chance_by_visit"]
    assert drop["chance_within_3_visits"] == chances[2]
    assert drop["visits_for_9_of_10"] == 1 + [chance >= 0.9 for chance in chances].index(True)
    assert drop["days_for_9_of_10"] == 7 * drop["visits_for_9_of_10"]
    assert f"{100 * chances[2]:.0f} of 100" in ran.out
    assert f"{drop['visits_for_9_of_10']} visits (about {drop['days_for_9_of_10']} days)" in ran.out
    assert "What helps: the height before and after the cut" in " ".join(ran.out.split())


def test_a_tank_asked_for_is_shown_area_by_area(faulty):
    shown = run("watch", faulty, "--tank", "lobby").out
    assert "By area of lobby" in shown
    assert "By species" not in shown
    assert "By area" not in run("watch", faulty).out
    areas = strict_json(run("watch", faulty, "--json").out)["tanks"][0]["areas"]
    assert [area["area_id"] for area in areas] == ["stems", "carpet"]
    stems = areas[0]
    assert stems["growth_share"]["p50"] < stems["usual_share"]["p025"]
    assert stems["standing"] == "slower"
    assert [line.split()[-1] for line in shown.splitlines() if "stems" in line] == ["slower"]


def test_a_recorded_change_of_the_time_watched_is_said(tmp_path):
    header = "tank_id,from_date,co2_mg_l,note\n"
    rows = "lobby,2025-01-01,22,\nlobby,2025-09-01,21,\nlobby,2026-04-20,24,more gas\n"
    folder = write_book(tmp_path / "book", trims=slow_lobby(share=1.0), conditions=header + rows)
    ran = run("watch", str(folder), "--tank", "lobby")
    said = " ".join(ran.out.split())
    assert "has changes in the time watched: lobby on 20 Apr. How far they alter" in said
    tank = strict_json(run("watch", str(folder), "--json").out)["tanks"][0]
    assert tank["conditions_changed_on"] == ["2026-04-20"]


@pytest.mark.parametrize(
    ("trims", "said"),
    [
        (HEADER, "cannot be judged yet"),
        (stem_log(visits=1), "cannot be judged yet"),
        (stem_log(visits=4), "cannot be judged yet"),
    ],
)
def test_too_short_a_log_is_said_plainly(tmp_path, trims, said):
    folder = write_book(tmp_path / "book", trims=trims)
    file = tmp_path / "none.svg"
    ran = run("watch", str(folder), "--plot", str(file))
    assert ran.status == 0, ran.err
    assert said in " ".join(ran.out.split())
    assert "Nothing was drawn" in ran.err
    assert not file.exists()


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--tank", "loby"), "did you mean"),
        (("--on", "2026-3-1"), "is not a date"),
        (("--plot", "picture.pdf"), "svg or .png"),
        (("--plot", "nowhere/picture.svg"), "there is no folder"),
    ],
)
def test_wrong_arguments_end_in_a_sentence(faulty, arguments, said):
    ran = run("watch", faulty, *arguments)
    assert ran.status == 2
    assert said in ran.err
    assert "Traceback" not in ran.err
