"""What a practice's tanks teach about its other tanks: tank effects regressed on conditions.

The response functions say how light, CO2, nutrients and warmth change a rate. Where a practice's
own tanks disagree with them in a way that follows their conditions (its CO2 readings run high, its
lamps age), a tank without a log can borrow from tanks like it: its effect is centred on what they
show instead of on zero. Whether there is anything to borrow is decided on tanks left out, and where
there is not, nothing changes.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray
from growthcast.fit.model.clock import TankConditions
from growthcast.fit.rows.chains import Link
from growthcast.fit.solver.hierarchy import Pooled
from growthcast.fit.solver.problem import Problem
from growthcast.fit.solver.solve import Solution
from growthcast.growth.normal import log_density
from growthcast.growth.responses import NUTRIENTS
from growthcast.nouns import dataclass
from growthcast.species import read_reference

CONDITIONS = ("light", "CO2", "scarcest nutrient", "temperature", "water depth")
"""What tanks are compared by: logs, but for the temperature."""

LEAST_PPFD_UMOL, LEAST_CO2_MG_L, LEAST_DEPTH_CM, LEAST_FOOD_SHARE = 5.0, 0.5, 5.0, 0.02
"""Smaller readings count as these, so that a 0 does not become an infinite log."""

MOST_OF_PRIOR = 0.8
"""A tank carries information where its log leaves less than this share of its prior variance."""

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


def borrow(
    solution: Solution, conditions: TankConditions, water_depth_cm: FloatArray, on_day: float
) -> Borrowed:
    """Learn from a first fit what each tank's effect is to be centred on in a second one.

    Parameters
    ----------
    solution : Solution
        The first fit, its tank effects centred on 0.
    conditions : TankConditions
        Conditions of the tanks (K), in their own units.
    water_depth_cm : array (K,)
        Water depth of each tank [cm].
    on_day : float
        Day the fit is made for [day number]: a tank without a log is compared by its conditions
        then.

    Returns
    -------
    Borrowed
        Means and spreads (K,) of the tanks' log rate effects [-]; "none" changes nothing.
    """
    lived = conditions_lived(solution.problem, conditions, water_depth_cm, on_day)
    prior_sd = 1.0 / np.sqrt(solution.problem.pooling.tank_precision)
    return learn_conditions(lived, *tank_evidence(solution.view.pooled), prior_sd)


def with_borrowed(problem: Problem, borrowed: Borrowed) -> Problem:
    """Return the problem with what tanks borrow from each other in its priors.

    Parameters
    ----------
    problem : Problem
        A problem whose tank effects are centred on 0.
    borrowed : Borrowed
        What :func:`borrow` learnt from its solution.

    Returns
    -------
    Problem
        The same, areas' log rates expected higher by their tank's borrowed mean; the tank effects
        of its solution are departures from that mean.
    """
    pooling = problem.pooling
    offset = pooling.offset + borrowed.mean[pooling.tank]
    pooling = replace(pooling, offset=offset, tank_precision=1.0 / borrowed.sd**2)
    return replace(problem, pooling=pooling)


def tank_evidence(pooled: Pooled) -> tuple[FloatArray, FloatArray, BoolArray]:
    """What the log of each tank says of its effect, the prior taken out again.

    Parameters
    ----------
    pooled : Pooled
        Posterior of the shared effects, tanks' priors centred on 0.

    Returns
    -------
    effect, effect_sd : array (K,)
        Mean and error of the likelihood of each tank's log rate effect [-]; 0 and inf where a tank
        carries no information.
    informative : array (K,) of bool
        Where the log leaves less than four fifths of the prior's variance.

    Notes
    -----
    With ``s`` the posterior's share of the prior variance ``p``: ``effect = mean / (1 - s)`` and
    ``effect_sd^2 = p s / (1 - s)``. A species effect in doubt makes the errors of its tanks move
    together; here they count as apart, and a common part goes into the regression's intercept.
    """
    prior = 1.0 / pooled.pooling.tank_precision
    share = pooled.tank_sd**2 / prior
    informative = share < MOST_OF_PRIOR
    gone = np.where(informative, 1.0 - share, 1.0)
    effect = np.where(informative, pooled.tank[:, 0] / gone, 0.0)
    effect_sd = np.where(informative, np.sqrt(prior * share / gone), np.inf)
    return effect, effect_sd, informative


def conditions_lived(
    problem: Problem, conditions: TankConditions, water_depth_cm: FloatArray, on_day: float
) -> FloatArray:
    """Return each tank's conditions (K, 5), averaged over the spans its log covers.

    Parameters
    ----------
    problem : Problem
        What was fitted.
    conditions : TankConditions
        Conditions of the tanks.
    water_depth_cm : array (K,)
        Water depth [cm].
    on_day : float
        Day whose conditions stand for a tank without a log [day number].

    Returns
    -------
    array (K, 5)
        In the order of ``CONDITIONS``: log of PPFD times hours, log CO2, log of the scarcest
        nutrient over its reference, temperature [deg C], log water depth; NaN where not known. The
        reference's hours stand where none are given.
    """
    at = _scaled(conditions, water_depth_cm)
    count, changes = at.shape[:2]
    lived = np.zeros(count * changes)
    for block in problem.blocks:
        nodes = block.chains.nodes
        grew = nodes.link == Link.GREW
        home, span = problem.pooling.tank[nodes.area[grew]], nodes.span_d[grew]
        middle = nodes.day[grew] - 0.5 * span
        place = (conditions.from_day[home] <= middle[:, None]).sum(axis=1) - 1
        lived += np.bincount(home * changes + place, span, minlength=lived.size)
    days = lived.reshape(count, changes)
    now = (conditions.from_day <= on_day).sum(axis=1) - 1
    silent = days.sum(axis=1) == 0.0
    days[silent, now[silent]] = 1.0
    share = days / days.sum(axis=1, keepdims=True)
    average: FloatArray = np.einsum("kc,kcp->kp", share, at)
    return average


def _scaled(conditions: TankConditions, water_depth_cm: FloatArray) -> FloatArray:
    """Conditions (K, C, 5) on the scales they are compared on."""
    values, usual = conditions.values, read_reference().conditions
    hours = values["photoperiod_h"]
    hours = np.where(np.isnan(hours), usual["photoperiod_h"], hours)
    hours = np.maximum(hours, 1.0)
    food = np.fmin.reduce(
        [_log(values[name] / usual[name], LEAST_FOOD_SHARE) for name in NUTRIENTS]
    )
    light = _log(values["ppfd_umol"], LEAST_PPFD_UMOL) + np.log(hours)
    depth = np.broadcast_to(_log(water_depth_cm, LEAST_DEPTH_CM)[:, None], light.shape)
    columns = [light, _log(values["co2_mg_l"], LEAST_CO2_MG_L), food]
    return np.stack([*columns, values["temperature_c"], depth], axis=2)


def _log(values: FloatArray, least: float) -> FloatArray:
    """Logarithm, small values counting as the least; NaN stays."""
    return np.log(np.maximum(values, least))


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
        of that [-]: likelihoods, not shrunken towards any prior. Only read where ``informative``,
        and finite there.
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
    tanks = np.stack([effect, effect_sd, prior_sd])[:, learnt]
    if _explained(columns[learnt], tanks) < CLEAR_WIN_NATS:
        return nothing
    constant = _left_out(columns[learnt, :1], tanks)
    mean_without, sd_without, score = _left_out(columns[learnt], tanks)
    none = max(float(as_is.mean()), float(constant[2].mean()))
    scores = {"none": none, "ridge": float(score.mean())}
    if not (is_clear_win(score - as_is) and is_clear_win(score - constant[2])):
        return replace(nothing, log_score=scores)
    mean, sd = _predicted(columns[learnt], tanks, columns, prior_sd)
    mean[learnt], sd[learnt] = mean_without, sd_without
    blind = np.isnan(at).all(axis=1)
    mean, sd = np.where(blind, 0.0, mean), np.where(blind, prior_sd, sd)
    return Borrowed(mean, sd, "ridge", count, scores)


def _explained(columns: FloatArray, tanks: FloatArray) -> float:
    """Log likelihood [nat] that slopes add to a constant on the tanks they are fitted to.

    ``tanks`` (3, n) are their effects, the errors of these, and their spreads before.

    They add less on tanks left out, so nothing is tried, and scikit-learn, which takes over a
    second to import, is left alone, where this would be no clear win.
    """
    effect, error, prior_sd = tanks
    scale = 1.0 / np.sqrt(prior_sd**2 + error**2)
    departures = []
    for some in (columns[:, :1], columns):
        slopes = np.linalg.lstsq(some * scale[:, None], effect * scale, rcond=None)[0]
        departures.append(float((((effect - some @ slopes) * scale) ** 2).sum()))
    return 0.5 * (departures[0] - departures[1])


def _predicted(
    columns: FloatArray, tanks: FloatArray, new_columns: FloatArray, new_prior_sd: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Mean and standard deviation of new tanks' effects, learnt from tanks (n) of known error."""
    # Imported here: a large book pays for it.
    from sklearn.linear_model import BayesianRidge  # type: ignore[import-untyped]

    regression = BayesianRidge(
        fit_intercept=False,
        alpha_1=NOISE_SHAPE,
        alpha_2=NOISE_SHAPE,
        lambda_1=1.0,
        lambda_2=SLOPE_SPREAD**2,
    )
    effect, error, prior_sd = tanks
    scale = 1.0 / np.sqrt(prior_sd**2 + error**2)
    regression.fit(columns * scale[:, None], effect * scale)
    of_slopes = np.einsum("ki,ij,kj->k", new_columns, regression.sigma_, new_columns)
    sd = np.sqrt(of_slopes + new_prior_sd**2 / regression.alpha_)
    return regression.predict(new_columns), sd


def _left_out(columns: FloatArray, tanks: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Mean, standard deviation and log score (n,) of each tank, learnt from the others."""
    effect, error, prior_sd = tanks
    mean, sd = np.empty((2, effect.size))
    for one in np.arange(effect.size)[:, None]:
        rest = np.delete(np.arange(effect.size), one)
        told = columns[rest], tanks[:, rest]
        mean[one], sd[one] = _predicted(*told, columns[one], prior_sd[one])
    return mean, sd, log_density(effect - mean, sd**2 + error**2)


def is_clear_win(gain: FloatArray) -> bool:
    """Whether gains in log score (n,) [nat] on left-out tanks are more than luck.

    Parameters
    ----------
    gain : array (n,)
        Gains on tanks left out one at a time [nat].

    Returns
    -------
    bool
        Whether they are enough in all, and by their standard errors.
    """
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
