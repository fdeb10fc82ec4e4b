"""The regressions tanks are compared by: a grid of small Gaussian processes, each tank left out.

A linear regression with ridge shrinkage is a Gaussian process with a linear kernel, so one engine
serves both; sizes, lengths and what remains are averaged by their marginal likelihood instead of
optimised, so nothing can fail to converge.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from growthcast.arrays import FloatArray, IntArray

__all__ = ["Candidate", "Model", "Tanks", "candidate", "foretold", "log_normal"]

Model = Literal["none", "ridge", "gaussian process"]

INTERCEPT_SPREAD = 0.15
"""Spread of what all tanks of a practice have in common beside their species' effects."""
REMAINING = (0.65, 0.8, 1.0, 1.3)
"""What may remain of the tanks' spread once conditions are known, as shares of it: a regression
chosen by luck does its harm by being too sure."""
REMAINING_LOG_SPREAD = 0.3
SIZES = (0.05, 0.12, 0.25, 0.5)
"""Effect on the log rate of one standard deviation of a condition (ridge) or of all (process)."""
SIZE_SPREAD = 0.3
LEAST_WEIGHT = 1e-3
"""Share of the weight below which a point of the grid is left out of what is foretold."""
LENGTHS = (1.0, 3.0)
"""Distance between tanks, in standard deviations of conditions, over which a process forgets."""


@dataclass(frozen=True, slots=True)
class Tanks:
    """The tanks learnt from (n) among all (K).

    ``learnt`` (n,) are their places, ``at`` (K, p) the standardised conditions, ``effect`` and
    ``error`` (n,) what their logs say, ``spread`` the tanks' prior spread and ``excess`` (K,) the
    variance beyond it for conditions not known.
    """

    learnt: IntArray
    at: FloatArray
    effect: FloatArray
    error: FloatArray
    spread: float
    excess: FloatArray


@dataclass(frozen=True, slots=True)
class _Regression:
    """One point of a grid: its columns, fitted process, what remains between tanks, log weight."""

    columns: list[int]
    process: Any
    rest: FloatArray
    log_weight: float


@dataclass(frozen=True, slots=True)
class Candidate:
    """A regression's grid, and its word and log score on each tank left out (n,)."""

    grid: list[_Regression]
    mean: FloatArray
    sd: FloatArray
    score: FloatArray


def _grid(model: Model, width: int) -> Iterator[tuple[list[int], Any, float, float]]:
    """Columns, kernel, share of the spread that remains, and log prior of each grid point.

    One condition alone and all together share the prior evenly: with few tanks, one that matters
    would drown among five.
    """
    from sklearn.gaussian_process.kernels import (  # type: ignore[import-untyped]
        RBF,
        ConstantKernel,
        DotProduct,
    )

    def fixed(size: float) -> Any:
        return ConstantKernel(size**2, "fixed")

    together = list(range(width))
    columns = [[column] for column in together] + ([together] if width > 1 else [])
    shapes: list[tuple[list[int], Any, float]] = []
    if model == "none":
        shapes = [(together, fixed(INTERCEPT_SPREAD), 0.0)]
    elif model == "ridge":
        forms = [DotProduct(0.0, "fixed")]
    else:
        forms = [RBF(length, "fixed") for length in LENGTHS]
    if model != "none":
        shapes = [
            (mine, fixed(INTERCEPT_SPREAD) + fixed(size) * form, -0.5 * (size / SIZE_SPREAD) ** 2)
            for mine in columns
            for form in forms
            for size in SIZES
        ]
    for mine, kernel, log_prior in shapes:
        share = np.log(width if len(mine) == width else 1.0)
        for remaining in REMAINING:
            rest = -0.5 * (np.log(remaining) / REMAINING_LOG_SPREAD) ** 2
            yield mine, kernel, remaining, log_prior + share + rest


def candidate(tanks: Tanks, model: Model) -> Candidate:
    """Average a regression over its grid, each tank learnt from left out in turn.

    The weight of a grid point without tank k is its weight with it over its density at tank k.
    """
    from scipy.linalg import cho_solve  # here, since only a book of many tanks pays for it
    from sklearn.gaussian_process import (  # type: ignore[import-untyped]
        GaussianProcessRegressor,
    )

    learnt, at = tanks.learnt, np.nan_to_num(tanks.at[tanks.learnt])
    grid, density, mean, variance = [], [], [], []
    for columns, kernel, remaining, log_prior in _grid(model, at.shape[1]):
        rest = (remaining * tanks.spread) ** 2 + tanks.excess
        noise = tanks.error**2 + rest[learnt]
        process = GaussianProcessRegressor(kernel, alpha=noise, optimizer=None)
        process.fit(at[:, columns], tanks.effect)
        inverse = np.diag(cho_solve((process.L_, True), np.eye(learnt.size)))
        left_out = process.alpha_ / inverse
        log_weight = log_prior + float(process.log_marginal_likelihood_value_)
        grid.append(_Regression(columns, process, rest, log_weight))
        density.append(log_normal(left_out, 1.0 / inverse))
        mean.append(tanks.effect - left_out)
        variance.append(1.0 / inverse - tanks.error**2)
    each = np.array(density)
    log_weight_without = np.array([point.log_weight for point in grid])[:, None] - each
    log_weight_without -= np.logaddexp.reduce(log_weight_without, axis=0)
    average, sd = _mixed(np.exp(log_weight_without), np.array(mean), np.array(variance))
    score = np.logaddexp.reduce(log_weight_without + each, axis=0)
    return Candidate(grid, average, sd, score)


def foretold(tanks: Tanks, chosen: Candidate) -> tuple[FloatArray, FloatArray]:
    """Mean and spread of every tank (K,): left out where it was learnt from."""
    log_weight = np.array([point.log_weight for point in chosen.grid])
    share = np.exp(log_weight - np.logaddexp.reduce(log_weight))
    heavy = np.flatnonzero(share > LEAST_WEIGHT)
    at = np.nan_to_num(tanks.at)
    means, variances = np.empty((2, heavy.size, at.shape[0]))
    for place, number in enumerate(heavy):
        point = chosen.grid[number]
        means[place], sd = point.process.predict(at[:, point.columns], return_std=True)
        variances[place] = sd**2 + point.rest
    weight = share[heavy, None] / share[heavy].sum()
    mean, sd = _mixed(weight, means, variances)
    mean[tanks.learnt], sd[tanks.learnt] = chosen.mean, chosen.sd
    return mean, sd


def _mixed(
    share: FloatArray, means: FloatArray, variances: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Mean and standard deviation of mixtures over the first axis."""
    mean = (share * means).sum(axis=0)
    return mean, np.sqrt((share * (variances + (means - mean) ** 2)).sum(axis=0))


def log_normal(departure: FloatArray, variance: FloatArray) -> FloatArray:
    """Log density of normal departures."""
    density: FloatArray = -0.5 * (np.log(2.0 * np.pi * variance) + departure**2 / variance)
    return density
