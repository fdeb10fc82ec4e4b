"""How one area goes up with growth and down with visits over the weeks ahead, from today on."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from growthcast.arrays import FloatArray
from growthcast.finite import finite_answer
from growthcast.growth.quick import quick_quantiles
from growthcast.nouns import dataclass
from growthcast.service.visit.standing import Standing, only_areas

COURSE_LEVELS = (0.10, 0.50, 0.90)


@dataclass(frozen=True, slots=True)
class Course:
    """One area over the days ahead.

    ``day`` (T,) counts days from that of the fit, the day of a visit twice: before the cut and
    after it. ``height_cm`` is (3, T) at ``COURSE_LEVELS`` [cm, or % cover].
    """

    day: FloatArray
    height_cm: FloatArray
    visit_d: tuple[int, ...]


@finite_answer
def course(
    standing: Standing,
    area: int,
    until_d: int,
    visit_d: Sequence[int] = (),
    every_d: int = 0,
    cut_cm: float = math.nan,
) -> Course:
    """Foresee one area over the days ahead when visits cut it.

    Parameters
    ----------
    standing : Standing
        How the areas of its tank stand today.
    area : int
        Its place among them.
    until_d : int
        Last day foreseen [d from today].
    visit_d : sequence of int
        Days of the visits [d from today], rising, at most ``until_d``.
    every_d : int
        Days from one visit to the next [d].
    cut_cm : float
        Height each visit aims at [cm, or % cover], with the scatter of a hand; what stands lower is
        left.

    Returns
    -------
    Course
        A point a day. Until the first visit the area goes on from where it stands; from then on it
        gains between two visits what the rhythm is judged by (``interval_options``), so that a
        picture tells what the figures beside it tell. The stage rises evenly, a rest being in its
        growth.
    """
    one = only_areas(standing, np.arange(standing.stages.shape[0]) == area)
    living, stages, began = one.living, one.stages, 0
    days, heights = [], []
    first_d = visit_d[0] if visit_d else until_d
    a_day = (one.later(first_d).stages - stages) / np.float32(max(first_d, 1))
    for end in (*visit_d, until_d):
        ahead = np.arange(end - began + 1, dtype=np.float32)
        at = living.height_at(stages + ahead[:, None] * a_day)
        heights.append(quick_quantiles(at, COURSE_LEVELS))
        days.append(began + ahead)
        stages, began = stages + np.float32(end - began) * a_day, end
        if end != until_d:
            stages = np.minimum(stages, living.stage_after_cut(np.array([cut_cm])))
            a_day = living.growth_after_cut(every_d)[0] / np.float32(every_d)
    day = np.concatenate(days).astype(np.float64)
    return Course(day, np.concatenate(heights).T, tuple(visit_d))
