"""What was typed of a tank's areas, beside what a fit expected of them and what the log holds."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import field
from datetime import date
from functools import cache
from typing import Literal

import numpy as np

from growthcast.arrays import BoolArray, FloatArray
from growthcast.book.book import Book
from growthcast.finite import finite_answer
from growthcast.fit.design import COVER_CEILING, day_number
from growthcast.fit.model.noise import look_log_chance
from growthcast.fit.result import GrowthFit
from growthcast.forecast.heights import outlook
from growthcast.growth.normal import normal_cdf, normal_quantile
from growthcast.growth.quick import quick_quantiles
from growthcast.log.visits import Look, read_log
from growthcast.nouns import dataclass
from growthcast.plain import HIDDEN, by_quantile, in_json

Range = tuple[float, float, float]

RANGE = (0.10, 0.50, 0.90)
Z_80 = 1.2815515655446004
"""Standard normal quantile of 90 %: half the width of an 80 % range, in standard deviations."""
LEAST_STANDING_CM = 1e-3


@dataclass(frozen=True, slots=True)
class Weight:
    """A weight expected, lognormal: the middle [g] and the spread of its logarithm."""

    middle_g: float
    log_sd: float

    def at(self, deviations: float) -> float:
        """Return the weight [g] so many standard deviations above the middle."""
        return float(self.middle_g * np.exp(deviations * self.log_sd))

    @property
    def range_g(self) -> Range:
        """The 10, 50 and 90 % quantiles [g]."""
        return self.at(-Z_80), self.middle_g, self.at(Z_80)


@dataclass(frozen=True, slots=True)
class Expected:
    """The living areas (n,) of a tank as they are expected to stand on a day, before any cut.

    Attributes
    ----------
    area_id, label : list of str
        Their ids and what people call them.
    heights_cm : array (n, S)
        Heights, each as likely as the others [cm, or % cover].
    error_cm, error_share : array (n,)
        A reading of height ``h`` is off by ``sqrt(cm^2 + (share h)^2)``.
    floor_cm, budget_cm, lowest_cut_cm : array (n,)
        Bounds of looks, and the lowest cut that the species is known to stand.
    gram_per_cm, log_gram_sd : array (n,)
        What a centimetre weighs by the table and the log [g], and the log spread of a weight.
    weight_sd : float
        Spread of one weight, as a share.
    guessed : bool array (n,)
        Whether nothing but floor and budget tells how high the area stands.
    is_cover : bool array (n,)
        Whether heights are % cover.
    """

    area_id: list[str]
    label: list[str]
    heights_cm: FloatArray
    error_cm: FloatArray
    error_share: FloatArray
    floor_cm: FloatArray
    budget_cm: FloatArray
    lowest_cut_cm: FloatArray
    gram_per_cm: FloatArray
    log_gram_sd: FloatArray
    weight_sd: float
    guessed: BoolArray
    is_cover: BoolArray

    def unit(self, area: int) -> str:
        """Return the unit of an area's heights."""
        return "%" if self.is_cover[area] else "cm"

    def range_cm(self, area: int) -> Range:
        """Return the 10, 50 and 90 % quantiles of an area's height."""
        low, middle, high = quick_quantiles(self.heights_cm[area].copy(), RANGE).tolist()
        return low, middle, high

    def error_of(self, area: int, height_cm: float) -> float:
        """Return the standard deviation of a reading of a height."""
        return float(np.hypot(self.error_cm[area], self.error_share[area] * height_cm))

    def chance_read_below(self, area: int, height_cm: float) -> float:
        """Return the chance that an area is read at or below a height, errors included."""
        heights = self.heights_cm[area]
        error = np.hypot(self.error_cm[area], self.error_share[area] * heights)
        return float(normal_cdf((height_cm - heights) / error).mean())

    def chance_as_far(self, area: int, height_cm: float) -> float:
        """Return the chance of a reading as far out as this, or farther on its side."""
        below = self.chance_read_below(area, height_cm)
        return min(below, 1.0 - below)

    def chance_of_look(self, area: int, look: str) -> float:
        """Return the chance that an area looks short, right or over."""
        heights = np.maximum(self.heights_cm[area], LEAST_STANDING_CM)
        bounds = self.floor_cm[[area]], self.budget_cm[[area]]
        word = np.array([int(Look[look.upper()])])
        return float(np.exp(look_log_chance(word, heights[None, :], *bounds)).mean())

    def weight_of(self, lengths_cm: dict[int, FloatArray], known_g: float = 0.0) -> Weight | None:
        """Return what lengths of some areas weigh together, beside grams that are known.

        A sum of lognormal weights is lognormal with its mean and variance (Fenton 1960, IRE Trans.
        Commun. Syst. 8, 57-67, from memory). ``None`` where nothing is left to weigh.
        """
        mean, variance = known_g, (known_g * self.weight_sd) ** 2
        for area, cm in lengths_cm.items():
            grams, log_variance = cm * self.gram_per_cm[area], self.log_gram_sd[area] ** 2
            own = float(grams.mean() * np.exp(0.5 * log_variance))
            variance += float((grams**2).mean() * np.exp(2.0 * log_variance)) - own**2
            mean += own
        if mean <= 0.0:
            return None
        log_variance = float(np.log1p(variance / mean**2))
        return Weight(float(mean * np.exp(-0.5 * log_variance)), float(np.sqrt(log_variance)))


