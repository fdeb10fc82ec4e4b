"""What the commands cost on large books, as ratios within one run.

    python -m tests.benchmarks.cost [--areas 10000 100000] [--visits 20]

R is the time of ``pandas.read_csv`` of the log in a process of its own that has pandas loaded.
Every command is a process of its own, imports included, measured in seconds of CPU; memory is its
peak. "Again" is the same command on the unchanged book, from the cache that the first one filled;
of ``log``, which writes a visit to one tank, the visit to the next tank on that day.
The fit stands beside a loop of ``scipy.optimize.curve_fit``, a logistic curve from trim to trim for
each area alone.
"""

from __future__ import annotations

import argparse
import csv
import os
import subprocess
import sys
import tempfile
import time
from contextlib import suppress
from itertools import groupby
from pathlib import Path

import numpy as np
from scipy.optimize import curve_fit

from growthcast.arrays import FloatArray

AREAS_A_TANK = 5
FIRST = np.datetime64("2026-01-05")
SPECIES = ("rotala-rotundifolia", "hygrophila-polysperma", "taxiphyllum-barbieri")
PRACTICE = """[practice]
name = "Benchmark (invented data)"
labour_rate_per_h = 58.0
"""


def write_book(folder: Path, areas: int, visits: int, seed: int = 1) -> None:
    """Write a book of ``areas`` areas, each with ``visits`` rows of heights before and after."""
    rng = np.random.default_rng(seed)
    tanks = areas // AREAS_A_TANK
    (folder / "practice.toml").write_text(PRACTICE)
    ids = [f"t{k}" for k in range(tanks)]
    rows = "".join(f"{name},Client,45\n" for name in ids)
    (folder / "tanks.csv").write_text("tank_id,client,water_depth_cm\n" + rows)
    head = "area_id,tank_id,label,species_id,area_cm2,floor_cm,budget_cm,cut_cm,planted_on\n"
    rows = "".join(
        f"a{a},t{a // AREAS_A_TANK},area {a},{SPECIES[a % 3]},200,2,9,3,2025-01-01\n"
        for a in range(areas)
    )
    (folder / "areas.csv").write_text(head + rows)
    tank_effect = np.repeat(0.3 * rng.standard_normal(tanks), AREAS_A_TANK)
    rate = np.array([0.1, 0.12, 0.07])[np.arange(areas) % 3] * np.exp(
        tank_effect + 0.2 * rng.standard_normal(areas)
    )
    ceiling = np.where(np.arange(areas) % 3 == 2, 10.0, 45.0)
    with (folder / "trims.csv").open("w") as file:
        file.write("date,tank_id,area_id,before_cm,after_cm\n")
        left = 3.0 * np.exp(0.1 * rng.standard_normal(areas))
        for visit in range(visits):
            stage = np.log(left / (ceiling - left))
            grown = rate * 14 * (1 + 0.15 * rng.standard_normal(areas))
            before = ceiling / (1 + np.exp(-stage - grown))
            left = np.minimum(before, 3.0 * np.exp(0.1 * rng.standard_normal(areas)))
            seen = np.maximum(before + 0.4 * rng.standard_normal(areas), 0.5)
            cut = np.minimum(np.maximum(left + 0.2 * rng.standard_normal(areas), 0.2), seen)
            day = FIRST + 14 * visit
            file.writelines(
                f"{day},t{a // AREAS_A_TANK},a{a},{seen[a]:.2f},{cut[a]:.2f}\n"
                for a in range(areas)
            )


def measure(*command: str, kept: str = "off") -> tuple[float, float]:
    """Return seconds of CPU and peak MB of a process of its own, and where it keeps answers."""
    environment = os.environ | {"GROWTHCAST_CACHE": kept}
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    process = subprocess.Popen(command, env=environment, **quiet)
    _, status, used = os.wait4(process.pid, 0)
    seconds = used.ru_utime + used.ru_stime
    if status:
        raise RuntimeError(f"{' '.join(command)} ended with status {status}")
    return seconds, used.ru_maxrss / 1024


