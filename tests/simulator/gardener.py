"""The gardener: when a tank is visited, what is cut, and what gets written down about it."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
from numpy.typing import NDArray

from tests.simulator.plan import PracticePlan, Richness, TankPlan
from tests.simulator.truth import LogRow
from tests.simulator.world import World

__all__ = ["Gardener"]

FloatArray = NDArray[np.float64]

CUT_FROM = 0.2
"""An area is cut once it stands this share of the way from its usual cut to its budget."""
LOOK_SPREAD = 0.15
MASS_SPREAD = 0.15
SATURDAY = 5

KINDS = ("both", "removed_cm", "removed_g", "after", "all")
KIND_SHARES = (0.86, 0.04, 0.03, 0.03, 0.04)
UNCUT_KINDS = ("before", "look", "nothing")
UNCUT_SHARES = (0.62, 0.13, 0.25)
WITH_LOOK_SHARE = 0.12
MINUTES_ROW_SHARE, MINUTES_SPREAD = 0.35, 0.15

SET_UP_MIN = {"carpet": 3, "moss": 3, "epiphyte": 3, "floating": 1}
MIN_PER_L = {"carpet": 5.0, "rosette": 3.0, "epiphyte": 4.0, "moss": 5.0, "floating": 0.0}


class Gardener:
    """Visits tanks, cuts areas and writes the log; draws from two streams of its own."""

    def __init__(self, plan: PracticePlan, world: World, richness: Richness, seed: int) -> None:
        self.plan, self.world, self.richness = plan, world, richness
        self.hand, self.pen = (np.random.default_rng([seed, stream]) for stream in (3, 4))
        self.log: list[LogRow] = []
        self._told: set[tuple[str, date]] = set()

    def visit_days(self, tank: TankPlan) -> list[int]:
        """Ordinals of the days on which a tank is visited, to the end of the log."""
        days, at = [], tank.first_visit.toordinal()
        while at <= self.plan.last_on.toordinal():
            on = date.fromordinal(at)
            away = any(gone.first <= on <= gone.last for gone in tank.away)
            if not away and self.hand.random() >= self.richness.missed_visit_share:
                days.append(at)
            at += self._days_until_next(at, tank.interval_d)
        return days

    def _days_until_next(self, at: int, interval_d: int) -> int:
        if not self.richness.irregular:
            return interval_d
        late = int(self.hand.choice([-1, 0, 0, 0, 1, 2])) if interval_d > 8 else 0
        late += int(self.hand.choice([0, 0, 0, 0, -1, 1, 2]))
        weekday = date.fromordinal(at + interval_d + late).weekday()
        late += {SATURDAY: -1, SATURDAY + 1: 1}.get(weekday, 0)
        return max(interval_d + late, 2)

    def visit(
        self,
        tank: TankPlan,
        on: date,
        height: FloatArray,
        here: list[int],
        aims_cm: FloatArray | None = None,
    ) -> FloatArray:
        """Cut the living areas ``here`` of a tank and log it; returns all heights after, (A,).

        Areas are cut to ``aims_cm`` (A,) if given, else where his habit is and if they need it.
        """
        after = height.copy()
        for a in here:
            after[a] = self._cut(a, float(height[a]), None if aims_cm is None else aims_cm[a])
        quick = self.richness.mixed_rows and self.pen.random() < self.richness.quick_visit_share
        quick = quick and bool((after < height).any())
        rows = [] if quick else [self._row(tank, on, a, height[a], after[a]) for a in here]
        written = [row for row in rows if row is not None]
        if self.richness.mixed_rows:
            written += self._whole_tank(tank, on, height, after, here, written, quick)
        self.log += self._with_note(tank, on, written)
        return after

    def _cut(self, a: int, height: float, aim_cm: float | None) -> float:
        """Height at which an area is left."""
        area = self.plan.areas[a]
        needs_it = area.aim_cm + CUT_FROM * (area.budget_cm - area.aim_cm)
        if height < (needs_it if aim_cm is None else aim_cm):
            return height
        aim_cm = area.aim_cm if aim_cm is None else aim_cm
        aim = aim_cm * np.exp(self.richness.hand_spread * self.hand.normal())
        return float(min(aim, height))

    def unlogged_cut(self, height: FloatArray, alive: NDArray[np.bool_]) -> FloatArray:
        """Heights after cuts by somebody else, whom no log knows; the chance is per day."""
        share = self.richness.unlogged_cut_share / 14.0
        if share == 0.0:
            return height
        aim = np.array([area.aim_cm for area in self.plan.areas])
        cut = alive & (self.hand.random(height.size) < share)
        return np.where(cut, np.minimum(height, aim), height)

    def _row(self, tank: TankPlan, on: date, a: int, before: float, after: float) -> LogRow | None:
        if self.pen.random() < self.richness.missing_row_share:
            return None
        area_id = self.plan.areas[a].area_id
        was_cut = after < before
        kind = self._kind(was_cut)
        if kind == "nothing":
            return None
        look = self._look(a, before)
        if kind == "look":
            return LogRow(on, tank.tank_id, area_id, look=look)
        look = look if self.richness.mixed_rows and self.pen.random() < WITH_LOOK_SHARE else ""
        high = self._read(a, before)
        if kind == "before":
            return LogRow(on, tank.tank_id, area_id, before_cm=high, look=look)
        low = self._read(a, after)
        step = self._step(a)
        if low >= high:  # whoever has just cut sees that it is lower
            low = max(high - step, 0.5 * high)
        mass = self._mass(a, before - after) if kind in {"removed_g", "all"} else None
        minutes = None
        if self.richness.timed_area_share and self.pen.random() < self.richness.timed_area_share:
            scatter = np.exp(MINUTES_SPREAD * self.pen.normal())
            minutes = float(max(round(self.minutes(a, before - after) * scatter), 1))
        return LogRow(
            on,
            tank.tank_id,
            area_id,
            before_cm=high if kind in {"both", "all"} else None,
            after_cm=low if kind in {"both", "after", "all"} else None,
            removed_cm=high - low if kind == "removed_cm" else None,
            removed_g=mass,
            look=look,
            minutes=minutes,
        )

    def _kind(self, was_cut: bool) -> str:
        if not self.richness.mixed_rows:
            return "both" if was_cut else "before"
        kinds, shares = (KINDS, KIND_SHARES) if was_cut else (UNCUT_KINDS, UNCUT_SHARES)
        return str(self.pen.choice(kinds, p=shares))

    def _look(self, a: int, height: float) -> str:
        area = self.plan.areas[a]
        seen = height * np.exp(LOOK_SPREAD * self.pen.normal())
        return "short" if seen < area.floor_cm else "over" if seen > area.budget_cm else "right"

    def _step(self, a: int) -> float:
        return 5.0 if self.world.traits[a].is_cover else 0.5

    def _read(self, a: int, height: float) -> float:
        """A reading of a height, with its error, now and then a gross one."""
        richness, cover = self.richness, self.world.traits[a].is_cover
        sd = np.hypot(richness.height_error_cm, richness.height_error_share * height)
        sd = richness.cover_error if cover else sd
        seen = height + sd * self.pen.normal()
        if self.pen.random() < richness.gross_error_share:
            seen *= np.exp(self.pen.choice([-0.5, 0.5]))
        step = self._step(a)
        seen = step * round(seen / step) if richness.rounding else seen
        lowest = step if richness.rounding else 0.1 * step
        return float(np.clip(seen, lowest, 100.0 if cover else 290.0))

    def _mass(self, a: int, removed: float) -> float:
        """Drained grams taken off an area."""
        traits, area = self.world.traits[a], self.plan.areas[a]
        bulk = removed * area.area_cm2 / (10_000.0 if traits.is_cover else 1000.0)
        scatter = np.exp(self.world.mass_effect[a] + MASS_SPREAD * self.pen.normal())
        return float(max(round(bulk * traits.density_g_l * scatter), 1))

    def _whole_tank(
        self,
        tank: TankPlan,
        on: date,
        height: FloatArray,
        after: FloatArray,
        here: list[int],
        written: list[LogRow],
        quick: bool,
    ) -> list[LogRow]:
        """The row of the whole tank: minutes, and the weight of what has no row of its own."""
        logged = {row.area_id for row in written}
        rest = [a for a in here if self.plan.areas[a].area_id not in logged]
        grams = sum(self._mass(a, height[a] - after[a]) for a in rest if after[a] < height[a])
        weighed = grams > 0.0 and (quick or self.pen.random() < 0.5)
        if not weighed and self.pen.random() >= MINUTES_ROW_SHARE:
            return []
        timed = {row.area_id for row in written if row.minutes is not None}
        slow = [a for a in here if self.plan.areas[a].area_id not in timed]
        minutes = sum(self.minutes(a, height[a] - after[a]) for a in slow)
        minutes = round(minutes * np.exp(MINUTES_SPREAD * self.pen.normal()))
        if minutes == 0 and not weighed:
            return []
        grams_cell = float(grams) if weighed else None
        return [LogRow(on, tank.tank_id, removed_g=grams_cell, minutes=float(max(minutes, 1)))]

    def minutes(self, a: int, removed: float) -> float:
        """Minutes it takes on average to take ``removed`` cm (or points) off an area."""
        if removed <= 0.0:
            return 0.0
        traits, ground = self.world.traits[a], self.plan.areas[a].area_cm2
        litres = removed * ground / 1000.0
        scooped = 0.15 * removed * ground / 10_000.0 if traits.is_cover else 0.0
        work = MIN_PER_L.get(traits.form, 2.0) * litres + scooped
        return self.plan.pace * (SET_UP_MIN.get(traits.form, 2) + work)

    def _with_note(self, tank: TankPlan, on: date, rows: list[LogRow]) -> list[LogRow]:
        """Put a dated note on the last row of the first visit from its date on."""
        for when, note in tank.dated_notes:
            if rows and when <= on and (tank.tank_id, when) not in self._told:
                self._told.add((tank.tank_id, when))
                rows = [*rows[:-1], replace(rows[-1], note=note)]
                break
        return rows