@finite_answer
def expected_at(fit: GrowthFit, book: Book, tank_id: str) -> Expected:
    """Return what is expected at a tank on the day of a fit.

    Parameters
    ----------
    fit : GrowthFit
        The book's fit without the rows of the visit.
    book : Book
        The book that was fitted.
    tank_id : str
        The tank visited.

    Returns
    -------
    Expected
        Its areas alive on the day, in the order of the book.
    """
    design = fit.design
    traits, errors = design.traits, design.problem.errors
    areas = np.flatnonzero(design.alive & (design.tank_id[design.tank] == tank_id))
    posterior = fit.posterior(areas)
    heights = np.empty((0, 1))
    if areas.size:
        view = outlook(fit, areas, np.array([design.on_day]), posterior)
        heights = view.heights_cm()[:, 0].astype(np.float64)
    most = np.where(design.is_cover[areas], COVER_CEILING, np.inf)[:, None]
    recent = traits.planted_lately(design.on_day)[areas]
    density = np.exp(posterior.mean.log_density)
    labels = book.areas.text("label")[areas]
    ids = design.area_id[areas]
    return Expected(
        area_id=ids.tolist(),
        label=[label or name for label, name in zip(labels, ids, strict=True)],
        heights_cm=np.minimum(heights, most),
        error_cm=errors.height_error_cm[areas],
        error_share=errors.height_error_share[areas],
        floor_cm=traits.floor_cm[areas],
        budget_cm=traits.budget_cm[areas],
        lowest_cut_cm=traits.lowest_cut_cm[areas],
        gram_per_cm=traits.gram_per_cm[areas] * density,
        log_gram_sd=np.sqrt(posterior.log_density_variance + errors.weight**2),
        weight_sd=errors.weight,
        guessed=(design.observations[areas] == 0) & ~recent,
        is_cover=design.is_cover[areas],
    )


FAR = 0.003
"""Chance of a reading as far out on its side below which it is questioned."""
ERRORS = 64
FITS = 0.05
"""A cause fits where what it makes of the reading is at least so likely, on its side."""
FAR_BEYOND_BAND = 2.0
"""Where only floor and budget tell a height, a reading so many times beyond them is far off."""
CUTS_TO_TELL = 5
"""Logged cuts from which their scatter tells what is unusually deep."""
SCATTER_SHARE, WORTH = 0.15, 2.0
"""Scatter of cut heights before the log tells it, as a share, and how many cuts that is worth."""
DEEP = 2.0
"""A cut is deeper than ever so many times the scatter below the lowest: 1 of 100 usual ones."""
USUAL = 1.5
"""A height is a usual one to cut to, within so many times the scatter."""
AMOUNTS = ("before_cm", "after_cm", "removed_cm", "removed_g")

Against = Literal[
    "height", "stand", "cuts", "table", "look", "what was cut", "all that stands", "rest", "uncut"
]
CauseKind = Literal[
    "turned round",
    "swapped",
    "decimal",
    "millimetres",
    "kilograms",
    "height after",
    "other area",
    "unlogged cut",
    "water",
    "whole tank",
]


@dataclass(frozen=True, slots=True)
class Cause:
    """What may lie behind a doubt.

    ``fits`` is the value that would fit in the unit of the doubt, ``label`` the other area that is
    meant, where a cause has them.
    """

    kind: CauseKind
    fits: float | None = None
    label: str = ""


