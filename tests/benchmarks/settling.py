"""How well are new areas forecast where plants settle faster or slower than the table says?

    python -m tests.benchmarks.settling [--practices 12] [--factors 0.5 1 2] [--jobs 1]

Practices of twelve tanks with six weeks of log: a third of the tanks are as old as the log, a third
were planted twelve days ago (the new areas), the others are older. Their plants take so many times
as long to settle as the table says. Printed for each factor, of heights 7, 14 and 28 days ahead
over the height budget: CRPS of all areas, CRPS and bias (the middle less the truth) of the new
ones, how often 8-of-10 ranges of these hold, and the factor that the log taught. Invented data.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from datetime import timedelta
from pathlib import Path

import numpy as np

from growthcast.book.read import read_book
from growthcast.fit.design import day_number
from growthcast.fit.growth import fit_growth
from growthcast.forecast.heights import LEVELS, forecast_heights
from tests.scoring import crps
from tests.simulator import Richness
from tests.simulator.plan import PracticePlan
from tests.simulator.practice import random_practice, set_up
from tests.simulator.simulate import simulate

TANKS, DAYS, NEW_D, AHEAD_D = 12, 45, 12, (7, 14, 28)
FIRST_SEED = 700
LOW, MIDDLE, HIGH = (LEVELS.index(level) for level in (0.1, 0.5, 0.9))


def planted_plan(seed: int) -> PracticePlan:
    """Draw a practice: a third of its tanks begin with the log, a third twelve days ago."""
    plan = random_practice(TANKS, DAYS, seed, (3, 6), 60)
    for number, tank in enumerate(plan.tanks):
        if number % 3 < 2:
            first = plan.first_on + timedelta(days=number % 5)
            on = first if number % 3 else plan.last_on - timedelta(days=NEW_D)
            plan = set_up(plan, tank, on)
    return plan


def scored(seed: int, factor: float, spread: float = 0.0) -> dict[str, np.ndarray]:
    """Score one practice: (A, 3) each of CRPS and error over budget, whether ranges hold."""
    richness = Richness(settle_factor=factor, settle_spread=spread)
    practice = simulate(planted_plan(seed), seed, richness)
    on = practice.plan.last_on
    with tempfile.TemporaryDirectory() as folder:
        book = read_book(practice.write_book(Path(folder)), on=on, today=on)
    fit = fit_growth(book, on)
    design = fit.design
    areas = np.flatnonzero(design.alive)
    then = [on + timedelta(days=days) for days in AHEAD_D]
    heights = forecast_heights(
        fit, areas, np.array([float(day_number(day)) for day in then])
    ).height_cm
    names = design.area_id[areas]
    truth = np.array([[practice.truth.height(name, day) for day in then] for name in names])
    budget = design.traits.budget_cm[areas][:, None]
    settling = getattr(design.spreads, "settling", None)
    factors = np.ones(1) if settling is None else settling.factor[np.unique(design.form)]
    return {
        "crps": crps(heights, truth) / budget,
        "bias": (heights[..., MIDDLE] - truth) / budget,
        "held": (heights[..., LOW] <= truth) & (truth <= heights[..., HIGH]),
        "new": design.traits.planted_day[areas] > design.on_day - DAYS + 10,
        "learnt": factors,
    }


def line_of(factor: float, scores: Sequence[dict[str, np.ndarray]]) -> str:
    """One line of the table."""
    of = {kind: np.concatenate([one[kind] for one in scores]) for kind in scores[0]}
    new = of["new"]

    def by_horizon(values: np.ndarray) -> str:
        return "/".join(f"{100 * value:5.1f}" for value in values.mean(axis=0))

    return (
        f"{factor:4.1f}   {by_horizon(of['crps'])}   {by_horizon(of['crps'][new])}   "
        f"{by_horizon(of['bias'][new])}   {by_horizon(of['held'][new])}   "
        f"{by_horizon(of['held'][~new])}   {np.exp(np.log(of['learnt']).mean()):.2f}"
    )


def main(arguments: Sequence[str] | None = None) -> int:
    """Print a line a factor."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--practices", type=int, default=12)
    parser.add_argument("--factors", type=float, nargs="+", default=[0.5, 1.0, 2.0])
    parser.add_argument("--spread", type=float, default=0.0, help="log scatter of the factor")
    parser.add_argument("--jobs", type=int, default=1)
    asked = parser.parse_args(arguments)
    seeds = range(FIRST_SEED, FIRST_SEED + asked.practices)
    print("In % of the budget, 7/14/28 days ahead; new areas were planted twelve days ago.")
    print("factor  CRPS of all      CRPS of new        bias of new     8 of 10, new       others")
    with ProcessPoolExecutor(asked.jobs) as pool:
        for factor in asked.factors:
            kinds = [[kind] * len(seeds) for kind in (factor, asked.spread)]
            print(line_of(factor, list(pool.map(scored, seeds, *kinds))), flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
