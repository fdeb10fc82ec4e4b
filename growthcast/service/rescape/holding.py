"""Whether a plant holds at all where it is put: light, warmth and CO2.

A response says how fast a plant grows; these chances say whether it lives. All spreads are
estimates without a source, kept wide.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from growthcast.arrays import FloatArray, IntArray
from growthcast.growth.normal import normal_cdf
from growthcast.growth.responses import canopy_light
from growthcast.species import SpeciesPriors, read_reference

__all__ = ["Holding", "holding"]


COMPENSATION_SPREAD = 0.3
"""Log spread of the light below which a plant respires more than it gains (an estimate)."""
TEMPERATURE_SPREAD_C = 1.0
"""Spread of the limits of warmth [deg C] (an estimate)."""
CO2_NEEDED_MG_L, CO2_NEEDED_SPREAD = 8.0, 0.5
"""CO2 below which half of the plants said to need it do not last, and the log spread of that
(common practice, no source: tap water in balance with the air holds about 1 mg/L, dosed tanks aim
at 20 to 30)."""


@dataclass(frozen=True, slots=True)
class Holding:
    """Chances (n,) [0-1] that plants hold: with this light, warmth and CO2, and with all three."""

    light: FloatArray
    warmth: FloatArray
    co2: FloatArray

    @property
    def chance(self) -> FloatArray:
        """Chance (n,) [0-1] that a plant holds at all."""
        together: FloatArray = self.light * self.warmth * self.co2
        return together


def holding(
    conditions: Mapping[str, float],
    priors: SpeciesPriors,
    species: IntArray,
    light_share: FloatArray,
    canopy_cm: FloatArray,
) -> Holding:
    """Return the chances that plants hold under a tank's conditions.

    Parameters
    ----------
    conditions : mapping of str to float
        ``ppfd_umol``, ``photoperiod_h``, ``co2_mg_l`` and ``temperature_c`` by column name; NaN
        where nobody gave it, which takes the reference with its doubt.
    priors : SpeciesPriors
        The species.
    species : int array (n,)
        Which of them each plant is.
    light_share : array (n,)
        Share of the tank's light that reaches it [0-1].
    canopy_cm : array (n,)
        Height at which its light is taken [cm].

    Returns
    -------
    Holding
        Light is enough where a day's gain exceeds its respiration: the light at which the two are
        equal is ``Ik atanh(24 s / H)``, with a log-normal spread. Warmth is enough within the
        species' limits. CO2 matters to plants whose ``needs_co2`` is yes.
    """
    reference = read_reference()
    hours = _or(conditions["photoperiod_h"], reference.conditions["photoperiod_h"])
    ppfd = conditions["ppfd_umol"]
    light = canopy_light(ppfd, light_share, canopy_cm)
    light = np.where(np.isnan(light), reference.conditions["ppfd_umol"] * light_share, light)
    unknown = 0.0 if np.isfinite(ppfd) else reference.unknown_spread["light"]
    lit = 24.0 * priors.traits["respiration_share"][species] / max(hours, 1e-9)
    needed = priors.traits["light_k_umol"][species] * np.arctanh(np.clip(lit, 0.0, 1.0 - 1e-12))
    never = lit >= 1.0
    ahead = np.log(np.maximum(light, 1e-12)) - np.log(np.maximum(needed, 1e-12))
    enough = normal_cdf(ahead / np.hypot(COMPENSATION_SPREAD, unknown))
    warm = _or(conditions["temperature_c"], reference.conditions["temperature_c"])
    below = (priors.traits["temp_max_c"][species] - warm) / TEMPERATURE_SPREAD_C
    above = (warm - priors.traits["temp_min_c"][species]) / TEMPERATURE_SPREAD_C
    co2 = _or(conditions["co2_mg_l"], reference.conditions["co2_mg_l"])
    spread = np.hypot(
        CO2_NEEDED_SPREAD,
        0.0 if np.isfinite(conditions["co2_mg_l"]) else 2.0 * reference.unknown_spread["co2"],
    )
    carbon = normal_cdf(np.asarray((np.log(max(co2, 1e-9)) - np.log(CO2_NEEDED_MG_L)) / spread))
    return Holding(
        light=np.where(never, 0.0, enough),
        warmth=normal_cdf(below) * normal_cdf(above),
        co2=np.where(priors.needs_co2[species] == "yes", carbon, 1.0),
    )


def _or(value: float, usual: float) -> float:
    return usual if np.isnan(value) else value