@dataclass(frozen=True, slots=True)
class Doubt:
    """Something typed that is far from what is expected.

    Attributes
    ----------
    area_id : str or None
        The area, ``None`` for the whole tank.
    column, found
        What was typed.
    expected : tuple of float
        The 10, 50 and 90 % quantiles of what was expected, in ``unit``.
    against : str
        What it is held against: the "height" foreseen, which is where the area must "stand" before
        a cut; its earlier "cuts", or the lowest of the species "table"; the "look" that was likely;
        or, for a weight, "what was cut", "all that stands", that on the "rest" of the areas, or
        that all are "uncut".
    stands : tuple of float
        The 10, 50 and 90 % quantiles of the area's height before any cut.
    bounds : tuple of float or None
        Floor and height budget of the area.
    guessed : bool
        Whether nothing but these bounds tells how high the area stands.
    cuts, lowest : int, float
        How many cuts the log holds of the area, and the lowest height that one of them, or the
        species table, allows.
    cause : Cause or None
        What may lie behind it, ``None`` where nothing suggests itself.
    """

    area_id: str | None
    column: str
    found: float | str
    expected: Range = field(metadata=in_json(into=by_quantile, digits=2))
    unit: str
    against: Against = field(metadata=HIDDEN)
    stands: Range = field(default=(0.0, 0.0, 0.0), metadata=HIDDEN)
    bounds: tuple[float, float] = field(default=(0.0, 0.0), metadata=HIDDEN)
    guessed: bool = field(default=False, metadata=HIDDEN)
    cuts: int = field(default=0, metadata=HIDDEN)
    lowest: float = field(default=0.0, metadata=HIDDEN)
    cause: Cause | None = field(default=None, metadata=HIDDEN)


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
    def range_cm(self) -> Range | None:
        """The 10, 50 and 90 % quantiles of usual cuts [cm], ``None`` where there are none."""
        middle, scatter = self._usual
        low, high = middle - 1.28 * scatter, middle + 1.28 * scatter
        return None if math.isnan(middle) else (low, middle, high)

    def is_usual(self, height_cm: float) -> bool:
        """Whether the area is usually cut to about this height."""
        middle, scatter = self._usual
        return abs(height_cm - middle) <= USUAL * scatter

    def passed_below(
        self, height_cm: float, error_cm: float, table_cm: float
    ) -> tuple[Literal["cuts", "table"], float] | None:
        """Return which lowest cut a height lies unusually far below, ``None`` where it does not.

        ``error_cm`` is that of a reading, ``table_cm`` the lowest cut that the species is known to
        stand.
        """
        lowest = float(np.nanmin([*self.after_cm, self.stated_cm, np.inf]))
        if self.after_cm.size >= CUTS_TO_TELL and height_cm < lowest - DEEP * self._usual[1]:
            return "cuts", lowest
        if height_cm < lowest and height_cm < table_cm - DEEP * error_cm:
            return "table", table_cm
        return None


@cache
def _normals() -> FloatArray:
    """Standard normals in equal parts: a reading's error."""
    return normal_quantile((np.arange(ERRORS) + 0.5) / ERRORS)


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

    def has_amounts(self, area: int) -> bool:
        """Whether an area has amounts of its own on the day."""
        return any(self.number(area, column) is not None for column in AMOUNTS)

    def untouched(self, area: int) -> bool:
        """Whether it is said that nothing was cut."""
        before, after, removed, grams = (self.number(area, column) for column in AMOUNTS)
        if grams:
            return False
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
        before, after, removed, _ = (self.number(area, column) for column in AMOUNTS)
        known, heights = self.expected, self.expected.heights_cm[area]
        if self.untouched(area):
            return np.zeros(1), True
        if before is not None and after is not None:
            error = math.hypot(known.error_of(area, before), known.error_of(area, after))
            return np.maximum(before - after + error * _normals(), 0.0), True
        if removed is not None:
            return np.maximum(removed + known.error_of(area, removed) * _normals(), 0.0), True
        if after is not None and area in self.amounts:
            return np.maximum(heights - after, 0.0), True
        return heights if before is None else np.full(1, before), False


def typed_at(
    expected: Expected, amounts: Mapping[str, Mapping[str, float | str]], book: Book, day: date
) -> Typed:
    """Put what was typed beside what the log holds of the areas.

    Parameters
    ----------
    expected : Expected
        What is expected of a tank's areas on the day.
    amounts : mapping of mapping
        What was typed, by area and column [cm, g or % cover]; areas not expected are passed over.
    book : Book
        The book without the visit.
    day : date
        The day of the visit; later rows are not used.

    Returns
    -------
    Typed
        With the areas' earlier cuts, and the amounts that the log holds of the day already of areas
        that were not typed.
    """
    visits, on_day = read_log(book).visits, day_number(day)
    ids, stated = book.areas.text("area_id").tolist(), book.bounds_on(day).cut_cm
    place = {area_id: n for n, area_id in enumerate(expected.area_id)}
    typed = {place[area_id]: of for area_id, of in amounts.items() if area_id in place}
    cuts, earlier = {}, {}
    for area_id, n in place.items():
        area = ids.index(area_id)
        mine = visits.keep((visits.area == area) & (visits.day <= on_day))
        cuts[n] = PastCuts(mine.after_cm[np.isfinite(mine.after_cm)], float(stated[area]))
        today = mine.keep(mine.day == on_day)
        if n not in typed and today.area.size:
            read = {column: float(getattr(today, column)[0]) for column in AMOUNTS}
            earlier[n] = {column: value for column, value in read.items() if np.isfinite(value)}
    return Typed(expected, typed, earlier, cuts)
