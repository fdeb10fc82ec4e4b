"""What a fit expects to be found at a tank on the day it stands on: heights, looks and weights."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from growthcast.arrays import BoolArray, FloatArray
from growthcast.book.book import Book
from growthcast.finite import finite_answer
from growthcast.fit.design import COVER_CEILING
from growthcast.fit.model.noise import look_log_chance
from growthcast.fit.result import GrowthFit
from growthcast.forecast.heights import outlook
from growthcast.growth.normal import normal_cdf
from growthcast.log.visits import Look

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
        low, middle, high = np.quantile(self.heights_cm[area], RANGE).tolist()
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
