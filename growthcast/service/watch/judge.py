"""Whether a tank, one of its areas or a species grows otherwise than it used to."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from growthcast.book.book import Book
from growthcast.forecast.hindsight import log_visits
from growthcast.service.watch.doubt import Foreseen, Wander, doubts_of
from growthcast.service.watch.evidence import BIN_D, Evidence
from growthcast.service.watch.slips import slips_set_aside
from growthcast.service.watch.scan import (
    Change,
    Course,
    change_of,
    course_of,
    strongest,
    thresholds,
    without,
)

__all__ = [
    "ALARMS_A_YEAR",
    "SPANS_BEFORE",
    "Index",
    "TankCase",
    "Verdict",
    "cases_of",
    "growth_index",
    "judge_species",
    "judge_tank",
    "limits_of",
    "span_days",
    "tank_case",
]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

ALARMS_A_YEAR = {
    ("tank", -1.0): 0.28,
    ("tank", 1.0): 0.04,
    ("area", -1.0): 0.11,
    ("area", 1.0): 0.04,
    ("species", -1.0): 0.02,
    ("species", 1.0): 0.01,
}
"""False alarms per tank and year, by who is suspected and the sign: one in two years together."""
SPANS_BEFORE = 4
"""Visits with growth to read that must lie before a change of a tank."""
OWN_SPANS_BEFORE = 3
"""The same for a change of a single area."""
MOST_VERDICTS = 3
NEAR_GAIN = 2.0
"""Log likelihood ratio within which another explanation is named as well."""


@dataclass(frozen=True, slots=True)
class Verdict:
    """Something that changed: the whole tank, or one area (its place), or a species (its place).

    ``noticed_day`` is the first visit from which on the test has stood beyond its threshold;
    ``also`` names the other suspects that explain the readings nearly as well, "tank" or areas.
    """

    kind: str
    place: int
    change: Change
    since_day: FloatArray
    noticed_day: float
    also: tuple[tuple[str, int], ...]


@dataclass(frozen=True, slots=True)
class TankCase:
    """All that is known of a tank's readings (n,) since the origin."""

    tank: int
    evidence: Evidence
    known: Foreseen
    areas: IntArray
    course: Course
    days: float
    slipped: BoolArray


def cases_of(book: Book, evidence: Evidence, wander: Wander) -> list[TankCase]:
    """Prepare every tank that has readings since the origin, in the order of tanks.csv."""
    spans = span_days(book, evidence.usual.design.tank)
    cases = [tank_case(evidence, tank, spans[tank], wander) for tank in range(len(spans))]
    return [case for case in cases if case is not None]


def span_days(book: Book, tank: IntArray) -> list[dict[int, FloatArray]]:
    """Days on which growth could be read, of every area (by place) of every tank."""
    visits = log_visits(book)
    visits = visits.keep(visits.follows)
    days = [
        {int(a): visits.day[visits.area == a] for a in np.flatnonzero(tank == k)}
        for k in range(len(book.tanks))
    ]
    return days


def tank_case(
    evidence: Evidence, tank: int, span_days: dict[int, FloatArray], wander: Wander
) -> TankCase | None:
    """Prepare one tank's readings, None where there are none.

    ``span_days`` gives, for each area of the tank, the days on which growth could be read.
    """
    mine = evidence.of(evidence.tank == tank)
    if not mine.area.size:
        return None
    areas = np.unique(mine.area)
    suspects = np.concatenate([np.ones((1, mine.area.size), bool), areas[:, None] == mine.area])
    of_tank = np.unique(np.concatenate([np.zeros(0), *span_days.values()]))
    ready = [_nth(of_tank, SPANS_BEFORE)]
    ready += [
        max(ready[0], _nth(span_days.get(int(area), np.zeros(0)), OWN_SPANS_BEFORE))
        for area in areas.tolist()
    ]
    open_week = mine.bin_day >= np.maximum(np.array(ready), evidence.origin_day)[:, None]
    if areas.size == 1:
        suspects, open_week = suspects[:1], open_week[:1]
    known = doubts_of(mine, tank).under(wander)
    known, slipped = slips_set_aside(known, mine.grown_cm, mine.area, mine.day)
    course = course_of(known, mine.grown_cm, suspects, mine.day, open_week)
    days = float(mine.day[-1] - evidence.origin_day)
    return TankCase(tank, mine, known, areas, course, days, slipped)


