"""Variants of a tank: the same areas and candidates combined otherwise, all worked out at once.

Plants for an area, layouts and swaps are all variants of a ``Stand``, answered by
its ``answers``. What areas would do on their own is their ``Outlook``.

A variant is a tank of its own to the interval rule: which of the stand's areas it holds. Areas of
all variants share their draws, so that variants are compared on the same luck.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import field
from functools import cached_property
from typing import Any, Self

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray, distinct
from growthcast.book.book import Book, area_label
from growthcast.book.supposed import PlannedArea
from growthcast.fit.model.noise import span_drift
from growthcast.fit.result import GrowthFit
from growthcast.fit.supposed import fit_beside
from growthcast.growth.logistic import shape_factor, stage
from growthcast.growth.quick import BELOW_CEILING, Singles, column
from growthcast.nouns import dataclass
from growthcast.plain import HIDDEN
from growthcast.service.advice import Option
from growthcast.service.effort.hours import Range, Saving, fixed_minutes, saving, visit_effort
from growthcast.service.effort.learn import Timing, learn_timing
from growthcast.service.holding import LIKELY, Holding, holding_of
from growthcast.service.interval import interval_options
from growthcast.service.living import LivingAreas, living_areas
from growthcast.steps import steps

ROWS_AT_ONCE = 1_500
"""Areas of variants whose draws are held in memory together."""


@dataclass(frozen=True)
class Stand:
    """A tank's living areas and candidates, and what its visits take.

    Attributes
    ----------
    book, fit : Book, GrowthFit
        The book with the candidates in it, and its fit.
    tank : int
        Place of the tank in the book.
    known : int
        Areas of the book without the candidates, which come after them.
    living : LivingAreas
        Areas and candidates (A,) of the one tank; a place in it is a place of this stand.
    area_cm2 : array (A,)
        Planted area of each [cm2].
    listed_d : tuple of int
        Intervals to compare [d], none above the tank's own cap.
    confidence : float
        Wanted chance that all areas stay inside until the next visit.
    """

    book: Book
    fit: GrowthFit
    tank: int
    known: int
    living: LivingAreas
    area_cm2: FloatArray
    listed_d: tuple[int, ...]
    confidence: float

    @cached_property
    def fixed_min(self) -> float:
        """Minutes of a visit before any trimming, travel included."""
        return float(
            (fixed_minutes(self.book, self.timing) + self.book.of_tanks("travel_min"))[self.tank]
        )

    @cached_property
    def timing(self) -> Timing:
        """Minutes of trimming, as learnt from the log."""
        return learn_timing(self.book, self.fit)

    @property
    def species(self) -> IntArray:
        """Species of each area (A,)."""
        return self.fit.design.species[self.living.area]

    @property
    def now(self) -> IntArray:
        """Places in this stand of the tank's own areas."""
        return np.flatnonzero(self.living.area < self.known)

    @property
    def place_of(self) -> dict[int, int]:
        """Place in this stand of each of its areas, by its place in the book."""
        return {area: place for place, area in enumerate(self.living.area.tolist())}

    def trait(self, name: str, place: int) -> str:
        """Return what the species table writes of the plant at a place of the stand."""
        return str(getattr(self.fit.design.priors, name)[self.species[place]])

    def area_id(self, place: int) -> str:
        """Return the id of the area at a place of the stand."""
        return str(self.fit.design.area_id[self.living.area[place]])

    def label(self, place: int) -> str:
        """Return the label of the area at a place of the stand, its id where it has none."""
        return area_label(self.book.areas, int(self.living.area[place]))

    def prospects(self, places: IntArray, planted_cm: FloatArray) -> Prospects:
        """Return what the plants at some places (n,), planted at a height [cm], would come to.

        What is planted below the floor stays there where its ceiling does.
        """
        ceiling, floor_cm = self.living.draws.ceiling_cm[places], self.living.floor_cm[places]
        middle_cm = 0.5 * (floor_cm + self.living.budget_cm[places])
        reaches = (ceiling > column(floor_cm)) | (planted_cm >= floor_cm)[:, None]
        return Prospects(
            holding=holding_of(self.book, self.fit, self.living.area[places]),
            reaches_look=reaches.mean(axis=1),
            fills=(ceiling >= column(middle_cm)).mean(axis=1),
        )

    def answers(
        self, variants: Sequence[IntArray], intervals_d: Sequence[int] | None = None
    ) -> list[VariantAnswer]:
        """Work out the interval of every variant: places of the stand that it holds, at least one.

        ``intervals_d`` are the intervals to work out [d], the stand's listed ones if not given.
        """
        listed, rate = sorted(intervals_d or self.listed_d), self.book.practice.labour_rate_per_h
        found: list[VariantAnswer] = []
        sizes = np.array([v.size for v in variants])
        block = (np.cumsum(sizes) - sizes) // ROWS_AT_ONCE if sizes.size else sizes
        for number in steps(distinct(block).tolist()):
            mine = [variants[i] for i in np.flatnonzero(block == number).tolist()]
            living, fixed_min = combined(self.living, mine), np.full(len(mine), self.fixed_min)
            wanted = np.full(len(mine), self.confidence)
            options = [interval_options(living, d, wanted) for d in listed]
            efforts = [
                visit_effort(self.fit.design, self.timing, option, fixed_min) for option in options
            ]
            for run, places in enumerate(mine):
                here, worked = living.of_tank(run), []
                for option, effort in zip(options, efforts, strict=True):
                    drawn: dict[str, Any] = {
                        "hours_drawn": effort.hours_of_year(run, option.interval_d),
                        "area_min": Range.of_rows(effort.area_min[here]),
                        "removed_cm": Range.of_rows(effort.removed_cm[here]),
                        "chance_within": option.chance_within[here],
                    }
                    worked.append(VariantOption.of(option, effort, run, rate, **drawn))
                found.append(VariantAnswer.of(places, worked))
        return found

    def saved(self, now: VariantAnswer, then: VariantAnswer) -> Saving:
        """Return what one variant saves against another in a year, each at its chosen interval."""
        hours = (now.chosen.hours_drawn, then.chosen.hours_drawn)
        return saving(*hours, self.book.practice.labour_rate_per_h)

    def outlooks(self, places: IntArray, planted_cm: FloatArray) -> Outlook:
        """Work out what areas (A,) of the stand would do on their own, planted at a height [cm].

        Growth is that of the day of the fit; the pause after a hard cut is left out. After planting
        it ramps up from nothing over the species' days of settling in.
        """
        living = combined(self.living, [places])
        allowed = _allowed_days(living, self.confidence)
        usual = np.maximum(allowed, 1).astype(np.float64)
        growth = _growth(living, usual)
        pace = growth / usual[:, None]
        way = _way(living, living.least_cut_cm, living.budget_cm)
        days = np.divide(way, pace, out=np.full(pace.shape, np.inf), where=pace > 0.0)
        up = np.maximum(_way(living, planted_cm, living.floor_cm), 0.0)
        settled = np.divide(up, pace, out=np.where(up > 0.0, np.inf, 0.0), where=pace > 0.0)
        ramp = column(self.fit.design.clock.settle_d[living.area]) * np.exp(living.draws.settling)
        look = np.where(
            settled < 0.5 * ramp,
            np.sqrt(2.0 * ramp * np.minimum(settled, ramp)),
            settled + 0.5 * ramp,
        )
        return Outlook(
            allowed_d=allowed,
            days=_range(np.minimum(days, LONGEST_D)),
            look_d=[
                tuple(day if np.isfinite(day) else None for day in days)
                for days in _range(look).tolist()
            ],
        )


