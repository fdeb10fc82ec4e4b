"""How an area goes up and down over the weeks when it is visited at a fixed rhythm."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from growthcast.arrays import FloatArray
from growthcast.finite import finite_answer
from growthcast.growth.logistic import height_at_stage
from growthcast.service.living import LivingAreas

SAWTOOTH_LEVELS = (0.10, 0.25, 0.50, 0.75, 0.90)
STEPS_PER_SPAN = 14
"""Points drawn between two visits at most; never more than one a day."""


@dataclass(frozen=True, slots=True)
class Sawtooth:
    """One area over the coming weeks at one interval.

    ``day`` (T,) counts days from the first visit, each visit twice: before the cut and after it.
    ``height_cm`` is (5, T) at ``SAWTOOTH_LEVELS``.
    """

    interval_d: int
    cut_cm: float
    day: FloatArray
    height_cm: FloatArray

    def before_visit_cm(self, level: float) -> float:
        """Height [cm] just before the second visit, at one of ``SAWTOOTH_LEVELS``."""
        first_span = self.day <= self.interval_d + 1e-9
        last = int(np.argmax(np.where(first_span, self.day, -1.0)))  # the first of equals: uncut
        return float(self.height_cm[SAWTOOTH_LEVELS.index(level), last])


@finite_answer
def sawtooth(
    living: LivingAreas, area: int, interval_d: int, cut_cm: float, weeks: int
) -> Sawtooth:
    """Foresee one area over the coming weeks when it is visited every ``interval_d`` days.

    Parameters
    ----------
    living : LivingAreas
        Draws of the areas of its tank.
    area : int
        Its place among ``living.area``.
    interval_d : int
        Days between visits [d]; the first visit is on the day of the fit.
    cut_cm : float
        Height each visit aims at [cm], with the scatter of a hand; what stands lower is left.
    weeks : int
        How far ahead [weeks].

    Returns
    -------
    Sawtooth
        Quantiles of height; a rate drifts further from what is known the later a span lies. Within
        a span the stage rises evenly; a span's rest is in its growth.
    """
    horizon_d = 7.0 * weeks
    spans = int(np.ceil(horizon_d / interval_d))
    began = interval_d * np.arange(spans, dtype=np.float64)
    gained = np.stack(
        [living.growth_after_cut(interval_d, float(ahead))[0][area] for ahead in began]
    )
    left = living.stage_after_cut(np.full(living.area.size, cut_cm))[area]
    steps = min(STEPS_PER_SPAN, interval_d)
    fractions = np.linspace(0.0, 1.0, steps + 1)
    start, stages = left, np.empty((spans, fractions.size, left.size))
    for span, grown in enumerate(gained):
        stages[span] = start + fractions[:, None] * grown
        start = np.minimum(left, start + grown)
    heights = height_at_stage(stages, living.draws.ceiling_cm[area], living.shape[[area]])
    day = (began[:, None] + interval_d * fractions).ravel()
    kept = day <= horizon_d + 1e-9
    flat = heights.reshape(-1, heights.shape[-1])[kept]
    return Sawtooth(
        interval_d=interval_d,
        cut_cm=cut_cm,
        day=day[kept],
        height_cm=np.quantile(flat, SAWTOOTH_LEVELS, axis=1),
    )
