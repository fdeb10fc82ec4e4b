"""``growthcast backtest`` on the demo and on small books."""

from __future__ import annotations

import json

import numpy as np
import pytest

from growthcast.book.files import demo_dir
from tests.books import HEADER, write_book
from tests.cli import run

pytestmark = pytest.mark.slow

DEMO = str(demo_dir())


def strict_json(text):
    def refuse(name):
        raise AssertionError(f"{name} in JSON")

    return json.loads(text, parse_constant=refuse)


def straight_log(spans=24):
    """Write a log of stems that grow 0.6 cm a day whatever their height, read without error."""
    rng, day = np.random.default_rng(5), np.datetime64("2025-03-01")
    rows = HEADER
    for _ in range(spans):
        days = int(rng.choice([5, 12, 21, 30]))
        low = float(rng.choice([2.0, 6.0, 20.0]))
        rows += f"{day},lobby,stems,,{low},,,,,\n"
        day = day + days
        rows += f"{day},lobby,stems,{low + 0.6 * days:.1f},,,,,,\n"
        day = day + 1
    return rows


def test_backtest_on_the_demo(tmp_path):
    file = tmp_path / "right.svg"
    ran = run("backtest", DEMO, "--splits", "4", "--json", "--plot", str(file))
    assert ran.status == 0, ran.err
    answer = strict_json(ran.out)
    assert answer["n"] > 20
    assert {"last_rate", "table_only", "line", "unpooled"} == set(answer["baselines"])
    for name in ("coverage_50", "coverage_80", "coverage_90"):
        assert 0.0 <= answer[name] <= 1.0
    assert answer["crps_cm"] < answer["baselines"]["last_rate"]["crps_cm"]
    assert set(answer["by_unit"]) == {"cm", "cover_pct"}
    assert answer["recalibration"]["applied"] == 1.0
    assert answer["not_fitted"] == []
    assert f"Wrote {file}" in ran.err
    assert "<svg" in file.read_text(encoding="utf-8")


def test_backtest_says_the_same_to_people(tmp_path):
    arguments = ("backtest", DEMO, "--splits", "3", "--on", "2026-10-01")
    told, counted = run(*arguments), strict_json(run(*arguments, "--json").out)
    assert told.status == 0
    held = f"{100 * counted['all_readings']['coverage_80']:.0f}"
    assert f"8 of 10 ranges held {held} of 100 times" in " ".join(told.out.split())
    assert counted["last_split"] <= "2026-10-01"
    assert "straight line through three spans" in told.out


def test_a_better_straight_line_is_said_to_be_better(tmp_path):
    folder = str(write_book(tmp_path / "straight", trims=straight_log()))
    ran = run("backtest", folder)
    assert ran.status == 0, ran.err
    words = " ".join(ran.out.split())
    assert "A straight line forecast this book better than growthcast: CRPS" in words


@pytest.mark.parametrize("rows", ["", "2026-05-01,lobby,stems,18,9,,,,,\n"])
def test_too_few_visits_are_said_in_a_sentence(tmp_path, rows):
    folder = str(write_book(tmp_path / "young", trims=HEADER + rows))
    ran = run("backtest", folder)
    assert ran.status == 0
    assert "Too few visits" in ran.out
    assert "10 are needed" in " ".join(ran.out.split())
    ran = run("backtest", folder, "--json", "--plot", str(tmp_path / "a.svg"))
    assert ran.status == 0
    assert strict_json(ran.out)["coverage_80"] is None
    assert "Too few visits" in ran.err
    assert not (tmp_path / "a.svg").exists()


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--splits", "0"), "--splits 0"),
        (("--plot", "a.pdf"), ".svg or .png"),
        (("--on", "soon"), "YYYY-MM-DD"),
    ],
)
def test_bad_arguments_end_in_a_sentence(arguments, said):
    ran = run("backtest", DEMO, *arguments)
    assert ran.status == 2
    assert said in ran.err
    assert ran.out == ""
