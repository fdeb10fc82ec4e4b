"""What planning the rounds of a practice takes, and what the plan loses where hours are short.

    python -m tests.benchmarks.rounds [--tanks 60] [--weeks 8] [--hours 9 11 13] [--books 3]

An invented practice: five areas a tank, every fourth client with two tanks at one place, height
budgets of every kind, the last visits spread over two weeks. The whole command is timed, reading
and fitting the book included; ``--hours`` are those of all people together on a working day.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
import time
from datetime import date, timedelta
from pathlib import Path

import numpy as np

from tests.benchmarks.cost import AREAS_A_TANK, write_book

LAST_SPREAD_D = 14


def write_practice(folder: Path, tanks: int, seed: int) -> None:
    """Write a book whose tanks differ in what they allow and in when they were last visited."""
    write_book(folder, tanks * AREAS_A_TANK, 8, seed)
    rng = np.random.default_rng(5)
    head, *rows = (folder / "areas.csv").read_text().splitlines()
    budgets = rng.uniform(6.0, 16.0, tanks)
    (folder / "areas.csv").write_text(
        "\n".join(
            [
                head,
                *(
                    row.replace(",200,2,9,3,", f",200,2,{budgets[n // AREAS_A_TANK]:.1f},3,")
                    for n, row in enumerate(rows)
                ),
            ]
        )
        + "\n"
    )
    places = [f"place {t - t % 4 // 3}" for t in range(tanks)]
    (folder / "tanks.csv").write_text(
        "tank_id,client,site,water_depth_cm\n"
        + "".join(f"t{t},Client,{places[t]},45\n" for t in range(tanks))
    )
    head, *rows = (folder / "trims.csv").read_text().splitlines()
    lines = []
    for row in rows:
        day, tank, rest = row.split(",", 2)
        earlier = date.fromisoformat(day) - timedelta(days=int(tank[1:]) * 5 % LAST_SPREAD_D)
        lines.append(f"{earlier},{tank},{rest}")
    (folder / "trims.csv").write_text("\n".join([head, *lines]) + "\n")


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--tanks", type=int, default=60)
    parser.add_argument("--weeks", type=int, default=8)
    parser.add_argument("--hours", type=float, nargs="+", default=[9.0, 11.0, 13.0])
    parser.add_argument("--books", type=int, default=3)
    asked = parser.parse_args()
    whole: list[list[float]] = []
    for seed in range(1, asked.books + 1):
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            write_practice(folder, asked.tanks, seed)
            base = (folder / "practice.toml").read_text() + "[visit]\ntravel_min = 20\n"
            for hours in asked.hours:
                (folder / "practice.toml").write_text(f"{base}[rounds]\nhours_per_day = {hours}\n")
                whole.append(_planned(folder, asked.weeks))
                print(f"book {seed}, {hours:g} h a day: {_in_words(whole[-1])}", flush=True)
    print(f"all: {_in_words([sum(column) for column in zip(*whole, strict=True)])}")


def _planned(folder: Path, weeks: int) -> list[float]:
    """Plan a book; return visits, late ones and their days, travel, losses and seconds."""
    tool = (sys.executable, "-m", "growthcast", "rounds", str(folder), "--json")
    began = time.perf_counter()
    done = subprocess.run(
        [*tool, "--weeks", str(weeks)], check=True, capture_output=True, text=True
    )
    took = time.perf_counter() - began
    plan = json.loads(done.stdout)
    return [
        len(plan["visits"]),
        len(plan["late"]),
        sum(one["days_late"] for one in plan["late"]),
        sum(visit["travel_min"] for visit in plan["visits"]),
        plan["area_days_over"],
        plan["weighed_loss"],
        took,
    ]


def _in_words(sums: list[float]) -> str:
    visits, late, days, travel, over, lost, took = sums
    return (
        f"{visits:.0f} visits, {late:.0f} late by {days:.0f} days in all, {travel:.0f} min of "
        f"travel, {over:.1f} area-days over, weighed {lost:.2f}, {took:.0f} s"
    )


if __name__ == "__main__":
    main()
