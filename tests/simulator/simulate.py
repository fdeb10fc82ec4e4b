"""Let a practice run: plants grow day by day, the gardener comes and goes."""

from __future__ import annotations

from datetime import date

import numpy as np
from numpy.typing import NDArray

from tests.simulator.gardener import Gardener
from tests.simulator.nature import grow_one_day
from tests.simulator.plan import PracticePlan, Richness
from tests.simulator.truth import SimulatedPractice, Truth
from tests.simulator.world import World, draw_world

__all__ = ["simulate"]

FloatArray = NDArray[np.float64]

LEAST_ERROR_CM = 0.01
"""A book cannot state that heights are read without any error."""


def simulate(plan: PracticePlan, seed: int, richness: Richness | None = None) -> SimulatedPractice:
    """Simulate a planned practice.

    The same plan, seed and richness give the same practice. Lasting effects, weather, cuts and
    readings are drawn from streams of their own. Visits take place at the beginning of a day,
    before it grows.
    """
    richness = richness or Richness()
    world = draw_world(plan, richness, seed)
    gardener = Gardener(plan, world, richness, seed)
    visits = {tank.tank_id: gardener.visit_days(tank) for tank in plan.tanks}
    before, after, rate = _run(plan, world, gardener, visits, richness, seed)
    truth = Truth(
        first_on=plan.first_on,
        area_id=tuple(area.area_id for area in plan.areas),
        tank_id=tuple(tank.tank_id for tank in plan.tanks),
        tank_of_area=world.tank,
        height_before_cm=np.where(world.alive, before, np.nan),
        height_after_cm=np.where(world.alive, after, np.nan),
        rate_per_day=rate,
        expected_rate_per_day=world.expected_rate,
        reference_rate_per_day=world.reference_rate,
        ceiling_cm=world.ceiling,
        shape=world.shape,
        mass_effect=world.mass_effect,
        species_effect=world.species_effect,
        tank_effect=world.tank_effect,
        area_effect=world.area_effect,
        visited={name: tuple(map(date.fromordinal, days)) for name, days in visits.items()},
    )
    return SimulatedPractice(
        plan,
        tuple(gardener.log),
        truth,
        max(richness.height_error_cm, LEAST_ERROR_CM),
        richness.height_error_share,
    )


def _run(
    plan: PracticePlan,
    world: World,
    gardener: Gardener,
    visits: dict[str, list[int]],
    richness: Richness,
    seed: int,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Heights before and after each day's cuts and the rates lived through, each (T, A)."""
    spans = np.random.default_rng([seed, 5])
    first, size = plan.first_on.toordinal(), world.alive.shape
    last = plan.last_on.toordinal()
    before, after, rates = np.empty(size), np.empty(size), np.empty(size)
    height, surprise = world.start.copy(), np.ones(size[1])
    pause_until = np.full(size[1], -np.inf)
    pause_d = np.array([traits.pause_d for traits in world.traits]) * richness.pause
    due = {name: set(days) for name, days in visits.items()}
    for row in range(size[0]):
        day = first + row
        before[row] = height
        for k, tank in enumerate(plan.tanks):
            if day not in due[tank.tank_id]:
                continue
            here = np.flatnonzero((world.tank == k) & world.alive[row])
            height = gardener.visit(tank, date.fromordinal(day), height, here.tolist())
            taken = 1.0 - height[here] / before[row, here]
            rest = pause_d[here] * np.clip(2.0 * taken - 1.0, 0.0, 1.0)
            pause_until[here] = np.where(rest > 0.0, day + rest, pause_until[here])
            surprise[here] = _surprises(spans, here.size, richness.span_spread)
        after[row] = height
        awake = np.clip(day + 1.0 - pause_until, 0.0, 1.0)
        rates[row] = world.noisy_rate[row] * surprise * awake
        grown = grow_one_day(height, rates[row], world.ceiling, world.shape)
        height = np.where(world.alive[row], grown, height)
        if day < last:
            height = gardener.unlogged_cut(height, world.alive[row])
    return before, after, rates


def _surprises(rng: np.random.Generator, count: int, spread: float) -> FloatArray:
    """Mean-one factors of the spans that begin now."""
    variance = np.log1p(spread**2)
    factors: FloatArray = np.exp(np.sqrt(variance) * rng.normal(size=count) - 0.5 * variance)
    return factors
