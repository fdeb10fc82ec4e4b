"""What was typed of a tank's areas, beside what a fit expected of them and what the log holds."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import field
from datetime import date
from functools import cache
from typing import Literal

import numpy as np

from growthcast.arrays import FloatArray, rows_of
from growthcast.book.book import Book
from growthcast.finite import finite_answer
from growthcast.fit.design import COVER_CEILING, day_number
from growthcast.fit.model.noise import look_log_chance
from growthcast.fit.result import GrowthFit
from growthcast.forecast.heights import outlook
from growthcast.growth.normal import normal_cdf, normal_quantile
from growthcast.growth.quick import quick_quantiles
from growthcast.log.visits import Look, read_log, tells_of_cut
from growthcast.nouns import dataclass
from growthcast.plain import HIDDEN, by_quantile, in_json

Range = tuple[float, float, float]

RANGE = (0.10, 0.50, 0.90)
LEAST_STANDING_CM = 1e-3
FAR = 0.003
"""Chance of a reading as far out on its side below which it is questioned."""
FITS = 0.05
"""A cause fits where what it makes of the reading is at least so likely, on its side."""
FAR_BEYOND_BAND = 2.0
"""Where only floor and budget tell a height, a reading so many times beyond them is far off."""


@dataclass(frozen=True, slots=True)
class Expected:
    """A living area of a tank as it is expected to stand on a day, before any cut.

    Attributes
    ----------
    area_id, label : str
        Its id and what people call it.
    heights_cm : array (S,)
        Heights, each as likely as the others [cm, or % cover].
    error_cm, error_share : float
        A reading of height ``h`` is off by ``sqrt(cm^2 + (share h)^2)``.
    floor_cm, budget_cm, lowest_cut_cm : float
        Bounds of looks, and the lowest cut that the species is known to stand.
    gram_per_cm, log_gram_sd : float
        What a centimetre weighs by the table and the log [g], and the log spread of a weight.
    weight_sd : float
        Spread of one weight, as a share.
    guessed : bool
        Whether nothing but floor and budget tells how high the area stands.
    is_cover : bool
        Whether heights are % cover.
    """

    area_id: str
    label: str
    heights_cm: FloatArray
    error_cm: float
    error_share: float
    floor_cm: float
    budget_cm: float
    lowest_cut_cm: float
    gram_per_cm: float
    log_gram_sd: float
    weight_sd: float
    guessed: bool
    is_cover: bool

    @property
    def range_cm(self) -> Range:
        """The 10, 50 and 90 % quantiles of its height."""
        low, middle, high = quick_quantiles(self.heights_cm.copy(), RANGE).tolist()
        return low, middle, high

    def error_of(self, height_cm: float) -> float:
        """Return the standard deviation of a reading of a height."""
        return math.hypot(self.error_cm, self.error_share * height_cm)

    def chance_as_far(self, height_cm: float) -> float:
        """Return the chance of a reading as far out as this, or farther on its side."""
        error = np.hypot(self.error_cm, self.error_share * self.heights_cm)
        below = float(normal_cdf((height_cm - self.heights_cm) / error).mean())
        return min(below, 1.0 - below)

    def is_far(self, height_cm: float) -> bool:
        """Whether a reading is far from what is expected."""
        if not self.guessed:
            return self.chance_as_far(height_cm) < FAR
        low, high = self.floor_cm / FAR_BEYOND_BAND, FAR_BEYOND_BAND * self.budget_cm
        return not low <= height_cm <= high

    def fits(self, height_cm: float) -> bool:
        """Whether the area may well be read at a height."""
        return self.chance_as_far(height_cm) >= FITS

    def chance_of_look(self, look: str) -> float:
        """Return the chance that the area looks short, right or over."""
        heights = np.maximum(self.heights_cm, LEAST_STANDING_CM)[None, :]
        bounds = np.array([self.floor_cm]), np.array([self.budget_cm])
        word = np.array([int(Look[look.upper()])])
        return float(np.exp(look_log_chance(word, heights, *bounds)).mean())


@finite_answer
def expected_at(fit: GrowthFit, book: Book, tank_id: str) -> list[Expected]:
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
    list of Expected
        Its areas alive on the day, in the order of the book.
    """
    design = fit.design
    traits, errors = design.traits, design.problem.errors
    areas = np.flatnonzero(design.alive & (design.tank_id[design.tank] == tank_id))
    if not areas.size:
        return []
    posterior, labels = fit.posterior(areas), book.areas.text("label")[areas]
    heights = outlook(fit, areas, np.array([design.on_day]), posterior).heights_cm()[:, 0]
    most = np.where(design.is_cover[areas], COVER_CEILING, np.inf)[:, None]
    recent = traits.planted_lately(design.on_day)[areas]
    columns = {
        "area_id": design.area_id[areas],
        "label": np.where(labels == "", design.area_id[areas], labels),
        "heights_cm": [*np.minimum(heights.astype(np.float64), most)],
        "error_cm": errors.height_error_cm[areas],
        "error_share": errors.height_error_share[areas],
        "floor_cm": traits.floor_cm[areas],
        "budget_cm": traits.budget_cm[areas],
        "lowest_cut_cm": traits.lowest_cut_cm[areas],
        "gram_per_cm": traits.gram_per_cm[areas] * np.exp(posterior.mean.log_density),
        "log_gram_sd": np.sqrt(posterior.log_density_variance + errors.weight**2),
        "guessed": (design.observations[areas] == 0) & ~recent,
        "is_cover": design.is_cover[areas],
    }
    return [Expected(weight_sd=errors.weight, **row) for row in rows_of(columns)]


