"""What is true of a simulated practice, and the log its gardener wrote."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path

from tests.simulator.arrays import FloatArray, IntArray
from tests.simulator.plan import PracticePlan

__all__ = ["LogRow", "SimulatedPractice", "Truth"]


@dataclass(frozen=True, slots=True)
class LogRow:
    """One row of trims.csv; None is a blank cell, an ``area_id`` of "" the whole tank."""

    on: date
    tank_id: str
    area_id: str = ""
    before_cm: float | None = None
    after_cm: float | None = None
    removed_cm: float | None = None
    removed_g: float | None = None
    look: str = ""
    minutes: float | None = None
    note: str = ""
    measured_by: str = ""
    before_sd_cm: float | None = None


@dataclass(frozen=True, slots=True)
class Truth:
    """The true course of every area; ``T`` days, ``K`` tanks, ``A`` areas as in areas.csv.

    Heights are NaN before planting and after removal. On a day without a cut the heights before and
    after are the same. After the log's last day nothing is cut.

    Attributes
    ----------
    first_on
        Day of the first row of each (T, A) array.
    height_before_cm, height_after_cm
        Heights before and after any cut of that day (T, A) [cm, or % cover].
    rate_per_day
        Rate over the day that follows, every effect and noise included (T, A) [1/day].
    expected_rate_per_day
        The same without noise, drift and pauses: what a forecast can know (T, A) [1/day].
    reference_rate_per_day
        Rate at reference conditions, all lasting effects included (A,) [1/day].
    ceiling_cm, shape, mass_effect
        Ceiling, Richards exponent and log factor of the trimmings' density, each (A,).
    species_effect, tank_effect, area_effect
        Log effects: by species_id, (K,) and (A,).
    visited
        Days on which each tank was visited, logged or not.
    """

    first_on: date
    area_id: tuple[str, ...]
    tank_id: tuple[str, ...]
    tank_of_area: IntArray
    height_before_cm: FloatArray
    height_after_cm: FloatArray
    rate_per_day: FloatArray
    expected_rate_per_day: FloatArray
    reference_rate_per_day: FloatArray
    ceiling_cm: FloatArray
    shape: FloatArray
    mass_effect: FloatArray
    species_effect: dict[str, float]
    tank_effect: FloatArray
    area_effect: FloatArray
    visited: dict[str, tuple[date, ...]]

    def row_of(self, on: date) -> int:
        """Place of a day in the (T, A) arrays."""
        row = (on - self.first_on).days
        if not 0 <= row < len(self.height_before_cm):
            raise ValueError(f"{on} lies outside the simulated days")
        return row

    def height(self, area_id: str, on: date, *, before_cut: bool = True) -> float:
        """True height of an area on a day [cm, or % cover]; NaN where it is not planted."""
        heights = self.height_before_cm if before_cut else self.height_after_cm
        return float(heights[self.row_of(on), self.area_id.index(area_id)])

    def heights_on(self, on: date, *, before_cut: bool = True) -> FloatArray:
        """True heights of all areas on a day (A,)."""
        heights = self.height_before_cm if before_cut else self.height_after_cm
        row: FloatArray = heights[self.row_of(on)]
        return row


@dataclass(frozen=True, slots=True)
class SimulatedPractice:
    """A practice's plan, its log and the truth behind it."""

    plan: PracticePlan
    log: tuple[LogRow, ...]
    truth: Truth
    height_error_cm: float
    height_error_share: float

    @property
    def last_on(self) -> date:
        """Day of the last log row."""
        return max(row.on for row in self.log)

    def write_book(self, folder: Path) -> Path:
        """Write the five files of a book into a folder, which is made if need be."""
        from tests.simulator.writing import write_files

        return write_files(self, folder)
