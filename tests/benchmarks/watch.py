"""How soon ``growthcast watch`` sees a planted fault, and how often it sees one that is not there.

``python -m tests.benchmarks.watch`` simulates practices that are richer than the fitted model,
plants faults nobody wrote down right after a visit, and prints for each kind the share caught
within three visits, beside the false alarms per tank and year of the same practices without a
fault. Beside it stands what a single visit can tell: the deviation with which it shows a tank's
growth, as a share of the usual, from errors alone and with the wandering that is usual.
``--curve`` prints the same for fewer and more false alarms, ``--usual-wander`` what they are where
no practice's own wander is learnt. All of it is invented.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import lru_cache
from pathlib import Path

import numpy as np
from threadpoolctl import threadpool_limits

from growthcast.book.read import read_book
from growthcast.fit.design import day_number
from growthcast.service.watch import readings
from growthcast.service.watch.judge import judge_tank, limits_of
from growthcast.service.watch.readings import TankCase, gather_cases, growth_index, origin_of
from growthcast.service.watch.scan import strongest
from tests.simulator import Condition, Fault, Richness, simulate
from tests.simulator.plan import PracticePlan, TankPlan
from tests.simulator.practice import random_practice
from tests.simulator.truth import SimulatedPractice

DAYS = 540
FAULT_BEFORE_END_D = 100
TANKS = 12
KINDS: Mapping[str, str] = {
    "none": "nothing",
    "drop 80": "whole tank at 80 %",
    "drop 60": "whole tank at 60 %",
    "drop 40": "whole tank at 40 %",
    "co2": "CO2 off (3 mg/L left), tanks with CO2",
    "lamp": "lamp at 60 %",
    "dosing": "dosing stopped: NO3 0.5, PO4 0.02, K 0.5 mg/L",
    "area 60": "one area at 60 %",
    "area 30": "one area at 30 %",
}


WORLDS: Mapping[str, Richness] = {
    "rich": Richness(),
    "steady": Richness(drift_spread=0.05, season_share=0.03),
    "heights": Richness(mixed_rows=False, quick_visit_share=0.0),
    "steady heights": Richness(
        drift_spread=0.05, season_share=0.03, mixed_rows=False, quick_visit_share=0.0
    ),
    "restless heights": Richness(
        drift_spread=0.3, season_share=0.15, mixed_rows=False, quick_visit_share=0.0
    ),
}
"""Tanks drift by 15 % and swing by 8 % over the year, or hardly, or twice as far; rows of all
kinds, or heights."""
OFTEN = (0.25, 0.5, 1.0, 2.0, 4.0)
"""Multiples of the false alarms that the command allows."""


@dataclass(frozen=True, slots=True)
class Watched:
    """One tank: visits from the fault to the first alarm, and what was said at the end.

    For each multiple ``often`` of false alarms: ``delay``, infinite where there was no alarm after
    the fault; ``early``, an alarm before it (or at all, where there is none). ``tank_days``
    counts the days watched without a fault, ``visits_after`` the visits after it; ``named`` is what
    the first verdict at the end of the log blames; ``sd`` and ``usual_sd`` are those of the growth
    that a middling visit shows.
    """

    tank_id: str
    often: tuple[float, ...]
    delay: tuple[float, ...]
    early: tuple[bool, ...]
    tank_days: float
    visits_after: int
    named: str
    sd: float
    usual_sd: float


def fault_days(plan: PracticePlan, seed: int) -> dict[str, date]:
    """Return for each tank the first visit in the last hundred days."""
    visited = simulate(plan, seed, Richness()).truth.visited
    near = plan.last_on - timedelta(days=FAULT_BEFORE_END_D)
    return {name: min(day for day in days if day >= near) for name, days in visited.items()}


def with_fault(plan: PracticePlan, kind: str, on: Mapping[str, date]) -> PracticePlan:
    """Plant a fault in every tank, from its own date on."""
    if kind == "none":
        return plan
    what, _, share = kind.partition(" ")
    if what == "drop":
        faults = tuple(Fault(day, int(share) / 100, tank_id=name) for name, day in on.items())
        return replace(plan, faults=faults)
    if what == "area":
        firsts = {area.tank_id: area.area_id for area in reversed(plan.areas)}
        faults = tuple(
            Fault(day, int(share) / 100, area_id=firsts[name]) for name, day in on.items()
        )
        return replace(plan, faults=faults)
    tanks = tuple(_failing(tank, what, on[tank.tank_id]) for tank in plan.tanks)
    return replace(plan, tanks=tanks)


def _failing(tank: TankPlan, what: str, on: date) -> TankPlan:
    """Change a tank's conditions without a word."""
    earlier = tuple(condition for condition in tank.conditions if condition.from_date <= on)
    light = [c.values["ppfd_umol"] for c in earlier if "ppfd_umol" in c.values][-1]
    values = {
        "co2": {"co2_mg_l": 3.0},
        "lamp": {"ppfd_umol": 0.6 * light},
        "dosing": {"no3_mg_l": 0.5, "po4_mg_l": 0.02, "k_mg_l": 0.5},
    }[what]
    return replace(tank, conditions=(*earlier, Condition(on, values, written=False)))


def has_co2(tank: TankPlan) -> bool:
    """Whether CO2 is injected into a tank."""
    return tank.conditions[0].values["co2_mg_l"] > 10.0


def gathered(plan: PracticePlan, seed: int, world: str) -> tuple[list[TankCase], SimulatedPractice]:
    """Simulate a practice and make its tanks ready to be judged on its last day."""
    practice = simulate(plan, seed, WORLDS[world])
    return cases_of(practice), practice


