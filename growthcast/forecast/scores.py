"""How good forecasts of readings were: what was foreseen, scores, and what they teach of width."""

from __future__ import annotations

from dataclasses import field

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray
from growthcast.growth.normal import normal_cdf, normal_mean_distance, normal_quantile
from growthcast.nouns import dataclass
from growthcast.plain import in_json

PARTS = 100

CHANCES: FloatArray = (np.arange(PARTS) + 0.5) / PARTS
"""Chances at which a forecast height is held: the middles of a hundred equal shares."""

NORMAL_SCORES: FloatArray = normal_quantile(CHANCES)

HALVINGS, FACTOR_HALVINGS = 30, 20

ROWS_AT_ONCE = 200

GOAL = 0.8

NARROWEST, WIDEST = 0.25, 4.0


VISITS_OF_DOUBT = 20.0
"""Tank visits that weigh as much as the belief that the widths are right: with one independent
reading a visit the log of the factor has variance 0.79 / visits, and before any visit it is
believed to lie within 0.2 of 0 (an estimate)."""


@dataclass(frozen=True, slots=True)
class Predictive:
    """Forecast distributions of ``n`` readings, each a mixture of equally likely normals.

    ``height_cm`` (n, M) are quantiles of the height at ``CHANCES`` and ``error_cm`` (n, M) the
    error with which a height like that is read; a reading is their sum. A row of NaN is a reading
    that could not be forecast.
    """

    height_cm: FloatArray
    error_cm: FloatArray

    @classmethod
    def blank(cls, count: int) -> Predictive:
        """Return forecasts of ``count`` readings, none of them made."""
        return cls(*np.full((2, count, PARTS), np.nan))

    @classmethod
    def joined(cls, parts: list[Predictive]) -> Predictive:
        """Return several sets of forecasts as one."""
        if not parts:
            return cls.blank(0)
        return cls(
            np.concatenate([part.height_cm for part in parts]),
            np.concatenate([part.error_cm for part in parts]),
        )

    @property
    def made(self) -> BoolArray:
        """Which readings could be forecast, (n,)."""
        made: BoolArray = np.all(np.isfinite([self.height_cm, self.error_cm]), axis=(0, 2))
        return made

    def take(self, rows: IntArray | BoolArray) -> Predictive:
        """Return the forecasts of some of the readings."""
        return Predictive(self.height_cm[rows], self.error_cm[rows])

    def widened(self, factor: FloatArray | float) -> Predictive:
        """Return forecasts whose heights spread ``factor`` (n,) times as far, errors as they are.

        The height with chance ``p`` becomes the one that had chance ``ndtr(factor * ndtri(p))``;
        beyond the outermost quantiles log heights go on in a straight line.
        """
        goal = np.broadcast_to(np.asarray(factor)[..., None] * NORMAL_SCORES, self.height_cm.shape)
        at = np.clip(np.searchsorted(NORMAL_SCORES, goal) - 1, 0, PARTS - 2)
        share = (goal - NORMAL_SCORES[at]) / (NORMAL_SCORES[at + 1] - NORMAL_SCORES[at])
        log_height = np.log(np.maximum(self.height_cm, 1e-6))
        low = np.take_along_axis(log_height, at, axis=1)
        high = np.take_along_axis(log_height, at + 1, axis=1)
        return Predictive(np.exp(low + share * (high - low)), self.error_cm)

    def chance_below(self, reading_cm: FloatArray) -> FloatArray:
        """Chance (n,) that a reading comes out at or below ``reading_cm`` (n,) [cm]."""
        error = np.maximum(self.error_cm, 1e-9)
        below: FloatArray = normal_cdf((reading_cm[:, None] - self.height_cm) / error).mean(axis=1)
        return below

    def quantile_cm(self, level: float) -> FloatArray:
        """Reading (n,) [cm] that is not exceeded with chance ``level``."""
        low = (self.height_cm - 8.0 * self.error_cm).min(axis=1)
        high = (self.height_cm + 8.0 * self.error_cm).max(axis=1)
        for _ in range(HALVINGS):
            middle = 0.5 * (low + high)
            short = self.chance_below(middle) < level
            low, high = np.where(short, middle, low), np.where(short, high, middle)
        found: FloatArray = 0.5 * (low + high)
        return found

    def crps_cm(self, reading_cm: FloatArray) -> FloatArray:
        """Continuous ranked probability score (n,) [cm] of each reading (n,) [cm].

        In closed form for a mixture of normals; for a forecast that is one sure number it is the
        absolute error, and smaller is better.

        References
        ----------
        Grimit, E. P., Gneiting, T., Berrocal, V. J. & Johnson, N. A. (2006). Quarterly Journal of
        the Royal Meteorological Society 132, 2925-2942, doi:10.1256/qj.05.235 (from memory).

        Examples
        --------
        One standard normal scores 0.2337 at its middle (2 phi(0) - 1 / sqrt(pi)):

        >>> sure = Predictive(np.zeros((1, 100)), np.ones((1, 100)))
        >>> round(float(sure.crps_cm(np.zeros(1))[0]), 4)
        0.2337
        """
        score, count = np.empty(reading_cm.size), self.height_cm.shape[1]
        for first in range(0, reading_cm.size, ROWS_AT_ONCE):
            rows = slice(first, first + ROWS_AT_ONCE)
            height, error = self.height_cm[rows].T, self.error_cm[rows].T
            squared = error**2
            within = _mean_distance(np.zeros_like(error), np.sqrt(2.0 * squared)).sum(axis=0)
            for lag in range(1, count):  # what lies between two normals counts both ways
                spread = np.sqrt(squared[lag:] + squared[:-lag])
                within += 2.0 * _mean_distance(height[lag:] - height[:-lag], spread).sum(axis=0)
            to_reading = _mean_distance(reading_cm[rows] - height, error).mean(axis=0)
            score[rows] = to_reading - 0.5 * within / count**2
        return score


