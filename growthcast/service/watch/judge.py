"""Whether a tank, one of its areas or a species grows otherwise than it used to."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray
from growthcast.fit.foreseen import BIN_D
from growthcast.service.watch.cases import TankCase
from growthcast.service.watch.scan import (
    Change,
    Course,
    change_of,
    strongest,
    thresholds,
    without,
)

ALARMS_A_YEAR = {
    ("tank", -1.0): 0.28,
    ("tank", 1.0): 0.04,
    ("area", -1.0): 0.11,
    ("area", 1.0): 0.04,
    ("species", -1.0): 0.02,
    ("species", 1.0): 0.01,
}
"""False alarms per tank and year, by who is suspected and the sign: one in two years together."""
REGULARITY = 0.7
"""Share of these that thresholds allow by the model's own draws. Plants are less regular than that:
in simulated practices richer than the model it leaves about one in two years (docs/evidence.md)."""
Contrast = tuple[FloatArray, FloatArray, FloatArray, BoolArray]
MOST_VERDICTS = 3
NEAR_GAIN = 2.0
"""Log likelihood ratio within which another explanation is named as well."""


@dataclass(frozen=True, slots=True)
class Verdict:
    """Something that changed: the whole tank, or one area (its place), or a species (its place).

    ``noticed_day`` is the first visit since it began at which the test passed its threshold;
    ``also`` names the other suspects that explain the readings nearly as well, "tank" or areas.
    """

    kind: str
    place: int
    change: Change
    since_day: FloatArray
    noticed_day: float
    also: tuple[tuple[str, int], ...]


def judge_tank(case: TankCase, limits: FloatArray) -> list[Verdict]:
    """Name what changed in a tank, the likeliest explanation first; empty when nothing has.

    ``limits`` (J, 2) are the tank's thresholds from ``limits_of``. Once a change is found it is
    allowed for, and what is left is asked again.
    """
    course, found = case.course, []
    if not course.open_week.any():
        return []
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
    tank_rates = tuple(often * REGULARITY * ALARMS_A_YEAR["tank", sign] for sign in (-1.0, 1.0))
    area_rates = tuple(often * REGULARITY * ALARMS_A_YEAR["area", sign] for sign in (-1.0, 1.0))
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
        noticed_day=_noticed(
            strongest(course, course.surprise[:, None], sign)[suspect, :, 0],
            limits[suspect, int(side)],
            np.unique(case.evidence.day),
            case.evidence.bin_day[change.week[0]],
        ),
        also=tuple(
            ("area", int(case.areas[j - 1])) if j else ("tank", case.tank)
            for j in np.flatnonzero(near).tolist()
        ),
    )
    return verdict, course.effect[int(suspect), change.best_week]


def _noticed(reached: FloatArray, limit: float, day: FloatArray, began_day: float) -> float:
    """The first of the visit days (V,) since a change began on which ``z`` (V,) was beyond.

    The last one is beyond, else there were no verdict. A visit between at which the test fell back
    does not count: what was noticed stays noticed when the book is asked again later.
    """
    beyond = (reached > limit) & (day >= began_day)
    return float(day[int(np.argmax(beyond))])


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
    contrasts = [(case.areas, _contrast(case, species, place)) for case in cases]
    homes = [areas for areas, part in contrasts if part is not None]
    parts = [part for _, part in contrasts if part is not None]
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
        open_week=np.stack([part[3] for part in parts]).max(axis=0, keepdims=True),
    )
    if not course.open_week.any():
        return None
    # A tank's allowance is shared by all of its species.
    allowed = sum(1.0 / np.unique(species[areas]).size for areas in homes)
    rates = tuple(allowed * REGULARITY * ALARMS_A_YEAR["species", sign] for sign in (-1.0, 1.0))
    days = max(case.days for case in cases)
    limits = thresholds(course, (np.array([0]),), rates, days)[0]
    for limit, sign in zip(limits.tolist(), (-1.0, 1.0), strict=True):
        reached = strongest(course, course.surprise[:, None], sign)[0, :, 0]
        if reached[-1] <= limit:
            continue
        change = change_of(course, 0, sign)
        alone = np.array([_alone(part, change.best_week, sign) for part in parts])
        rival = max(_own(case, species, place, sign) for case in cases)
        if (alone > 1.0).sum() < 2 or change.gain < 0.5 * rival**2 + NEAR_GAIN:
            continue  # one tank alone explains as much: that area's trouble
        bins = cases[0].evidence.bin_day
        return Verdict(
            kind="species",
            place=place,
            change=change,
            since_day=bins[change.week] + np.array([0.0, 0.5, 1.0]) * BIN_D,
            noticed_day=_noticed(reached, limit, np.unique(day), bins[change.week[0]]),
            also=(),
        )
    return None


def _own(case: TankCase, species: IntArray, place: int, sign: float) -> float:
    """Largest ``z`` of a single area of a species in a tank, 0 for none."""
    mine = np.flatnonzero(species[case.areas] == place)
    if not mine.size or mine.size == case.areas.size:
        return 0.0
    reached = strongest(case.course, case.course.surprise[:, None], sign)
    return float(reached[1 + mine, -1, 0].max())


def _alone(part: Contrast, week: int, sign: float) -> float:
    """How far one tank's areas of a species have changed since a week, in deviations."""
    effect = part[1][week]
    return float(sign * (effect @ part[0]) / np.sqrt(max(float(effect @ effect), 1e-12)))


def _contrast(case: TankCase, species: IntArray, place: int) -> Contrast | None:
    """Surprises (n,), effect (T, n) of the species beyond that of its tank, days, open weeks."""
    mine = np.flatnonzero(species[case.areas] == place)
    course = case.course
    if not mine.size or mine.size == case.areas.size:
        return None
    whole, own = course.effect[0], course.effect[1 + mine].sum(axis=0)
    shared = (own * whole).sum(axis=1) / np.maximum((whole**2).sum(axis=1), 1e-12)
    open_week: BoolArray = np.any(course.open_week[1 + mine], axis=0)
    effect: FloatArray = np.where(open_week[:, None], own - shared[:, None] * whole, 0.0)
    return course.surprise, effect, case.evidence.day, open_week
