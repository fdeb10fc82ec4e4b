"""What a backtest found: forecasts beside the readings that came, scores and comparisons."""

from __future__ import annotations

from dataclasses import field, fields
from typing import TYPE_CHECKING, Any

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray, TextArray
from growthcast.errors import UsageError
from growthcast.forecast.heights import LEVELS
from growthcast.forecast.report import as_date
from growthcast.forecast.scores import (
    Forecasts,
    Predictive,
    Recalibration,
    Scores,
    Trial,
    log_factors_that_hold,
    widening_of,
)
from growthcast.frames import Answers
from growthcast.nouns import dataclass
from growthcast.plain import in_json, plain

if TYPE_CHECKING:
    import pandas as pd

LONGER_GAP = 1.5
"""A gap so many times the usual one shows what longer ones bring (common practice, no source)."""
LEAST_READINGS = 10
"""Readings below which a backtest says nothing."""
LEAST_SHARE = 0.5
"""A baseline that could forecast less than this share of what the model could is not compared: all
others would be scored on the few that it could."""
PIT_BINS = 10
HORIZONS_D = (7, 14, 21, 28, 35)
"""Ends of the classes of days ahead by which ``BacktestResult.by("horizon")`` scores."""


@dataclass(frozen=True, slots=True)
class Readings:
    """The readings that were forecast, all (n,).

    ``area`` and ``tank`` are places in the book; ``split_day`` the day before which the book was
    fitted, ``day`` that of the reading [day numbers]; ``reading_cm`` what was read and
    ``budget_cm`` the area's height budget [cm, or % cover]; ``own_sd_cm`` is the error
    that a reading brings itself, nan for a ruler's.
    """

    area: IntArray
    tank: IntArray
    split_day: FloatArray
    day: FloatArray
    reading_cm: FloatArray
    budget_cm: FloatArray
    is_cover: BoolArray
    own_sd_cm: FloatArray

    def keep(self, mask: BoolArray) -> Readings:
        """Return some of the readings."""
        return Readings(*(getattr(self, name)[mask] for name in self.__slots__))

    @property
    def visits(self) -> int:
        """How many visits to a tank the readings were taken on."""
        return len(set(zip(self.tank.tolist(), self.day.tolist(), strict=True)))


@dataclass(frozen=True, slots=True)
class CrossingErrors:
    """Forecast minus observed days on which ``n`` areas passed their budgets.

    ``median_abs_d`` and ``median_d`` [d] are over those that were foreseen at all, ``None`` where
    none was; ``not_foreseen`` counts the others.
    """

    n: int
    not_foreseen: int
    median_abs_d: float | None = field(metadata=in_json(digits=2))
    median_d: float | None = field(metadata=in_json(digits=2))


@dataclass(frozen=True, slots=True)
class GroupScores:
    """Scores of the readings of one group: ``by`` says what is alike in it, ``name`` which it is.

    ``scores`` are those of the model by their names in ``--json``; a number is None where the group
    has no such reading.
    """

    by: str
    name: str
    scores: dict[str, float | None]

    def as_dict(self) -> dict[str, Any]:
        """Return the group's name and its scores."""
        return {self.by: self.name, **self.scores}


