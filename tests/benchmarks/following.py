"""Within how many visits ordinary forecasts follow a change that nobody wrote down.

``python -m tests.benchmarks.following`` simulates practices with a visit every two weeks. In every
third tank growth falls to a share of what it was, right after a visit. After each visit that
follows the book is fitted as a person would have it then, and the next visit's heights are
forecast; what counts is how much too high they come out, over the height budget, and how far off
whole forecasts are (CRPS), beside the same forecasts in the same practice without the change. All
of it is invented.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import numpy as np

from growthcast.book.read import read_book
from growthcast.fit.design import day_number
from growthcast.fit.growth import fit_growth
from growthcast.fit.model.spreads import Spreads
from growthcast.forecast.heights import LEVELS, forecast_heights
from tests.scoring import crps
from tests.simulator import Fault, Richness, simulate
from tests.simulator.plan import PracticePlan
from tests.simulator.practice import random_practice

DAYS, EVERY_D, VISITS_AFTER = 378, 14, 6
RICHNESS = Richness(irregular=False, missed_visit_share=0.0)
EVERY_NTH = 3


def planned(seed: int) -> PracticePlan:
    """Plan a practice whose tanks are all visited on the same days."""
    plan = random_practice(12, DAYS, seed, (3, 6), EVERY_D + 1)
    tanks = tuple(
        replace(tank, interval_d=EVERY_D, first_visit=plan.first_on) for tank in plan.tanks
    )
    return replace(plan, tanks=tanks)


def errors(plan: PracticePlan, seed: int, struck: set[str], visits: int) -> np.ndarray:
    """Means over the struck tanks' areas, over budget, after each visit, (2, 1 + visits).

    Forecast less true height, and the score of the forecast.
    """
    practice = simulate(plan, seed, RICHNESS)
    spreads: Spreads | None = None
    means = []
    for after in range(visits + 1):
        on = plan.last_on - timedelta(days=EVERY_D * (VISITS_AFTER - after))
        with tempfile.TemporaryDirectory() as folder:
            practice.write_book(Path(folder))
            book = read_book(Path(folder), on=on, today=plan.last_on)
        fit = fit_growth(book, on, spreads)
        spreads = fit.design.spreads  # learnt before the change, as most of any log is
        design = fit.design
        home = design.tank_id[design.tank]
        areas = np.flatnonzero(design.alive & np.isin(home.astype(str), sorted(struck)))
        then = on + timedelta(days=EVERY_D)
        foreseen = forecast_heights(fit, areas, np.array([day_number(then)])).height_cm[:, 0]
        truth = np.array([practice.truth.height(design.area_id[a], then) for a in areas])
        off = foreseen[:, LEVELS.index(0.5)] - truth
        both = np.stack([off, crps(foreseen, truth)]) / design.traits.budget_cm[areas]
        means.append(both.mean(axis=1))
    return np.array(means).T


def lag(
    seed: int, growth_share: float = 0.6, visits: int = VISITS_AFTER
) -> tuple[np.ndarray, np.ndarray]:
    """Errors after 0, 1, 2, ... visits since the change, and of the same without it."""
    plan = planned(seed)
    struck = {tank.tank_id for tank in plan.tanks[::EVERY_NTH]}
    since = plan.last_on - timedelta(days=EVERY_D * VISITS_AFTER)
    faults = tuple(Fault(since, growth_share, tank_id=name) for name in sorted(struck))
    changed = errors(replace(plan, faults=faults), seed, struck, visits)
    return changed, errors(plan, seed, struck, visits)


def main(arguments: list[str]) -> None:
    """Print how far off forecasts are, visit by visit."""
    parser = argparse.ArgumentParser(description="How soon forecasts follow, simulated.")
    parser.add_argument("--practices", type=int, default=6)
    parser.add_argument("--share", type=float, default=0.6, help="growth after the change")
    options = parser.parse_args(arguments)
    pairs = [lag(seed, options.share) for seed in range(1, options.practices + 1)]
    changed, same = (np.array(of) for of in zip(*pairs, strict=True))
    beyond = (changed - same)[:, 0]
    doubt = (
        beyond.std(axis=0, ddof=1) / np.sqrt(len(beyond)) if len(beyond) > 1 else 0.0 * beyond[0]
    )
    print("visits since  too high by (% of budget)  of the first  CRPS (% of budget)  without")
    for number, off in enumerate(beyond.mean(axis=0)):
        share = off / beyond.mean(axis=0)[0]
        scores = [100 * of[:, 1, number].mean() for of in (changed, same)]
        print(
            f"{number:12d} {100 * off:14.1f} ± {100 * doubt[number]:.1f} {100 * share:16.0f} %"
            f" {scores[0]:17.1f} {scores[1]:10.1f}"
        )


if __name__ == "__main__":
    main(sys.argv[1:])
