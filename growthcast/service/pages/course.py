"""How one area goes up with growth and down with visits over the weeks ahead, from today on."""

from __future__ import annotations

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

    @property
    def before_visit_cm(self) -> FloatArray:
        """Heights (3,) [cm, or % cover] just before the last visit, or on the last day."""
        last = np.searchsorted(self.day, self.visit_d[-1]) if self.visit_d else -1
        heights: FloatArray = self.height_cm[:, last]
        return heights


@finite_answer
def course(
    standing: Standing, area: int, visit_d: Sequence[int], cut_cm: float, until_d: int
) -> Course:
    """Foresee one area over the days ahead when visits cut it.

    Parameters
    ----------
    standing : Standing
        How the areas of its tank stand today.
    area : int
        Its place among them.
    visit_d : sequence of int
        Days of the visits [d from today], rising, at most ``until_d``.
    cut_cm : float
        Height each visit aims at [cm, or % cover], with the scatter of a hand; what stands lower is
        left.
    until_d : int
        Last day foreseen [d from today].

    Returns
    -------
    Course
        A point a day. Between two visits the stage rises evenly, a rest being in its growth.
    """
    one = only_areas(standing, np.arange(standing.stages.shape[0]) == area)
    days, heights, began = [], [], 0
    for end in (*visit_d, until_d):
        steps = np.arange(end - began + 1)
        later = one.later(int(steps[-1]))
        for share in steps / max(end - began, 1):
            stages = one.stages + np.float32(share) * (later.stages - one.stages)
            heights.append(quick_quantiles(one.living.height_at(stages), COURSE_LEVELS)[0])
        days.append(began + steps)
        one, began = later.cut(np.array([cut_cm])), end
    return Course(np.concatenate(days).astype(float), np.array(heights).T, tuple(visit_d))
