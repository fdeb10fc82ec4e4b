"""What the backtest teaches about the width of forecasts."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from growthcast.arrays import FloatArray
from growthcast.forecast.scores import Predictive
from growthcast.plain import in_json

GOAL = 0.8
NARROWEST, WIDEST = 0.25, 4.0
HALVINGS = 20
VISITS_OF_DOUBT = 20.0
"""Tank visits that weigh as much as the belief that the widths are right: with one independent
reading a visit the log of the factor has variance 0.79 / visits, and before any visit it is
believed to lie within 0.2 of 0 (an estimate)."""


@dataclass(frozen=True, slots=True)
class Recalibration:
    """A factor on the spread of forecast heights, on the scale on which they are normal.

    ``factor`` is shrunk toward 1, ``unshrunk`` is not; ``n`` readings and ``visits`` (a tank on a
    day) taught it. A factor of 1 changes nothing; above 1 forecasts are widened.
    """

    factor: float
    unshrunk: float = field(metadata=in_json("factor_unshrunk"))
    n: int
    visits: int


@dataclass(frozen=True, slots=True)
class Trial:
    """What widening would have done to ``n`` later readings, each by the factor known before.

    Shares of readings inside 80 % ranges [0-1], and mean CRPS as a share of the budget [-], of the
    forecasts as they were and widened.
    """

    n: int
    coverage_80: float
    coverage_80_widened: float
    crps_share: float
    crps_share_widened: float


def learn_widening(made: Predictive, reading_cm: FloatArray, visits: int) -> Recalibration:
    """Learn the factor with which central 80 % ranges hold 80 % of the readings.

    The spread of the *height* is scaled; the error of reading it stays as the book states it. For
    each reading there is a smallest factor at which the widened range just holds it; the factor is
    their quantile of rank ``ceil(0.8 (n + 1))`` (split conformal prediction), within a quarter and
    four. Its logarithm is then multiplied by ``visits / (visits + 20)``: readings of one tank and
    day go wrong together and count once.

    Parameters
    ----------
    made : Predictive
        Forecasts of ``n`` readings; those that were not made do not count.
    reading_cm : array (n,)
        What was read [cm, or % cover].
    visits : int
        Tank visits on which the readings were taken.

    Returns
    -------
    Recalibration
        A factor of 1 without any reading.

    References
    ----------
    Lei, J. et al. (2018). Distribution-free predictive inference for regression. Journal of the
    American Statistical Association 113, 1094-1111, doi:10.1080/01621459.2017.1307116 (from
    memory).
    """
    kept = made.made
    made, reading = made.take(kept), reading_cm[kept]
    if not reading.size:
        return Recalibration(1.0, 1.0, 0, 0)
    low = np.full(reading.size, np.log(NARROWEST))
    high = np.full(reading.size, np.log(WIDEST))
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        off = np.abs(2.0 * made.widened(np.exp(middle)).chance_below(reading) - 1.0)
        low, high = np.where(off > GOAL, middle, low), np.where(off > GOAL, high, middle)
    rank = min(int(np.ceil(GOAL * (reading.size + 1))), reading.size)
    log_factor = float(np.sort(high)[rank - 1])
    share = visits / (visits + VISITS_OF_DOUBT)
    return Recalibration(
        float(np.exp(share * log_factor)), float(np.exp(log_factor)), reading.size, visits
    )
