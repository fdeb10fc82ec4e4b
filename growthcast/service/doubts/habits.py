"""What the log of an area holds: the heights it was cut to so far, its amounts of a day."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from growthcast.arrays import FloatArray
from growthcast.book.book import Book
from growthcast.book.words import plain

__all__ = ["PastCuts", "amounts_on", "past_cuts"]

CUTS_TO_TELL = 5
"""Logged cuts from which their scatter tells what is unusually deep."""
SCATTER_SHARE, WORTH = 0.15, 2.0
"""Scatter of cut heights before the log tells it, as a share, and how many cuts that is worth."""
DEEP = 2.0
"""A cut is deeper than ever so many times the scatter below the lowest: 1 of 100 usual ones."""
USUAL = 1.5
"""A height is a usual one to cut to, within so many times the scatter."""


@dataclass(frozen=True, slots=True)
class PastCuts:
    """Heights (n,) left by an area's logged cuts, and its stated usual one, NaN for none."""

    after_cm: FloatArray
    stated_cm: float

    @property
    def _usual(self) -> tuple[float, float]:
        """The middle of the cuts and their scatter [cm], NaN where there are none."""
        if not self.after_cm.size:
            return self.stated_cm, SCATTER_SHARE * self.stated_cm
        middle = float(self.after_cm.mean())
        squares = float(((self.after_cm - middle) ** 2).sum())
        squares += WORTH * (SCATTER_SHARE * middle) ** 2
        return middle, float(np.sqrt(squares / (self.after_cm.size + WORTH)))

    @property
    def range_cm(self) -> tuple[float, float, float] | None:
        """The 10, 50 and 90 % quantiles of usual cuts [cm], ``None`` where there are none."""
        middle, scatter = self._usual
        return (
            None if middle != middle else (middle - 1.28 * scatter, middle, middle + 1.28 * scatter)
        )

    def is_usual(self, height_cm: float) -> bool:
        """Whether the area is usually cut to about this height."""
        middle, scatter = self._usual
        return abs(height_cm - middle) <= USUAL * scatter

    def deeper(self, height_cm: float, error_cm: float, stands_cm: float, unit: str) -> str:
        """Say why a cut to a height is deeper than ever; ``''`` where it is not.

        ``error_cm`` is that of a reading, ``stands_cm`` the lowest cut that the species is known
        to stand.
        """
        count = self.after_cm.size
        lowest = float(np.nanmin([*self.after_cm, self.stated_cm, np.inf]))
        if count >= CUTS_TO_TELL and height_cm < lowest - DEEP * self._usual[1]:
            return f"never below {plain(lowest)} {unit} in {count} cuts so far"
        if height_cm < lowest and height_cm < stands_cm - DEEP * error_cm:
            ever = "lower than ever, and " if count else ""
            return f"{ever}below {plain(stands_cm)} {unit}, the species table's lowest cut"
        return ""


def past_cuts(book: Book, area_id: str, day: date) -> PastCuts:
    """Return the cuts of an area that a book's log holds up to a day."""
    trims, areas = book.trims, book.areas
    own = np.asarray(trims.text("area_id") == area_id, np.bool_)
    own &= trims.date("date") <= np.datetime64(day, "D")
    before, after = trims.number("before_cm")[own], trims.number("after_cm")[own]
    cut = np.isfinite(after) & (before != after) & (trims.number("removed_cm")[own] != 0.0)
    stated = areas.number("cut_cm")[areas.text("area_id") == area_id]
    return PastCuts(after[cut], float(stated[0]) if stated.size else float("nan"))


def amounts_on(book: Book, area_id: Sequence[str], day: date) -> dict[int, dict[str, float]]:
    """Return the amounts that the log holds of areas on a day, by their place in ``area_id``."""
    trims, place = book.trims, {name: n for n, name in enumerate(area_id)}
    on_day = np.flatnonzero(trims.date("date") == np.datetime64(day, "D")).tolist()
    columns = ("before_cm", "after_cm", "removed_cm", "removed_g")
    return {
        place[name]: {c: float(v) for c in columns if np.isfinite(v := trims.number(c)[row])}
        for row in on_day
        if (name := trims.text("area_id")[row]) in place
    }
