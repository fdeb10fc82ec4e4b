"""Areas and draws made by hand, without a book and without a fit."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from growthcast.fit.model.noise import KNOT_COUNT, ErrorModel
from growthcast.service.draws import GrowthDraws
from growthcast.service.living import LivingAreas

DRAWS = 64


def living(
    rates: Sequence[float],
    ceilings: Sequence[float],
    floors: Sequence[float],
    budgets: Sequence[float],
    *,
    lag_d: float = 0.0,
    pause_d: float = 0.0,
    spread: float = 0.0,
    settling: float = 0.0,
) -> LivingAreas:
    """Return areas of one tank whose draws scatter by ``spread`` in every way there is."""
    rng, count = np.random.default_rng(6), len(rates)
    one = np.ones((count, DRAWS), np.float32)

    def normals(*shape: int) -> np.ndarray:
        return (spread * rng.normal(size=shape)).astype(np.float32)

    draws = GrowthDraws(
        log_rate=np.log(np.array(rates, np.float32))[:, None] + normals(count, DRAWS),
        ceiling_cm=np.array(ceilings, np.float32)[:, None] * np.exp(normals(count, DRAWS)),
        knots=normals(1, KNOT_COUNT, DRAWS),
        week=normals(count, DRAWS),
        hand=normals(count, DRAWS),
        drift=normals(1, DRAWS),
        lag_d=lag_d * one,
        settling=settling * one,
    )
    return LivingAreas(
        area=np.arange(count),
        run=np.zeros(count, int),
        tank=np.zeros(1, int),
        budget_cm=np.array(budgets, float),
        floor_cm=np.array(floors, float),
        safe_cut_cm=np.zeros(count),
        pause_d=np.full(count, pause_d),
        doubt=np.zeros(count),
        shape=np.ones(count),
        draws=draws,
        errors=ErrorModel(np.zeros(count), np.zeros(count), span=0.4, drift=0.3, weight=0.0),
        on_day=20_000.0,
    )
