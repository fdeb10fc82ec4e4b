"""Tanks left out of the log: foretold better where plants depart from the table, else as before.

All practices are simulated. Seen failing: with the clear win left out of the choice, the null
practices are made worse.
"""

from __future__ import annotations

import numpy as np
import pytest

from growthcast.fit.borrowing import learn_conditions

pytestmark = pytest.mark.slow

SPREAD, NEW = 0.3, 60
PRACTICES = 25


def learnt(tanks, slope, seed):
    """Return squared errors and log scores [nat] of new tanks, without and with, and the choice."""
    rng = np.random.default_rng([seed, tanks])
    count = tanks + NEW
    injected = rng.random(count) < 0.6
    co2 = np.log(np.where(injected, rng.uniform(14, 29, count), rng.uniform(3, 7, count)))
    light = np.log(8.0 * rng.uniform(40, 141, count))
    food = np.log(rng.uniform(0.2, 1.6, count))
    conditions = np.column_stack([light, co2, food, rng.uniform(22.5, 26.5, count)])
    follows = slope * (co2 - co2.mean()) / co2.std()
    true = follows + SPREAD * rng.normal(size=count)
    error = np.exp(rng.normal(np.log(0.15), 0.4, size=count))
    logged = np.arange(count) < tanks
    seen = np.where(logged, true + error * rng.normal(size=count), np.nan)
    got = learn_conditions(conditions, seen, error, logged, np.full(count, SPREAD))
    new = ~logged
    off, sd = (true - got.mean)[new], got.sd[new]
    score = -0.5 * (np.log(2 * np.pi * sd**2) + (off / sd) ** 2)
    plain = -0.5 * (np.log(2 * np.pi * SPREAD**2) + (true[new] / SPREAD) ** 2)
    inside = np.abs(off / sd) < 1.2816
    return {
        "without": np.mean(true[new] ** 2),
        "with": np.mean(off**2),
        "gain": np.mean(score - plain),
        "inside": inside.mean(),
        "chosen": got.model != "none",
    }


def practices(tanks, slope):
    runs = [learnt(tanks, slope, seed) for seed in range(PRACTICES)]
    return {name: np.mean([run[name] for run in runs]) for name in runs[0]}


@pytest.mark.parametrize("tanks", [8, 12, 24])
def test_with_nothing_to_learn_new_tanks_are_foretold_as_before(tanks):
    figures = practices(tanks, slope=0.0)
    assert figures["chosen"] <= 0.08
    assert figures["with"] <= 1.02 * figures["without"]
    assert figures["gain"] > -0.01


@pytest.mark.parametrize("tanks", [12, 30])
def test_a_weak_slope_does_no_harm(tanks):
    figures = practices(tanks, slope=0.15)
    assert figures["with"] <= 1.02 * figures["without"]
    assert figures["gain"] > -0.01


def test_a_strong_slope_is_found_and_its_spread_is_honest():
    figures = practices(30, slope=0.35)
    assert figures["chosen"] >= 0.7
    assert figures["with"] < 0.75 * figures["without"]
    assert figures["gain"] > 0.2
    assert 0.74 < figures["inside"] < 0.86
