"""How soon ``growthcast watch`` sees a species that fails in every tank that holds it.

``python -m tests.benchmarks.watch_species`` simulates practices in which one species at a time
grows at a share of its usual growth in all of its tanks, from one day on that nobody wrote down,
and prints after how many days it was named across tanks, how often a tank or an area was named
instead, and how often a species is named where nothing failed. All of it is invented.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import timedelta

import numpy as np

from growthcast.fit.design import day_number
from growthcast.service.watch.judge import judge_species, judge_tank, limits_of
from growthcast.service.watch.readings import TankCase
from tests.benchmarks.watch import DAYS, FAULT_BEFORE_END_D, TANKS, WORLDS, gathered
from tests.simulator import Fault
from tests.simulator.plan import PracticePlan
from tests.simulator.practice import random_practice

LEAST_HOMES = 3
MOST_SPECIES = 4
"""Struck one after the other in each practice: those in most tanks."""
WITHIN_D = (28, 56, FAULT_BEFORE_END_D)


@dataclass(frozen=True, slots=True)
class Struck:
    """One species: the tanks that hold it, days until it was named (infinite if never).

    ``instead`` tells whether one of its tanks or areas had an alarm at the end of the log.
    """

    homes: int
    days: float
    instead: bool


def spread_species(plan: PracticePlan) -> list[str]:
    """Return the species that are planted in most tanks, beside other species."""
    held = {(area.species_id, area.tank_id) for area in plan.areas}
    homes = Counter(species for species, _ in held)
    return [name for name, count in homes.most_common(MOST_SPECIES) if count >= LEAST_HOMES]


def struck(seed: int, world: str, share: float) -> Iterator[Struck]:
    """Let the most common species of one practice fail, each in a simulation of its own."""
    plan = random_practice(TANKS, DAYS, seed, (3, 6), 5)
    on = plan.last_on - timedelta(days=FAULT_BEFORE_END_D)
    for name in spread_species(plan):
        faults = (Fault(on, share, species_id=name),)
        cases, _ = gathered(replace(plan, faults=faults), seed, world)
        species = cases[0].design.species
        place = cases[0].design.species_id.tolist().index(name)
        verdict = judge_species(cases, species, place)
        named = verdict is not None and verdict.change.size_share[1] < 0.0
        holding = [case for case in cases if (species[case.areas] == place).any()]
        yield Struck(
            homes=len(holding),
            days=verdict.noticed_day - day_number(on) if verdict and named else np.inf,
            instead=any(judge_tank(case, limits_of(case)) for case in holding),
        )


def named_in_vain(cases: list[TankCase]) -> int:
    """Count the species that are named across tanks."""
    species = cases[0].design.species
    found = [judge_species(cases, species, place) for place in np.unique(species).tolist()]
    return sum(verdict is not None for verdict in found)


def main(arguments: list[str]) -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description="Species that fail, in simulated practices.")
    parser.add_argument("--practices", type=int, default=8)
    parser.add_argument("--shares", type=float, nargs="*", default=[0.6, 0.3])
    parser.add_argument("--worlds", nargs="*", choices=list(WORLDS), default=list(WORLDS)[:1])
    options = parser.parse_args(arguments)
    seeds = range(1, options.practices + 1)
    for world in options.worlds:
        alarms, years = 0, 0.0
        for seed in seeds:
            cases, _ = gathered(random_practice(TANKS, DAYS, seed, (3, 6), 5), seed, world)
            alarms += named_in_vain(cases)
            years += sum(case.days for case in cases) / 365.25
        print(f"{world}: {alarms} named in vain in {years:.0f} tank-years", flush=True)
        for share in options.shares:
            found = [one for seed in seeds for one in struck(seed, world, share)]
            days = np.array([one.days for one in found])
            within = "".join(f"{100 * (days <= d).mean():5.0f} % in {d} d" for d in WITHIN_D)
            instead = 100 * np.mean([one.instead for one in found])
            homes = np.median([one.homes for one in found])
            print(
                f"  at {100 * share:.0f} %: {len(found)} species of {homes:.0f} tanks; named:"
                f"{within}; a tank or area of theirs {instead:.0f} %",
                flush=True,
            )


if __name__ == "__main__":
    main(sys.argv[1:])
