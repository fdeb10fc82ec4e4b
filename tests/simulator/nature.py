"""How plants grow here: the equations of growth and of conditions, written a second time.

Nothing is shared with the fit, so that a slip in one of the two shows.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from tests.simulator.arrays import FloatArray
from tests.simulator.plan import Traits

__all__ = [
    "REFERENCE",
    "days_lost",
    "grow_one_day",
    "light_at_leaf",
    "ph_of_co2",
    "response",
    "settled_share",
    "shaded",
]


REFERENCE: Mapping[str, float] = {
    "ppfd_umol": 100.0,
    "photoperiod_h": 8.0,
    "co2_mg_l": 25.0,
    "no3_mg_l": 15.0,
    "po4_mg_l": 1.0,
    "k_mg_l": 15.0,
    "temperature_c": 25.0,
}
WATER_PER_CM = 0.005
STEPS_PER_DAY = 4
LEAST_RESPONSE = 0.02


def grow_one_day(
    height: FloatArray, rate: FloatArray, ceiling: FloatArray, shape: FloatArray
) -> FloatArray:
    """Integrate ``dh/dt = c r h [1 - (h/K)^m]/m`` over a day by Runge-Kutta quarter days, (A,).

    ``c = m / (2 (1 - 2^-m))`` makes growth at half of the ceiling ``r K / 4``; shapes above 0.
    """
    speed = rate / (2.0 * (1.0 - 0.5**shape))
    step = 1.0 / STEPS_PER_DAY

    def slope(h: FloatArray) -> FloatArray:
        h = np.maximum(h, 0.0)
        return np.maximum(speed * h * (1.0 - (h / ceiling) ** shape), 0.0)

    for _ in range(STEPS_PER_DAY):
        a = slope(height)
        b = slope(height + 0.5 * step * a)
        c = slope(height + 0.5 * step * b)
        d = slope(height + step * c)
        height = height + step / 6.0 * (a + 2.0 * b + 2.0 * c + d)
    return height


def days_lost(taken: FloatArray, lag_d: FloatArray, pause_d: FloatArray) -> FloatArray:
    """Days without growth after cuts that took a share ``taken`` of the height.

    The lag is whole from a quarter on; the pause begins at half and is whole at the base.
    """
    whole = np.clip(4.0 * taken, 0.0, 1.0)
    hard = np.clip(2.0 * taken - 1.0, 0.0, 1.0)
    lost: FloatArray = lag_d * whole + pause_d * hard
    return lost


def settled_share(days_since_planting: FloatArray, settle_d: FloatArray) -> FloatArray:
    """Share of full growth, rising evenly from 0 at planting to 1 after ``settle_d`` days."""
    share: FloatArray = np.clip(days_since_planting / np.maximum(settle_d, 1e-9), 0.0, 1.0)
    return share


def response(
    traits: Traits, conditions: Mapping[str, float], light_share: float, leaf_cm: float
) -> float:
    """Factor of the rate under a tank's conditions; 1 at the reference, which fills what is absent.

    ``leaf_cm`` is the height above the substrate at which the light is taken.
    """
    at = {**REFERENCE, **conditions}
    leaf_light = light_at_leaf(conditions, light_share, leaf_cm)
    light = _light(traits, leaf_light, at["photoperiod_h"])
    carbon = _monod(at["co2_mg_l"], traits.co2_k_mg_l) / _monod(25.0, traits.co2_k_mg_l)
    limits = (
        ("no3_mg_l", traits.n_k_mg_l),
        ("po4_mg_l", traits.p_k_mg_l),
        ("k_mg_l", traits.k_k_mg_l),
    )
    food = min(_monod(at[name], k) for name, k in limits)
    food /= min(_monod(REFERENCE[name], k) for name, k in limits)
    warmth = _warmth(traits, at["temperature_c"]) / _warmth(traits, REFERENCE["temperature_c"])
    return max(light * carbon * food * warmth, LEAST_RESPONSE)


def light_at_leaf(conditions: Mapping[str, float], light_share: float, leaf_cm: float) -> float:
    """Light where an area takes it, in open water."""
    light = conditions.get("ppfd_umol", REFERENCE["ppfd_umol"]) * light_share
    return light * math.exp(WATER_PER_CM * leaf_cm) if "ppfd_umol" in conditions else light


def shaded(traits: Traits, leaf_light: float, hours: float, cover: float) -> float:
    """Share of its growth that a plant keeps where this share of the surface is covered."""
    lit = _light(traits, leaf_light, hours)
    return _light(traits, leaf_light * (1.0 - cover), hours) / lit if lit > 0.0 else 1.0


def _light(traits: Traits, ppfd: float, hours: float) -> float:
    def gain(i: float, h: float) -> float:
        return h * math.tanh(i / traits.light_k_umol) - 24.0 * traits.respiration_share

    here, there = gain(ppfd, hours), gain(100.0, 8.0)
    return traits.light_floor + (1.0 - traits.light_floor) * here / there if here > 0.0 else 0.0


def _monod(amount: float, half: float) -> float:
    return 1.0 if half == 0.0 else amount / (amount + half)


def _warmth(traits: Traits, t: float) -> float:
    low, best, high = traits.temp_min_c, traits.temp_opt_c, traits.temp_max_c
    if not low < t < high:
        return 0.0
    bend = (best - low) / (high - best)
    return float((high - t) / (high - best) * ((t - low) / (best - low)) ** bend)


def ph_of_co2(co2_mg_l: float, kh_dkh: float) -> float:
    """pH of water with this CO2 and carbonate hardness, from pK1 = 6.352 (25 degrees)."""
    bicarbonate = kh_dkh * 0.3566e-3
    return 6.352 + math.log10(bicarbonate / (co2_mg_l / 44_010.0))
