"""What are heights off photos worth, and how far are they off?

    python -m tests.benchmarks.photo [--photos 400] [--practices 24] [--days 90]

First the camera of the simulator (rays through air, glass and water): for each way to tell where
the camera stood, with taps by finger and under a magnifier, the bias by place, the error fitted as
a fixed part and a share of the height, and how often the stated 8-of-10 range holds.

Then practices, each logged in several ways with the same plants and cuts: heights by ruler; off
photos by finger and under a magnifier, cuts as they were aimed; looks alone; photos that all read
8 % high, with a ruler beside every tenth and without. Scored is the height of every living area 7
to 28 days after the last row, uncut: CRPS over the budget and coverage of the 80 % interval.
Photos here are off by 1 cm (0.5 under a magnifier) and 4.5 %, more than the camera's first table
says. Invented throughout: no real photo is in it.
"""

from __future__ import annotations

import argparse
import tempfile
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import numpy as np

from growthcast.book.read import read_book
from growthcast.fit.growth import fit_growth, last_logged
from growthcast.forecast.heights import LEVELS, forecast_heights
from tests.recovery.test_photo import WITHIN_80, measured
from tests.scoring import crps
from tests.simulator import Richness
from tests.simulator.camera import PLACES
from tests.simulator.practice import random_practice
from tests.simulator.simulate import simulate
from tests.simulator.style import STYLES

HORIZONS_D = (7, 14, 21, 28)
FIRST_SEED = 700
STEMS = ("stem", "rosette")
MAGNIFIED = {"photo_error_cm": 0.5, "photo_error_share": 0.045}
LOGS = {
    "ruler": ("heights", {}),
    "photos by finger": ("heights", {"photo_share": 1.0, "photo_error_share": 0.045}),
    "photos, magnifier": ("heights", {"photo_share": 1.0, **MAGNIFIED}),
    "half of each": ("heights", {"photo_share": 0.5, **MAGNIFIED}),
    "looks alone": ("looks", {}),
    "photos 8 % high": ("heights", {"photo_share": 1.0, "photo_offset_share": 0.08, **MAGNIFIED}),
    "the same, a ruler beside every tenth": (
        "heights",
        {
            "photo_share": 1.0,
            "photo_offset_share": 0.08,
            "ruler_beside_share": 0.1,
            **MAGNIFIED,
        },
    ),
}
"""Style of the log and what is otherwise in it, by name."""


def camera_table(photos: int) -> None:
    """Print bias, error and coverage by method."""
    print("| method | taps | bias front, middle, back | error | stated ranges hold |")
    print("|---|---|---|---|---|")
    for method, hidden in (("B", False), ("C", False), ("B", True)):
        for magnified in (False, True):
            true, height, sd, place = measured(method, photos, magnified=magnified, hidden=hidden)
            off = height - true
            bias = [off[place == k].sum() / true[place == k].sum() for k in range(len(PLACES))]
            held = (np.abs(off) <= WITHIN_80 * sd).mean()
            fixed, share = fitted_error(true, off)
            print(
                f"| {method}{', base hidden' if hidden else ''} | "
                f"{'magnifier' if magnified else 'finger'} | "
                f"{', '.join(f'{100 * b:+.1f} %' for b in bias)} | "
                f"{fixed:.2f} cm + {100 * share:.1f} % | {100 * held:.0f} % |"
            )


def fitted_error(true: np.ndarray, off: np.ndarray) -> tuple[float, float]:
    """Fixed part [cm] and share of the height that squares of errors are made of."""
    made_of, weight = np.column_stack([np.ones(true.size), true**2]), np.ones(true.size)
    for _ in range(20):
        parts = np.linalg.lstsq(made_of * weight[:, None], off**2 * weight, rcond=None)[0]
        weight = 1.0 / np.maximum(made_of @ parts, 0.01)
    fixed, share = np.sqrt(np.maximum(parts, 0.0))
    return float(fixed), float(share)


def value_table(practices: int, days: int) -> None:
    """Print how well forecasts of each way to log do."""
    scored: dict[str, list[tuple[np.ndarray, np.ndarray]]] = {name: [] for name in LOGS}
    for seed in range(FIRST_SEED, FIRST_SEED + practices):
        plan = random_practice(4, days, seed, (2, 5), 40, STEMS)
        for name, (style, changes) in LOGS.items():
            scored[name].append(score(replace(plan, styles=STYLES[style]), seed, changes))
    print("\n| log | CRPS over budget | 80 % ranges hold | areas and days |\n|---|---|---|---|")
    for name, found in scored.items():
        off, inside = (np.concatenate(part) for part in zip(*found, strict=True))
        print(f"| {name} | {off.mean():.4f} | {100 * inside.mean():.0f} % | {off.size} |")


def score(plan, seed: int, changes: dict[str, float]) -> tuple[np.ndarray, np.ndarray]:
    """Return CRPS over the budget and whether the 80 % range held, of all areas and horizons."""
    practice = simulate(plan, seed, Richness(**changes))
    with tempfile.TemporaryDirectory() as folder:
        book = read_book(practice.write_book(Path(folder) / "book"))
    on = last_logged(book)
    fit = fit_growth(book, on)
    design = fit.design
    areas = np.flatnonzero(design.alive & ~design.is_cover)
    truth = np.array(
        [
            [practice.truth.height(design.area_id[a], on + timedelta(d)) for d in HORIZONS_D]
            for a in areas
        ]
    )
    foreseen = forecast_heights(fit, areas, design.on_day + np.array(HORIZONS_D, float)).height_cm
    low, high = (foreseen[..., LEVELS.index(level)] for level in (0.10, 0.90))
    known = np.isfinite(truth)
    off = crps(foreseen, truth) / design.traits.budget_cm[areas][:, None]
    return off[known], ((low <= truth) & (truth <= high))[known]


def main() -> None:
    """Print both tables."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    for name, default in (("photos", 400), ("practices", 24), ("days", 90)):
        parser.add_argument(f"--{name}", type=int, default=default)
    asked = parser.parse_args()
    camera_table(asked.photos)
    value_table(asked.practices, asked.days)


if __name__ == "__main__":
    main()
