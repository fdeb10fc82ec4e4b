"""What a practice's tanks teach about its other tanks: tank effects regressed on conditions.

The response functions say how light, CO2, nutrients and warmth change a rate. Where a practice's
own tanks disagree with them in a way that follows their conditions (its CO2 readings run high, its
lamps age), a tank without a log can borrow from tanks like it: its effect is centred on what they
show instead of on zero. Whether there is anything to borrow is decided on tanks left out, and where
there is not, nothing changes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray
from growthcast.fit.borrowing.regression import (
    Model,
    Tanks,
    candidate,
    foretold,
    log_normal,
)

__all__ = ["Borrowed", "is_clear_win", "learn_conditions"]


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


@dataclass(frozen=True, slots=True)
class Borrowed:
    """What each tank borrows from the others.

    Attributes
    ----------
    mean, sd : array (K,)
        Prior of each tank's log rate effect in a second fit. A tank that carries information gets
        what the *other* tanks say of it, so that its own log does not count twice.
    model : {"none", "ridge", "gaussian process"}
        What was chosen; with "none" the mean is 0 and the sd is the one handed in.
    tanks : int
        Tanks that carry information.
    log_score : dict of str to float
        Mean log score [nat] of each candidate on tanks left out one at a time, higher is better;
        empty where too few tanks carry information.
    """

    mean: FloatArray
    sd: FloatArray
    model: Model
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
    ``effect = intercept + g(conditions) + rest + error``: g is linear with ridge shrinkage (normal
    coefficients) or a Gaussian process with a squared exponential kernel; the rest is the spread
    that remains between tanks, the error is known tank by tank. Sizes, lengths and the rest are
    averaged over a small grid by their marginal likelihood (empirical Bayes without an optimiser,
    so nothing can fail to converge), and each tank is left out exactly, grid weights included.

    The rule: a regression is chosen if its log score on left-out tanks beats both the prior as it
    is and a learnt constant with a learnt spread, each by at least 3 nats in all and one standard
    error of the tanks' differences. Conditions beyond what the tanks have seen count as the nearest
    they have seen; a condition a tank does not know counts as their mean. Left out: that a species
    may answer a condition otherwise than another, and changes of a tank's conditions within a log.

    References
    ----------
    Leave-one-out by the inverse covariance: C. E. Rasmussen and C. K. I. Williams, Gaussian
    Processes for Machine Learning, 2006, section 5.4.2 (from memory). Rule and priors: ours.

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
    spread = float(prior_sd[learnt].min())
    excess = np.maximum(prior_sd**2 - spread**2, 0.0)
    tanks = Tanks(
        learnt=learnt,
        at=at,
        effect=effect[learnt],
        error=effect_sd[learnt],
        spread=spread,
        excess=excess,
    )
    return _chosen(tanks, nothing)


def _chosen(tanks: Tanks, nothing: Borrowed) -> Borrowed:
    """Return the regression that wins clearly, or nothing."""
    as_is = np.hypot(tanks.error, nothing.sd[tanks.learnt])
    before = log_normal(tanks.effect, as_is**2)
    constant = candidate(tanks, "none").score
    names: tuple[Model, ...] = ("ridge", "gaussian process")
    tried = {name: candidate(tanks, name) for name in names}
    score = {"none": max(float(before.mean()), float(constant.mean()))}
    score |= {name: float(one.score.mean()) for name, one in tried.items()}
    best = max(names, key=lambda name: score[name])
    won = tried[best]
    clear = all(is_clear_win(won.score - other) for other in (before, constant))
    if not clear:
        return Borrowed(nothing.mean, nothing.sd, "none", nothing.tanks, score)
    mean, sd = foretold(tanks, won)
    blind = np.isnan(tanks.at).all(axis=1)
    mean, sd = np.where(blind, 0.0, mean), np.where(blind, nothing.sd, sd)
    return Borrowed(mean, sd, best, nothing.tanks, score)


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
