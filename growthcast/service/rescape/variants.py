"""Variants of a tank: the same areas and candidates combined otherwise, all worked out at once.

Plants for an area and swaps are variants of a ``Stand``, answered by its ``answers``. What
areas would do on their own is their ``Outlook``.

A variant is a tank of its own to the interval rule: which of the stand's areas it holds. Areas of
all variants share their draws, so that variants are compared on the same luck.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import field, replace
from functools import cached_property

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray, distinct
from growthcast.book.book import Book, area_label
from growthcast.book.supposed import PlannedArea
from growthcast.fit.result import GrowthFit
from growthcast.fit.supposed import fit_beside
from growthcast.growth.quick import Singles, column
from growthcast.nouns import dataclass
from growthcast.plain import HIDDEN
from growthcast.service.advice import Option
from growthcast.service.compared import compare, falling_short
from growthcast.service.effort.hours import Range, Saving, fixed_minutes, saving, visit_effort
from growthcast.service.effort.learn import Timing, learn_timing
from growthcast.service.holding import LIKELY, Holding, holding_of
from growthcast.service.living import LivingAreas, living_areas, living_part
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
    """

    book: Book
    fit: GrowthFit
    tank: int
    known: int
    living: LivingAreas

    @property
    def area_cm2(self) -> FloatArray:
        """Planted area of each [cm2], (A,)."""
        return self.fit.design.area_cm2[self.living.area]

    @property
    def confidence(self) -> float:
        """Wanted chance that all areas stay inside until the next visit."""
        return float(self.book.of_tanks("confidence")[self.tank])

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

    def answers(
        self, variants: Sequence[IntArray], intervals_d: Sequence[int] | None = None
    ) -> list[VariantAnswer]:
        """Work out the interval of every variant: places of the stand that it holds, at least one.

        ``intervals_d`` are the intervals to work out [d], the stand's listed ones if not given.
        """
        return answers_of(self.book, self.fit, self.timing, self.living, variants, intervals_d)

    def saved(self, now: VariantAnswer, then: VariantAnswer) -> Saving:
        """Return what one variant saves against another in a year, each at its chosen interval."""
        rate = self.book.practice.labour_rate_per_h
        return saving(now.hours_drawn, then.hours_drawn, rate)


