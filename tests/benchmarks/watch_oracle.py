"""The most that any method could see of a drop to 60 %: a bound for ``growthcast watch``.

``python -m tests.benchmarks.watch_oracle`` hands a filter everything that a log cannot tell: every
true rate and ceiling, the errors of the readings and of the cuts, and the law of the noise; no tank
drifts, and it knows the day on which the drop would begin. What a visit then tells of the tank's
growth is information in Fisher's sense; a test for the drop at a threshold ``c`` passes with chance
``Phi(0.4 sqrt(information) - c)``. Heights are logged at every visit. All of it is invented.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from datetime import timedelta

import numpy as np
from scipy.special import ndtr

from tests.benchmarks.watch import DAYS, FAULT_BEFORE_END_D, TANKS, WORLDS
from tests.simulator import Richness, simulate
from tests.simulator.practice import random_practice
from tests.simulator.truth import LogRow, SimulatedPractice

DROP_SHARE = 0.4
THRESHOLDS = (2.3, 2.6, 3.0)
"""Those of the command lie around the middle one for one false alarm in two years."""
BEFORE, AFTER = 6, 3
"""Visits through which the filter runs before the drop, and after."""
UNKNOWN_STAGE = 4.0


def informations(seed: int, world: Richness) -> Iterator[tuple[int, np.ndarray]]:
    """Yield each tank's interval and what its first, second, third visit after the drop tells."""
    plan = random_practice(TANKS, DAYS, seed, (3, 6), 5)
    practice = simulate(plan, seed, world)
    rows = {(row.area_id, row.on): row for row in practice.log if row.area_id}
    near = plan.last_on - timedelta(days=FAULT_BEFORE_END_D)
    for tank in plan.tanks:
        days = practice.truth.visited[tank.tank_id]
        first = sum(day < near for day in days)
        if len(days) <= first + AFTER:
            continue
        days = days[max(first - BEFORE, 0) : first + AFTER + 1]
        told = np.zeros(AFTER)
        for place, area in enumerate(plan.areas):
            if area.tank_id == tank.tank_id:
                mine = [rows.get((area.area_id, day)) for day in days]
                at = np.array([practice.truth.row_of(day) for day in days])
                told += of_area(practice, world, place, mine, at)
        yield tank.interval_d, told


def of_area(
    practice: SimulatedPractice,
    world: Richness,
    area: int,
    rows: list[LogRow | None],
    at: np.ndarray,
) -> np.ndarray:
    """Return what each visit after the drop tells of the pace since it, by one area's readings.

    A filter of the stage ``ln(h / (K - h))``: ``variance`` is what is not known of it, ``lean`` how
    far the pace since the drop has moved it. The drop begins right after visit ``-AFTER - 1``.
    """
    truth, plan = practice.truth, practice.plan.areas[area]
    ceiling = truth.ceiling_cm[area]
    is_cover = practice.plan.traits[plan.species_id].is_cover
    variance, lean, told = UNKNOWN_STAGE, 0.0, np.zeros(at.size)
    for n, (row, day) in enumerate(zip(rows, at.tolist(), strict=True)):
        high, low = truth.height_before_cm[day, area], truth.height_after_cm[day, area]
        if n:
            moved = np.nansum(truth.rate_per_day[at[n - 1] : day, area])
            variance += moved**2 * world.week_spread**2 * 7.0 / (day - at[n - 1])
            lean += moved if n >= at.size - AFTER else 0.0
        if row is not None and row.before_cm is not None:
            seen = variance + _error_variance(high, ceiling, is_cover, world)
            told[n] = lean**2 / seen
            lean, variance = lean * (1.0 - variance / seen), variance * (1.0 - variance / seen)
        if low < high:
            lean, variance = 0.0, (world.hand_spread / (1.0 - min(low / ceiling, 0.999))) ** 2
            if row is not None and row.after_cm is not None:
                error = _error_variance(low, ceiling, is_cover, world)
                variance *= error / (variance + error)
    return told[-AFTER:]


def _error_variance(height: float, ceiling: float, is_cover: bool, world: Richness) -> float:
    """Variance of a stage that is read off a height, rounding included."""
    read = np.hypot(world.height_error_cm, world.height_error_share * height)
    error, step = (world.cover_error, 5.0) if is_cover else (read, 0.5)
    slope = max(height * (1.0 - min(height / ceiling, 0.999)), 1e-6)
    return float((error**2 + step**2 / 12.0) / slope**2)


def main(arguments: list[str]) -> None:
    """Print the bound, for all tanks and by how often they are visited."""
    parser = argparse.ArgumentParser(description="What an all-knowing watch would see.")
    parser.add_argument("--practices", type=int, default=8)
    options = parser.parse_args(arguments)
    world = WORLDS["steady heights"]
    found = [one for seed in range(1, options.practices + 1) for one in informations(seed, world)]
    interval = np.array([days for days, _ in found])
    told = np.cumsum([visits for _, visits in found], axis=1)
    with np.errstate(divide="ignore"):
        sd = told**-0.5
    print(f"{len(found)} tanks; drop to 60 % seen within three visits by one who knows all rates")
    for limit in THRESHOLDS:
        chance = ndtr(DROP_SHARE * told[:, 2] ** 0.5 - limit).mean()
        print(f"  at threshold {limit}: {100 * chance:.0f} %")
    for days in np.unique(interval).tolist():
        some = interval == days
        chance = ndtr(DROP_SHARE * told[some, 2] ** 0.5 - THRESHOLDS[1]).mean()
        print(
            f"  visited every {days} days: {some.sum()} tanks, one visit tells growth to "
            f"{100 * np.median(sd[some, 0]):.0f} % of the usual, seen {100 * chance:.0f} %"
        )
    print(f"  all: one visit tells growth to {100 * np.median(sd[:, 0]):.0f} % of the usual")


if __name__ == "__main__":
    main(sys.argv[1:])