def _nth(days: FloatArray, count: int) -> float:
    """The day by which so many days had passed, infinite where there are fewer."""
    return float(days[count - 1]) if days.size >= count else np.inf


def judge_tank(case: TankCase) -> list[Verdict]:
    """Name what changed in a tank, the likeliest explanation first; empty when nothing has.

    Once a change is found it is allowed for, and what is left is asked again.
    """
    course, found = case.course, []
    if not course.open_week.any():
        return []
    limits = limits_of(case)
    for _ in range(MOST_VERDICTS):
        verdict, effect = _likeliest(case, course, limits)
        if verdict is None:
            break
        found.append(verdict)
        course = without(course, effect)
    return found


def limits_of(case: TankCase, often: float = 1.0) -> FloatArray:
    """Thresholds (J, 2) of the tank and each of its areas, for a drop and a rise.

    ``often`` multiplies the false alarms that are allowed.
    """
    count = case.course.effect.shape[0]
    tank_rates = tuple(often * ALARMS_A_YEAR["tank", sign] for sign in (-1.0, 1.0))
    area_rates = tuple(often * ALARMS_A_YEAR["area", sign] for sign in (-1.0, 1.0))
    if count == 1:  # one planted area: its plant and its tank are one suspect
        tank_rates, area_rates = tuple(np.add(tank_rates, area_rates).tolist()), ()
    groups = (np.array([0]), np.arange(1, count))[: 1 if count == 1 else 2]
    return thresholds(case.course, groups, tank_rates + area_rates, case.days)


def _likeliest(
    case: TankCase, course: Course, limits: FloatArray
) -> tuple[Verdict | None, FloatArray]:
    """The likeliest of the changes beyond their thresholds, and its effect (n,)."""
    nothing = np.zeros(0)
    reached = np.stack(
        [strongest(course, course.surprise[:, None], sign)[:, -1, 0] for sign in (-1.0, 1.0)],
        axis=1,
    )
    passed = reached > limits
    if not passed.any():
        return None, nothing
    gain = 0.5 * reached**2
    gain[1:] -= np.log(max(gain.shape[0] - 1, 1))  # one of several areas, and no matter which
    suspect, side = np.unravel_index(int(np.argmax(np.where(passed, gain, -np.inf))), gain.shape)
    near = gain[:, side] > gain[suspect, side] - NEAR_GAIN
    near[suspect] = False
    sign = (-1.0, 1.0)[int(side)]
    change = change_of(course, int(suspect), sign)
    verdict = Verdict(
        kind="area" if suspect else "tank",
        place=int(case.areas[suspect - 1]) if suspect else case.tank,
        change=change,
        since_day=case.evidence.bin_day[change.week] + np.array([0.0, 0.5, 1.0]) * BIN_D,
        noticed_day=_noticed(case, course, int(suspect), sign, limits[suspect, int(side)]),
        also=tuple(
            ("area", int(case.areas[j - 1])) if j else ("tank", case.tank)
            for j in np.flatnonzero(near).tolist()
        ),
    )
    return verdict, course.effect[int(suspect), change.best_week]


def _noticed(case: TankCase, course: Course, suspect: int, sign: float, limit: float) -> float:
    """The first visit day from which on a suspect has stood beyond its threshold."""
    reached = strongest(course, course.surprise[:, None], sign)[suspect, :, 0]
    below = np.flatnonzero(reached <= limit)
    first = int(below[-1]) + 1 if below.size else 0
    return float(np.unique(case.evidence.day)[min(first, reached.size - 1)])