def stand_with(
    book: Book,
    fit: GrowthFit,
    tank: int,
    rows: Sequence[PlannedArea],
    stands_for: Sequence[str] | None = None,
) -> Stand:
    """Return the stand of a tank: its living areas, and candidates beside them.

    Parameters
    ----------
    book : Book
        The book that was fitted.
    fit : GrowthFit
        Its fit.
    tank : int
        Place of the tank in the book.
    rows : sequence of mappings
        Cells of the candidates' areas.
    stands_for : sequence of str, optional
        The area of the tank that each would be, as in ``fit_beside``.

    Returns
    -------
    Stand
        Areas in the book's order, candidates after them in theirs.
    """
    known = fit.design.area_id.size
    book, fit = fit_beside(book, fit, rows, stands_for) if rows else (book, fit)
    living = living_areas(fit, np.array([tank]))
    cap = float(book.of_tanks("longest_interval_d")[tank])
    return Stand(
        book=book,
        fit=fit,
        tank=tank,
        known=known,
        living=living,
        area_cm2=fit.design.area_cm2[living.area],
        listed_d=tuple(d for d in book.practice.intervals_d if d <= cap) or (int(cap),),
        confidence=float(book.of_tanks("confidence")[tank]),
    )


@dataclass(frozen=True, slots=True)
class VariantOption(Option):
    """One interval for one variant.

    ``hours_drawn`` (D,) are the hours of a year in each draw. By area: ``chance_within`` (n,), and
    of its mean visit ``area_min`` and ``removed_cm`` (n).
    """

    hours_drawn: FloatArray = field(metadata=HIDDEN)
    area_min: list[Range] = field(metadata=HIDDEN)
    removed_cm: list[Range] = field(metadata=HIDDEN)
    chance_within: FloatArray = field(metadata=HIDDEN)


