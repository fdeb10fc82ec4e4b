"""The gardener: when a tank is visited, what is cut, and what gets written down about it."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np

from tests.simulator.arrays import BoolArray, FloatArray
from tests.simulator.plan import PracticePlan, Richness, TankPlan
from tests.simulator.slips import Slips
from tests.simulator.truth import LogRow
from tests.simulator.world import World

__all__ = ["Gardener"]


CUT_FROM = 0.2
"""An area is cut once it stands this share of the way from its usual cut to its budget."""
LOOK_SPREAD = 0.15
MINUTES_SPREAD = 0.15
SATURDAY = 5
LOW_CM, PHOTO_SPREAD = 5.0, 0.2
"""Nothing lower is read off a photo; how far (log) photos differ in sharpness."""
NEAR_D = 3
"""Nobody comes within fewer days of an agreed visit."""

SET_UP_MIN = {"carpet": 3, "moss": 3, "epiphyte": 3, "floating": 1}
MIN_PER_L = {"carpet": 5.0, "rosette": 3.0, "epiphyte": 4.0, "moss": 5.0, "floating": 0.0}


class Gardener:
    """Visits tanks, cuts areas and writes the log; draws from two streams of its own."""

    def __init__(self, plan: PracticePlan, world: World, richness: Richness, seed: int) -> None:
        self.plan, self.world, self.richness = plan, world, richness
        self.hand, self.pen = (np.random.default_rng([seed, stream]) for stream in (3, 4))
        self.log: list[LogRow] = []
        self.style = plan.styles[0]
        self.slips = Slips(plan, richness.slip_share, np.random.default_rng([seed, 7]))
        self._habit = np.random.default_rng([seed, 8])
        self._lens = np.random.default_rng([seed, 9])
        silent = self._habit.random(len(plan.areas)) < richness.silent_area_share
        self._silent = frozenset(np.flatnonzero(silent).tolist())
        off = np.random.default_rng([seed, 11]).normal(size=len(plan.areas))
        aims = np.array([area.aim_cm for area in plan.areas])
        self.aim_cm = aims * np.exp(richness.habit_spread * off)
        self._begun: set[int] = set()
        self._told: set[tuple[str, date]] = set()

    def visit_days(self, tank: TankPlan) -> list[int]:
        """Ordinals of the days on which a tank is visited, to the end of the log."""
        agreed = [on.toordinal() for on in tank.agreed]
        days, at = list(agreed), tank.first_visit.toordinal()
        while at <= self.plan.last_on.toordinal():
            on = date.fromordinal(at)
            away = any(gone.first <= on <= gone.last for gone in tank.away)
            near = any(abs(at - other) < NEAR_D for other in agreed)
            if not away and self.hand.random() >= self.richness.missed_visit_share and not near:
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

        Areas are cut to ``aims_cm`` (A,) if given, else where his habit is and if they need it;
        what is replanted today comes out whole.
        """
        after = height.copy()
        for a in here:
            if on in tank.agreed and self.plan.areas[a].removed_on == on:
                after[a] = 0.0
                continue
            after[a] = self._cut(a, float(height[a]), None if aims_cm is None else aims_cm[a])
        styles = self.plan.styles
        self.style = styles[int(self._habit.integers(len(styles)))]
        quick = self.richness.mixed_rows and self.pen.random() < self.richness.quick_visit_share
        quick = quick and self.style.weighed_share > 0.0 and bool((after < height).any())
        rows = [] if quick else [self._row(tank, on, a, height[a], after[a]) for a in here]
        written = [row for row in rows if row is not None]
        written += [
            LogRow(on, tank.tank_id, row.area_id, before_cm=self._read(a, height[a]))
            for a, row in zip(here, rows, strict=False)
            if row is not None and row.measured_by and self._is_beside()
        ]
        if self.richness.mixed_rows:
            written += self._whole_tank(tank, on, height, after, here, written, quick)
        self.log += self.slips.made_in(self._with_note(tank, on, written), self.log)
        return after

    def _cut(self, a: int, height: float, aim_cm: float | None) -> float:
        """Height at which an area is left."""
        usual_cm = float(self.aim_cm[a])
        needs_it = usual_cm + CUT_FROM * (self.plan.areas[a].budget_cm - usual_cm)
        if height < (needs_it if aim_cm is None else aim_cm):
            return height
        aim_cm = usual_cm if aim_cm is None else aim_cm
        aim = aim_cm * np.exp(self.richness.hand_spread * self.hand.normal())
        return float(min(aim, height))

    def unlogged_cut(self, height: FloatArray, alive: BoolArray) -> FloatArray:
        """Heights after cuts by somebody else, whom no log knows; the chance is per day."""
        share = self.richness.unlogged_cut_share / 14.0
        if share == 0.0:
            return height
        cut = alive & (self.hand.random(height.size) < share)
        return np.where(cut, np.minimum(height, self.aim_cm), height)

    def _row(self, tank: TankPlan, on: date, a: int, before: float, after: float) -> LogRow | None:
        if self.pen.random() < self.richness.missing_row_share or a in self._silent:
            return None
        area_id = self.plan.areas[a].area_id
        kind = self._kind(a, 0.0 < after < before)
        if kind == "nothing":
            return None
        if kind == "zero":
            return LogRow(on, tank.tank_id, area_id, removed_cm=0.0)
        look = self._look(a, before)
        if kind == "look":
            return LogRow(on, tank.tank_id, area_id, look=look)
        look = (
            look if self.richness.mixed_rows and self.pen.random() < self.style.look_share else ""
        )
        high, by, sd = self._read(a, before), "", None
        if self._is_by_photo(a, before):
            (high, sd), by = self._off_photo(before), "photo"
        if kind == "before":
            return LogRow(
                *(on, tank.tank_id, area_id, high), look=look, measured_by=by, before_sd_cm=sd
            )
        low = self._read(a, after)
        step = self._step(a)
        low = step * round(self.aim_cm[a] / step) if by else low
        if low >= high:  # whoever has just cut sees that it is lower
            low = max(high - step, 0.5 * high)
        if kind not in {"both", "all"}:
            by, sd = "", None
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
            measured_by=by,
            before_sd_cm=sd,
        )

    def _is_by_photo(self, a: int, height: float) -> bool:
        share = self.richness.photo_share
        low = self.world.traits[a].is_cover or height < LOW_CM
        return share > 0.0 and not low and self._lens.random() < share

    def _is_beside(self) -> bool:
        return bool(self._lens.random() < self.richness.ruler_beside_share)

    def _off_photo(self, height: float) -> tuple[float, float]:
        """A height off a photo, with the error that it states; photos are sharp and less so."""
        richness = self.richness
        sharp = np.exp(PHOTO_SPREAD * self._lens.normal())
        sd = sharp * float(np.hypot(richness.photo_error_cm, richness.photo_error_share * height))
        seen = height * (1.0 + richness.photo_offset_share) + sd * self._lens.normal()
        return max(round(seen, 1), 0.5), round(sd, 1)

    def _kind(self, a: int, was_cut: bool) -> str:
        if not self.richness.mixed_rows:
            return "both" if was_cut else "before"
        shares = self.style.cut if was_cut else self.style.uncut
        kind = str(self.pen.choice(list(shares), p=list(shares.values())))
        if kind != "nothing" and a not in self._begun:
            self._begun.add(a)
            kind = "look" if self._habit.random() < self.richness.first_look_share else kind
        return kind

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
        spread = self.richness.weight_spread
        scatter = np.exp(self.world.mass_effect[a] + spread * self.pen.normal())
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
        """The row of the whole tank: minutes, and the weight of what went into the bucket."""
        own = {row.area_id: row.removed_g for row in written if _has_amount(row)}
        in_bucket = [a for a in here if after[a] < height[a]]
        if self.style.bucket == "rest":
            in_bucket = [a for a in in_bucket if self.plan.areas[a].area_id not in own]
        grams = sum(
            own.get(self.plan.areas[a].area_id) or self._mass(a, height[a] - after[a])
            for a in in_bucket
        )
        weighed = grams > 0.0 and (quick or self.pen.random() < self.style.weighed_share)
        if not weighed and self.pen.random() >= self.style.timed_share:
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


def _has_amount(row: LogRow) -> bool:
    """Whether a row says how much was taken off."""
    return (row.after_cm, row.removed_cm, row.removed_g) != (None, None, None)
