"""Whether a tank, an area or a species grows otherwise than it used to, and how soon that is seen.

How soon a lasting drop of a whole tank would be noticed follows from the tank's own visits: the
test is tried on draws of the tank's readings to which the drop has been added, with its own
thresholds, as if the drop had begun right after this or that visit of the time watched. A tank
whose plants grow little between visits, or whose rows tell no heights, needs more visits.
"""

from __future__ import annotations

from dataclasses import field, replace
from typing import ClassVar

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray, distinct, median
from growthcast.fit.foreseen import BIN_D, Evidence
from growthcast.nouns import dataclass
from growthcast.plain import HIDDEN, in_json
from growthcast.service.draws import stratified_normals
from growthcast.service.watch import scan
from growthcast.service.watch.readings import IndexPoint, TankCase, growth_index, growth_lately

ALARMS_A_YEAR = {"tank": (0.28, 0.04), "area": (0.11, 0.04), "species": (0.02, 0.01)}
"""False alarms per tank and year for a drop and for a rise, by who is suspected: one in two years
together."""
REGULARITY = 0.7
"""Share of these that thresholds allow by the model's own draws. Plants are less regular than that:
in simulated practices richer than the model it leaves about one in two years (docs/evidence.md)."""
SIGNS = (-1.0, 1.0)
"""Of a drop, and of a rise."""
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
    change: scan.Change
    since_day: FloatArray
    noticed_day: float
    also: tuple[tuple[str, int], ...]


def judge_tank(case: TankCase, limits: FloatArray) -> list[Verdict]:
    """Name what changed in a tank.

    Parameters
    ----------
    case : TankCase
        The tank.
    limits : array (J, 2)
        Its thresholds, as ``limits_of`` gives them [sd].

    Returns
    -------
    list of Verdict
        The likeliest explanation first; empty when nothing has changed. Once a change is found it
        is allowed for, and what is left is asked again.
    """
    course, found = case.course, []
    for _ in range(MOST_VERDICTS):
        verdict, effect = _likeliest(case, course, limits)
        if verdict is None:
            break
        found.append(verdict)
        course = scan.without(course, effect)
    return found


def limits_of(case: TankCase, often: float = 1.0) -> FloatArray:
    """Return the thresholds of a tank and each of its areas.

    Parameters
    ----------
    case : TankCase
        The tank.
    often : float
        What multiplies the false alarms that are allowed [1].

    Returns
    -------
    array (J, 2)
        For the tank, then its areas, those for a drop and for a rise [sd].
    """
    count = case.course.effect.shape[0]
    alarms = *ALARMS_A_YEAR["tank"], *ALARMS_A_YEAR["area"]
    rates = [often * REGULARITY * rate for rate in alarms]
    groups: tuple[IntArray, ...] = (np.array([0]), np.arange(1, count))
    if count == 1:  # one planted area: its plant and its tank are one suspect
        rates, groups = np.add(rates[:2], rates[2:]).tolist(), groups[:1]
    return scan.thresholds(case.course, groups, tuple(rates), case.days)


def _likeliest(
    case: TankCase, course: scan.Course, limits: FloatArray
) -> tuple[Verdict | None, FloatArray]:
    """The likeliest of the changes beyond their thresholds, and its effect (n,)."""
    courses = [scan.strongest(course, course.surprise[:, None], sign)[:, :, 0] for sign in SIGNS]
    reached = np.stack([one[:, -1] for one in courses], axis=1)
    passed = reached > limits
    if not passed.any():
        return None, np.zeros(0)
    gain = 0.5 * reached**2
    gain[1:] -= np.log(case.areas.size)  # one of several areas, and no matter which
    suspect, side = np.unravel_index(int(np.argmax(np.where(passed, gain, -np.inf))), gain.shape)
    near = gain[:, side] > gain[suspect, side] - NEAR_GAIN
    near[suspect] = False
    change = scan.change_of(course, int(suspect), SIGNS[int(side)])
    names = [("tank", case.tank), *(("area", area) for area in case.areas.tolist())]
    also = tuple(names[j] for j in np.flatnonzero(near).tolist())
    reach, limit = courses[side][suspect], limits[suspect, side]
    seen = _seen(change, case.evidence, reach > limit, distinct(case.evidence.day))
    return Verdict(*names[suspect], change, *seen, also), course.effect[suspect, change.best_week]


