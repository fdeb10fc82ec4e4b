"""Physics and chemistry of the water: light through it, and the CO2 dissolved in it.

Every function broadcasts; NaN in gives NaN out.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from growthcast.arrays import FloatArray, checked

CO2_G_PER_MOL = 44.0095
EQ_PER_L_PER_DKH = 0.35665e-3
"""Equivalents of alkalinity per litre in one degree of carbonate hardness (17.848 mg/L CaCO3)."""


class CarbonateConstants(NamedTuple):
    """Negative decimal logarithms of the equilibrium constants of carbonic acid in water."""

    first: FloatArray
    second: FloatArray
    water: FloatArray


def carbonate_constants(temperature_c: ArrayLike) -> CarbonateConstants:
    """Return pK1, pK2 and pKw of fresh water.

    Parameters
    ----------
    temperature_c : array_like
        Water temperature [deg C], 0 to 90.

    Returns
    -------
    CarbonateConstants
        ``first`` (CO2 to bicarbonate), ``second`` (bicarbonate to carbonate), ``water`` (ion
        product), each a pK [1].

    Notes
    -----
    With T in kelvin, log to base 10::

        log K1 = -356.3094 - 0.06091964 T + 21834.37/T + 126.8339 log T - 1684915/T^2
        log K2 = -107.8871 - 0.03252849 T + 5151.79/T + 38.92561 log T - 563713.9/T^2
        pKw    = 4471.33/T + 0.017053 T - 6.0843

    References
    ----------
    L. N. Plummer and E. Busenberg, Geochimica et Cosmochimica Acta 46, 1982, 1011-1040,
    doi 10.1016/0016-7037(82)90056-4 (K1, K2). C. Neal, W. A. House and K. Down, Science of the
    Total Environment 210-211, 1998, 173-185 (pKw).

    Examples
    --------
    >>> [round(float(pk), 3) for pk in carbonate_constants(25.0)]
    [6.352, 10.329, 13.997]
    """
    T = np.asarray(temperature_c, dtype=np.float64) + 273.15
    log_t = np.log10(T)
    first = -356.3094 - 0.06091964 * T + 21834.37 / T + 126.8339 * log_t - 1684915.0 / T**2
    second = -107.8871 - 0.03252849 * T + 5151.79 / T + 38.92561 * log_t - 563713.9 / T**2
    water = 4471.33 / T + 0.017053 * T - 6.0843
    return CarbonateConstants(-first, -second, water)


def tank_ionic_strength_mol_l(kh_dkh: ArrayLike) -> FloatArray:
    """Return the ionic strength of tank water from its carbonate hardness.

    Parameters
    ----------
    kh_dkh : array_like
        Carbonate hardness, that is alkalinity [German degrees], 0 or more.

    Returns
    -------
    ndarray of float
        Ionic strength [mol/L].

    Notes
    -----
    ``I = 1.5 A + 0.002``: the alkalinity A as bicarbonate of calcium and magnesium, and 2 mmol/L of
    other salts (nitrate, sulphate, chloride). The latter is an estimate, no source.

    Examples
    --------
    >>> round(float(tank_ionic_strength_mol_l(4.0)), 5)
    0.00414
    """
    strength: FloatArray = np.asarray(
        1.5 * np.asarray(kh_dkh, dtype=np.float64) * EQ_PER_L_PER_DKH + 0.002
    )
    return strength[()]


def co2_mg_l(
    ph: ArrayLike,
    kh_dkh: ArrayLike,
    temperature_c: ArrayLike,
    ionic_strength_mol_l: ArrayLike = 0.0,
) -> FloatArray:
    """Return the dissolved CO2 that a pH and a carbonate hardness imply.

    Parameters
    ----------
    ph : array_like
        pH [1], 4 to 10.
    kh_dkh : array_like
        Carbonate hardness, that is alkalinity [German degrees], 0 or more.
    temperature_c : array_like
        Water temperature [deg C], 0 to 90.
    ionic_strength_mol_l : array_like
        Ionic strength [mol/L], 0 to 0.1; 0 takes concentrations for activities.

    Returns
    -------
    ndarray of float
        Dissolved CO2 [mg/L]; 0 where the hydroxide alone exceeds the alkalinity.

    Raises
    ------
    ValueError
        If a carbonate hardness is below 0.

    Notes
    -----
    Full balance ``alkalinity = [HCO3-] + 2 [CO3--] + [OH-] - [H+]``, solved for CO2:
    ``CO2 = {H+} g1 [HCO3-] / K1``, ``[HCO3-] = (alkalinity - [OH-] + [H+]) / (1 + 2 K2 g1/(g2
    {H+}))``, where a pH meter reads the activity ``{H+}`` and ``g1``, ``g2`` are the activity
    coefficients of ions of one and two charges, ``log g1 = -0.509 (sqrt(I)/(1 + sqrt(I)) - 0.3
    I)`` and ``g2 = g1^4``.

    It takes all alkalinity as carbonate. Phosphate, borate or humic alkalinity (pH buffers, wood,
    peat) counts as carbonate here and makes the answer too high. A pH error of 0.1 changes it by
    26 %. The trade's rule ``3 KH 10^(7 - pH)`` reads about 15 % lower at 25 deg C.

    References
    ----------
    Constants: :func:`carbonate_constants`. Activities: C. W. Davies, Ion Association, 1962
    (equation and the 0.509 of water at 25 deg C from memory). At ionic strength 0 it agrees within
    2.5 % with the table of C. S. Tucker (1984) as reprinted by W. A. Wurts and R. M. Durborow,
    Southern Regional Aquaculture Center publication 464, 1992.

    Examples
    --------
    4 degrees at pH 7 and 25 deg C; the trade's rule would say 12. Salts lower it:

    >>> round(float(co2_mg_l(7.0, 4.0, 25.0)), 2)
    14.1
    >>> round(float(co2_mg_l(7.0, 4.0, 25.0, 0.00414)), 2)
    13.15
    """
    kh = checked("kh_dkh", kh_dkh)
    pk = carbonate_constants(temperature_c)
    p = np.asarray(ph, dtype=np.float64)
    root = np.sqrt(np.asarray(ionic_strength_mol_l, dtype=np.float64))
    g1 = 10.0 ** (-0.509 * (root / (1.0 + root) - 0.3 * root**2))
    proton, hydroxide = 10.0**-p / g1, 10.0 ** (p - pk.water) / g1
    carbonate_alkalinity = kh * EQ_PER_L_PER_DKH - hydroxide + proton
    bicarbonate = carbonate_alkalinity / (1.0 + 2.0 * 10.0 ** (p - pk.second) / g1**3)
    co2_mol_l = g1 * bicarbonate * 10.0 ** (pk.first - p)
    return np.maximum(co2_mol_l * CO2_G_PER_MOL * 1000.0, 0.0)


def beer_lambert(light: ArrayLike, depth_cm: ArrayLike, extinction_per_cm: ArrayLike) -> FloatArray:
    """Return the light left after some depth of water.

    Parameters
    ----------
    light : array_like
        Light at depth 0 [any unit], 0 or more.
    depth_cm : array_like
        Water passed [cm]; a negative depth looks back towards the lamp.
    extinction_per_cm : array_like
        Extinction coefficient Kd [1/cm], 0 or more.

    Returns
    -------
    ndarray of float
        Light left [unit of ``light``].

    Notes
    -----
    ``I = I0 e^(-Kd d)``. Leaves out the spread of the beam and reflections from the glass.

    References
    ----------
    The law of Beer and Lambert (textbook knowledge).

    Examples
    --------
    Clear water with Kd 0.5 per metre passes 81.9 % over 40 cm:

    >>> round(float(beer_lambert(100.0, 40.0, 0.005)), 1)
    81.9
    """
    path = np.asarray(depth_cm, dtype=np.float64) * np.asarray(extinction_per_cm, dtype=np.float64)
    left: FloatArray = np.asarray(np.asarray(light, dtype=np.float64) * np.exp(-path))
    return left[()]
