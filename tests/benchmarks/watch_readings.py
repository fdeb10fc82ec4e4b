"""How much what is read at visits does for noticing that a whole tank grows at 60 %.

``python -m tests.benchmarks.watch_readings`` gives one log of drifting tanks in several ways (all
heights, lengths taken off, fewer areas, better readings) and prints the chance that the command
states, on average over the tanks, that such a drop is noticed within three visits; ``watch_power``
tells how well it is kept. A tank to which no chance is given counts as none. All of it is invented.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np

from growthcast.service.watch.judge import SOON_VISITS, limits_of, power_of
from tests.benchmarks.watch import DAYS, TANKS, WORLDS, cases_of
from tests.simulator import simulate
from tests.simulator.practice import random_practice
from tests.simulator.truth import LogRow, SimulatedPractice

Rows = tuple[LogRow, ...]


def as_read(practice: SimulatedPractice) -> Rows:
    """Heights before and after of every area."""
    return practice.log


def lengths(practice: SimulatedPractice) -> Rows:
    """Lengths taken off instead of heights, where both heights were read."""
    return tuple(map(_as_length, practice.log))


def _as_length(row: LogRow) -> LogRow:
    if row.before_cm is None or row.after_cm is None:
        return row
    return replace(row, removed_cm=row.before_cm - row.after_cm, before_cm=None, after_cm=None)


def without_quickest(practice: SimulatedPractice) -> Rows:
    """Return all rows but those of each tank's quickest area."""
    quickest = _quickest(practice)
    return tuple(row for row in practice.log if row.area_id not in quickest)


def quickest_alone(practice: SimulatedPractice) -> Rows:
    """Rows of each tank's quickest area only."""
    quickest = _quickest(practice)
    return tuple(row for row in practice.log if row.area_id in quickest)


def _quickest(practice: SimulatedPractice) -> set[str]:
    truth = practice.truth
    found = set()
    for tank in range(len(truth.tank_id)):
        mine = np.flatnonzero(truth.tank_of_area == tank)
        found.add(truth.area_id[mine[np.argmax(truth.reference_rate_per_day[mine])]])
    return found


HEIGHTS = WORLDS["heights"]
EXACT = replace(
    HEIGHTS,
    height_error_cm=0.5 * HEIGHTS.height_error_cm,
    height_error_share=0.5 * HEIGHTS.height_error_share,
    cover_error=0.5 * HEIGHTS.cover_error,
)
WAYS: Mapping[str, tuple[Callable[[SimulatedPractice], Rows], bool]] = {
    "heights before and after, every area": (as_read, False),
    "lengths taken off instead": (lengths, False),
    "without the quickest area": (without_quickest, False),
    "the quickest area alone": (quickest_alone, False),
    "readings twice as exact": (as_read, True),
}


def chances(way: str, seed: int) -> list[float]:
    """Return what each tank of one practice is told."""
    rows_of, exact = WAYS[way]
    plan = random_practice(TANKS, DAYS, seed, (3, 6), 5)
    practice = simulate(plan, seed, EXACT if exact else HEIGHTS)
    told = []
    for case in cases_of(replace(practice, log=rows_of(practice))):
        power = power_of(case, limits_of(case))
        known = power is not None and len(power.chances) >= SOON_VISITS
        told.append(power.chances[SOON_VISITS - 1] if power is not None and known else 0.0)
    return told


def main(arguments: list[str]) -> None:
    """Print the chances."""
    parser = argparse.ArgumentParser(description="What readings do for noticing a drop.")
    parser.add_argument("--practices", type=int, default=8)
    options = parser.parse_args(arguments)
    for way in WAYS:
        told = np.array([p for seed in range(1, options.practices + 1) for p in chances(way, seed)])
        error = told.std() / np.sqrt(told.size)
        print(f"{way:40s} {100 * told.mean():3.0f} % (± {100 * error:.0f}), {told.size} tanks")


if __name__ == "__main__":
    main(sys.argv[1:])
