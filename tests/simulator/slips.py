"""Slips of the pen that a check of the book lets through: a decimal, a swapped area, a date."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta

import numpy as np

from tests.simulator.plan import PracticePlan
from tests.simulator.truth import LogRow

__all__ = ["Slips"]

MOST_CM, MOST_COVER = 300.0, 100.0
DAYS_OFF = (1, 2, 7, 10)


class Slips:
    """What goes wrong while a visit is typed, with the chance ``share`` once a visit."""

    def __init__(self, plan: PracticePlan, share: float, rng: np.random.Generator) -> None:
        self.share, self.rng = share, rng
        self._area = {area.area_id: area for area in plan.areas}
        self._first_on = plan.first_on
        self._covers = {a.area_id for a in plan.areas if plan.traits[a.species_id].is_cover}

    def made_in(self, rows: list[LogRow], log: Sequence[LogRow]) -> list[LogRow]:
        """Return the rows of a visit as they were typed, after the rows of ``log``."""
        if not rows or self.rng.random() >= self.share:
            return rows
        slip = self.rng.choice(["decimal", "swapped", "date"])
        if slip == "decimal":
            return self._decimal(rows)
        return self._swapped(rows) if slip == "swapped" else self._date(rows, log)

    def _decimal(self, rows: list[LogRow]) -> list[LogRow]:
        """Ten times the height found or the weight, or a tenth of the height left."""
        place = int(self.rng.integers(len(rows)))
        row = rows[place]
        most = MOST_COVER if row.area_id in self._covers else MOST_CM
        if row.before_cm is not None and 10.0 * row.before_cm <= most:
            slipped = replace(row, before_cm=10.0 * row.before_cm)
        elif row.removed_g is not None:
            slipped = replace(row, removed_g=10.0 * row.removed_g)
        elif row.after_cm is not None:
            slipped = replace(row, after_cm=0.1 * row.after_cm)
        else:
            return rows
        return [*rows[:place], slipped, *rows[place + 1 :]]

    def _swapped(self, rows: list[LogRow]) -> list[LogRow]:
        """Two areas of the tank under each other's names."""
        named = [n for n, row in enumerate(rows) if row.area_id and row.area_id not in self._covers]
        if len(named) < 2:
            return rows
        one, two = self.rng.choice(named, size=2, replace=False).tolist()
        swapped = list(rows)
        swapped[one] = replace(rows[one], area_id=rows[two].area_id)
        swapped[two] = replace(rows[two], area_id=rows[one].area_id)
        return swapped

    def _date(self, rows: list[LogRow], log: Sequence[LogRow]) -> list[LogRow]:
        """The whole visit under an earlier date on which nothing was logged in that tank."""
        on = rows[0].on - timedelta(days=int(self.rng.choice(DAYS_OFF)))
        taken = any(row.on == on and row.tank_id == rows[0].tank_id for row in log)
        planted = [self._area[row.area_id].planted_on for row in rows if row.area_id]
        if taken or on < max([self._first_on, *planted]):
            return rows
        return [replace(row, on=on) for row in rows]