@dataclass(frozen=True, slots=True, repr=False)
class BacktestResult:
    """What was forecast of which readings, by the model and by plainer ways.

    Attributes
    ----------
    readings : Readings
        The ``n`` readings.
    model : Forecasts
        What the model forecast of them.
    baselines : dict of Forecasts
        What each baseline forecast of them, by its name.
    crossing_error_d : array (C,)
        Forecast minus observed days on which areas passed their budgets, ``nan`` where the forecast
        foresaw none. Observed are crossings between an area's height after one visit, at or below
        its budget, and its reading at the next, above it: the first whole day on which the logistic
        curve through both (at the table's ceiling, or a tenth above the reading if that is higher)
        is over. Forecast is the first day on which the chance of being over reaches one half. Only
        visits that did find an area over are counted, so forecasts that were too late show more
        than those that were too early.
    split_days : tuple of float
        Day numbers of the splits that had a reading to forecast.
    visit_days : int
        Days of the log on which anything was read or cut.
    not_fitted : dict of str
        Why the log of a tank could not be fitted before some split, by its id; there it was
        forecast from the species table alone.
    applied_widening : float
        The factor that the practice applies to its forecasts; those judged here are without it.
    usual_gap_d, longest_gap_d : float
        Median and longest time between two visits of a tank [d], 0 where no tank has two.
    whose : dict of text arrays (n,)
        ``tank_id``, ``area_id``, ``species_id`` and ``form`` of each reading.
    """

    readings: Readings
    model: Forecasts
    baselines: dict[str, Forecasts]
    crossing_error_d: FloatArray
    split_days: tuple[float, ...]
    visit_days: int
    not_fitted: dict[str, str] = field(default_factory=dict)
    applied_widening: float = 1.0
    usual_gap_d: float = 0.0
    longest_gap_d: float = 0.0
    whose: dict[str, TextArray] = field(default_factory=dict)

    def __repr__(self) -> str:
        held = f"{100 * self.scores_of_all().coverage_80:.0f}" if self.enough else "-"
        return (
            f"<Backtest of {self.readings.day.size} readings on {len(self.split_days)} days; "
            f"8 of 10 ranges held {held} of 100>"
        )

    def _repr_html_(self) -> str:
        from html import escape  # only notebooks ask

        return f"<p>{escape(repr(self))}</p>{self.by('form')._repr_html_()}"

    def to_frame(self) -> pd.DataFrame:
        """Return every reading with its forecast as a tidy table.

        Quantiles are those of the reading: the forecast height and the error of reading it.
        """
        import pandas as pd

        told, split_day = self.readings, self.readings.split_day
        days = {"forecast_on": split_day - 1.0, "at": told.day}
        levels = {f"p{100 * level:02.0f}": level for level in LEVELS}
        columns: dict[str, Any] = self.whose | {
            "unit": np.where(told.is_cover, "% cover", "cm"),
            **{name: day.astype("datetime64[D]") for name, day in days.items()},
            "budget": told.budget_cm,
            "reading": told.reading_cm,
            **{name: self.model.predictive.quantile_cm(level) for name, level in levels.items()},
            "crps": self.model.crps_cm,
        }
        return pd.DataFrame(columns)

    def by(self, what: str) -> Answers[GroupScores]:
        """Score the model by tank, area, species, form or days ahead.

        Parameters
        ----------
        what : str
            ``tank``, ``area``, ``species``, ``form`` or ``horizon``: the days from the evening
            before which the forecast was made to the reading, in classes of a week.

        Returns
        -------
        Answers of GroupScores
            One for each group that has a reading, groups in the order of their names.

        Raises
        ------
        UsageError
            Readings have no such kind.
        """
        ahead_d = self.readings.day - self.readings.split_day + 1.0
        weeks = np.array([f"{end - 6:02d}-{end:02d} d" for end in HORIZONS_D], dtype=object)
        last = np.minimum(np.searchsorted(HORIZONS_D, ahead_d), weeks.size - 1)
        kinds = {name.removesuffix("_id"): ids for name, ids in self.whose.items()}
        kinds["horizon"] = weeks[last]
        if what not in kinds:
            raise UsageError(f"by takes one of {', '.join(kinds)}, not {what!r}")
        groups, in_cm = kinds[what], ~self.readings.is_cover

        def scored(name: str) -> GroupScores:
            both = (self.scores_of_all((groups == name) & rows) for rows in (True, in_cm))
            return GroupScores(what, name, self._row(*both))

        return Answers(map(scored, sorted(set(map(str, groups.tolist())))))

    @property
    def gaps_alike(self) -> bool:
        """Whether the gaps between visits are so alike that they show nothing of longer ones."""
        return 0.0 < self.longest_gap_d < LONGER_GAP * self.usual_gap_d

    @property
    def enough(self) -> bool:
        """Whether there are readings enough to say anything."""
        return int(self.model.made.sum()) >= LEAST_READINGS

    @property
    def compared(self) -> tuple[str, ...]:
        """Baselines that could forecast enough of the readings to stand beside the model."""
        least = max(LEAST_READINGS, LEAST_SHARE * self.model.made.sum())
        both = {name: (one.made & self.model.made).sum() for name, one in self.baselines.items()}
        return tuple(name for name, count in both.items() if count >= least)

    @property
    def side_by_side(self) -> BoolArray:
        """Readings (n,) that the model and every compared baseline could forecast."""
        made = [self.model.made, *(self.baselines[name].made for name in self.compared)]
        rows: BoolArray = np.logical_and.reduce(made)
        return rows

    def scores(self, baseline: str | None = None, rows: BoolArray | bool = True) -> Scores:
        """Scores on the readings that the model and all compared baselines could forecast.

        Parameters
        ----------
        baseline : str, optional
            A baseline's name; the model when not given.
        rows : bool array (n,), optional
            Readings to score, of those; all of them when not given.

        Returns
        -------
        Scores
            ``nan`` where there is no such reading, and for a baseline that is not compared, whose
            ``n`` then counts what it could forecast.
        """
        made, told = self.model if baseline is None else self.baselines[baseline], self.readings
        if baseline is not None and baseline not in self.compared:
            return Scores.none(int((made.made & rows).sum()))
        return made.scores(self.side_by_side & rows, told.reading_cm, told.budget_cm)

    def scores_of_all(self, rows: BoolArray | bool = True) -> Scores:
        """Scores of the model on all readings that it could forecast, or on those of a mask."""
        kept = self.model.made & rows
        return self.model.scores(kept, self.readings.reading_cm, self.readings.budget_cm)

    def standard_error(self, baseline: str, rows: BoolArray | bool = True) -> float:
        """Return the standard error of the difference of two CRPS, as shares of the budget.

        Parameters
        ----------
        baseline : str
            A compared baseline.
        rows : bool array (n,), optional
            Readings to score, of those side by side.

        Returns
        -------
        float
            That of the mean difference between the model and the baseline on the same readings [-],
            the readings of one tank and day being one cluster.

        References
        ----------
        Comparing forecasts by the mean difference of their scores: Diebold, F. X. & Mariano, R. S.
        (1995). Journal of Business & Economic Statistics 13, 253-263,
        doi:10.1080/07350015.1995.10524599. The error from sums within clusters: Liang, K.-Y. &
        Zeger, S. L. (1986). Biometrika 73, 13-22, doi:10.1093/biomet/73.1.13 (both from memory).
        """
        kept = self.side_by_side & rows
        readings, other = self.readings.keep(kept), self.baselines[baseline]
        apart = (self.model.crps_cm[kept] - other.crps_cm[kept]) / readings.budget_cm
        _, visit = np.unique(np.stack([readings.tank, readings.day]), axis=1, return_inverse=True)
        sums = np.bincount(visit.ravel(), weights=apart - apart.mean())
        return float(np.sqrt((sums**2).sum()) / apart.size)

    def pit(self) -> FloatArray:
        """Chance each forecast gave to its reading or less, (n,) [0-1]: even if all is well.

        References
        ----------
        The probability integral transform: Gneiting, T., Balabdaoui, F. & Raftery, A. E. (2007).
        Journal of the Royal Statistical Society B 69, 243-268,
        doi:10.1111/j.1467-9868.2007.00587.x (from memory).
        """
        return self.model.chance_below[self.model.made]

    def pit_counts(self) -> IntArray:
        """Readings in each tenth of their forecast, lowest first, (10,)."""
        return np.histogram(self.pit(), bins=PIT_BINS, range=(0.0, 1.0))[0]

    @property
    def crossings(self) -> CrossingErrors | None:
        """Errors of the dates on which budgets were passed, ``None`` without any crossing."""
        error_d = self.crossing_error_d
        if not error_d.size:
            return None
        found = error_d[np.isfinite(error_d)]
        return CrossingErrors(
            n=int(error_d.size),
            not_foreseen=int(error_d.size - found.size),
            median_abs_d=float(np.median(np.abs(found))) if found.size else None,
            median_d=float(np.median(found)) if found.size else None,
        )

    def widening(self) -> tuple[Recalibration, Trial | None]:
        """Learn from these forecasts by how much their spread should be widened, and try it.

        The trial widens later readings: from each split, by what was known before it. None where no
        split has readings enough before it.
        """
        readings, predictive = self.readings, self.model.predictive
        holding = log_factors_that_hold(predictive, readings.reading_cm)
        learnt = widening_of(holding, readings.keep(self.model.made).visits)
        return learnt, self._trial(holding)

    def _trial(self, holding: FloatArray) -> Trial | None:
        readings, predictive = self.readings, self.model.predictive
        height_cm = np.full_like(predictive.height_cm, np.nan)
        for split in self.split_days:
            before, here = (readings.day < split) & self.model.made, readings.split_day == split
            if before.sum() < LEAST_READINGS:
                continue
            learnt = widening_of(holding[before], readings.keep(before).visits)
            height_cm[here] = predictive.take(here).widened(learnt.factor).height_cm
        widened = Predictive(height_cm, predictive.error_cm)
        tried = Forecasts.of(widened, readings.reading_cm)
        if not tried.made.any():
            return None
        as_it_was = self.scores_of_all(tried.made)
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

        The scores of the model and of its ``baselines`` are side by side; ``all_readings`` holds
        those of the model on all that it could forecast, as do ``pit_counts`` and what the widening
        is learnt from. ``crps_cm`` and ``mae_cm`` are those of areas measured in centimetres;
        coverages and shares of the budget are over all areas. ``by_unit`` is there when some areas
        are measured by cover and others not.
        """
        cover, enough = self.readings.is_cover, self.enough
        first, *_, last = self.split_days * 2 or (None, None)
        answer: dict[str, Any] = self._compared_as_dict(rows=True) | {
            "all_readings": self._row(self.scores_of_all(), self.scores_of_all(~cover)),
            "readings_needed": LEAST_READINGS,
            "visits": self.readings.visits,
            "splits": len(self.split_days),
            "first_split": None if first is None else as_date(first).isoformat(),
            "last_split": None if last is None else as_date(last).isoformat(),
            "crossing_error_d": plain(self.crossings) if enough else None,
            "pit_counts": self.pit_counts().tolist() if enough else None,
            "recalibration": None,
        }
        if enough:
            learnt, trial = self.widening()
            tried = {"applied": self.applied_widening, "trial": plain(trial)}
            answer["recalibration"] = plain(learnt) | tried
        if enough and cover.any() and not cover.all():
            units = {"cm": ~cover, "cover_pct": cover}
            answer["by_unit"] = {unit: self._compared_as_dict(r) for unit, r in units.items()}
        return answer

    def _compared_as_dict(self, rows: BoolArray | bool) -> dict[str, Any]:
        """Scores of the model and of its baselines, all on the same readings."""
        in_cm = ~self.readings.is_cover if rows is True else rows
        mine = self.scores(None, rows)
        answer: dict[str, Any] = self._row(mine, self.scores(None, in_cm))
        answer["baselines"] = {}
        for name in self.baselines:
            row = self._row(self.scores(name, rows), self.scores(name, in_cm))
            told = self.enough and mine.n > 0 and name in self.compared
            error = round(self.standard_error(name, rows), 5) if told else None
            share = round(mine.crps_share, 4) if told else None
            beside = {"model_crps_share": share, "crps_share_difference_se": error}
            answer["baselines"][name] = row | beside
        return answer

    def _row(self, scores: Scores, in_cm: Scores) -> dict[str, float | None]:
        """Return scores as plain numbers, those in centimetres by ``in_cm``, ``None`` for none."""
        row: dict[str, float | None] = {"n": scores.n}
        for name in (part.name for part in fields(Scores) if part.name != "n"):
            value = float(getattr(in_cm if name in ("crps_cm", "mae_cm") else scores, name))
            row[name] = round(value, 4) if self.enough and np.isfinite(value) else None
        return row
