"""A practice as it runs, a day at a time: whoever steps it decides on visits and cuts."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np

from tests.simulator.arrays import FloatArray, IntArray
from tests.simulator.gardener import Gardener
from tests.simulator.nature import days_lost, grow_one_day, shaded
from tests.simulator.plan import PracticePlan, Richness
from tests.simulator.truth import SimulatedPractice, Truth
from tests.simulator.world import draw_world

__all__ = ["Course"]


LEAST_ERROR_CM = 0.01
"""A book cannot state that heights are read without any error."""


class Course:
    """The state of a practice on the morning of ``on``: visits come first, then the day grows.

    The same plan, seed, richness and steps give the same course. Lasting effects, weather, cuts
    and readings are drawn from streams of their own, so that what grows does not depend on who is
    visited (but for span noise, drawn at each visit).
    """

    def __init__(self, plan: PracticePlan, seed: int, richness: Richness | None = None) -> None:
        self.plan, self.richness = plan, richness or Richness()
        self.world = draw_world(plan, self.richness, seed)
        self.gardener = Gardener(plan, self.world, self.richness, seed)
        self.row = 0
        self.height = self.world.start.copy()
        size = self.world.alive.shape
        self._spans = np.random.default_rng([seed, 5])
        self._before, self._after, self._rates, self._expected = np.full((4, *size), np.nan)
        self._surprise = np.ones(size[1])
        self._pause_until = np.full(size[1], -np.inf)
        self._pause_d = np.array([t.pause_d for t in self.world.traits]) * self.richness.pause
        self._visited: dict[str, list[date]] = {tank.tank_id: [] for tank in plan.tanks}

    @property
    def on(self) -> date:
        """The day that is about to begin."""
        return self.plan.first_on + timedelta(days=self.row)

    @property
    def days(self) -> int:
        """How many days can be simulated, those after the log's last one included."""
        return len(self.world.alive)

    def areas_of(self, tank: int) -> IntArray:
        """Places of a tank's living areas."""
        return np.flatnonzero((self.world.tank == tank) & self.world.alive[self.row])

    def visit(self, tank: int, aims_cm: FloatArray | None = None) -> None:
        """Cut and log a tank this morning: to ``aims_cm`` (A,), else by the gardener's habit."""
        here, before = self.areas_of(tank), self.height
        plan, on = self.plan.tanks[tank], self.on
        self.height = self.gardener.visit(plan, on, before, here.tolist(), aims_cm)
        taken = 1.0 - self.height[here] / before[here]
        rest = days_lost(taken, self.world.lag_d[here], self._pause_d[here])
        until = on.toordinal() + rest
        self._pause_until[here] = np.where(rest > 0.0, until, self._pause_until[here])
        self._surprise[here] = _surprises(self._spans, here.size, self.richness.span_spread)
        self._before[self.row, here] = before[here]
        self._visited[plan.tank_id].append(on)

    def grow(self) -> None:
        """Let the day pass, with now and then a cut that nobody logs."""
        row, world = self.row, self.world
        told = ~np.isnan(self._before[row])
        self._before[row] = np.where(told, self._before[row], self.height)
        self._after[row] = self.height
        awake = np.clip(self.on.toordinal() + 1.0 - self._pause_until, 0.0, 1.0)
        lit = self._lit()
        self._expected[row] = world.expected_rate[row] * lit
        self._rates[row] = world.noisy_rate[row] * self._surprise * awake * lit
        grown = grow_one_day(self.height, self._rates[row], world.ceiling, world.shape)
        self.height = np.where(world.alive[row], grown, self.height)
        if self.on < self.plan.last_on:
            self.height = self.gardener.unlogged_cut(self.height, world.alive[row])
        self.row += 1

    def _lit(self) -> FloatArray:
        """Share of their growth (A,) that areas keep under what floats in their tanks today."""
        world, row, kept = self.world, self.row, np.ones(self.height.size)
        if not (world.surface.any() and self.richness.responses and self.richness.shade):
            return kept
        cover = world.alive[row] * world.surface * self.height / 100.0
        of_tank = np.bincount(world.tank, cover, len(self.plan.tanks))[world.tank]
        for a in np.flatnonzero((of_tank > 0.0) & (world.surface == 0.0)).tolist():
            light, hours = float(world.leaf_light[row, a]), float(world.hours[row, a])
            kept[a] = shaded(world.traits[a], light, hours, min(float(of_tank[a]), 0.95))
        return kept

    def practice(self) -> SimulatedPractice:
        """The practice so far: its log, and the truth of the days behind it (NaN ahead)."""
        world, richness = self.world, self.richness
        truth = Truth(
            first_on=self.plan.first_on,
            area_id=tuple(area.area_id for area in self.plan.areas),
            tank_id=tuple(tank.tank_id for tank in self.plan.tanks),
            tank_of_area=world.tank,
            height_before_cm=np.where(world.alive, self._before, np.nan),
            height_after_cm=np.where(world.alive, self._after, np.nan),
            rate_per_day=self._rates.copy(),
            expected_rate_per_day=np.where(
                np.isnan(self._expected), world.expected_rate, self._expected
            ),
            reference_rate_per_day=world.reference_rate,
            ceiling_cm=world.ceiling,
            shape=world.shape,
            mass_effect=world.mass_effect,
            species_effect=world.species_effect,
            tank_effect=world.tank_effect,
            area_effect=world.area_effect,
            visited={name: tuple(days) for name, days in self._visited.items()},
        )
        return SimulatedPractice(
            self.plan,
            tuple(self.gardener.log),
            truth,
            max(richness.height_error_cm, LEAST_ERROR_CM),
            richness.height_error_share,
        )

    def write_book(self, folder: Path) -> Path:
        """Write what is known this morning: the log so far, conditions that hold by now."""
        tanks = tuple(
            replace(tank, conditions=tuple(c for c in tank.conditions if c.from_date <= self.on))
            for tank in self.plan.tanks
        )
        practice = replace(self.practice(), plan=replace(self.plan, tanks=tanks))
        return practice.write_book(folder)


def _surprises(rng: np.random.Generator, count: int, spread: float) -> FloatArray:
    """Mean-one factors of the spans that begin now."""
    variance = np.log1p(spread**2)
    factors: FloatArray = np.exp(np.sqrt(variance) * rng.normal(size=count) - 0.5 * variance)
    return factors
