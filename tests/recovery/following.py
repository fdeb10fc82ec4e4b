"""A year of a simulated practice that follows the advice to the letter.

The gardener keeps to his habits for ``BEFORE_D`` days and logs them. From then on each tank is
visited at its recommended interval (at the shortest listed one where none is feasible) and its
areas are cut to the heights advised, with the scatter of a hand. The book is fitted anew every
``REFIT_D`` days and the advice of the last fit used in between, as a practice would that runs the
command once a month. Nothing of the future is in the book, neither rows nor conditions.
"""

from __future__ import annotations

import tempfile
from dataclasses import dataclass, field, fields, replace
from pathlib import Path

import numpy as np

from growthcast.book.read import read_book
from growthcast.fit.growth import fit_growth
from growthcast.service.advice import OptionAdvice, TankAdvice
from growthcast.service.recommend import recommend
from tests.simulator import Course, Richness, true_chance_all_within
from tests.simulator.practice import random_practice

__all__ = [
    "BEFORE_D",
    "YEAR_D",
    "Followed",
    "Promise",
    "follow_advice",
    "judge",
    "visit_as_advised",
]


BEFORE_D, YEAR_D, REFIT_D = 120, 365, 28
ORACLE_DRAWS = 128
WANTED = 0.90


@dataclass
class Followed:
    """What was promised and what came of it; one entry a tank-visit, an area-visit or a tank's fit.

    Tank-visits: ``promised`` chance that all areas are within budget at the next visit, whether
    they were (``kept``), the number of the tank (``tank_of``), the ``interval_d`` and whether it
    was a ``feasible`` one. Area-visits:
    ``area_promised``, ``area_kept`` and ``area_form``. Tanks' fits, where a next longer interval
    is listed and allowed: the tank (``longer_of``), and the true chance (``longer_chance``) that
    all its areas are within budget at that interval when cut as low as looks right.
    """

    tanks: int = 0
    fits: int = 0
    promised: list[float] = field(default_factory=list)
    kept: list[bool] = field(default_factory=list)
    tank_of: list[int] = field(default_factory=list)
    interval_d: list[int] = field(default_factory=list)
    feasible: list[bool] = field(default_factory=list)
    area_promised: list[float] = field(default_factory=list)
    area_kept: list[bool] = field(default_factory=list)
    area_form: list[str] = field(default_factory=list)
    longer_of: list[str] = field(default_factory=list)
    longer_chance: list[float] = field(default_factory=list)

    def __add__(self, other: Followed) -> Followed:
        """Two practices together."""
        theirs = replace(other, tank_of=[self.tanks + tank for tank in other.tank_of])
        return Followed(*(getattr(self, f.name) + getattr(theirs, f.name) for f in fields(self)))

    def kept_and_promised(self, *, feasible_only: bool = False) -> tuple[float, float, int]:
        """Share of tank-visits with all areas within budget, as it was and as promised."""
        asked = np.array(self.feasible) | (not feasible_only)
        kept, promised = np.array(self.kept)[asked], np.array(self.promised)[asked]
        return float(kept.mean()), float(promised.mean()), int(asked.sum())

    def error_of_kept(self, asked: np.ndarray) -> float:
        """Standard error of kept less promised of some visits; a tank's share its surprises."""
        off = (np.array(self.kept) - np.array(self.promised))[asked]
        of_tanks = np.bincount(np.array(self.tank_of)[asked], off - off.mean())
        return float(np.sqrt((of_tanks**2).sum()) / off.size)

    def areas_kept_and_promised(self) -> tuple[float, float, int]:
        """Share of area-visits within budget, as it was and as promised."""
        kept, promised = np.array(self.area_kept), np.array(self.area_promised)
        return float(kept.mean()), float(promised.mean()), kept.size

    def needlessly_short(self) -> tuple[float, float]:
        """Shares that could have taken the next longer interval at the wanted chance.

        Of tanks: those to which a longer one was open at most of their fits, and whose mean true
        chance of it was the wanted one. Of all fits of all tanks, each by itself.
        """
        chance, of = np.array(self.longer_chance), np.array(self.longer_of)
        most = 0.5 * self.fits / self.tanks
        own = [chance[of == tank] for tank in np.unique(of)]
        could = sum(bool(mine.size >= most and mine.mean() >= WANTED) for mine in own)
        return could / self.tanks, float((chance >= WANTED).sum() / self.fits)


