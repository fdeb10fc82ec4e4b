"""What a fit knows of areas, by name: callers need not know in which order the solver has it.

A fit ends where nothing is left to gain as seen from there, at the mode. The mean of a posterior
that is not symmetric lies elsewhere. For a rate it is found where nothing is left to gain on
average over the width of what is known of it; for a ceiling by a formula, since averages over their
width make ceilings too high on books drawn from the model.

References
----------
Opper, M. & Archambeau, C. (2009). The variational Gaussian approximation revisited. Neural
Computation 21, 786-792 (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import field
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from growthcast.arrays import FloatArray, IntArray
from growthcast.fit.model.clock import LEAST_AWAKE_SHARE
from growthcast.fit.model.noise import today_weight
from growthcast.fit.solver.problem import CEILING, DENSITY, HABIT, KNOTS, RATE, Point
from growthcast.fit.solver.view import View, follows, seen
from growthcast.frames import Framed
from growthcast.nouns import dataclass
from growthcast.plain import BY_QUANTILE, in_json

Floats = NDArray[np.floating[Any]]

Basis = Literal["log", "tank", "table"]
"""What a forecast rests on: the area's own log, its tank's or its species', or the table alone."""

RANGE_80 = np.array([-1.2815515655446004, 0.0, 1.2815515655446004])
"""Standard normal quantiles of 10, 50 and 90 %: an 80 % range, in standard deviations."""

SHORTEST_SPAN_D = 1.0
"""Days of a span at least, for the share of its growth that a day of lag takes."""

FURTHEST = 0.5
"""A mean is moved no further for its rate than this, in sd: what is not small is no correction."""

SKEWNESS_OF_CEILING = 3.0
"""Third derivative of what growth says on a log ceiling, in units of its information."""


@dataclass(frozen=True, slots=True)
class Parameters:
    """Parameters of areas (n,), by name; ``border`` (B, n) holds them as the solver does."""

    border: FloatArray

    def _row(self, parameter: int) -> FloatArray:
        row: FloatArray = self.border[parameter]
        return row

    @property
    def log_ceiling(self) -> FloatArray:
        """Log ceilings (n,) [log cm, or log % cover]."""
        return self._row(CEILING)

    @property
    def log_usual_cut(self) -> FloatArray:
        """Log heights (n,) that the areas are usually cut to [log cm, or log % cover]."""
        return self._row(HABIT)

    @property
    def log_density(self) -> FloatArray:
        """Log weights (n,) of a centimetre, against the table's."""
        return self._row(DENSITY)

    @property
    def log_rate(self) -> FloatArray:
        """Log rates (n,) at reference conditions, without the tank's drift [log 1/day]."""
        return self._row(RATE)

    @property
    def drift(self) -> FloatArray:
        """Mean drift (M, n) of the areas' tanks over the windows of ``fit.model.noise``."""
        return self.border[KNOTS:]