def _mean_distance(mean: FloatArray, sd: FloatArray) -> FloatArray:
    """Mean absolute value of a normal."""
    sd = np.maximum(sd, 1e-9)
    return sd * normal_mean_distance(mean / sd)


@dataclass(frozen=True, slots=True)
class Scores:
    """Scores of ``n`` forecast readings; NaN where there is none.

    Attributes
    ----------
    n
        Readings that were forecast.
    crps_cm, crps_share
        Mean continuous ranked probability score [cm, or points of cover], and as a share of each
        area's height budget [-].
    mae_cm
        Mean absolute error of the middle of the forecasts [cm, or points].
    bias_share
        Mean of forecast middle minus reading, as a share of the budget [-]: above 0 is too high.
    coverage_50, coverage_80, coverage_90
        Share of readings inside the central range of that chance [0-1].
    """

    n: int
    crps_cm: float
    crps_share: float
    mae_cm: float
    bias_share: float
    coverage_50: float
    coverage_80: float
    coverage_90: float

    @classmethod
    def none(cls, count: int = 0) -> Scores:
        """Return the scores of readings of which none was scored."""
        return cls(count, *[float("nan")] * 7)


@dataclass(frozen=True, slots=True)
class Forecasts:
    """Forecasts of ``n`` readings beside what was read, all (n,); NaN where none was made.

    Attributes
    ----------
    predictive
        The distributions forecast.
    made
        Whether a reading could be forecast.
    crps_cm
        Continuous ranked probability score [cm, or points of cover].
    middle_cm
        Middle of the forecast [cm, or % cover].
    chance_below
        Chance that the forecast gave to the reading or less [0-1].
    """

    predictive: Predictive
    made: BoolArray
    crps_cm: FloatArray
    middle_cm: FloatArray
    chance_below: FloatArray

    @classmethod
    def of(cls, predictive: Predictive, reading_cm: FloatArray) -> Forecasts:
        """Hold forecasts against what was read (n,) [cm, or % cover]."""
        made = predictive.made
        crps, middle, below = (np.full(made.size, np.nan) for _ in range(3))
        kept, reading = predictive.take(made), reading_cm[made]
        if reading.size:
            crps[made] = kept.crps_cm(reading)
            middle[made] = kept.quantile_cm(0.5)
            below[made] = kept.chance_below(reading)
        return cls(predictive, made, crps, middle, below)

    def scores(self, rows: BoolArray, reading_cm: FloatArray, budget_cm: FloatArray) -> Scores:
        """Score the forecasts that were made of some ``rows`` (n,).

        Parameters
        ----------
        rows : bool array (n,)
            Readings to score; those that could not be forecast do not count.
        reading_cm, budget_cm : array (n,)
            What was read, and each area's height budget [cm, or % cover].

        Returns
        -------
        Scores
            NaN scores where no forecast was made.
        """
        rows = rows & self.made
        if not rows.any():
            return Scores.none()
        crps, budget = self.crps_cm[rows], budget_cm[rows]
        off = self.middle_cm[rows] - reading_cm[rows]
        reach = np.abs(2.0 * self.chance_below[rows] - 1.0)  # the central range that just holds it
        return Scores(
            n=int(rows.sum()),
            crps_cm=float(crps.mean()),
            crps_share=float((crps / budget).mean()),
            mae_cm=float(np.abs(off).mean()),
            bias_share=float((off / budget).mean()),
            coverage_50=float((reach <= 0.5).mean()),
            coverage_80=float((reach <= 0.8).mean()),
            coverage_90=float((reach <= 0.9).mean()),
        )


