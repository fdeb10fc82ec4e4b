"""From a fit to what its tanks borrow from each other: what each log says, and under what."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray
from growthcast.fit.borrowing.learn import Borrowed, learn_conditions
from growthcast.fit.model.clock import TankConditions
from growthcast.fit.rows.chains import Link
from growthcast.fit.solver.areas import Pooling
from growthcast.fit.solver.hierarchy import Effects
from growthcast.fit.solver.problem import Block, Problem
from growthcast.fit.solver.solve import Solution
from growthcast.growth.responses import NUTRIENTS
from growthcast.species import Reference

CONDITIONS = ("light", "CO2", "scarcest nutrient", "temperature", "water depth")
"""What tanks are compared by: logs, but for the temperature."""
LEAST_PPFD_UMOL, LEAST_CO2_MG_L, LEAST_DEPTH_CM, LEAST_FOOD_SHARE = 5.0, 0.5, 5.0, 0.02
"""Smaller readings count as these, so that a 0 does not become an infinite log."""
MOST_OF_PRIOR = 0.8
"""A tank carries information where its log leaves less than this share of its prior variance."""


def borrow(
    solution: Solution,
    conditions: TankConditions,
    water_depth_cm: FloatArray,
    reference: Reference,
    on_day: float,
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
    reference : Reference
        Conditions under which the species table holds.
    on_day : float
        Day number the fit is made for: a tank without a log is compared by its conditions then.

    Returns
    -------
    Borrowed
        Means and spreads (K,) of the tanks' log rate effects [-]; "none" changes nothing.
    """
    pooling = solution.problem.pooling
    effect, effect_sd, informative = tank_evidence(solution.view.effects, pooling)
    lived = conditions_lived(
        solution.problem.blocks, pooling.tank, conditions, water_depth_cm, reference, on_day
    )
    prior_sd = 1.0 / np.sqrt(pooling.tank_precision)
    return learn_conditions(lived, effect, effect_sd, informative, prior_sd)


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
    return replace(
        problem,
        pooling=replace(
            pooling,
            offset=pooling.offset + borrowed.mean[pooling.tank],
            tank_precision=1.0 / borrowed.sd**2,
        ),
    )


def tank_evidence(effects: Effects, pooling: Pooling) -> tuple[FloatArray, FloatArray, BoolArray]:
    """What the log of each tank says of its effect, the prior taken out again.

    Parameters
    ----------
    effects : Effects
        Posterior of the shared effects, tanks' priors centred on 0.
    pooling : Pooling
        Their priors.

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
    prior = 1.0 / pooling.tank_precision
    share = effects.tank_sd(pooling) ** 2 / prior
    informative = share < MOST_OF_PRIOR
    gone = np.where(informative, 1.0 - share, 1.0)
    effect = np.where(informative, effects.tank[:, 0] / gone, 0.0)
    effect_sd = np.where(informative, np.sqrt(prior * share / gone), np.inf)
    return effect, effect_sd, informative


def conditions_lived(
    blocks: tuple[Block, ...],
    tank: IntArray,
    conditions: TankConditions,
    water_depth_cm: FloatArray,
    reference: Reference,
    on_day: float,
) -> FloatArray:
    """Return each tank's conditions (K, 5), averaged over the spans its log covers.

    Parameters
    ----------
    blocks : tuple of Block
        Chains of the areas.
    tank : array (A,)
        Tank of each area.
    conditions : TankConditions
        Conditions of the tanks.
    water_depth_cm : array (K,)
        Water depth [cm].
    reference : Reference
        Conditions under which the species table holds; its hours stand where none are given.
    on_day : float
        Day whose conditions stand for a tank without a log.

    Returns
    -------
    array (K, 5)
        In the order of ``CONDITIONS``: log of PPFD times hours, log CO2, log of the scarcest
        nutrient over its reference, temperature [deg C], log water depth; NaN where not known.
    """
    at = _scaled(conditions, water_depth_cm, reference)
    count, changes = at.shape[:2]
    lived = np.zeros(count * changes)
    for block in blocks:
        nodes = block.chains.nodes
        grew = nodes.link == Link.GREW
        home, span = tank[nodes.area[grew]], nodes.span_d[grew]
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


def _scaled(
    conditions: TankConditions, water_depth_cm: FloatArray, reference: Reference
) -> FloatArray:
    """Conditions (K, C, 5) on the scales they are compared on."""
    values = conditions.values
    hours = values["photoperiod_h"]
    hours = np.where(np.isnan(hours), reference.conditions["photoperiod_h"], hours)
    hours = np.maximum(hours, 1.0)
    food = np.fmin.reduce(
        [_log(values[name] / reference.conditions[name], LEAST_FOOD_SHARE) for name in NUTRIENTS]
    )
    light = _log(values["ppfd_umol"], LEAST_PPFD_UMOL) + np.log(hours)
    depth = np.broadcast_to(_log(water_depth_cm, LEAST_DEPTH_CM)[:, None], light.shape)
    columns = [light, _log(values["co2_mg_l"], LEAST_CO2_MG_L), food]
    return np.stack([*columns, values["temperature_c"], depth], axis=2)


def _log(values: FloatArray, least: float) -> FloatArray:
    """Logarithm, small values counting as the least; NaN stays."""
    logs: FloatArray = np.log(np.maximum(values, least))
    return logs
