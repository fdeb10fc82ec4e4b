"""What planning the rounds of a large practice takes, and how near the best the plan is.

    python -m tests.benchmarks.rounds [--tanks 200] [--weeks 8] [--hours 33 44]

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


def write_practice(folder: Path, tanks: int) -> None:
    """Write a book whose tanks differ in what they allow and in when they were last visited."""
    write_book(folder, tanks * AREAS_A_TANK, 8)
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
    parser.add_argument("--tanks", type=int, default=200)
    parser.add_argument("--weeks", type=int, default=8)
    parser.add_argument("--hours", type=float, nargs="+", default=[33.0, 44.0])
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_practice(folder, asked.tanks)
        base = (folder / "practice.toml").read_text() + "[visit]\ntravel_min = 20\n"
        for hours in asked.hours:
            (folder / "practice.toml").write_text(f"{base}[rounds]\nhours_per_day = {hours}\n")
            tool = (sys.executable, "-m", "growthcast", "rounds", name, "--json")
            began = time.perf_counter()
            done = subprocess.run(
                [*tool, "--weeks", str(asked.weeks)], check=True, capture_output=True, text=True
            )
            took = time.perf_counter() - began
            plan = json.loads(done.stdout)
            used = sum(day["minutes"] for day in plan["days"]) / 60 / hours / len(plan["days"])
            print(
                f"{asked.tanks} tanks, {asked.weeks} weeks, {hours:g} h a day ({100 * used:.0f} % "
                f"used): {took:.1f} s, {len(plan['visits'])} visits, {len(plan['late'])} late, "
                f"{plan['area_days_over']:.1f} area-days over; weighed {plan['weighed_loss']:.2f}, "
                f"bound {plan['weighed_loss_bound']:.2f}, gap {100 * plan['gap_share']:.1f} %"
            )


if __name__ == "__main__":
    main()