@dataclass(frozen=True)
class Promise:
    """What was said at the last visit of a tank."""

    option: OptionAdvice
    feasible: bool


def follow_advice(
    tanks: int, seed: int, days: int = YEAR_D, richness: Richness | None = None
) -> Followed:
    """Simulate one practice of ``tanks`` tanks for ``days`` of following the advice."""
    plan = random_practice(tanks, BEFORE_D + days, seed, (3, 6), 60)
    course = Course(plan, seed, richness)
    followed = Followed(tanks=tanks)
    by_habit = [set(course.gardener.visit_days(tank)) for tank in plan.tanks]
    due: list[int] = [-1] * tanks
    advice: list[TankAdvice] = []
    promises: list[Promise | None] = [None] * tanks
    for day in range(BEFORE_D + days + 1):
        if day >= BEFORE_D and (day - BEFORE_D) % REFIT_D == 0 and day < BEFORE_D + days:
            advice = advise(course)
            _ask_the_truth(course, advice, followed, seed * 1000 + day)
        for k in range(tanks):
            usual = course.on.toordinal() in by_habit[k]
            if not (usual if due[k] < 0 else day == due[k]):
                continue
            if day < BEFORE_D:
                course.visit(k)
                continue
            judge(course, k, promises[k], followed)
            promises[k] = visit_as_advised(course, k, advice[k])
            due[k] = day + promises[k].option.interval_d
        course.grow()
    return followed


def advise(course: Course) -> list[TankAdvice]:
    """Run the tool on what is known this morning."""
    with tempfile.TemporaryDirectory() as folder:
        book = read_book(course.write_book(Path(folder)), on=course.on, today=course.on)
    return recommend(book, fit_growth(book, course.on))


def _chosen(advice: TankAdvice) -> OptionAdvice:
    days = advice.recommended_interval_d
    return advice.options[0] if days is None else advice.option(days)


def visit_as_advised(course: Course, tank: int, advice: TankAdvice) -> Promise:
    option = _chosen(advice)
    place = {area.area_id: a for a, area in enumerate(course.plan.areas)}
    aims = np.full(len(course.plan.areas), np.nan)
    for area in option.areas:
        aims[place[area.area_id]] = area.cut_cm
    course.visit(tank, aims)
    return Promise(option, advice.recommended_interval_d is not None)


def judge(course: Course, tank: int, promise: Promise | None, followed: Followed) -> None:
    if promise is None:
        return
    place = {area.area_id: a for a, area in enumerate(course.plan.areas)}
    within = []
    for area in promise.option.areas:
        a = place[area.area_id]
        within.append(bool(course.height[a] <= course.plan.areas[a].budget_cm))
        followed.area_promised.append(area.chance_within)
        followed.area_form.append(course.world.traits[a].form)
    followed.area_kept += within
    followed.promised.append(promise.option.chance_all_within)
    followed.kept.append(all(within))
    followed.tank_of.append(tank)
    followed.interval_d.append(promise.option.interval_d)
    followed.feasible.append(promise.feasible)


def _ask_the_truth(course: Course, advice: list[TankAdvice], followed: Followed, seed: int) -> None:
    """True chance of the next longer interval of every tank that has one."""
    areas, traits = course.plan.areas, course.world.traits
    least = np.array(
        [max(area.floor_cm, t.lowest_cut_cm) for area, t in zip(areas, traits, strict=True)]
    )
    asked: dict[int, list[int]] = {}
    for k, tank in enumerate(advice):
        days = tank.recommended_interval_d or 0
        longer = [o.interval_d for o in tank.options if o.interval_d > days]
        longer = [d for d in longer if d <= tank.longest_interval_d]
        if longer:
            asked.setdefault(min(longer), []).append(k)
    for interval_d, tanks in asked.items():
        chance = true_chance_all_within(course, tanks, interval_d, least, ORACLE_DRAWS, seed)
        followed.longer_chance += chance.tolist()
        followed.longer_of += [f"{seed // 1000}: {advice[k].tank_id}" for k in tanks]
    followed.fits += len(advice)
