"""What a backtest found: forecasts beside the readings that came, scores and comparisons."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray
from growthcast.forecast.recalibration import Recalibration, Trial, learn_widening
from growthcast.forecast.report import as_date
from growthcast.forecast.scores import Forecasts, Predictive, Scores
from growthcast.plain import plain

__all__ = ["LEAST_READINGS", "BacktestResult", "Comparison", "Crossings", "Readings"]


LEAST_READINGS = 10
"""Readings below which a backtest says nothing."""
PIT_BINS = 10


@dataclass(frozen=True, slots=True)
class Readings:
    """The readings that were forecast, all (n,).

    ``area`` and ``tank`` are places in the book; ``split_day`` the day before which the book was
    fitted, ``start_day`` that of the area's visit before (NaN for none), ``day`` that of the
    reading.
    """

    area: IntArray
    tank: IntArray
    split_day: FloatArray
    start_day: FloatArray
    day: FloatArray
    reading_cm: FloatArray
    budget_cm: FloatArray
    is_cover: BoolArray

    def keep(self, mask: BoolArray) -> Readings:
        """Return some of the readings."""
        return Readings(*(getattr(self, name)[mask] for name in self.__slots__))

    @property
    def visits(self) -> int:
        """How many visits to a tank the readings were taken on."""
        return len(set(zip(self.tank.tolist(), self.day.tolist(), strict=True)))


@dataclass(frozen=True, slots=True)
class Crossings:
    """Forecast minus observed days on which areas passed their budget, (n,) [d]; NaN: not foreseen.

    Observed are crossings between an area's height after one visit, at or below its budget, and its
    reading at the next, above it: the first whole day on which the logistic curve through both (at
    the table's ceiling, or a tenth above the reading if that is higher) is over. Forecast is the
    first day on which the chance of being over reaches one half. Only visits that did find an area
    over are counted, so forecasts that were too late show more than those that were too early.
    """

    error_d: FloatArray

    def as_dict(self) -> dict[str, Any] | None:
        """Return a summary, None without any crossing."""
        if not self.error_d.size:
            return None
        found = self.error_d[np.isfinite(self.error_d)]
        return {
            "n": int(self.error_d.size),
            "not_foreseen": int(self.error_d.size - found.size),
            "median_abs_d": round(float(np.median(np.abs(found))), 2) if found.size else None,
            "median_d": round(float(np.median(found)), 2) if found.size else None,
        }


@dataclass(frozen=True, slots=True)
class Comparison:
    """The model against a baseline on the ``n`` readings that both could forecast.

    Mean CRPS as a share of the budget of either, and the standard error of their difference, the
    readings of one tank and day taken as one.
    """

    n: int
    model: float
    baseline: float
    standard_error: float

    @property
    def is_better(self) -> bool:
        """Whether the baseline forecast better than the model."""
        return self.baseline < self.model

    @property
    def is_clear(self) -> bool:
        """Whether the difference is more than two standard errors."""
        return abs(self.model - self.baseline) > 2.0 * self.standard_error


@dataclass(frozen=True, slots=True)
class BacktestResult:
    """What was forecast of which readings, and by whom.

    ``model`` and each entry of ``baselines`` are forecasts of the ``readings``; ``split_days`` are
    the day numbers of the splits that had a reading to forecast; ``visit_days`` counts the days of
    the log on which anything was read or cut. ``applied_widening`` is the factor that the practice
    applies to its forecasts; those judged here are without it.
    """

    readings: Readings
    model: Forecasts
    baselines: dict[str, Forecasts]
    crossings: Crossings
    split_days: tuple[float, ...]
    visit_days: int
    applied_widening: float = 1.0

    @property
    def enough(self) -> bool:
        """Whether there are readings enough to say anything."""
        return int(self.model.made.sum()) >= LEAST_READINGS

    def pit(self) -> FloatArray:
        """Chance each forecast gave to its reading or less, (n,) [0-1]: even if all is well."""
        return self.model.chance_below[self.model.made]

    def pit_counts(self) -> IntArray:
        """Readings in each tenth of their forecast, lowest first, (10,)."""
        return np.histogram(self.pit(), bins=PIT_BINS, range=(0.0, 1.0))[0]

    def scores(self, baseline: str | None = None, rows: BoolArray | None = None) -> Scores:
        """Scores of the model, or of a baseline, on all readings or on the ``rows`` of a mask."""
        made = self.model if baseline is None else self.baselines[baseline]
        kept = made.made if rows is None else made.made & rows
        return made.scores(kept, self.readings.reading_cm, self.readings.budget_cm)

    def compare(self, baseline: str, rows: BoolArray | None = None) -> Comparison | None:
        """Compare the model with a baseline on the readings that both could forecast, if any."""
        other = self.baselines[baseline]
        both = self.model.made & other.made
        both = both if rows is None else both & rows
        readings = self.readings.keep(both)
        if not readings.area.size:
            return None
        mine = self.model.crps_cm[both] / readings.budget_cm
        theirs = other.crps_cm[both] / readings.budget_cm
        apart = (mine - theirs) - (mine - theirs).mean()
        visit = np.unique(np.stack([readings.tank, readings.day]), axis=1, return_inverse=True)[
            1
        ].ravel()
        error = np.sqrt((np.bincount(visit, weights=apart) ** 2).sum()) / apart.size
        return Comparison(apart.size, float(mine.mean()), float(theirs.mean()), float(error))

    def recalibration(self) -> Recalibration:
        """Learn from these forecasts by how much their spread should be widened."""
        visits = self.readings.keep(self.model.made).visits
        return learn_widening(self.model.predictive, self.readings.reading_cm, visits)

    def trial(self) -> Trial | None:
        """Try the widening on later readings: from each split, by what was known before it.

        None where no split has readings enough before it.
        """
        readings, predictive = self.readings, self.model.predictive
        widened = Predictive.blank(readings.area.size)
        for split in self.split_days:
            before, here = (readings.day < split) & self.model.made, readings.split_day == split
            if before.sum() < LEAST_READINGS:
                continue
            known = readings.keep(before)
            learnt = learn_widening(predictive.take(before), known.reading_cm, known.visits)
            widened.height_cm[here] = learnt.widened(predictive.take(here)).height_cm
        tried = Forecasts.of(
            Predictive(widened.height_cm, predictive.error_cm), readings.reading_cm
        )
        if not tried.made.any():
            return None
        as_it_was = self.scores(rows=tried.made)
        then = tried.scores(tried.made, readings.reading_cm, readings.budget_cm)
        return Trial(
            n=then.n,
            coverage_80=as_it_was.coverage_80,
            coverage_80_widened=then.coverage_80,
            crps_share=as_it_was.crps_share,
            crps_share_widened=then.crps_share,
        )

    def as_dict(self) -> dict[str, Any]:
        """Return the mapping that ``growthcast backtest --json`` prints.

        ``crps_cm`` and ``mae_cm`` are those of areas measured in centimetres; coverages and shares
        of the budget are over all readings. ``by_unit`` is there when some areas are measured by
        cover and others not.
        """
        cover = self.readings.is_cover
        answer: dict[str, Any] = self._scores_dict(None)
        answer |= {
            "readings_needed": LEAST_READINGS,
            "visits": self.readings.visits,
            "splits": len(self.split_days),
            "first_split": as_date(self.split_days[0]).isoformat() if self.split_days else None,
            "last_split": as_date(self.split_days[-1]).isoformat() if self.split_days else None,
            "crossing_error_d": self.crossings.as_dict() if self.enough else None,
            "pit_counts": self.pit_counts().tolist() if self.enough else None,
            "recalibration": self._recalibration_dict() if self.enough else None,
        }
        if self.enough and cover.any() and not cover.all():
            answer["by_unit"] = {
                "cm": self._scores_dict(~cover),
                "cover_pct": self._scores_dict(cover),
            }
        return answer

    def _recalibration_dict(self) -> dict[str, Any]:
        made: dict[str, Any] = plain(self.recalibration())
        return made | {"applied": self.applied_widening, "trial": plain(self.trial())}

    def _scores_dict(self, rows: BoolArray | None) -> dict[str, Any]:
        answer: dict[str, Any] = self._one(None, rows)
        answer["baselines"] = {name: self._one(name, rows) for name in self.baselines}
        return answer

    def _one(self, baseline: str | None, rows: BoolArray | None) -> dict[str, Any]:
        scores = self.scores(baseline, rows).as_dict()
        if rows is None:
            in_cm = self.scores(baseline, ~self.readings.is_cover).as_dict()
            scores |= {name: in_cm[name] for name in ("crps_cm", "mae_cm")}
        if not self.enough:
            scores = {name: scores["n"] if name == "n" else None for name in scores}
        if baseline is None:
            return scores
        against = self.compare(baseline, rows)
        told = against if self.enough else None
        scores["model_crps_share"] = None if told is None else round(told.model, 4)
        scores["crps_share_difference_se"] = None if told is None else round(told.standard_error, 5)
        return scores