@dataclass(frozen=True, slots=True)
class AreaPosterior:
    """Joint posterior of some areas' parameters and last stages, normal on these scales.

    Attributes
    ----------
    mean : Parameters
        Posterior means of the parameters of the areas (n,).
    covariance : array (n, B, B)
        Their covariance as the solver orders them, what areas share and lags included.
    last_stage, last_stage_variance : array (n,)
        Each area's last stage, and its variance given the parameters.
    stage_follows : array (B, n)
        How the last stage follows the parameters.
    last_day, last_pause_d, last_lag_share : array (n,)
        Day number of the last stage, the days without growth that follow it, and the share of a lag
        that does, too.
    lag_d : array (n,)
        Days of growth that a cut costs, their mean [d].
    beside_sd : array (2, n)
        Standard deviation of these days [d], and of the log factor by which plants take longer to
        settle.
    by_beside : array (2, B, n)
        How the parameters follow a day of lag [1/d], and that log factor.
    """

    mean: Parameters
    covariance: FloatArray
    last_stage: FloatArray
    last_stage_variance: FloatArray
    stage_follows: FloatArray
    last_day: FloatArray
    last_pause_d: FloatArray
    last_lag_share: FloatArray
    lag_d: FloatArray
    beside_sd: FloatArray
    by_beside: FloatArray

    @property
    def rate_variance(self) -> FloatArray:
        """Variance (n,) of the log rate at reference conditions, without drift."""
        return self.covariance[:, RATE, RATE]

    @property
    def log_ceiling_variance(self) -> FloatArray:
        """Variance (n,) of the log ceiling."""
        return self.covariance[:, CEILING, CEILING]

    @property
    def log_density_variance(self) -> FloatArray:
        """Variance (n,) of the log density."""
        return self.covariance[:, DENSITY, DENSITY]

    @property
    def stage_by_ceiling(self) -> FloatArray:
        """Slope (n,) of the last stage over the log ceiling, everything else moving along."""
        along = np.einsum("nb,bn->n", self.covariance[:, CEILING], self.stage_follows)
        variance = self.log_ceiling_variance
        slope: FloatArray = np.divide(
            along, variance, out=np.zeros_like(along), where=variance > 0.0
        )
        return slope

    def awake(self, span_d: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Share of the growth of spans (n, T) since the last stage that the lag leaves [0-1].

        And how far its log falls with each day of lag [1/d]: along the curve, but where a lag ends
        about now no steeper than from a standard deviation less of it to the least share there is.
        """
        per_d = self.last_lag_share[:, None] / np.maximum(span_d, SHORTEST_SPAN_D)
        lag_d, sd = self.lag_d[:, None], self.beside_sd[0][:, None]
        left = np.maximum(1.0 - per_d * lag_d, LEAST_AWAKE_SHARE)
        sooner = np.maximum(1.0 - per_d * np.maximum(lag_d - sd, 0.0), LEAST_AWAKE_SHARE)
        steepest = 0.5 * np.log(sooner / LEAST_AWAKE_SHARE) / np.maximum(sd, 1e-9)
        falls = np.minimum(per_d / left, steepest)
        return left, np.where(left > LEAST_AWAKE_SHARE, falls, 0.0)

    def pace_ceiling_stage(
        self,
        weight: FloatArray,
        taken: Sequence[FloatArray] = (),
    ) -> tuple[FloatArray, FloatArray]:
        """Joint distribution of the log mean rate over some spans, the log ceiling and last stage.

        Parameters
        ----------
        weight : array (M, n, T)
            Regression of the mean drift over each span on the knots (``fit.model.noise``).
        taken : sequence of 2 arrays (n, T), optional
            How far log growth over the span falls besides with a day of lag (``awake``) [1/d], and
            with the log factor of settling (``GrowthClock.slowed_by_settling``).

        Returns
        -------
        log_pace : array (n, T)
            Mean of the log mean rate, drift included, what the lag takes out [log 1/day].
        covariance : array (n, T, 3, 3)
            Covariance of the log pace, the log ceiling and the last stage.
        """
        areas, times = weight.shape[1:]
        into = np.zeros((areas, times, 3, self.mean.border.shape[0]))
        into[:, :, 0, RATE] = 1.0
        into[:, :, 0, KNOTS:] = np.moveaxis(weight, 0, 2)
        into[:, :, 1, CEILING] = 1.0
        into[:, :, 2] = self.stage_follows.T[:, None]
        covariance = into @ self.covariance[:, None] @ into.transpose(0, 1, 3, 2)
        covariance[:, :, 2, 2] += self.last_stage_variance[:, None]
        for lost, sd, by in zip(taken, self.beside_sd, self.by_beside, strict=False):
            if not lost.any():
                continue
            together = (into @ by.T[:, None, :, None])[..., 0] * lost[..., None]
            variance = sd[:, None] ** 2
            covariance[..., 0] -= variance[..., None] * together
            covariance[:, :, 0] -= variance[..., None] * together
            covariance[..., 0, 0] += variance * lost**2
        drifted = np.einsum("mat,ma->at", weight, self.mean.drift)
        return self.mean.log_rate[:, None] + drifted, covariance

    def last_stage_given(
        self, log_rate: FloatArray, log_ceiling: Floats, drift: Floats
    ) -> tuple[FloatArray, FloatArray]:
        """Distribution of the last stages once the other parameters have been drawn.

        Parameters
        ----------
        log_rate, log_ceiling : array (n, D)
            Draws of the log rates at reference conditions, and of the log ceilings.
        drift : array (n, M, D)
            Draws of the drift of the areas' tanks over the windows.

        Returns
        -------
        mean : array (n, D)
            Mean of the last stage under each draw.
        sd : array (n,)
            Its standard deviation, the same under every draw.
        """
        drawn = [RATE, CEILING, *range(KNOTS, self.mean.border.shape[0])]
        with_stage = np.einsum("nbc,cn->nb", self.covariance, self.stage_follows)
        total = np.einsum("nb,bn->n", with_stage, self.stage_follows) + self.last_stage_variance
        known = self.covariance[:, drawn][:, :, drawn] + 1e-12 * np.eye(len(drawn))
        weight = np.linalg.solve(known, with_stage[:, drawn, None])[..., 0]
        left = np.maximum(total - (weight * with_stage[:, drawn]).sum(axis=1), 0.0)
        off = np.concatenate(
            [
                (log_rate - self.mean.log_rate[:, None])[:, None],
                (log_ceiling - self.mean.log_ceiling[:, None])[:, None],
                drift - self.mean.drift.T[:, :, None],
            ],
            axis=1,
        )
        return self.last_stage[:, None] + np.einsum("nb,nbd->nd", weight, off), np.sqrt(left)

    def part(self, places: IntArray | slice) -> AreaPosterior:
        """Return the posterior of some of these areas, each as often as it is named."""
        last = [name for name in self.__slots__ if name not in ("mean", "covariance")]
        return AreaPosterior(
            mean=Parameters(self.mean.border[:, places]),
            covariance=self.covariance[places],
            **{name: getattr(self, name)[..., places] for name in last},
        )


@dataclass(frozen=True, slots=True, repr=False)
class AreaRate(Framed):
    """What is known of an area's rate.

    ``rate_per_day`` (3,) are the 10, 50 and 90 % quantiles [1/day] in its own light, CO2, food and
    warmth on the day of the fit, as forecasts have them. At reference conditions, at which areas
    compare with the species table, the log rate is normal with ``reference_log_rate_mean`` and
    ``reference_log_rate_sd``. ``spans`` counts its own spans in the log; ``basis`` is what its
    forecast rests on.
    """

    tank_id: str
    area_id: str
    species_id: str
    rate_per_day: FloatArray = field(metadata=BY_QUANTILE)
    reference_log_rate_mean: float = field(metadata=in_json(digits=4))
    reference_log_rate_sd: float = field(metadata=in_json(digits=4))
    spans: int
    basis: Basis


def rate_on_day(posterior: AreaPosterior) -> tuple[FloatArray, FloatArray]:
    """Return the log rate of areas at reference conditions on the day of the fit.

    Parameters
    ----------
    posterior : AreaPosterior
        That of the areas (n,).

    Returns
    -------
    tuple of array (n,)
        Mean of the log rate, the drift of the tank by then in it, and its standard deviation
        [log 1/day].
    """
    weight = np.repeat(today_weight()[:, None, None], posterior.last_day.size, axis=1)
    pace, covariance = posterior.pace_ceiling_stage(weight)
    return pace[:, 0], np.sqrt(covariance[:, 0, 0, 0])


@dataclass(frozen=True, slots=True)
class SharedGrowth:
    """Rates and ceilings of areas (A,) in tanks (R,), factored by what they share.

    A tank's effect and drift (W,) move with the species planted (P,) and by themselves; an area's
    log ceiling and log rate, in this order, move with both, and by themselves.

    Attributes
    ----------
    mean : Parameters
        Posterior means of the areas.
    drift : array (R, M)
        Posterior means of the tanks' drift over the windows.
    species : int array (A,)
        Which of the planted species each area is.
    species_root : array (P, S)
        The species' effects are this times independent standard normals (S,).
    tank_root : array (R, W, W)
        What a tank does by itself is this times independent standard normals (W,).
    tank_by_species : array (R, W, P)
        How it moves with the species' effects.
    by_shared : array (A, 2, W)
        How the two move with the tank; with the species' effect they move as with the tank's own,
        which comes first.
    own_root : array (A, 2, 2)
        What they do by themselves is this times independent standard normals (2,).
    pace_by, ceiling_by : array (2, A)
        How the log rate, the drift of the day of the fit included, and the log ceiling move with a
        day of lag, and with the log factor of settling.
    """

    mean: Parameters
    drift: FloatArray
    species: IntArray
    species_root: Floats
    tank_root: Floats
    tank_by_species: FloatArray
    by_shared: FloatArray
    own_root: Floats
    pace_by: FloatArray
    ceiling_by: FloatArray


def shared_growth(
    view: View, mean: FloatArray, beside: FloatArray, areas: IntArray, tanks: IntArray
) -> SharedGrowth:
    """Factor the posterior of areas (A,) in tanks (R,) by what they share.

    Parameters
    ----------
    view : View
        The fit's problem, linearised where the fit ended.
    mean : array (B, A)
        Posterior means of the areas' parameters [log].
    beside : array (2, B, A)
        How they follow a day of lag [1/d] and the log factor of settling.
    areas : int array (A,)
        Places of the areas in the book.
    tanks : int array (R,)
        Places of their tanks.

    Returns
    -------
    SharedGrowth
        How rates and ceilings move with species and tanks, and by themselves.
    """
    pooling, pooled = view.problem.pooling, view.pooled
    planted, species = pooling.planted  # no tank follows another species
    by_shared, own, _ = pooled.border_parts(areas)
    both = np.array([CEILING, RATE])
    return SharedGrowth(
        mean=Parameters(mean),
        drift=pooled.tank[tanks, 1:],
        species=species[areas],
        species_root=np.linalg.cholesky(pooled.species_covariance)[planted],
        tank_root=np.linalg.cholesky(pooled.tank_covariance[tanks]),
        tank_by_species=pooled.tank_regression(tanks),
        by_shared=by_shared[:, both],
        own_root=np.linalg.cholesky(own[:, both[:, None], both]),
        pace_by=beside[:, RATE] + today_weight() @ beside[:, KNOTS:],
        ceiling_by=beside[:, CEILING],
    )


def mean_border(view: View) -> FloatArray:
    """Posterior mean (B, A) of every area's border; least squares are left as they are.

    Parameters
    ----------
    view : View
        The fit's problem, linearised where the fit ended.

    Returns
    -------
    array (B, A)
        Means of the parameters [log].
    """
    if view.problem.is_exact:
        return view.point.border
    areas = np.arange(view.problem.area_count)
    covariance = view.pooled.covariance(areas, bends=False)  # the doubt about them is not skewed
    by_ceiling = _moved_by_ceilings(covariance, view.problem.pooling.ceiling_prior[1])
    return view.point.border + _moved_by_rates(view, covariance) + by_ceiling


def _moved_by_rates(view: View, covariance: FloatArray) -> FloatArray:
    """Departure (B, A) that makes up for the bend of what the chains say along the log rates.

    The slope of the log likelihood is averaged over a standard deviation to both sides, with
    whatever goes with the rate moving along, and what that changes is fitted: to second order.
    """
    rate_sd = np.sqrt(covariance[:, RATE, RATE])
    along = (covariance[:, :, RATE] / rate_sd[:, None]).T
    averaged = 0.5 * (_score(view, along) + _score(view, -along))
    moved = follows(view, averaged - view.score)
    in_sd = np.abs(moved) / np.sqrt(np.einsum("aii->ia", covariance))
    moved *= FURTHEST / np.maximum(np.max(in_sd, axis=0), FURTHEST)
    return moved


def _score(view: View, departure: FloatArray) -> FloatArray:
    """Score (B, A) of all chains, the borders a departure (B, A) off."""
    problem, point = view.problem, view.point
    stages = tuple(
        begun + view.known(number).departure(problem.blocks[number].chains, departure)
        for number, begun in enumerate(point.stages)
    )
    there = Point(stages, point.border + departure)
    score = np.zeros_like(point.border)
    for number, block in enumerate(problem.blocks):
        score[:, block.chains.area] = seen(problem, there, number).score()
    return score


def _moved_by_ceilings(covariance: FloatArray, ceiling_precision: FloatArray) -> FloatArray:
    """Departure (B, A) of the mean from the mode for the ceilings, which are skewed upwards.

    Growth speaks of a ceiling through its inverse (``r h - r h^2 / K``): normal in ``1/K`` with
    information ``m`` on ``log K``, its log likelihood has the third derivative ``3 m``, and a mean
    lies ``3 m var^2 / 2`` above its mode to leading order. Whatever goes with the ceiling moves
    along.
    """
    variance = covariance[:, CEILING, CEILING]
    told = np.maximum(1.0 / variance - ceiling_precision, 0.0)
    shift = 0.5 * SKEWNESS_OF_CEILING * told * variance**2
    return (covariance[:, :, CEILING] / variance[:, None]).T * shift
