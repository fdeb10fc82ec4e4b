"""Intervals compared for tanks, or variants of one: the longest that holds, and what limits it."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np

from growthcast.arrays import FloatArray, IntArray
from growthcast.service.interval import IntervalOptions, interval_options
from growthcast.service.living import LivingAreas, living_part


def compare(
    living: LivingAreas,
    listed: Collection[int],
    caps_d: FloatArray,
    confidence: FloatArray,
    briefly: bool = False,
) -> tuple[dict[int, IntervalOptions], IntArray, IntArray]:
    """Work out the listed intervals, and caps shorter than all of them, for a block of tanks.

    Parameters
    ----------
    living : LivingAreas
        The areas of the tanks.
    listed : collection of int
        Intervals to compare [d].
    caps_d : array (R,)
        The longest interval that each tank may get [d].
    confidence : array (R,)
        Wanted chance of each tank [0-1].
    briefly : bool, optional
        Whether an interval is worked out for those tanks alone that held all shorter ones.

    Returns
    -------
    options : dict of int to IntervalOptions
        What each interval [d] gives and takes, in rising order; briefly, of some of the tanks.
    chosen_d, fails_d : int array (R,)
        The longest interval within a tank's cap before the first that does not hold the wanted
        chance, and that one [d]; 0 where there is none.
    """
    options, shortest = dict[int, IntervalOptions](), min(listed)
    chosen, failing = np.zeros((2, caps_d.size), np.int64)
    for days in sorted({*listed, *(int(own) for own in caps_d if own < shortest)}):
        asked = (days <= caps_d) & ((days >= shortest) | (days == caps_d)) & (failing == 0)
        if briefly and not asked.any():
            continue
        worked = asked if briefly else np.ones(asked.size, np.bool_)
        some = living_part(living, worked[living.run])
        options[days] = option = interval_options(some, days, confidence[worked])
        holds = np.zeros(asked.size, np.bool_)
        holds[worked] = option.feasible
        chosen[asked & holds], failing[asked & ~holds] = days, days
    return options, chosen, failing


def falling_short(option: IntervalOptions, run: int) -> IntArray:
    """Return those areas of a tank that keep an interval from being feasible, the worst first.

    Parameters
    ----------
    option : IntervalOptions
        An interval of a block of tanks.
    run : int
        Which of them.

    Returns
    -------
    int array (n,)
        Their places among the areas of the block, at least one: where none falls short by itself,
        that which is the likeliest to be over.
    """
    here = option.living.of_tank(run)
    at_bottom = option.cut_cm[here] <= option.living.least_cut_cm[here]
    chance = np.where(at_bottom, option.chance_within[here], 1.0)
    short = option.falls_short[here]
    order: IntArray = np.argsort(np.where(short, chance, 1.0 + chance), kind="stable")
    worst: IntArray = here.start + order[: max(int(short.sum()), 1)]
    return worst