@dataclass(frozen=True, slots=True)
class VariantAnswer:
    """What one variant allows: ``places`` (n,) of the stand it holds, and each listed interval.

    ``limited_by`` numbers the one of these places that fails first at the next longer interval,
    None where none does.
    """

    places: IntArray = field(metadata=HIDDEN)
    recommended_interval_d: int | None
    limited_by: int | None = field(metadata=HIDDEN)
    options: tuple[VariantOption, ...]

    @classmethod
    def of(cls, places: IntArray, options: list[VariantOption]) -> Self:
        """Return the answer that options of ascending intervals give."""
        best = max((o.interval_d for o in options if o.feasible), default=None)
        failing = next((o for o in options if best is None or o.interval_d > best), None)
        limited = None if failing is None else int(np.argmin(failing.chance_within))
        return cls(places, best, limited, tuple(options))

    @property
    def chosen(self) -> VariantOption:
        """The option of the recommended interval, else of the shortest listed one."""
        days = self.recommended_interval_d or self.options[0].interval_d
        return next(o for o in self.options if o.interval_d == days)


def combined(living: LivingAreas, variants: Sequence[IntArray]) -> LivingAreas:
    """Return the areas of one tank as many tanks, one a variant.

    Parameters
    ----------
    living : LivingAreas
        The tank's areas and all that could be planted there.
    variants : sequence of int array (v,)
        Places among them of the areas of each variant.

    Returns
    -------
    LivingAreas
        The areas of the first variant, then those of the second, and so on.
    """
    sizes = np.array([v.size for v in variants])
    return living.taken(np.concatenate(list(variants)), np.zeros_like(sizes), sizes)


@dataclass(frozen=True, slots=True)
class Prospects:
    """Whether plants (n,) would do where they are put, as chances [0-1].

    Attributes
    ----------
    holding : Holding
        Chances that they live there and keep their form.
    reaches_look : array (n,)
        Chance that it grows up to the floor at all.
    fills : array (n,)
        Chance that it fills the place: its ceiling lies above the middle of floor and budget.
    """

    holding: Holding
    reaches_look: FloatArray
    fills: FloatArray

    @property
    def likely(self) -> BoolArray:
        """Whether a plant likely does there (n,): what holds, comes up to the look and fills it."""
        chances = self.holding.chance, self.reaches_look, self.fills
        enough: BoolArray = np.minimum.reduce(chances) >= LIKELY
        return enough


LONGEST_D = 365
"""Days beyond which it is only said that they are more."""
Days = tuple[float | None, ...]
"""p10, p50 and p90 of a number of days [d], None where never."""


@dataclass(frozen=True, slots=True)
class Outlook:
    """Areas (A,) on their own; ranges are (A, 3), the 10, 50 and 90 % quantiles.

    Attributes
    ----------
    allowed_d : int array (A,)
        Most whole days between visits at which an area stays inside with the wanted chance when
        cut to its floor [d]; 0 where not even one, ``LONGEST_D`` where as many or more.
    days : array (A, 3)
        Days from the floor to the budget [d], ``LONGEST_D`` where as many or more.
    look_d : list of Days (A,)
        Days from planting to the floor, settling-in included [d].
    """

    allowed_d: IntArray
    days: FloatArray
    look_d: list[Days]


def _range(values: FloatArray) -> FloatArray:
    """Quantiles (A, 3) of draws (A, D) that may be endless."""
    ranked = np.sort(values, axis=1)
    at = [round(level * (values.shape[1] - 1)) for level in (0.1, 0.5, 0.9)]
    return ranked[:, at]


def _growth(living: LivingAreas, interval_d: FloatArray) -> Singles:
    """Stages (A, D) gained over an interval of each area's own, as ``LivingAreas.growth``."""
    draws, began = living.draws, np.full(interval_d.size, living.on_day)
    ahead = span_drift(began, began + interval_d, living.on_day)
    drift = np.einsum("ma,amd->ad", ahead.weight, draws.knots[living.run])
    drift += living.errors.drift * np.sqrt(ahead.remainder)[:, None] * draws.drift[living.run]
    pace = shape_factor(living.shape)[:, None] * np.exp(draws.log_rate + drift)
    week = living.errors.span * np.sqrt(7.0 / np.maximum(interval_d, 1.0))[:, None] * draws.week
    gained = pace * interval_d[:, None] * np.maximum(1.0 + week, 0.0)
    found: Singles = gained.astype(np.float32)
    return found


def _way(living: LivingAreas, from_cm: FloatArray, to_cm: FloatArray) -> FloatArray:
    """Stages (A, D) from one height (A,) to another; inf where the ceiling lies below it."""
    ceiling, shape = living.draws.ceiling_cm, living.shape[:, None]
    start = np.minimum(from_cm[:, None], ceiling * BELOW_CEILING)
    return stage(to_cm[:, None], ceiling, shape) - stage(start, ceiling, shape)


def _allowed_days(living: LivingAreas, confidence: float) -> IntArray:
    """Most whole days (A,) at which each area alone holds, by halving."""
    least = living.least_cut_cm[:, None]
    low, high = np.zeros(least.size), np.full(least.size, float(LONGEST_D))
    while (low < high).any():
        middle = np.ceil(0.5 * (low + high))
        holds = living.highest_cut(_growth(living, middle)) >= least
        enough = holds.mean(axis=1) >= confidence
        low, high = np.where(enough, middle, low), np.where(enough, high, middle - 1.0)
    return low.astype(np.int64)