def cases_of(practice: SimulatedPractice) -> list[TankCase]:
    """Make the tanks of a practice ready to be judged on its last day."""
    on = practice.plan.last_on
    with tempfile.TemporaryDirectory() as folder:
        practice.write_book(Path(folder))
        book = read_book(Path(folder), today=on)
    last = day_number(on)
    origin = origin_of(book, last)
    assert origin is not None
    with threadpool_limits(limits=1, user_api="blas"):
        return gather_cases(book, last, origin)[0]


@lru_cache(maxsize=16)
def faulty(
    kind: str, seed: int, world: str, days: int = DAYS
) -> tuple[PracticePlan, Mapping[str, date], list[TankCase]]:
    """Plan a practice, plant one kind of fault, make its tanks ready to be judged at the end."""
    plan = random_practice(TANKS, days, seed, (3, 6), 5)
    on = fault_days(plan, seed)
    return plan, on, gathered(with_fault(plan, kind, on), seed, world)[0]


def watched(
    kind: str,
    seed: int,
    world: str = "rich",
    days: int = DAYS,
    often: tuple[float, ...] = (1.0,),
) -> Iterator[Watched]:
    """Watch the tanks of one practice into which one kind of fault was planted."""
    plan, on, cases = faulty(kind, seed, world, days)
    for case in cases:
        tank = plan.tanks[case.tank]
        if kind != "co2" or has_co2(tank):
            yield _watched(case, day_number(on[tank.tank_id]), kind, often)


def _watched(case: TankCase, fault_day: float, kind: str, often: tuple[float, ...]) -> Watched:
    days = np.unique(case.evidence.day)
    since = int(np.searchsorted(days, fault_day, side="right"))  # the first visit after the fault
    delay, early = [], []
    for times in often:
        alarms = np.flatnonzero(_beyond(case, limits_of(case, times)))
        after = alarms[alarms >= since]
        delay.append(float(after[0]) - since + 1 if after.size else np.inf)
        early.append(bool(alarms.size if kind == "none" else (alarms < since).any()))
    verdicts = judge_tank(case, limits_of(case))
    found = [growth_index(case, np.flatnonzero(case.evidence.day == day)) for day in days]
    points = [point for point in found if point is not None]
    return Watched(
        tank_id=str(case.design.tank_id[case.tank]),
        often=often,
        delay=tuple(delay),
        early=tuple(early),
        tank_days=case.days if kind == "none" else fault_day - case.evidence.origin_day,
        visits_after=days.size - since,
        named=verdicts[0].kind if verdicts else "",
        sd=float(np.median([point.sd for point in points])) if points else np.inf,
        usual_sd=float(np.median([point.usual_sd for point in points])) if points else np.inf,
    )


def _beyond(case: TankCase, limits: np.ndarray) -> np.ndarray:
    """After which visits (V,) anything stands beyond its threshold."""
    course = case.course
    own = course.surprise[:, None]
    sides = [
        (strongest(course, own, sign)[:, :, 0] > limits[:, side, None]).any(axis=0)
        for side, sign in enumerate((-1.0, 1.0))
    ]
    return sides[0] | sides[1]


def summary(runs: list[Watched], often: float = 1.0) -> dict[str, float]:
    """Shares over the tanks of several practices; of those with an early alarm no delay counts."""
    at = runs[0].often.index(often)
    delays = np.array([run.delay[at] for run in runs if not run.early[at]])
    years = sum(run.tank_days for run in runs) / 365.25
    caught = delays[np.isfinite(delays)]
    return {
        "tanks": len(runs),
        "alarms_a_tank_year": sum(run.early[at] for run in runs) / years,
        **{f"within_{n}": float((delays <= n).mean()) for n in (1, 2, 3, 5)},
        "median_visits": float(np.median(caught)) if caught.size else float("nan"),
        "sd": float(np.median([run.sd for run in runs])),
        "usual_sd": float(np.median([run.usual_sd for run in runs])),
        "tank_named": float(np.mean([run.named == "tank" for run in runs if run.named] or [0.0])),
    }


def main(arguments: list[str]) -> None:
    """Print the operating figures."""
    parser = argparse.ArgumentParser(description="Planted faults, in simulated practices.")
    parser.add_argument("--practices", type=int, default=8)
    parser.add_argument("--first", type=int, default=1, help="first seed")
    parser.add_argument("--days", type=int, default=DAYS, help="length of the logs [d]")
    parser.add_argument("--kinds", nargs="*", choices=list(KINDS), default=list(KINDS))
    parser.add_argument("--worlds", nargs="*", choices=list(WORLDS), default=["rich"])
    parser.add_argument("--curve", action="store_true")
    parser.add_argument("--usual-wander", action="store_true")
    options = parser.parse_args(arguments)
    if options.usual_wander:
        readings.wander_before = lambda *_: readings.USUAL_WANDER
    often = OFTEN if options.curve else (1.0,)
    for world in options.worlds:
        print(f"{world}: alarms allowed x, false a tank-year, caught within 1, 2, 3, 5 visits")
        for kind in options.kinds:
            seeds = range(options.first, options.first + options.practices)
            runs = [
                run for seed in seeds for run in watched(kind, seed, world, options.days, often)
            ]
            for times in often:
                s = summary(runs, times)
                print(
                    f"{KINDS[kind]:48s} {s['tanks']:4.0f} x{times:<5g}"
                    f"{s['alarms_a_tank_year']:6.2f} "
                    + "".join(f"{100 * s[f'within_{n}']:5.0f} %" for n in (1, 2, 3, 5))
                    + f"  median {s['median_visits']:3.0f}  a visit ± {100 * s['sd']:.0f} %"
                    + f" and ± {100 * s['usual_sd']:.0f} %"
                    + f"  tank blamed {100 * s['tank_named']:3.0f} %",
                    flush=True,
                )


if __name__ == "__main__":
    main(sys.argv[1:])
