"""Living areas with draws made by hand: no book, no fit, a few draws of a fixed generator."""

from __future__ import annotations

import numpy as np

from growthcast.fit.model.noise import KNOT_COUNT, ErrorModel
from growthcast.service.draws import GrowthDraws
from growthcast.service.living import LivingAreas

ON_DAY = 20000.0


def made_draws(tanks: int, areas: int, draws: int, seed: int = 1) -> GrowthDraws:
    """Return draws of areas that grow some 0.1 a day to some 30 cm."""
    rng = np.random.default_rng(seed)

    def normals(*shape):
        return rng.standard_normal((*shape, draws)).astype(np.float32)

    return GrowthDraws(
        log_rate=np.float32(-2.2) + np.float32(0.3) * normals(areas),
        ceiling_cm=np.float32(30.0) * np.exp(np.float32(0.2) * normals(areas)),
        knots=np.float32(0.2) * normals(tanks, KNOT_COUNT),
        week=normals(areas),
        hand=normals(areas),
        drift=normals(tanks),
        lag_d=np.float32(2.0) + np.abs(normals(areas)),
        settling=np.float32(0.3) * normals(areas),
    )


def made_areas(sizes=(2, 1), draws=64, seed=1, shape=1.0, **changes) -> LivingAreas:
    """Return so many areas of each tank: budgets of 20 cm and less, floors of 6 cm and more."""
    count = sum(sizes)
    n = np.arange(count)
    known = {
        "area": 3 + n,
        "run": np.repeat(np.arange(len(sizes)), sizes),
        "tank": 2 + 3 * np.arange(len(sizes)),
        "budget_cm": 20.0 - n,
        "floor_cm": 6.0 + 0.5 * n,
        "safe_cut_cm": np.where(n % 2, 4.0, 8.0),
        "pause_d": 4.0 + n,
        "doubt": np.where(n % 2, 0.1, 0.0),
        "shape": np.full(count, shape),
        "draws": made_draws(len(sizes), count, draws, seed),
        "errors": ErrorModel(np.full(count, 0.3), np.full(count, 0.03), 0.25, 0.2, 0.25),
        "on_day": ON_DAY,
    }
    return LivingAreas(**known | changes)