def judge_species(cases: list[TankCase], species: IntArray, place: int) -> Verdict | None:
    """Say whether one species has changed across tanks, each tank's own change allowed for.

    Parameters
    ----------
    cases : list of TankCase
        All tanks.
    species : int array (A,)
        Species of each area of the book.
    place : int
        Place of the species.

    Returns
    -------
    Verdict or None
        None where fewer than two tanks can tell the species from the tank, or nothing changed.
    """
    parts = [part for case in cases if (part := _contrast(case, species, place)) is not None]
    if len(parts) < 2:
        return None
    surprise, effect, day = (
        np.concatenate([part[field] for part in parts], axis=-1) for field in range(3)
    )
    order = np.argsort(day, kind="stable")
    course = Course(
        surprise=surprise[order],
        effect=effect[None][:, :, order],
        visit=np.unique(day[order], return_inverse=True)[1],
        open_week=np.any([part[3] for part in parts], axis=0)[None],
    )
    if not course.open_week.any():
        return None
    rates = tuple(len(parts) * ALARMS_A_YEAR["species", sign] for sign in (-1.0, 1.0))
    days = max(case.days for case in cases)
    limits = thresholds(course, (np.array([0]),), rates, days)[0]
    for limit, sign in zip(limits.tolist(), (-1.0, 1.0), strict=True):
        reached = strongest(course, course.surprise[:, None], sign)[0, :, 0]
        if reached[-1] <= limit:
            continue
        change = change_of(course, 0, sign)
        agree = sum(
            bool(sign * (part[1][change.best_week] @ part[0]) > 1.0 * _length(part, change))
            for part in parts
        )
        if agree < 2:  # one tank alone is that area's trouble
            continue
        below = np.flatnonzero(reached <= limit)
        first = int(below[-1]) + 1 if below.size else 0
        bins = cases[0].evidence.bin_day
        return Verdict(
            kind="species",
            place=place,
            change=change,
            since_day=bins[change.week] + np.array([0.0, 0.5, 1.0]) * BIN_D,
            noticed_day=float(np.unique(day)[min(first, reached.size - 1)]),
            also=(),
        )
    return None


def _length(part: tuple[FloatArray, ...], change: Change) -> float:
    return float(np.sqrt((part[1][change.best_week] ** 2).sum()))


def _contrast(
    case: TankCase, species: IntArray, place: int
) -> tuple[FloatArray, FloatArray, FloatArray, BoolArray] | None:
    """Surprises (n,), effect (T, n) of the species beyond that of its tank, days, open weeks."""
    mine = np.flatnonzero(species[case.areas] == place)
    course = case.course
    if not mine.size or mine.size == case.areas.size:
        return None
    whole, own = course.effect[0], course.effect[1 + mine].sum(axis=0)
    shared = (own * whole).sum(axis=1) / np.maximum((whole**2).sum(axis=1), 1e-12)
    open_week = course.open_week[1 + mine].any(axis=0)
    effect = np.where(open_week[:, None], own - shared[:, None] * whole, 0.0)
    return course.surprise, effect, case.evidence.day, open_week


@dataclass(frozen=True, slots=True)
class Index:
    """Growth over usual (1 = as usual), its sd, and the sd it has when nothing changes."""

    share: float
    sd: float
    usual_sd: float


def growth_index(case: TankCase, rows: IntArray) -> Index | None:
    """Common growth of some readings (m,) against their areas' usual growth.

    Returns
    -------
    Index or None
        None where the readings show so little growth that its share is not known to within 1.
    """
    if not rows.size:
        return None
    block = np.ix_(rows, rows)
    grown = case.evidence.grown_cm[rows].sum(axis=1)
    pull = np.linalg.solve(case.known.noise[block], grown)
    information = float(grown @ pull)
    if information < LEAST_INDEX_INFORMATION:
        return None
    pull = pull / information
    usual = float(np.sqrt(pull @ case.known.covariance[block] @ pull))
    return Index(1.0 + float(pull @ case.known.surprise_cm[rows]), information**-0.5, usual)


LEAST_INDEX_INFORMATION = 1.0
