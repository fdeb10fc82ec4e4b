"""What tanks without a log gain by borrowing from tanks like them; all of it simulated.

``python -m tests.benchmarks.borrowing`` prints, for practices whose plants answer conditions as the
species table says and for practices where they do not, how well the rates of tanks left out of the
log are foretold with and without borrowing. ``--figure FILE`` draws the same.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np
from threadpoolctl import threadpool_limits

from growthcast.book.book import Book
from growthcast.book.read import read_book
from growthcast.fit.borrowing import Borrowed, borrow, with_borrowed
from growthcast.fit.design import Design, build_design
from growthcast.fit.learning import learn_spreads
from growthcast.fit.model.clock import tank_conditions
from growthcast.fit.solver.problem import RATE
from growthcast.fit.solver.solve import Solution, solve
from tests.simulator import Richness, simulate
from tests.simulator.plan import PracticePlan, Traits
from tests.simulator.practice import random_practice
from tests.simulator.truth import SimulatedPractice

LEFT_OUT = 8
"""Tanks of each practice whose log is left out."""
DAYS = 270
WORLDS: Mapping[str, str] = {
    "table": "as the table says",
    "co2": "CO2 half-saturation doubled",
    "co2 x5": "CO2 half-saturation five times",
    "light": "light half-saturation doubled",
    "meter": "rate rises by 0.35 a standard deviation of log CO2",
}


def plants_of(world: str, traits: Traits) -> Traits:
    """Return a species as it grows in a world."""
    if world == "co2":
        return replace(traits, co2_k_mg_l=2.0 * traits.co2_k_mg_l)
    if world == "co2 x5":
        return replace(traits, co2_k_mg_l=5.0 * traits.co2_k_mg_l)
    if world == "light":
        return replace(traits, light_k_umol=2.0 * traits.light_k_umol)
    return traits


def practice_in(world: str, tanks: int, seed: int) -> SimulatedPractice:
    """Simulate a practice in a world, with ``LEFT_OUT`` tanks more than asked for."""
    plan = random_practice(tanks + LEFT_OUT, DAYS, seed, (3, 6), 5)
    plan = replace(plan, traits={name: plants_of(world, t) for name, t in plan.traits.items()})
    if world == "meter":
        plan = _with_effects(plan, np.random.default_rng([seed, 77]))
    return simulate(plan, seed, Richness())


def _with_effects(plan: PracticePlan, rng: np.random.Generator) -> PracticePlan:
    """Tank effects that follow the tanks' log CO2."""
    co2 = np.log([tank.conditions[0].values["co2_mg_l"] for tank in plan.tanks])
    effect = 0.35 * (co2 - co2.mean()) / co2.std() + 0.3 * rng.normal(size=co2.size)
    tanks = tuple(
        replace(tank, effect=float(e)) for tank, e in zip(plan.tanks, effect, strict=True)
    )
    return replace(plan, tanks=tanks)


def fits(book: Book, practice: SimulatedPractice) -> tuple[Design, Solution, Solution, Borrowed]:
    """Fit a book without and with borrowing."""
    with threadpool_limits(limits=1, user_api="blas"):
        design, plain = learn_spreads(build_design(book, practice.plan.last_on))
        place = {name: k for k, name in enumerate(design.tank_id.tolist())}
        rows = np.array([place[name] for name in book.conditions.text("tank_id").tolist()])
        conditions = tank_conditions(book.conditions, rows, len(place))
        depth = book.tanks.number("water_depth_cm")
        borrowed = borrow(plain, conditions, depth, design.on_day)
        if borrowed.model == "none":
            return design, plain, plain, borrowed
        second = solve(with_borrowed(design.problem, borrowed), plain.point)
    return design, plain, second, borrowed