@dataclass(frozen=True, slots=True)
class Recalibration:
    """A factor on the spread of forecast heights, on the scale on which they are normal.

    ``factor`` is shrunk toward 1, ``unshrunk`` is not; ``n`` readings and ``visits`` (a tank on a
    day) taught it. A factor of 1 changes nothing; above 1 forecasts are widened.
    """

    factor: float
    unshrunk: float = field(metadata=in_json("factor_unshrunk"))
    n: int
    visits: int


@dataclass(frozen=True, slots=True)
class Trial:
    """What widening would have done to ``n`` later readings, each by the factor known before.

    Shares of readings inside 80 % ranges [0-1], and mean CRPS as a share of the budget [-], of the
    forecasts as they were and widened.
    """

    n: int
    coverage_80: float
    coverage_80_widened: float
    crps_share: float
    crps_share_widened: float


def log_factors_that_hold(made: Predictive, reading_cm: FloatArray) -> FloatArray:
    """Return the least factors at which widened 80 % ranges hold the readings.

    Parameters
    ----------
    made : Predictive
        Forecasts of ``n`` readings.
    reading_cm : array (n,)
        What was read [cm, or % cover].

    Returns
    -------
    array (n,)
        Logarithms of the factors [-]; NaN where no forecast was made.
    """
    held, kept = np.full(reading_cm.size, np.nan), made.made
    made, reading = made.take(kept), reading_cm[kept]
    low = np.full(reading.size, np.log(NARROWEST))
    high = np.full(reading.size, np.log(WIDEST))
    for _ in range(FACTOR_HALVINGS if reading.size else 0):
        middle = 0.5 * (low + high)
        off = np.abs(2.0 * made.widened(np.exp(middle)).chance_below(reading) - 1.0)
        low, high = np.where(off > GOAL, middle, low), np.where(off > GOAL, high, middle)
    held[kept] = high
    return held


def widening_of(log_factors: FloatArray, visits: int) -> Recalibration:
    """Learn the factor with which central 80 % ranges hold 80 % of the readings.

    The spread of the *height* is scaled; the error of reading it stays as the book states it. The
    factor is the quantile of rank ``ceil(0.8 (n + 1))`` of those that just hold each reading (split
    conformal prediction), within a quarter and four. Its logarithm is then multiplied by
    ``visits / (visits + 20)``: readings of one tank and day go wrong together and count once.

    Parameters
    ----------
    log_factors : array (n,)
        Of ``log_factors_that_hold``; NaN is left out [-].
    visits : int
        Tank visits on which the readings were taken.

    Returns
    -------
    Recalibration
        A factor of 1 without any reading.

    References
    ----------
    Lei, J. et al. (2018). Distribution-free predictive inference for regression. Journal of the
    American Statistical Association 113, 1094-1111, doi:10.1080/01621459.2017.1307116 (from
    memory).
    """
    held = np.sort(log_factors[np.isfinite(log_factors)])
    if not held.size:
        return Recalibration(1.0, 1.0, 0, 0)
    rank = min(int(np.ceil(GOAL * (held.size + 1))), held.size)
    log_factor = float(held[rank - 1])
    share = visits / (visits + VISITS_OF_DOUBT)
    return Recalibration(
        float(np.exp(share * log_factor)), float(np.exp(log_factor)), held.size, visits
    )
