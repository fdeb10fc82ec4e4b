"""What a practice's tanks teach about its other tanks: tank effects regressed on conditions.

The response functions say how light, CO2, nutrients and warmth change a rate. Where a practice's
own tanks disagree with them in a way that follows their conditions (its CO2 readings run high, its
lamps age), a tank without a log can borrow from tanks like it: its effect is centred on what they
show instead of on zero. Whether there is anything to borrow is decided on tanks left out, and where
there is not, nothing changes.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray
from growthcast.growth.normal import log_density

FEWEST_TANKS = 8
"""Tanks that carry information from which on conditions are looked at."""
MOST_TANKS = 100
"""The tanks with the smallest errors that are learnt from; a regression gains little from more."""
KNOWN_SHARE = 0.7
"""Share of these tanks that must know a condition for it to be used."""
CLEAR_WIN_NATS = 3.0
CLEAR_WIN_ERRORS = 1.0
"""A regression is chosen where its log score on left-out tanks is better by at least this many nats
in all, and by this many standard errors."""
SLOPE_SPREAD = 0.12
"""Effect on the log rate that one standard deviation of a condition is expected to have."""
NOISE_SHAPE = 10.0
"""Shape and rate of the gamma prior of the noise's precision: tanks may differ from each other by
0.7 to 1.5 times what was assumed."""


@dataclass(frozen=True, slots=True)
class Borrowed:
    """What each tank borrows from the others.

    Attributes
    ----------
    mean, sd : array (K,)
        Prior of each tank's log rate effect in a second fit. A tank that carries information gets
        what the *other* tanks say of it, so that its own log does not count twice.
    model : {"none", "ridge"}
        What was chosen; with "none" the mean is 0 and the sd is the one handed in.
    tanks : int
        Tanks that carry information.
    log_score : dict of str to float
        Mean log score [nat] of each candidate on tanks left out one at a time, higher is better;
        empty where too few tanks carry information.
    """

    mean: FloatArray
    sd: FloatArray
    model: Literal["none", "ridge"]
    tanks: int
    log_score: dict[str, float]


def learn_conditions(
    conditions: FloatArray,
    effect: FloatArray,
    effect_sd: FloatArray,
    informative: BoolArray,
    prior_sd: FloatArray,
) -> Borrowed:
    """Learn from tanks with a log what to expect of tanks under such conditions.

    Parameters
    ----------
    conditions : array (K, P)
        Conditions of each tank on a scale on which effects are about linear, such as the log of a
        concentration [any]; NaN where not known. A handful of columns at most.
    effect, effect_sd : array (K,)
        What each tank's own log says of its log rate beside what was expected of it, and the error
        of that [-]: likelihoods, not shrunken towards any prior. Only read where ``informative``.
    informative : array (K,) of bool
        Tanks whose log says anything.
    prior_sd : array (K,)
        Spread of the log rate between tanks before anything is learnt [-], above 0; wider where
        conditions are not known.

    Returns
    -------
    Borrowed
        "none" where fewer than 8 tanks carry information, where no condition differs between them,
        or where no regression wins clearly.

    Raises
    ------
    ValueError
        If a prior spread is not above 0, or an informative tank has no finite effect and error.

    Notes
    -----
    ``effect = slopes . conditions + rest + error``, a Bayesian ridge regression: the rest is the
    spread that remains between tanks, the error is known tank by tank, the sizes of slopes and
    noise are learnt by their marginal likelihood.

    The rule: the regression is chosen if its log score on tanks left out one at a time beats both
    the prior as it is and a learnt constant, each by at least 3 nats in all and one standard error
    of the tanks' differences. Conditions beyond what the tanks have seen count as the nearest they
    have seen; a condition a tank does not know counts as their mean. Left out: bends, that a
    species may answer a condition otherwise than another, and changes of a tank's conditions
    within a log.

    References
    ----------
    D. J. C. MacKay, Bayesian interpolation, Neural Computation 4:415-447, 1992,
    https://doi.org/10.1162/neco.1992.4.3.415, as scikit-learn's ``BayesianRidge`` has it. Rule and
    priors: ours.

    Examples
    --------
    Three tanks are too few to learn from:

    >>> three = np.ones(3)
    >>> learn_conditions(three[:, None], three, three, three > 0, 0.3 * three).model
    'none'
    """
    if not np.all(prior_sd > 0.0):
        raise ValueError("prior_sd must be above 0")
    known = np.isfinite(effect) & np.isfinite(effect_sd) & (effect_sd > 0.0)
    if np.any(informative & ~known):
        raise ValueError("an informative tank must have a finite effect with an error above 0")
    count = int(informative.sum())
    nothing = Borrowed(np.zeros(effect.size), prior_sd.copy(), "none", count, {})
    usable = np.flatnonzero(informative & np.isfinite(conditions).any(axis=1))
    if usable.size < FEWEST_TANKS:
        return nothing
    learnt = np.sort(usable[np.argsort(effect_sd[usable], kind="stable")[:MOST_TANKS]])
    at = _standardised(conditions, learnt)
    if at.shape[1] == 0:
        return nothing
    columns = np.column_stack([np.ones(effect.size), np.nan_to_num(at)])
    as_is = log_density(effect[learnt], prior_sd[learnt] ** 2 + effect_sd[learnt] ** 2)
    tanks = (effect[learnt], effect_sd[learnt], prior_sd[learnt])
    if _explained(columns[learnt], *tanks) < CLEAR_WIN_NATS:
        return nothing
    constant = _left_out(columns[learnt, :1], *tanks)
    mean_without, sd_without, score = _left_out(columns[learnt], *tanks)
    scores = {
        "none": max(float(as_is.mean()), float(constant[2].mean())),
        "ridge": float(score.mean()),
    }
    if not (is_clear_win(score - as_is) and is_clear_win(score - constant[2])):
        return replace(nothing, log_score=scores)
    mean, sd = _predicted(columns[learnt], *tanks, columns, prior_sd)
    mean[learnt], sd[learnt] = mean_without, sd_without
    blind = np.isnan(at).all(axis=1)
    mean, sd = np.where(blind, 0.0, mean), np.where(blind, prior_sd, sd)
    return Borrowed(mean, sd, "ridge", count, scores)


def _explained(
    columns: FloatArray, effect: FloatArray, error: FloatArray, prior_sd: FloatArray
) -> float:
    """Log likelihood [nat] that slopes add to a constant on the tanks they are fitted to.

    They add less on tanks left out, so nothing is tried, and scikit-learn, which takes over a
    second to import, is left alone, where this would be no clear win.
    """
    scale = 1.0 / np.sqrt(prior_sd**2 + error**2)
    departures = []
    for some in (columns[:, :1], columns):
        slopes = np.linalg.lstsq(some * scale[:, None], effect * scale, rcond=None)[0]
        departures.append(float((((effect - some @ slopes) * scale) ** 2).sum()))
    return 0.5 * (departures[0] - departures[1])


def _predicted(
    columns: FloatArray,
    effect: FloatArray,
    error: FloatArray,
    prior_sd: FloatArray,
    new_columns: FloatArray,
    new_prior_sd: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Mean and standard deviation of new tanks' effects, learnt from tanks (n) of known error."""
    from sklearn.linear_model import (  # type: ignore[import-untyped]  # a large book pays for it
        BayesianRidge,
    )

    regression = BayesianRidge(
        fit_intercept=False,
        alpha_1=NOISE_SHAPE,
        alpha_2=NOISE_SHAPE,
        lambda_1=1.0,
        lambda_2=SLOPE_SPREAD**2,
    )
    scale = 1.0 / np.sqrt(prior_sd**2 + error**2)
    regression.fit(columns * scale[:, None], effect * scale)
    of_slopes = np.einsum("ki,ij,kj->k", new_columns, regression.sigma_, new_columns)
    sd = np.sqrt(of_slopes + new_prior_sd**2 / regression.alpha_)
    return regression.predict(new_columns), sd