def lines_of(command: str, folder: str, visits: int) -> tuple[list[str], list[str]]:
    """Return what is typed for a command, and what for the one after it."""
    if command != "log":
        return [command, folder], [command, folder]
    shared = ["rest=right", "--on", str(FIRST + 14 * visits), "--yes"]
    first, then = (
        [command, folder, "--tank", f"t{tank}", f"a{tank * AREAS_A_TANK}=9/3", *shared]
        for tank in range(2)
    )
    return first, then


def reading_time(log: Path) -> tuple[float, float]:
    """Return seconds of CPU that pandas takes to read a log, and the peak MB of that process."""
    code = (
        "import sys, time, resource, pandas\n"
        "began = time.process_time(); pandas.read_csv(sys.argv[1])\n"
        "peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024\n"
        "print(time.process_time() - began, peak)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(log)], check=True, capture_output=True, text=True
    )
    seconds, peak = map(float, done.stdout.split())
    return seconds, peak


def curve_fit_time(log: Path, most: int = 300) -> float:
    """Return seconds of CPU of a loop of least squares an area, told from the first of them."""
    with log.open(newline="") as file:
        rows = sorted(csv.DictReader(file), key=lambda row: (row["area_id"], row["date"]))
    areas = {name: [*mine] for name, mine in groupby(rows, key=lambda row: row["area_id"])}

    def grown(left: FloatArray, rate: float, log_ceiling: float) -> FloatArray:
        odds = left / np.maximum(np.exp(log_ceiling) - left, 1e-3)
        return np.exp(log_ceiling) / (1.0 + np.exp(-rate * 14.0) / odds)

    began = time.process_time()
    for mine in [*areas.values()][:most]:
        before = np.array([float(row["before_cm"]) for row in mine[1:]])
        left = np.array([float(row["after_cm"]) for row in mine[:-1]])
        start = (0.1, np.log(2.0 * before.max()))
        with suppress(RuntimeError):  # no growth explains them
            curve_fit(grown, left, before, start, bounds=([0.0, np.log(before.max())], [1.0, 6.0]))
    return (time.process_time() - began) * len(areas) / min(most, len(areas))


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--areas", type=int, nargs="+", default=[10_000, 100_000])
    parser.add_argument("--visits", type=int, default=20)
    parser.add_argument("--commands", nargs="+", default=[], help="more of them, as rounds")
    asked = parser.parse_args()
    tool = (sys.executable, "-m", "growthcast")
    nothing, _ = measure(sys.executable, "-c", "pass")
    helped, _ = measure(*tool, "--help")
    print(f"--help takes {helped / nothing:.1f} times an empty Python process")
    print(f"import numpy takes {measure(sys.executable, '-c', 'import numpy')[0]:.3f} s")
    seconds: dict[str, list[float]] = {}
    commands = ("check", "fit", "forecast", "interval", *asked.commands, "log")
    for areas in asked.areas:
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            write_book(folder, areas, asked.visits)
            reading, peak = reading_time(folder / "trims.csv")
            rows = areas * asked.visits
            print(f"{areas} areas, {rows} log rows: R = {reading:.2f} s, {peak:.0f} MB")
            print(f"    curve_fit an area: {curve_fit_time(folder / 'trims.csv'):.1f} s")
            for command in commands:
                with tempfile.TemporaryDirectory() as kept:
                    line, then = lines_of(command, name, asked.visits)
                    took, used = measure(*tool, *line, "--json", kept=kept)
                    again, _ = measure(*tool, *then, "--json", kept=kept)
                seconds.setdefault(command, []).append(took)
                print(
                    f"    {command:9s} {took:6.2f} s = {took / reading:5.1f} R, "
                    f"again {again:.2f} s, {used:5.0f} MB = {used / peak:.2f} times pandas"
                )
    if len(asked.areas) > 1:
        grown = np.log(asked.areas[-1] / asked.areas[0])
        for command, took in seconds.items():
            print(f"{command} grows as areas to the {np.log(took[-1] / took[0]) / grown:.2f}")


if __name__ == "__main__":
    main()
