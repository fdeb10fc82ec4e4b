"""What is known of an area's rate: as a noun, and on the day of the fit."""

from __future__ import annotations

from dataclasses import field
from typing import Literal

import numpy as np

from growthcast.arrays import FloatArray
from growthcast.fit.model.noise import today_weight
from growthcast.fit.model.posterior import AreaPosterior
from growthcast.frames import Framed
from growthcast.nouns import dataclass
from growthcast.plain import BY_QUANTILE, in_json

Basis = Literal["log", "tank", "table"]
"""What a forecast rests on: the area's own log, its tank's or its species', or the table alone."""

RANGE_80 = np.array([-1.2815515655446004, 0.0, 1.2815515655446004])
"""Standard normal quantiles of 10, 50 and 90 %: an 80 % range, in standard deviations."""


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
