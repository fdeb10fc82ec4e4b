"""Whether the chance that ``growthcast watch`` gives for noticing a drop to 60 % is kept.

``python -m tests.benchmarks.watch_power`` asks simulated practices without a fault how likely each
tank's watch notices a drop of the whole tank to 60 % within three visits, then plants that drop
right after one visit and counts what is noticed, by bands of the chance that was stated. Beside it:
of the tanks for which a number of visits is stated in 9 of 10 cases, how many kept it, and the
false alarms of the same practices without a fault. All of it is invented.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from growthcast.service.watch.judge import SOON_VISITS, limits_of, power_of
from tests.benchmarks.watch import WORLDS, faulty, watched

KIND = "drop 60"
BANDS = ((0.0, 0.4), (0.4, 0.7), (0.7, 0.9), (0.9, 1.01))


@dataclass(frozen=True, slots=True)
class Promise:
    """What one tank was told, and the visits that a planted drop took (infinite if never).

    ``visits`` is the stated number for 9 of 10 cases, 0 for none or where the log ended earlier.
    """

    chance: float
    visits: int
    took: float


def promises(seed: int, world: str) -> Iterator[Promise]:
    """Yield the tanks of one practice that had no alarm before the drop."""
    powers = {}
    for case in faulty("none", seed, world)[2]:
        powers[str(case.design.tank_id[case.tank])] = power_of(case, limits_of(case))
    for run in watched(KIND, seed, world):
        power = powers.get(run.tank_id)
        if power is not None and len(power.chances) >= SOON_VISITS and not run.early[0]:
            visits = power.visits_for_9_of_10 or 0
            visits = visits if visits <= run.visits_after else 0
            yield Promise(power.chances[SOON_VISITS - 1], visits, run.delay[0])


def noticed_soon(kept: list[Promise]) -> float:
    """Share noticed within three visits."""
    return float(np.mean([one.took <= SOON_VISITS for one in kept]))


def stated(kept: list[Promise]) -> float:
    """Chance of that which was stated, on average."""
    return float(np.mean([one.chance for one in kept]))


def main(arguments: list[str]) -> None:
    """Print what was stated and what was kept."""
    parser = argparse.ArgumentParser(description="Stated chances, in simulated practices.")
    parser.add_argument("--practices", type=int, default=8)
    parser.add_argument("--worlds", nargs="*", choices=list(WORLDS), default=list(WORLDS))
    options = parser.parse_args(arguments)
    seeds = range(1, options.practices + 1)
    for world in options.worlds:
        found = [one for seed in seeds for one in promises(seed, world)]
        healthy = [run for seed in seeds for run in watched("none", seed, world)]
        alarms = sum(run.early[0] for run in healthy)
        years = sum(run.tank_days for run in healthy) / 365.25
        print(f"{world}: {alarms / years:.2f} false alarms per tank and year")
        for low, high in ((0.0, 1.01), *BANDS):
            if some := [one for one in found if low <= one.chance < high]:
                print(
                    f"  {100 * low:3.0f} to {min(100 * high, 100):3.0f} %: {len(some):3d} tanks, "
                    f"stated {100 * stated(some):3.0f} %, noticed {100 * noticed_soon(some):3.0f} %"
                )
        kept = [one.took <= one.visits for one in found if one.visits]
        print(f"  9 of 10 stated: {len(kept)} tanks, kept by {sum(kept)}", flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