def compare(world: str, tanks: int, seed: int) -> dict[str, float]:
    """Squared error and log score [nat] on tanks left out, and the choice, of one practice."""
    practice = practice_in(world, tanks, seed)
    shown = {tank.tank_id for tank in practice.plan.tanks[:tanks]}
    log = tuple(row for row in practice.log if row.tank_id in shown)
    with tempfile.TemporaryDirectory() as folder:
        replace(practice, log=log).write_book(Path(folder))
        book = read_book(Path(folder), today=practice.plan.last_on)
    design, plain, second, borrowed = fits(book, practice)
    areas = np.flatnonzero(practice.truth.tank_of_area >= tanks)
    tank = practice.truth.tank_of_area[areas] - tanks
    row = practice.truth.row_of(practice.plan.last_on)
    truth = np.log(practice.truth.expected_rate_per_day[row, areas])
    speed = np.log(design.clock.speed(design.on_day)[areas])
    figures = {"chosen": float(borrowed.model != "none")}
    for name, fit in (("without", plain), ("with", second)):
        view = fit.view
        covariance = view.pooled.covariance(areas)
        error = truth - fit.point.border[RATE, areas] - speed
        count = np.bincount(tank, minlength=LEFT_OUT)
        mean = np.bincount(tank, error, minlength=LEFT_OUT) / count
        variance = covariance[:, RATE, RATE]
        density = -0.5 * (np.log(2.0 * np.pi * variance) + error**2 / variance)
        figures[f"square {name}"] = float((mean**2).mean())
        figures[f"score {name}"] = float(density.mean())
    return figures


def study(world: str, tanks: int, seeds: range) -> dict[str, float]:
    """Compare over practices: shares, root mean squares, and gains with their standard errors."""
    runs = [compare(world, tanks, seed) for seed in seeds]
    column = {name: np.array([run[name] for run in runs]) for name in runs[0]}
    gain = column["score with"] - column["score without"]
    return {
        "chosen": float(column["chosen"].mean()),
        "without": float(np.sqrt(column["square without"].mean())),
        "with": float(np.sqrt(column["square with"].mean())),
        "gain": float(gain.mean()),
        "error": float(gain.std(ddof=1) / np.sqrt(gain.size)) if gain.size > 1 else float("nan"),
        "worst": float(gain.min()),
    }


def draw(table: dict[tuple[str, int], dict[str, float]], path: Path) -> None:
    """Draw error on tanks left out, without and with borrowing."""
    import matplotlib as mpl

    mpl.use("agg")
    from matplotlib.figure import Figure

    figure = Figure(figsize=(8.0, 0.5 * len(table) + 1.4), layout="constrained")
    ax = figure.subplots()
    for line, figures in enumerate(table.values()):
        ax.plot([figures["without"], figures["with"]], [line, line], color="#595959", lw=1)
        ax.plot(figures["without"], line, "o", mfc="white", mec="black", ms=7)
        ax.plot(figures["with"], line, "D", color="#0072B2", ms=5)
    ax.set_yticks(range(len(table)), [f"{WORLDS[world]}, {n} tanks" for world, n in table])
    ax.invert_yaxis()
    ax.set_xlim(0.0, 1.1 * max(figures["without"] for figures in table.values()))
    ax.set_xlabel("Error of log rate, tanks left out (rms)")
    figure.suptitle("Tanks left out of the log, simulated: ring without borrowing, diamond with")
    figure.savefig(path)


def main(arguments: list[str]) -> None:
    """Print the table, and draw it where asked to."""
    parser = argparse.ArgumentParser(description="Borrowing between tanks, on simulated practices.")
    parser.add_argument("--practices", type=int, default=12)
    parser.add_argument("--first", type=int, default=1, help="first seed")
    parser.add_argument("--tanks", type=int, nargs="*", default=[12, 24])
    parser.add_argument("--worlds", nargs="*", choices=list(WORLDS), default=list(WORLDS))
    parser.add_argument("--figure", type=Path)
    options = parser.parse_args(arguments)
    table = {}
    print("world                                              tanks chosen  rmse without   with")
    for world in options.worlds:
        for tanks in options.tanks:
            seeds = range(options.first, options.first + options.practices)
            figures = table[world, tanks] = study(world, tanks, seeds)
            print(
                f"{WORLDS[world]:50s} {tanks:5d} {figures['chosen']:6.2f} "
                f"{figures['without']:13.3f} {figures['with']:6.3f}  "
                f"gain {figures['gain']:+.3f} ± {figures['error']:.3f} nat an area, "
                f"worst {figures['worst']:+.3f}",
                flush=True,
            )
    if options.figure:
        draw(table, options.figure)


if __name__ == "__main__":
    main(sys.argv[1:])
