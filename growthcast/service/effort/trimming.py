"""Minutes of trimming: the time to get set up at an area, and to cut and net out each litre."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Handling", "trimming_minutes"]

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Handling:
    """Minutes of trimming per area, (A,): to set up, per litre of stand, per dm2 of cover."""

    set_up_min: FloatArray
    min_per_l: FloatArray
    min_per_dm2: FloatArray


def trimming_minutes(
    removed_cm: FloatArray, area_cm2: FloatArray, is_cover: NDArray[np.bool_], handling: Handling
) -> FloatArray:
    """Minutes to trim each area.

    Parameters
    ----------
    removed_cm : array (A,)
        Height taken off [cm], or cover taken off [points of percent] for floating plants.
    area_cm2 : array (A,)
        Planted area [cm2].
    is_cover : bool array (A,)
        Whether the area is measured by its cover.
    handling : Handling
        Arrays (A,): minutes to set up, per litre of stand, per dm2 of cover.

    Returns
    -------
    array (A,)
        Minutes [min]; 0 where nothing is taken off.

    Notes
    -----
    ``set_up + per_litre * removed_cm * area_cm2 / 1000``; for cover ``set_up + per_dm2 *
    removed/100 * area_cm2 / 100``. Common practice, no source.

    Examples
    --------
    Ten centimetres off 400 cm2 of stems are four litres: 2 min + 4 x 1.5 min.

    >>> handling = Handling(np.array([2.0]), np.array([1.5]), np.array([0.0]))
    >>> trimming_minutes(np.array([10.0]), np.array([400.0]), np.array([False]), handling)
    array([8.])
    """
    litres = removed_cm * area_cm2 / 1000.0
    dm2 = removed_cm / 100.0 * area_cm2 / 100.0
    work = np.where(is_cover, handling.min_per_dm2 * dm2, handling.min_per_l * litres)
    return np.where(removed_cm > 0.0, handling.set_up_min + work, 0.0)
