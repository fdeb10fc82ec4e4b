"""What was typed of a tank's areas beside what was expected of them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache

import numpy as np

from growthcast.arrays import FloatArray
from growthcast.growth.normal import normal_quantile
from growthcast.plain import NULL_IF_BLANK, by_quantile, in_json
from growthcast.service.doubts.expected import Expected, Range
from growthcast.service.doubts.habits import PastCuts

__all__ = ["FAR", "Doubt", "Typed"]


FAR = 0.003
"""Chance of a reading as far out on its side below which it is questioned."""
ERRORS = 64
FITS = 0.05
"""A cause fits where what it makes of the reading is at least so likely, on its side."""
FAR_BEYOND_BAND = 2.0
"""Where only floor and budget tell a height, a reading so many times beyond them is far off."""


@cache
def _normals() -> FloatArray:
    """Standard normals in equal parts: a reading's error."""
    return normal_quantile((np.arange(ERRORS) + 0.5) / ERRORS)


@dataclass(frozen=True, slots=True)
class Doubt:
    """Something typed that is far from what is expected.

    ``area_id`` is ``None`` for the whole tank; ``expected`` are the 10, 50 and 90 % quantiles in
    ``unit``, ``cause`` what may lie behind it, ``''`` where nothing suggests itself.
    """

    area_id: str | None
    column: str
    found: float | str
    expected: Range = field(metadata=in_json(into=by_quantile, digits=2))
    unit: str
    sentence: str
    cause: str = field(default="", metadata=NULL_IF_BLANK)

    @property
    def words(self) -> str:
        """The sentence, with its cause as a question."""
        return f"{self.sentence}: {self.cause}" if self.cause else self.sentence


@dataclass(frozen=True, slots=True)
class Typed:
    """Amounts of living areas by their place in ``expected``, and the cuts logged before.

    ``amounts`` are those of the line, ``earlier`` those that the log holds of the day already.
    """

    expected: Expected
    amounts: Mapping[int, Mapping[str, float | str]]
    earlier: Mapping[int, Mapping[str, float]]
    cuts: Mapping[int, PastCuts]

    def number(self, area: int, column: str) -> float | None:
        """Return an amount of an area on the day, ``None`` where there is none."""
        amount = self.amounts.get(area, self.earlier.get(area, {})).get(column)
        return amount if isinstance(amount, float | int) else None

    def untouched(self, area: int) -> bool:
        """Whether it is said that nothing was cut."""
        before, after = self.number(area, "before_cm"), self.number(area, "after_cm")
        if self.number(area, "removed_g"):
            return False
        removed = self.number(area, "removed_cm")
        only_read = before is not None and after is None and removed is None
        return removed == 0.0 or only_read or (before is not None and before == after)

    def is_far(self, area: int, height_cm: float) -> bool:
        """Whether a reading is far from what is expected."""
        known = self.expected
        if not known.guessed[area]:
            return known.chance_as_far(area, height_cm) < FAR
        low = known.floor_cm[area] / FAR_BEYOND_BAND
        return not low <= height_cm <= FAR_BEYOND_BAND * known.budget_cm[area]

    def fits(self, area: int, height_cm: float) -> bool:
        """Whether an area may well be read at a height."""
        return self.expected.chance_as_far(area, height_cm) >= FITS

    def removed_cm(self, area: int) -> tuple[FloatArray, bool]:
        """Return the length (S,) that came off an area, and whether the day's row tells it.

        Otherwise it is all that stands there: no more can have come off.
        """
        before, after = self.number(area, "before_cm"), self.number(area, "after_cm")
        removed, heights = self.number(area, "removed_cm"), self.expected.heights_cm[area]
        if self.untouched(area):
            return np.zeros(1), True
        if before is not None and after is not None:
            known = self.expected
            error = math.hypot(known.error_of(area, before), known.error_of(area, after))
            return np.maximum(before - after + error * _normals(), 0.0), True
        if removed is not None:
            error = self.expected.error_of(area, removed)
            return np.maximum(removed + error * _normals(), 0.0), True
        if after is not None and area in self.amounts:
            return np.maximum(heights - after, 0.0), True
        return heights if before is None else np.full(1, before), False