ERRORS = 64
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
    known : Expected or None
        The area as it was expected, ``None`` for a weight.
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
    known: Expected | None = field(default=None, metadata=HIDDEN)
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
    """What is told of a living area on the day, beside what was expected, and its cuts before.

    ``amounts`` are those of the line where it names the area (``now``), else those that the log
    holds of the day already.
    """

    known: Expected
    amounts: Mapping[str, float | str]
    now: bool
    cuts: PastCuts

    def number(self, column: str) -> float | None:
        """Return an amount of the day, ``None`` where there is none."""
        amount = self.amounts.get(column)
        return amount if isinstance(amount, float | int) else None

    @property
    def has_amounts(self) -> bool:
        """Whether the area has amounts of its own on the day."""
        return any(self.number(column) is not None for column in AMOUNTS)

    @property
    def untouched(self) -> bool:
        """Whether it is said that nothing was cut."""
        told = (np.asarray(self.number(name), dtype=float) for name in AMOUNTS)
        return self.has_amounts and not tells_of_cut(*told)

    def removed_cm(self) -> tuple[FloatArray, Against]:
        """Return the length (S,) that came off, and whether it is "what was cut".

        Where the day's row does not tell that it is "all that stands": no more can have come off.
        """
        before, after, removed, _ = map(self.number, AMOUNTS)
        known, heights = self.known, self.known.heights_cm
        if self.untouched:
            return np.zeros(1), "what was cut"
        if before is not None and after is not None:
            error = math.hypot(known.error_of(before), known.error_of(after))
            return np.maximum(before - after + error * _normals(), 0.0), "what was cut"
        if removed is not None:
            return np.maximum(removed + known.error_of(removed) * _normals(), 0.0), "what was cut"
        if after is not None and self.now:
            return np.maximum(heights - after, 0.0), "what was cut"
        return heights if before is None else np.full(1, before), "all that stands"


def typed_at(
    expected: list[Expected],
    amounts: Mapping[str, Mapping[str, float | str]],
    book: Book,
    day: date,
) -> list[Typed]:
    """Put what was typed beside what the log holds of the areas.

    Parameters
    ----------
    expected : list of Expected
        What is expected of a tank's areas on the day.
    amounts : mapping of mapping
        What was typed, by area and column [cm, g or % cover]; areas not expected are passed over.
    book : Book
        The book without the visit.
    day : date
        The day of the visit; later rows are not used.

    Returns
    -------
    list of Typed
        Areas that were typed in the order in which they were, then the others with what the log
        holds of the day already.
    """
    visits, on_day = read_log(book).visits, day_number(day)
    ids, stated = book.areas.text("area_id").tolist(), book.bounds_on(day).cut_cm
    known = {area.area_id: area for area in expected}
    found = []
    for area_id in dict.fromkeys((*amounts, *known)):
        if area_id not in known:
            continue
        area = ids.index(area_id)
        mine = visits.keep((visits.area == area) & (visits.day <= on_day))
        cuts = PastCuts(mine.after_cm[np.isfinite(mine.after_cm)], float(stated[area]))
        today = mine.keep(mine.day == on_day)
        told = {column: float(cm) for column in AMOUNTS for cm in getattr(today, column)[:1]}
        logged = {column: cm for column, cm in told.items() if math.isfinite(cm)}
        own = amounts.get(area_id, logged)
        found.append(Typed(known[area_id], own, area_id in amounts, cuts))
    return found