def _left_out(
    columns: FloatArray, effect: FloatArray, error: FloatArray, prior_sd: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Mean, standard deviation and log score (n,) of each tank, learnt from the others."""
    from sklearn.model_selection import LeaveOneOut  # type: ignore[import-untyped]

    mean, sd = np.empty((2, effect.size))
    for rest, one in LeaveOneOut().split(columns):
        tanks = (columns[rest], effect[rest], error[rest], prior_sd[rest])
        mean[one], sd[one] = _predicted(*tanks, columns[one], prior_sd[one])
    return mean, sd, log_density(effect - mean, sd**2 + error**2)


def is_clear_win(gain: FloatArray) -> bool:
    """Whether gains in log score (n,) [nat] on left-out tanks are more than luck."""
    error = float(gain.std(ddof=1)) * np.sqrt(gain.size)
    total = float(gain.sum())
    return total >= CLEAR_WIN_NATS and total >= CLEAR_WIN_ERRORS * error


def _standardised(conditions: FloatArray, learnt: IntArray) -> FloatArray:
    """Conditions (K, p) that are mostly known and differ, by the spread among the tanks learnt."""
    seen = conditions[learnt]
    here = np.isfinite(seen)
    kept = here.mean(axis=0) >= KNOWN_SHARE
    seen, conditions = seen[:, kept], conditions[:, kept]
    if not kept.any():
        return conditions
    middle, scale = np.nanmean(seen, axis=0), np.nanstd(seen, axis=0)
    differs = scale > 1e-6 * (1.0 + np.abs(middle))
    low, high = np.nanmin(seen, axis=0), np.nanmax(seen, axis=0)
    clipped = np.clip(conditions, low, high)[:, differs]
    standard: FloatArray = (clipped - middle[differs]) / scale[differs]
    return standard
