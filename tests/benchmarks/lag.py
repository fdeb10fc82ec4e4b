"""Does the recommended interval keep its word where plants lose days after every cut?

    python -m tests.benchmarks.lag [--practices 40] [--tanks 6] [--lags 0 1 3 5 prior] [--jobs 2]
        [--gap-d 7] [--spans 13] [--found 0.85 1] [--pause 1] [--plain]

Practices richer than the model are logged every week for 13 spans, all gaps alike or with one visit
of every tank left out, and are then advised. Printed for each lag (days of growth that every cut
costs, or drawn for each form from the prior): the chance promised of the recommended interval, the
true chance that its cuts keep (``true_chance_all_within``), how many intervals were longer than
any gap in the log, and visits a year over those of somebody who knows all lasting effects.

With ``--found`` every area is found at a share of its true ceiling between the two at the first
visit, as at a takeover; with ``--gap-d 35 --spans 6`` most come near it again and again. Pauses
after hard cuts are ``--pause`` times those of the table. With ``--plain`` practices are those of
the model itself.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, fields, replace
from datetime import timedelta
from functools import reduce
from operator import add

import numpy as np

from growthcast.service.advice import TankAdvice
from tests.recovery.following import advise
from tests.simulator import Away, Course, Richness, true_chance_all_within
from tests.simulator.plan import PracticePlan
from tests.simulator.practice import random_practice

__all__ = ["PLAIN", "PRIOR", "STEMS", "Advised", "Log", "advised_practice", "logged_course"]

WEEK_D = 7
WANTED = 0.90
ORACLE_DRAWS = 256
FIRST_SEED = 300
PRIOR = "prior"
STEMS = ("stem",)
HIGHEST_SHARE = 0.995
"""Nothing stands above this share of its ceiling."""
RICH = Richness(irregular=False, missed_visit_share=0.0)
PLAIN = Richness.plain(span_spread=0.0, drift_spread=0.15, pause=1.0, hand_spread=0.05)


@dataclass(frozen=True)
class Log:
    """The visits of a log [d], and at which shares of its ceiling an area is first found."""

    gap_d: int = WEEK_D
    spans: int = 13
    found_share: tuple[float, float] | None = None


WEEKLY = Log()


@dataclass
class Advised:
    """What came of the recommendations, one entry a tank that got one; visits of all tanks."""

    promised: list[float] = field(default_factory=list)
    kept: list[float] = field(default_factory=list)
    beyond: list[bool] = field(default_factory=list)
    visits: float = 0.0
    oracle_visits: float = 0.0

    def __add__(self, other: Advised) -> Advised:
        """Two practices together."""
        return Advised(*(getattr(self, f.name) + getattr(other, f.name) for f in fields(self)))


def advised_practice(
    seed: int,
    lag: str,
    doubled: bool,
    tanks: int,
    forms: tuple[str, ...] = STEMS,
    richness: Richness = RICH,
    log: Log = WEEKLY,
) -> Advised:
    """Log a practice, advise it and ask the truth what becomes of the advice."""
    course = logged_course(seed, lag, doubled, tanks, forms, richness, log)
    plan = course.plan
    advice = advise(course)
    found = Advised()
    for k, tank in enumerate(advice):
        chosen = tank.recommended_interval_d
        oracle = _oracle(course, k, tank, seed)
        found.visits += 1.0 / (chosen or tank.options[0].interval_d)
        found.oracle_visits += 1.0 / oracle
        if chosen is None:
            continue
        option, cut = tank.option(chosen), np.full(len(plan.areas), np.nan)
        for area in option.areas:
            cut[course.plan.areas.index(_area(plan, area.area_id))] = area.cut_cm
        found.promised.append(option.chance_all_within)
        found.kept.append(_true_chance(course, k, chosen, cut, seed))
        found.beyond.append(chosen > log.gap_d * (2 if doubled else 1))
    return found


def logged_course(
    seed: int,
    lag: str,
    doubled: bool,
    tanks: int,
    forms: tuple[str, ...],
    richness: Richness,
    log: Log,
) -> Course:
    """Log a practice to the end of its last span."""
    drawn = lag == PRIOR
    richness = replace(richness, lag_drawn=drawn, lag_d=0.0 if drawn else float(lag))
    plan = random_practice(tanks, log.gap_d * log.spans, seed, (2, 5), 60, forms)
    course = Course(_regular(plan, log.gap_d, doubled), seed, richness)
    if log.found_share is not None:
        share = np.random.default_rng([seed, 77]).uniform(*log.found_share, len(plan.areas))
        course.height = np.minimum(share, HIGHEST_SHARE) * course.world.ceiling
    _tend(course, log.gap_d * log.spans)
    return course


def _tend(course: Course, days: int) -> None:
    """Cut every area that stands above its usual cut at every visit, and log it."""
    aims = np.array([area.aim_cm for area in course.plan.areas])
    due = [course.gardener.visit_days(tank) for tank in course.plan.tanks]
    for _ in range(days + 1):
        for tank, days in enumerate(due):
            if course.on.toordinal() in days:
                course.visit(tank, aims)
        course.grow()


def _regular(plan: PracticePlan, gap_d: int, doubled: bool) -> PracticePlan:
    """Visit all tanks at one rhythm, but for one visit of each where gaps are to differ."""
    tanks = []
    for number, tank in enumerate(plan.tanks):
        first = plan.first_on + timedelta(days=number % WEEK_D)
        regular = replace(tank, interval_d=gap_d, first_visit=first)
        left_out = first + timedelta(days=gap_d * (4 + number % 7))
        away = (Away(left_out, left_out),) if doubled else ()
        tanks.append(replace(regular, away=away))
    return replace(plan, tanks=tuple(tanks))


def _area(plan: PracticePlan, area_id: str):
    return next(area for area in plan.areas if area.area_id == area_id)


def _true_chance(course: Course, tank: int, interval_d: int, cut: np.ndarray, seed: int) -> float:
    return float(true_chance_all_within(course, [tank], interval_d, cut, ORACLE_DRAWS, seed)[0])


def _oracle(course: Course, tank: int, advice: TankAdvice, seed: int) -> int:
    """Longest listed interval that holds from the least cuts, the shortest where none does."""
    areas, traits = course.plan.areas, course.world.traits
    pairs = zip(areas, traits, strict=True)
    least = np.array([max(area.floor_cm, its.lowest_cut_cm) for area, its in pairs])
    listed = sorted(
        (o.interval_d for o in advice.options if o.interval_d <= advice.longest_interval_d),
        reverse=True,
    )
    for days in listed:
        if _true_chance(course, tank, days, least, seed) >= WANTED:
            return days
    return listed[-1]


def report(name: str, found: Advised) -> str:
    """Put the figures of one kind of practice into a line."""
    kept = np.array(found.kept)
    return (
        f"{name:24s} promised {np.mean(found.promised):.3f}  kept {kept.mean():.3f} +- "
        f"{kept.std() / max(kept.size, 1) ** 0.5:.3f} of {kept.size:4d}  longer than any gap "
        f"{np.mean(found.beyond):.2f}  visits over the oracle's "
        f"{found.visits / found.oracle_visits:.3f}"
    )


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the benchmark."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--practices", type=int, default=40)
    parser.add_argument("--tanks", type=int, default=6, help="tanks of each practice")
    parser.add_argument("--lags", nargs="+", default=["0", "1", "3", "5", PRIOR])
    parser.add_argument("--gaps", nargs="+", choices=("alike", "doubled"), default=None)
    parser.add_argument("--forms", nargs="+", default=list(STEMS))
    parser.add_argument("--gap-d", type=int, default=WEEKLY.gap_d)
    parser.add_argument("--spans", type=int, default=WEEKLY.spans)
    parser.add_argument("--found", type=float, nargs=2, default=None)
    parser.add_argument("--pause", type=float, default=1.0)
    parser.add_argument("--plain", action="store_true")
    parser.add_argument("--jobs", type=int, default=2)
    asked = parser.parse_args(arguments)
    log = Log(asked.gap_d, asked.spans, asked.found and tuple(asked.found))
    richness = replace(PLAIN if asked.plain else RICH, pause=asked.pause)
    seeds = range(FIRST_SEED, FIRST_SEED + asked.practices)
    forms = tuple(asked.forms)
    with ProcessPoolExecutor(asked.jobs) as pool:
        for gaps in asked.gaps or ("alike", "doubled"):
            for lag in asked.lags:
                same = (lag, gaps == "doubled", asked.tanks, forms, richness, log)
                kinds = [[kind] * len(seeds) for kind in same]
                found = reduce(add, pool.map(advised_practice, seeds, *kinds))
                sys.stdout.write(report(f"lag {lag}, gaps {gaps}", found) + "\n")
                sys.stdout.flush()
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