def _seen(
    change: scan.Change, evidence: Evidence, beyond: BoolArray, day: FloatArray
) -> tuple[FloatArray, float]:
    """Return since when, and on which day a change was noticed that is ``beyond`` (V,) its limit.

    That is the first of the visit days (V,) since it began after which it was. A visit between at
    which the test fell back does not count: what was noticed stays noticed when the book is asked
    again later.
    """
    began = evidence.bin_day[change.week]
    noticed = float(day[int(np.argmax(beyond & (day >= began[0])))])
    return began + np.array([0.0, 0.5, 1.0]) * BIN_D, noticed


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
    order = np.argsort(np.concatenate([part.day for part in parts]), kind="stable")
    surprise, effect, day = (
        np.concatenate([getattr(part, name) for part in parts], axis=-1)[..., order]
        for name in ("surprise", "effect", "day")
    )
    course = scan.Course(surprise, effect, day, np.any([p.open_week for p in parts], axis=0))
    # A tank's allowance is shared by all of its species.
    allowed = sum(1.0 / distinct(species[areas]).size for areas in homes)
    rates = tuple(allowed * REGULARITY * rate for rate in ALARMS_A_YEAR["species"])
    days = max(case.days for case in cases)
    limits = scan.thresholds(course, (np.array([0]),), rates, days)[0]
    for limit, sign in zip(limits.tolist(), SIGNS, strict=True):
        reached = scan.strongest(course, course.surprise[:, None], sign)[0, :, 0]
        if reached[-1] <= limit:
            continue
        change = scan.change_of(course, 0, sign)
        alone = np.array([_alone(part, change.best_week, sign) for part in parts])
        rival = max(_own(case, species, place, sign) for case in cases)
        if (alone > 1.0).sum() < 2 or change.gain < 0.5 * rival**2 + NEAR_GAIN:
            continue  # one tank alone explains as much: that area's trouble
        seen = _seen(change, cases[0].evidence, reached > limit, distinct(day))
        return Verdict("species", place, change, *seen, ())
    return None


def _own(case: TankCase, species: IntArray, place: int, sign: float) -> float:
    """Largest ``z`` of a single area of a species in a tank, 0 for none."""
    mine = np.flatnonzero(species[case.areas] == place)
    if not mine.size or mine.size == case.areas.size:
        return 0.0
    reached = scan.strongest(case.course, case.course.surprise[:, None], sign)
    return float(reached[1 + mine, -1, 0].max())


def _alone(part: scan.Course, week: int, sign: float) -> float:
    """How far one tank's areas of a species have changed since a week, in deviations."""
    effect = part.effect[0, week]
    return float(sign * (effect @ part.surprise) / np.sqrt(max(float(effect @ effect), 1e-12)))


def _contrast(case: TankCase, species: IntArray, place: int) -> scan.Course | None:
    """A tank's readings, and what a change of the species does beyond one of the tank."""
    mine = np.flatnonzero(species[case.areas] == place)
    course = case.course
    if not mine.size or mine.size == case.areas.size:
        return None
    whole, own = course.effect[0], course.effect[1 + mine].sum(axis=0)
    shared = (own * whole).sum(axis=1) / np.maximum((whole**2).sum(axis=1), 1e-12)
    open_week: BoolArray = np.any(course.open_week[1 + mine], axis=0, keepdims=True)
    effect = np.where(open_week[..., None], own - shared[:, None] * whole, 0.0)
    return replace(course, effect=effect, open_week=open_week)


SURE = 0.9
"""Share of lasting drops that has to be noticed."""


@dataclass(frozen=True, slots=True)
class DropSeen:
    """How soon a lasting drop of the whole tank to ``growth_share`` of its growth is noticed.

    ``chances`` (N,) are those of an alarm by the first, second, ... visit after it began; they end
    where too few visits of the time watched had so many visits after them. ``visit_days`` is the
    middling time from visit to visit [d].
    """

    growth_share: float
    chances: tuple[float, ...] = field(metadata=in_json("chance_by_visit"))
    visit_days: float = field(metadata=HIDDEN)

    json_with: ClassVar = ("visits_for_9_of_10", "days_for_9_of_10", "chance_within_3_visits")

    @property
    def visits_for_9_of_10(self) -> int | None:
        """Visits by which 9 of 10 such drops are noticed, None where that lies beyond."""
        return next((n for n, chance in enumerate(self.chances, 1) if chance >= SURE), None)

    @property
    def days_for_9_of_10(self) -> int | None:
        """Days that these visits take."""
        visits = self.visits_for_9_of_10
        return None if visits is None else self.days(visits)

    def days(self, visits: int) -> int:
        """Days that so many visits take."""
        return round(visits * self.visit_days)

    @property
    def chance_within_3_visits(self) -> float | None:
        """Chance of an alarm within three visits, None where the time watched is too short."""
        return self.chances[2] if len(self.chances) > 2 else None


