"""Is the advice as good as its word? 200 simulated tanks follow it for a year.

``python -m tests.benchmarks.advice`` simulates practices richer than the model (``Richness()``),
follows the recommended intervals and cuts as ``tests.recovery.following`` says, and prints what was
promised and what was kept, and how many tanks could have gone longer. ``--practices`` and
``--tanks`` make it smaller; ``--jobs`` processes share the work. About six minutes of one core.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial, reduce
from operator import add

import numpy as np

from tests.recovery.following import YEAR_D, Followed, follow_advice

FIRST_SEED = 11


def report(followed: Followed) -> list[str]:
    """Put the figures into lines."""
    kept = followed.kept_and_promised()
    areas = followed.areas_kept_and_promised()
    of_tanks, of_fits = followed.needlessly_short()
    lines = [
        f"{followed.tanks} tanks; within budget at the next visit, kept and promised:",
        f"  area-visits               {_pair(areas)}",
        f"  tank-visits, all areas    {_pair(kept)}",
        f"  ... with a feasible interval {_pair(followed.kept_and_promised(feasible_only=True))}",
    ]
    days, feasible = np.array(followed.interval_d), np.array(followed.feasible)
    lines[-1] += f", ± {100 * followed.error_of_kept(feasible):.1f} over tanks"
    for interval_d in np.unique(days):
        chosen = (days == interval_d) & feasible
        if chosen.any():
            share = np.array(followed.kept)[chosen].mean()
            promised = np.array(followed.promised)[chosen].mean()
            line = f"  ... of {interval_d:2d} days {_pair((share, promised, chosen.sum()))}"
            lines.append(f"{line}, ± {100 * followed.error_of_kept(chosen):.1f} over tanks")
    forms = np.array(followed.area_form)
    for form in np.unique(forms):
        chosen = forms == form
        share = np.array(followed.area_kept)[chosen].mean()
        promised = np.array(followed.area_promised)[chosen].mean()
        lines.append(f"  ... areas, {form}: {_pair((share, promised, chosen.sum()))}")
    lines.append(
        f"could have taken the next longer interval: {100 * of_tanks:.1f} % of tanks over the "
        f"year, {100 * of_fits:.1f} % of all monthly recommendations"
    )
    return lines


def _pair(figures: tuple[float, float, int]) -> str:
    kept, promised, count = figures
    return f"{100 * kept:.1f} % of {count}, promised {100 * promised:.1f} %"


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the benchmark."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--practices", type=int, default=8)
    parser.add_argument("--tanks", type=int, default=25, help="tanks of each practice")
    parser.add_argument("--days", type=int, default=YEAR_D)
    parser.add_argument("--jobs", type=int, default=2)
    asked = parser.parse_args(arguments)
    seeds = range(FIRST_SEED, FIRST_SEED + asked.practices)
    with ProcessPoolExecutor(asked.jobs) as pool:
        practices = pool.map(partial(_follow, asked.tanks, asked.days), seeds)
        followed = reduce(add, practices)
    sys.stdout.write("\n".join(report(followed)) + "\n")
    return 0


def _follow(tanks: int, days: int, seed: int) -> Followed:
    return follow_advice(tanks, seed, days)


if __name__ == "__main__":
    raise SystemExit(main())