def stand_with(book: Book, fit: GrowthFit, tank: int, rows: Sequence[PlannedArea]) -> Stand:
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

    Returns
    -------
    Stand
        Areas in the book's order, candidates after them in theirs.
    """
    known = fit.design.area_id.size
    book, fit = fit_beside(book, fit, rows) if rows else (book, fit)
    return Stand(book, fit, tank, known, living_areas(fit, np.array([tank])))


@dataclass(frozen=True, slots=True)
class VariantAnswer:
    """What one variant allows: the longest interval that holds, and each listed one.

    Hidden are what else is known of the interval chosen: ``hours_drawn`` (D,), the hours of a year
    in each draw, and by area ``area_min`` and ``removed_cm`` (n) of its mean visit and
    ``chance_within`` (n,). ``limited_by`` numbers the area that fails first at the next longer
    interval, ``limited_within`` is its chance there; None where nothing fails.
    """

    recommended_interval_d: int | None
    options: tuple[Option, ...]
    limited_by: int | None = field(metadata=HIDDEN)
    limited_within: float | None = field(metadata=HIDDEN)
    hours_drawn: FloatArray = field(metadata=HIDDEN)
    area_min: list[Range] = field(metadata=HIDDEN)
    removed_cm: list[Range] = field(metadata=HIDDEN)
    chance_within: FloatArray = field(metadata=HIDDEN)

    @property
    def chosen(self) -> Option:
        """The option of the recommended interval, else of the shortest listed one."""
        days = self.recommended_interval_d or self.options[0].interval_d
        return next(o for o in self.options if o.interval_d == days)


def answers_of(
    book: Book,
    fit: GrowthFit,
    timing: Timing,
    living: LivingAreas,
    variants: Sequence[IntArray],
    intervals_d: Sequence[int] | None = None,
) -> list[VariantAnswer]:
    """Work out the intervals of variants of a tank.

    Parameters
    ----------
    book : Book
        The book, with what is supposed of it.
    fit : GrowthFit
        Its fit.
    timing : Timing
        Minutes of trimming, as learnt from the log.
    living : LivingAreas
        The tank's areas and all that could be planted there.
    variants : sequence of int array (v,)
        Places among them of the areas of each variant, at least one.
    intervals_d : sequence of int, optional
        The intervals to work out [d]; those listed, none above the tank's own cap, when not given.

    Returns
    -------
    list of VariantAnswer
        In the order of the variants.
    """
    tank, sizes = int(living.tank[0]), np.array([v.size for v in variants])
    cap = float(book.of_tanks("longest_interval_d")[tank])
    listed = intervals_d or [d for d in book.practice.intervals_d if d <= cap] or [int(cap)]
    block = (np.cumsum(sizes) - sizes) // ROWS_AT_ONCE if sizes.size else sizes
    found: list[VariantAnswer] = []
    for number in steps(distinct(block).tolist()):
        mine = [variants[i] for i in np.flatnonzero(block == number).tolist()]
        found += _answered(book, fit, timing, combined(living, mine), listed)
    return found


def _answered(
    book: Book, fit: GrowthFit, timing: Timing, living: LivingAreas, listed: Sequence[int]
) -> Iterator[VariantAnswer]:
    """Yield the answers of a block of variants, each a tank of its own."""
    caps, wanted = np.full(living.tank.size, np.inf), book.of_tanks("confidence")[living.tank]
    fixed_min = (fixed_minutes(book, timing) + book.of_tanks("travel_min"))[living.tank]
    options, chosen, failing = compare(living, listed, caps, wanted)
    efforts = {d: visit_effort(fit.design, timing, o, fixed_min) for d, o in options.items()}
    rate = book.practice.labour_rate_per_h
    for run, (chosen_d, fails_d) in enumerate(zip(chosen.tolist(), failing.tolist(), strict=True)):
        here, days = living.of_tank(run), chosen_d or min(listed)
        effort = efforts[days]
        worst = int(falling_short(options[fails_d], run)[0]) if fails_d else -1
        yield VariantAnswer(
            recommended_interval_d=chosen_d or None,
            options=tuple(Option.of(o, efforts[d], run, rate) for d, o in options.items()),
            limited_by=worst - here.start if fails_d else None,
            limited_within=float(options[fails_d].chance_within[worst]) if fails_d else None,
            hours_drawn=effort.hours_of_year(run, days),
            area_min=Range.of_rows(effort.area_min[here]),
            removed_cm=Range.of_rows(effort.removed_cm[here]),
            chance_within=options[days].chance_within[here],
        )


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


LONGEST_D = 365
"""Days beyond which it is only said that they are more."""
Days = tuple[float | None, ...]
"""p10, p50 and p90 of a number of days [d], None where never."""


@dataclass(frozen=True)
class Outlook:
    """What plants (A,) at some places of a stand would come to, worked out when it is read.

    ``planted_cm`` are the heights at which they are planted. Ranges are (A, 3), the 10, 50 and 90 %
    quantiles. Growth is that of the day of the fit; the pause after a hard cut is left out.
    """

    stand: Stand
    places: IntArray
    planted_cm: FloatArray

    @cached_property
    def _living(self) -> LivingAreas:
        return combined(self.stand.living, [self.places])

    @cached_property
    def holding(self) -> Holding:
        """Chances that they live there and keep their form."""
        return holding_of(self.stand.book, self.stand.fit, self._living.area)

    @cached_property
    def reaches_look(self) -> FloatArray:
        """Chance that a plant comes up to the floor at all (A,) [0-1].

        What is planted below it stays there where its ceiling does.
        """
        floor_cm, ceiling = self._living.floor_cm, self._living.draws.ceiling_cm
        reaches = (ceiling > column(floor_cm)) | (self.planted_cm >= floor_cm)[:, None]
        share: FloatArray = reaches.mean(axis=1)
        return share

    @cached_property
    def fills(self) -> FloatArray:
        """Chance that its ceiling lies above the middle of floor and budget (A,) [0-1]."""
        middle_cm = 0.5 * (self._living.floor_cm + self._living.budget_cm)
        share: FloatArray = (self._living.draws.ceiling_cm >= column(middle_cm)).mean(axis=1)
        return share

    @property
    def likely(self) -> BoolArray:
        """Whether a plant likely holds, comes up to the look and fills the place, (A,)."""
        chances = self.holding.chance, self.reaches_look, self.fills
        enough: BoolArray = np.minimum.reduce(chances) >= LIKELY
        return enough

    @cached_property
    def allowed_d(self) -> IntArray:
        """Most whole days (A,) between visits at which an area alone holds, cut to its floor [d].

        0 where not even one does, ``LONGEST_D`` where as many or more do.
        """
        living, confidence = self._living, self.stand.confidence
        low, high = np.zeros_like(living.area), np.full_like(living.area, LONGEST_D)
        while (low < high).any():
            middle = (low + high + 1) // 2
            holds = living.highest_cut(grown_over(living, middle)) >= column(living.least_cut_cm)
            enough = holds.mean(axis=1) >= confidence
            low, high = np.where(enough, middle, low), np.where(enough, high, middle - 1)
        return low

    @cached_property
    def _days_a_stage(self) -> Singles:
        """Days (A, D) for a stage at the mean pace of that interval, inf where nothing grows."""
        usual = np.maximum(self.allowed_d, 1)
        gained = grown_over(self._living, usual)
        return np.divide(column(usual), gained, out=np.full_like(gained, np.inf), where=gained > 0)

    def _days_between(self, from_cm: FloatArray, to_cm: FloatArray) -> Singles:
        """Days (A, D) from one height (A,) to another, inf where it is never reached."""
        living = self._living
        sure = replace(living.draws, hand=np.zeros_like(living.draws.hand))
        way = living.stage_of(to_cm) - replace(living, draws=sure).stage_after_cut(from_cm)
        days: Singles = np.zeros_like(way)
        np.multiply(way, self._days_a_stage, out=days, where=way > 0.0)
        return days

    @cached_property
    def days(self) -> FloatArray:
        """Days from the floor to the budget (A, 3) [d], ``LONGEST_D`` where as many or more."""
        living = self._living
        return _range(
            np.minimum(self._days_between(living.least_cut_cm, living.budget_cm), LONGEST_D)
        )

    @cached_property
    def look_d(self) -> list[Days]:
        """Days from planting to the floor [d], settling-in included, of each.

        Growth ramps up from nothing over the species' days of settling in.
        """
        living, clock = self._living, self.stand.fit.design.clock
        settled = self._days_between(self.planted_cm, living.floor_cm)
        ramp = column(clock.settle_d[living.area]) * np.exp(living.draws.settling)
        early = np.sqrt(2.0 * ramp * np.minimum(settled, ramp))
        look = np.where(settled < 0.5 * ramp, early, settled + 0.5 * ramp)
        return [
            tuple(day if np.isfinite(day) else None for day in days)
            for days in _range(look).tolist()
        ]


def _range(values: FloatArray | Singles) -> FloatArray:
    """Quantiles (A, 3) of draws (A, D) that may be endless."""
    ranked = np.sort(values, axis=1).astype(np.float64)
    at = [round(level * (values.shape[1] - 1)) for level in (0.1, 0.5, 0.9)]
    return ranked[:, at]


def grown_over(living: LivingAreas, interval_d: IntArray) -> Singles:
    """Return the stages gained over an interval of each area's own.

    Parameters
    ----------
    living : LivingAreas
        The areas.
    interval_d : int array (A,)
        Interval of each [d].

    Returns
    -------
    array (A, D)
        What ``LivingAreas.growth`` gives for each interval [-].
    """
    gained = np.empty_like(living.draws.week)
    for days in distinct(interval_d).tolist():
        gained[interval_d == days] = living_part(living, interval_d == days).growth(days)
    return gained
