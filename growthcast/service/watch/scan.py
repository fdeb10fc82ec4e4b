"""A sequential likelihood-ratio test for a lasting change of pace, its threshold set per tank.

With ``u`` the readings of a tank whitened in the order in which they came (each is then standard
normal given all before it), growth at ``1 + d`` of what it was from week ``t`` on moves them by
``d g(t)``. Its log likelihood ratio against no change, at its best ``d``, is ``z(t)^2 / 2``, where
``z(t) = sum(g u) / sqrt(sum(g^2))`` over what has been read so far. After each visit the largest
``z`` over ``t`` is held against a threshold.

No table gives the threshold, since the ``z`` of neighbouring weeks and visits hang together as a
tank's own visits have it: it is the value that draws of ``u`` without any change pass as often as
the false alarms that are allowed.

A slip is a reading that no change of growth explains: a slipped decimal, a cut that nobody logged.
Each reading is held against all before it and the others of its visit, with room left for the whole
tank and for each area to have changed. Only what then still stands far off is set aside, and taken
back when the area's next reading stands off on the same side: a slip is not repeated.

References
----------
Willsky, A. S. & Jones, H. L. (1976). A generalized likelihood ratio approach to the detection and
estimation of jumps in linear systems. IEEE Transactions on Automatic Control 21, 108-112 (from
memory).
Lai, T. L. (1995). Sequential changepoint detection in quality control and dynamical systems.
J. R. Stat. Soc. B 57, 613-658 (from memory).
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray, distinct
from growthcast.fit.foreseen import Foreseen
from growthcast.growth.quick import quick_quantiles
from growthcast.nouns import dataclass
from growthcast.service.draws import stratified_normals

LARGEST_SURPRISE = 3.0
"""A reading counts as no further off than this many standard deviations: one slip is no change."""
LEAST_CHANGE = 0.15
"""A change of growth by a smaller share is not worth a visit."""
DAYS_A_YEAR = 365.25
DRAWS = 512
LEAST_INFORMATION = 1.0
"""A change whose share is not known to within 1 is not looked at."""
LEAST_LIMIT = 1.0
"""No threshold lies lower [sd]."""
SIZES = 201
TANK_ROOM, AREA_ROOM = 0.4, 0.3
"""Spread of a change, as a share of growth, that a tank and an area are allowed for."""
FAR_OFF = 3.0
"""Standard deviations beyond which a reading is set aside."""
WIDER = 100.0


@dataclass(frozen=True, slots=True)
class Course:
    """The readings (n,) of a tank, whitened, and what a change would do to them.

    ``effect`` (J, T, n) is for each of ``J`` suspects (who changed) and each week ``T``;
    ``day`` (n,) are their days [day number]; ``open_week`` (J, T) tells in which weeks a change may
    have begun.
    """

    surprise: FloatArray
    effect: FloatArray
    day: FloatArray
    open_week: BoolArray


def whitened(covariance: FloatArray, off: FloatArray) -> tuple[Any, Any]:
    """Root covariances, and whiten what is off by it.

    Parameters
    ----------
    covariance : array (..., n, n)
        Covariances of readings [cm2].
    off : array (..., n)
        How far the readings are off what is expected [cm].

    Returns
    -------
    tuple of arrays (..., n, n) and (..., n)
        The lower roots [cm], and the readings, each by what those before it leave open [sd].
    """
    root = np.linalg.cholesky(covariance)
    return root, np.linalg.solve(root, off[..., None])[..., 0]


def slips_set_aside(
    known: Foreseen, grown_cm: FloatArray, area: IntArray, day: FloatArray
) -> tuple[Foreseen, BoolArray]:
    """Widen the readings (n,) that do not belong, so that they say next to nothing.

    Parameters
    ----------
    known : Foreseen
        What was foreseen of the readings of one tank.
    grown_cm : array (n, T)
        Growth of each week that a reading shows [cm].
    area : int array (n,)
        Whose readings they are.
    day : array (n,)
        Their days, ascending [day numbers].

    Returns
    -------
    Foreseen
        The same with variances 100 times as large where a reading was set aside.
    aside : bool array (n,)
        Which these are.
    """
    size = grown_cm.sum(axis=1)
    together = TANK_ROOM**2 + np.where(area[:, None] == area[None, :], AREA_ROOM**2, 0.0)
    room = known.covariance + together * size[:, None] * size[None, :]
    own = np.diag(known.noise).copy()
    off = known.surprise_cm - known.mean_cm
    aside = np.zeros(day.size, dtype=bool)
    far = np.zeros(day.size)  # on which side a reading stood far off, set aside or not
    root, white = whitened(room, off)
    for when in distinct(day).tolist():
        here = np.flatnonzero(day == when)
        for _ in range(here.size):  # each against all before it, and the others of its visit
            back = np.linalg.inv(root[np.ix_(here, here)])
            apart = (white[here] @ back) / np.sqrt((back**2).sum(axis=0))
            apart[far[here] != 0.0] = 0.0
            worst = int(np.argmax(np.abs(apart)))
            if np.abs(apart[worst]) <= FAR_OFF:
                break
            reading = here[worst]
            far[reading] = np.sign(apart[worst])
            before = np.flatnonzero((area == area[reading]) & (day < when))
            repeated = before.size > 0 and far[before[-1]] == far[reading]
            aside[reading] = not repeated
            aside[before[-1:]] &= not repeated
            root, white = whitened(room + np.diag(np.where(aside, WIDER * own, 0.0)), off)
    wide = np.diag(np.where(aside, WIDER * own, 0.0))
    return replace(known, noise=known.noise + wide, covariance=known.covariance + wide), aside


def course_of(
    known: Foreseen,
    grown_cm: FloatArray,
    suspects: BoolArray,
    day: FloatArray,
    open_week: BoolArray,
) -> Course:
    """Whiten a tank's readings in the order of visits.

    Parameters
    ----------
    known : Foreseen
        Surprises and covariance of the readings (n,).
    grown_cm : array (n, T)
        Growth of each week that a reading shows [cm].
    suspects : bool array (J, n)
        The readings that each suspected change would touch.
    day : array (n,)
        Days of the readings, ascending [day numbers].
    open_week : bool array (J, T)
        Weeks in which a change of each suspect may have begun.

    Returns
    -------
    Course
        Surprises of at most ``LARGEST_SURPRISE`` either way.
    """
    root, surprise = whitened(known.covariance, known.surprise_cm - known.mean_cm)
    since = np.cumsum(grown_cm[:, ::-1], axis=1)[:, ::-1]  # growth of all weeks from t on
    touched = np.where(suspects[:, None, :], since.T[None], 0.0)
    effect = np.linalg.solve(root, touched.reshape(-1, day.size).T).T.reshape(touched.shape)
    return Course(
        surprise=np.clip(surprise, -LARGEST_SURPRISE, LARGEST_SURPRISE),
        effect=effect,
        day=day,
        open_week=open_week,
    )


def without(course: Course, effect: FloatArray) -> Course:
    """Allow for a change.

    Parameters
    ----------
    course : Course
        The tank.
    effect : array (n,)
        What the change does to its whitened readings [sd].

    Returns
    -------
    Course
        What is left at right angles to that effect.
    """
    along = effect / np.sqrt(effect @ effect)
    return replace(
        course,
        surprise=course.surprise - along * (along @ course.surprise),
        effect=course.effect - (course.effect @ along)[..., None] * along,
    )


def strongest(course: Course, surprise: FloatArray, sign: float) -> FloatArray:
    """Find how strongly readings speak for a change after each visit.

    Parameters
    ----------
    course : Course
        The tank; its own surprises are not used.
    surprise : array (n, D)
        Whitened readings in each draw [sd].
    sign : float
        -1 for a drop, 1 for a rise [1].

    Returns
    -------
    array (J, V, D)
        Largest ``sign z`` over the weeks in which a change may have begun [sd]; 0 for none. Only
        changes of at least ``LEAST_CHANGE`` count.
    """
    ever = course.open_week.any(axis=0)
    effect, may = course.effect[:, ever], course.open_week[:, ever, None]
    suspects, weeks, _ = effect.shape
    days, begun = distinct(course.day), 0
    score = np.zeros((suspects, weeks, surprise.shape[1]))
    information = np.zeros((suspects, weeks, 1))
    best = np.zeros((suspects, days.size, surprise.shape[1]))
    for v, day in enumerate(days):
        here = course.day == day
        told = effect[:, :, here]
        # No reading yet is touched by a change in a later week.
        begun = max([begun, *(np.flatnonzero(told.any(axis=(0, 2))) + 1).tolist()])
        told, known, open_then = told[:, :begun], information[:, :begun], may[:, :begun]
        score[:, :begun] += told @ surprise[here]
        known[..., 0] += (told**2).sum(axis=2)
        root = np.sqrt(np.maximum(known, LEAST_INFORMATION))
        least = np.where(open_then & (known >= LEAST_INFORMATION), LEAST_CHANGE * root, np.inf)
        z = score[:, :begun] * (sign / root)
        z *= z >= least  # what does not count is 0
        best[:, v] = z.max(axis=1, initial=0.0)
    return best


def thresholds(
    course: Course, groups: tuple[IntArray, ...], alarms_a_year: tuple[float, ...], days: float
) -> FloatArray:
    """Set the thresholds on ``z`` for a drop and for a rise.

    Parameters
    ----------
    course : Course
        The tank.
    groups : tuple of int arrays (g,)
        Suspects that share a number of false alarms, J in all.
    alarms_a_year : tuple of float
        For each group two numbers, one after the other: false alarms for drops and rises [1/year].
    days : float
        Days that are watched [d].

    Returns
    -------
    array (J, 2)
        Thresholds [sd], at least 1. A group of a tank without any change passes its own in these
        days with chance ``1 - exp(-alarms)``, counted over 512 even draws.
    """
    keys = np.arange(course.surprise.size)
    normals = stratified_normals(keys, DRAWS).astype(np.float64)
    drawn = np.clip(normals, -LARGEST_SURPRISE, LARGEST_SURPRISE)
    limits = np.zeros((course.effect.shape[0], 2))
    for side, sign in enumerate((-1.0, 1.0)):
        reached = strongest(course, drawn, sign).max(axis=1)  # (J, D)
        for number, group in enumerate(groups):
            allowed = -np.expm1(-alarms_a_year[2 * number + side] * days / DAYS_A_YEAR)
            highest = reached[group].max(axis=0)
            limits[group, side] = max(quick_quantiles(highest, [1.0 - allowed])[0], LEAST_LIMIT)
    return limits


@dataclass(frozen=True, slots=True)
class Change:
    """A lasting change of one suspect's pace, as far as the readings tell it.

    ``week`` (3,) are the places of the weeks in which it began, 10, 50 and 90 % of the chance;
    ``size_share`` (3,) likewise, the change as a share of usual growth. ``gain`` is its log
    likelihood ratio, ``z^2 / 2``.
    """

    gain: float
    week: IntArray
    best_week: int
    size_share: FloatArray


def change_of(course: Course, suspect: int, sign: float) -> Change:
    """Estimate since when one suspect's pace has changed, and by how much.

    Parameters
    ----------
    course : Course
        The tank.
    suspect : int
        Who changed, by its place among the suspects.
    sign : float
        -1 for a drop, 1 for a rise [1].

    Returns
    -------
    Change
        When and how far, with 8 of 10 ranges.

    Notes
    -----
    Every open week is as likely beforehand, and every size of the given sign: the size is then
    normal around ``score / information`` given the week, and a week's chance is the normal's mass.
    """
    effect = course.effect[suspect]
    score, information = effect @ course.surprise, np.einsum("tn,tn->t", effect, effect)
    usable = course.open_week[suspect] & (information >= LEAST_INFORMATION)
    told = np.maximum(information, LEAST_INFORMATION)
    sized, root = score / told, np.sqrt(told)
    z = np.where(usable, sign * score / root, -np.inf)
    best = int(np.argmax(z))
    log_chance = np.where(usable, 0.5 * np.maximum(z, 0.0) ** 2 - np.log(root), -np.inf)
    chance = np.exp(log_chance - log_chance.max())
    draws = np.linspace(-3.0, 3.0, SIZES)
    weight = chance[:, None] * np.exp(-0.5 * draws**2)
    sizes = sized[:, None] + draws / root[:, None]
    return Change(
        gain=0.5 * float(max(z[best], 0.0)) ** 2,
        week=_quantiles(np.arange(z.size), chance),
        best_week=best,
        size_share=_quantiles(sizes, weight),
    )


def _quantiles(values: FloatArray | IntArray, weight: FloatArray) -> Any:
    return np.quantile(values, (0.1, 0.5, 0.9), weights=weight, method="inverted_cdf")