DROP_TO_SHARE = 0.6
"""Share of its usual growth that the tank would still grow."""
SOON_VISITS = 3
"""Visits within which one would like to notice them."""
MOST_STARTS = 8
"""Visits, evenly spread, after which the drop is tried; the chance is their mean."""
LEAST_STARTS = 3
"""No chance is given from fewer."""
DRAWS = 128


def power_of(case: TankCase, limits: FloatArray) -> DropSeen | None:
    """Try a drop of the whole tank to 60 % on its own visits.

    Parameters
    ----------
    case : TankCase
        The tank.
    limits : array (J, 2)
        Its thresholds, as ``limits_of`` gives them [sd].

    Returns
    -------
    DropSeen or None
        None where there are too few visits after which a drop could be told.
    """
    course, day = case.course, distinct(case.evidence.day)
    starts = _starts(case, day)
    if starts.size < LEAST_STARTS:
        return None
    moved = np.stack([_effect_from(case, day[start]) for start in starts.tolist()], axis=1)
    drawn = stratified_normals(np.arange(course.surprise.size), DRAWS)
    shifted = drawn[:, None, :] - (1.0 - DROP_TO_SHARE) * moved[:, :, None]
    shifted = np.clip(shifted, -scan.LARGEST_SURPRISE, scan.LARGEST_SURPRISE)
    reached = scan.strongest(course, shifted.reshape(drawn.shape[0], -1), -1.0)
    passed = (reached > limits[:, :1, None]).any(axis=0).reshape(day.size, starts.size, DRAWS)
    after = [_noticed_by(passed[:, n], start) for n, start in enumerate(starts.tolist())]
    chance = []
    for n in range(day.size):
        known = [one[n] for one in after if one.size > n]
        if len(known) < LEAST_STARTS:
            break
        chance.append(float(np.mean(known)))
    return DropSeen(DROP_TO_SHARE, tuple(chance), float(median(np.diff(day))))


def _starts(case: TankCase, day: FloatArray) -> IntArray:
    """Places of the visits (V,) after which a drop may begin and enough visits follow."""
    week = np.searchsorted(case.evidence.bin_day, day, side="right") - 1
    may = case.course.open_week[0, week]
    may[max(day.size - SOON_VISITS, 0) :] = False
    places = np.flatnonzero(may)
    evenly = np.linspace(0, places.size - 1, min(MOST_STARTS, places.size))
    return places[evenly.round().astype(np.int64)]


def _effect_from(case: TankCase, day: float) -> FloatArray:
    """Effect (n,) of a change of the whole tank from a day on, between those of two weeks."""
    since = np.pad(case.course.effect[0], ((0, 1), (0, 0)))  # nothing after the last week
    week, part = divmod((day - case.evidence.bin_day[0]) / BIN_D, 1.0)
    before, after = since[int(week) : int(week) + 2]
    effect: FloatArray = before + part * (after - before)
    return effect


def _noticed_by(passed: BoolArray, start: int) -> FloatArray:
    """Share of draws noticed by each visit after ``start``, of those without an earlier alarm.

    ``passed`` (V, D) tells after which visits anything stands beyond its threshold.
    """
    quiet = ~passed[: start + 1].any(axis=0)
    since = np.logical_or.accumulate(passed[start + 1 :, quiet], axis=0)
    share: FloatArray = since.mean(axis=1)
    return share


def course_of_tank(case: TankCase) -> tuple[IndexPoint, ...]:
    """Return the growth of a tank at each visit that tells it.

    Parameters
    ----------
    case : TankCase
        The tank.

    Returns
    -------
    tuple of IndexPoint
        By day.
    """
    days = case.evidence.day
    by_visit = [(growth_index(case, np.flatnonzero(days == day)), day) for day in distinct(days)]
    return tuple(index.point(float(day)) for index, day in by_visit if index is not None)


def recent_growth(
    case: TankCase, course: tuple[IndexPoint, ...], on_day: float
) -> IndexPoint | None:
    """Return the growth of a tank over the last 28 days, else at its last visit that tells it.

    Parameters
    ----------
    case : TankCase
        The tank.
    course : tuple of IndexPoint
        Its growth at each visit.
    on_day : float
        The last of these days [day number].

    Returns
    -------
    IndexPoint or None
        None where no visit tells it.
    """
    lately = growth_lately(case, on_day)
    return next(reversed(course), None) if lately is None else lately.point(on_day)
