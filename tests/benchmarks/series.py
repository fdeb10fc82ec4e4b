"""Real growth without cuts: is what was not yet seen forecast as well as by a straight line?

``python -m tests.benchmarks.series`` logs the first 60 % of each series as a book (every plant an
area, all of one species whose row in species.csv is vague) and forecasts the rest. Beside the fit
stands the straight line through the last three readings. Printed are mean absolute errors in the
unit of the series and how many of 10 of the 8-of-10 ranges hold what was read.

Heights of loblolly pines by age (Kung, F. H. 1986, Fitting logistic growth curve with predetermined
carrying capacity, Proceedings of the Statistical Computing Section, American Statistical
Association), leaf weights of soybean plants by day (Davidian, M. & Giltinan, D. M. 1995, Nonlinear
Models for Repeated Measurement Data) and girths of five orange trees (Draper, N. R. & Smith, H.
1998, Applied Regression Analysis), as R distributes them (datasets 4.2.2, nlme 3.1.162). A unit of
the series stands for a centimetre, times and sizes are brought to the scale of a tank.
"""

from __future__ import annotations

import argparse
import csv
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

import numpy as np

from growthcast.book.read import read_book
from growthcast.fit.growth import fit_growth
from growthcast.fit.result import GrowthFit
from growthcast.forecast.heights import LEVELS, forecast_heights
from tests.books import HEADER, write_book

DATA = Path(__file__).parents[1] / "references" / "data"
BEGAN = date(2023, 1, 2)
LOGGED_SHARE = 0.6
LOW, MIDDLE, HIGH = (LEVELS.index(level) for level in (0.1, 0.5, 0.9))


@dataclass(frozen=True)
class Series:
    """A file of the data, its columns, and what a unit of time [d] and of size [cm] becomes."""

    file: str
    plant: str
    time: str
    size: str
    day: float
    cm: float


SERIES = {
    "pines": Series("Loblolly.csv", "Seed", "age", "height", 30.0, 1.0),
    "soybean": Series("Soybean.csv", "Plot", "Time", "weight", 1.0, 1.0),
    "oranges": Series("Orange.csv", "Tree", "age", "circumference", 0.25, 0.1),
}


def read_series(series: Series) -> dict[str, np.ndarray]:
    """Read days and sizes (n, 2) of every plant."""
    plants: dict[str, list[tuple[float, float]]] = {}
    with (DATA / series.file).open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            point = round(float(row[series.time]) * series.day), float(row[series.size]) * series.cm
            plants.setdefault(row[series.plant].lower(), []).append(point)
    return {name: np.array(sorted(points)) for name, points in plants.items()}


def logged(points: np.ndarray) -> int:
    """How many of a plant's readings are logged."""
    return max(3, int(np.ceil(LOGGED_SHARE * len(points) - 1e-9)))


def fit_series(plants: dict[str, np.ndarray], folder: Path) -> tuple[GrowthFit, date]:
    """Fit the first part of all plants as one book."""
    known = {name: points[: logged(points)] for name, points in plants.items()}
    highest = max(points[:, 1].max() for points in known.values())
    table = "species_id,form,measure,rate_per_day,rate_spread,ceiling_cm,ceiling_spread\n"
    table += f"series,stem,height_cm,0.05,1.0,{2.0 * highest:.1f},0.7\n"
    planted = BEGAN - timedelta(days=200)
    areas = "area_id,tank_id,label,species_id,area_cm2,floor_cm,budget_cm,cut_cm,planted_on\n"
    areas += "".join(
        f"p{n},bed,{name},series,100,{0.05 * highest:.2f},{1.5 * highest:.2f},,{planted}\n"
        for n, name in enumerate(known)
    )
    rows = sorted(
        (BEGAN + timedelta(days=int(day)), n, size)
        for n, points in enumerate(known.values())
        for day, size in points.tolist()
    )
    trims = HEADER + "".join(f"{on},bed,p{n},{size:.3f},,,,,,\n" for on, n, size in rows)
    tanks = "tank_id,client,water_depth_cm,longest_interval_d\nbed,Data,300,\n"
    on = rows[-1][0]
    write_book(folder, tanks=tanks, areas=areas, trims=trims, species=table)
    return fit_growth(read_book(folder, on=on, today=date(2026, 11, 1)), on), on


def scores(name: str) -> dict[str, np.ndarray]:
    """Errors of the fit and of the line, and whether ranges hold, of all readings ahead."""
    plants = read_series(SERIES[name])
    with tempfile.TemporaryDirectory() as folder:
        fit, _ = fit_series(plants, Path(folder) / "book")
    found: dict[str, list[float]] = {"fit": [], "line": [], "held": [], "above": []}
    errors = fit.design.problem.errors
    for area, points in enumerate(plants.values()):
        known, ahead = points[: logged(points)], points[logged(points) :]
        slope, level = np.polyfit(known[-3:, 0], known[-3:, 1], 1)
        for day, size in ahead.tolist():
            then = np.array([float((BEGAN - date(1970, 1, 1)).days + day)])
            if then[0] < fit.design.on_day:
                continue
            heights = forecast_heights(fit, np.array([area]), then).height_cm[0, 0]
            middle = heights[MIDDLE]
            reading = np.sqrt(errors.reading_variance(middle, np.array(area)))
            low = middle - np.hypot(middle - heights[LOW], 1.2816 * reading)
            high = middle + np.hypot(heights[HIGH] - middle, 1.2816 * reading)
            found["fit"].append(abs(middle - size))
            found["line"].append(abs(level + slope * day - size))
            found["held"].append(float(low <= size <= high))
            found["above"].append(float(size > middle))
    return {kind: np.array(values) for kind, values in found.items()}


def main(arguments: Sequence[str] | None = None) -> int:
    """Print a line a series."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--series", nargs="*", choices=list(SERIES), default=list(SERIES))
    asked = parser.parse_args(arguments)
    print("series    readings   error, fit   error, line   8 of 10 hold   above the middle")
    for name in asked.series:
        of = scores(name)
        print(
            f"{name:8s} {of['fit'].size:6d} {of['fit'].mean():12.2f} {of['line'].mean():12.2f} "
            f"{100 * of['held'].mean():12.0f} % {100 * of['above'].mean():12.0f} %",
            flush=True,
        )
    return 0


if __name__ == "__main__":
    sys.exit(main())
