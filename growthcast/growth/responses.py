"""Responses: how each condition of a tank speeds or slows growth, as a factor of the rate.

Every response is dimensionless and 1 at the reference conditions. Conditions that are not known
(NaN) take their reference value, so they leave the rate as the species table has it; how much
surer one would be with a measurement is not decided here. Every function broadcasts. A new response
is one function and one entry in ``RESPONSES``; a new nutrient is one entry in ``NUTRIENTS``.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike

from growthcast.arrays import FloatArray, checked
from growthcast.growth.water import beer_lambert
from growthcast.nouns import dataclass

WATER_EXTINCTION_PER_CM = 0.005
"""Kd of 0.5 per metre, clear water: an estimate, no published value for aquaria was found."""

FULL_HOURS_H = 12.0
"""Hours of light a day beyond which water plants gain no more; see ``light_gain_h``."""


def canopy_light(
    ppfd_umol: ArrayLike,
    light_share: ArrayLike,
    height_cm: ArrayLike,
    water_extinction_per_cm: ArrayLike = WATER_EXTINCTION_PER_CM,
) -> FloatArray:
    """Return the light at one height of a canopy, from the light at the substrate.

    Parameters
    ----------
    ppfd_umol : array_like
        Photosynthetic photon flux density at the substrate [umol/m2/s], 0 or more.
    light_share : array_like
        Share of it that reaches the area [1], 0 to 1 (1 = open).
    height_cm : array_like
        Height above the substrate [cm], 0 or more.
    water_extinction_per_cm : array_like
        Extinction coefficient of the water [1/cm]; 0.005 is an estimate for clear water.

    Returns
    -------
    ndarray of float
        Light at that height [umol/m2/s]; NaN where the light at the substrate is not known.

    Notes
    -----
    ``I = PPFD x share x e^(Kd h)``: a leaf above the substrate has less water over it. The height
    is one per area, midway between floor and budget, so that the rate does not depend on the height
    of the day. Leaves out how a lamp's beam widens and how a stand shades itself; the latter is in
    the ceiling and in the half-saturation fitted to whole stands.

    References
    ----------
    Beer and Lambert; the extinction is an estimate (clear lakes 0.5 to 1 per metre, weak source).

    Examples
    --------
    Half of 80 at 10 cm, with 5 % less water loss: 40 x e^0.05

    >>> round(float(canopy_light(80.0, 0.5, 10.0)), 2)
    42.05
    """
    reaching = np.asarray(ppfd_umol, dtype=np.float64) * np.asarray(light_share, dtype=np.float64)
    height = np.asarray(height_cm, dtype=np.float64)
    return beer_lambert(reaching, -height, water_extinction_per_cm)


def light_gain_h(
    ppfd_umol: ArrayLike,
    photoperiod_h: ArrayLike,
    light_k_umol: ArrayLike,
    respiration_share: ArrayLike,
) -> FloatArray:
    """Return a day's net photosynthesis, in hours of photosynthesis at full light.

    Parameters
    ----------
    ppfd_umol : array_like
        Light at the leaf [umol/m2/s], 0 or more.
    photoperiod_h : array_like
        Hours of light a day [h], 0 to 24.
    light_k_umol : array_like
        Light at which the initial slope meets the plateau, Ik [umol/m2/s], above 0.
    respiration_share : array_like
        Respiration as a share of photosynthesis at full light [1], 0 or more.

    Returns
    -------
    ndarray of float
        Net gain [h/day]; 0 or less means the plant lives below compensation. NaN in, NaN out.

    Raises
    ------
    ValueError
        If ``light_k_umol`` is not above 0, or another argument is below 0.

    Notes
    -----
    ``G = min(H, 12) tanh(I/Ik) - 24 s``: photosynthesis in the light, respiration around the
    clock. Hours beyond 12 bring nothing: days of 12 hours gave a rootless stem its best yield, and
    a duckweed grew no faster under 16 or 24 hours than under 12. From 12 hours down to 10 growth
    falls by a fifth here, which the one trial of it neither shows nor rules out (Hydrilla under 10
    to 16 hours: no difference, rates give or take a fifth to four fifths of themselves). That it
    goes on falling below 10 hours, down to what pays for respiration, is an estimate: no trial of
    days as short as aquaria have was found.

    References
    ----------
    The long end: Ceratophyllum demersum, Australian Journal of Marine and Freshwater Research 20,
    1969, 115-126, doi 10.1071/MF9690115; Landoltia punctata under 12, 16 and 24 hours, Aquaculture
    Research, 2021, doi 10.1111/are.15581. The short end, as far as there is one: D. F. Spencer and
    L. W. J. Anderson, Photoperiod responses in monoecious and dioecious Hydrilla verticillata, Weed
    Science, 1986 (relative growth rates under 10 to 16 hours, 0.081 +- 0.063 to 0.284 +- 0.052 a
    week); T. K. Van, Weed Science, 1989 (dioecious Hydrilla at the surface within 2 to 3 weeks
    under 10 and under 16 hours); growth in weight ends at 2 to 3 % of full sunlight,
    R. E. Wilkinson, Weeds 11, 1963, 287-290. Abstracts read.
    A. D. Jassby and T. Platt, Limnology and Oceanography 21, 1976, 540-547,
    doi 10.4319/lo.1976.21.4.0540 (reference from memory, the form tanh(I/Ik) as printed). The daily
    balance is ours.

    Examples
    --------
    8 h at I = Ik: 8 x 0.7616 - 24 x 0.05

    >>> round(float(light_gain_h(60.0, 8.0, 60.0, 0.05)), 3)
    4.893
    """
    light, hours = checked("ppfd_umol", ppfd_umol), checked("photoperiod_h", photoperiod_h)
    half = checked("light_k_umol", light_k_umol, above_zero=True)
    share = checked("respiration_share", respiration_share)
    hours = np.minimum(hours, FULL_HOURS_H)
    gain: FloatArray = np.asarray(hours * np.tanh(light / half) - 24.0 * share)
    return gain[()]


def light_response(
    ppfd_umol: ArrayLike,
    photoperiod_h: ArrayLike,
    light_k_umol: ArrayLike,
    light_floor: ArrayLike,
    respiration_share: ArrayLike,
    reference_ppfd_umol: ArrayLike,
    reference_photoperiod_h: ArrayLike,
) -> FloatArray:
    """Return the response of growth in height to light.

    Parameters
    ----------
    ppfd_umol : array_like
        Light at the leaf [umol/m2/s], 0 or more; NaN takes the reference.
    photoperiod_h : array_like
        Hours of light a day [h], 0 to 24; NaN takes the reference.
    light_k_umol, respiration_share : array_like
        As in :func:`light_gain_h` [umol/m2/s], [1].
    light_floor : array_like
        Share of growth in height that remains just above compensation [1], 0 to 1: in low light
        stems stretch.
    reference_ppfd_umol, reference_photoperiod_h : array_like
        Reference light [umol/m2/s] and hours [h].

    Returns
    -------
    ndarray of float
        Response [1]: 1 at the reference, above 1 in more light, 0 at and below compensation.

    Raises
    ------
    ValueError
        If the plant does not gain at the reference light (a fault of the species table), or as
        :func:`light_gain_h`.

    Notes
    -----
    ``L = floor + (1 - floor) G/G_ref`` with ``G`` from :func:`light_gain_h`, and 0 where
    ``G <= 0``: the response drops from the floor to 0 at compensation. Height falls less than
    biomass, which is what the floor stands for.

    References
    ----------
    As :func:`light_gain_h`. Stretching in low light: J. W. Barko, D. G. Hardin and M. S. Matthews,
    Canadian Journal of Botany 60, 1982, 877, doi 10.1139/b82-113. The floor as a form is ours.

    Examples
    --------
    Without respiration twice the hours are twice the gain; a floor of 0.5 halves the effect:

    >>> float(light_response(100.0, 12.0, 60.0, 0.5, 0.0, 100.0, 6.0))
    1.5
    """
    floor = checked("light_floor", light_floor)
    reference = light_gain_h(
        reference_ppfd_umol, reference_photoperiod_h, light_k_umol, respiration_share
    )
    if np.any(reference <= 0.0):
        raise ValueError(
            "at the reference light a species must gain more than it respires: "
            "lower its light_k_umol or its respiration_share"
        )
    gain = light_gain_h(
        _or_reference(ppfd_umol, reference_ppfd_umol),
        _or_reference(photoperiod_h, reference_photoperiod_h),
        light_k_umol,
        respiration_share,
    )
    response: FloatArray = np.where(gain <= 0.0, 0.0, floor + (1.0 - floor) * gain / reference)
    return response[()]


def co2_response(
    co2_mg_l: ArrayLike, co2_k_mg_l: ArrayLike, reference_co2_mg_l: ArrayLike
) -> FloatArray:
    """Return the response to dissolved CO2.

    Parameters
    ----------
    co2_mg_l : array_like
        Dissolved CO2 [mg/L], 0 or more; NaN takes the reference.
    co2_k_mg_l : array_like
        Half-saturation [mg/L], 0 or more; 0 for a plant that CO2 does not limit (floating leaves).
    reference_co2_mg_l : array_like
        Reference CO2 [mg/L], above 0.

    Returns
    -------
    ndarray of float
        Response [1]: 1 at the reference, 0 without CO2 (1 where the half-saturation is 0).

    Raises
    ------
    ValueError
        If the reference is not above 0, or another argument is below 0.

    Notes
    -----
    ``C/(C + k)`` over its value at the reference. Leaves out bicarbonate use, except as a small k.

    References
    ----------
    Michaelis-Menten form. Half-saturations of 75-170 umol/L (3-7.5 mg/L): T. K. Van, W. T. Haller
    and G. Bowes, Plant Physiology 58, 1976, 761-768.

    Examples
    --------
    At the half-saturation of 5 a half, at the reference of 25 five sixths: 0.5 / (5/6) = 0.6

    >>> round(float(co2_response(5.0, 5.0, 25.0)), 9)
    0.6
    """
    half = checked("co2_k_mg_l", co2_k_mg_l)
    reference = checked("reference_co2_mg_l", reference_co2_mg_l, above_zero=True)
    co2 = checked("co2_mg_l", _or_reference(co2_mg_l, reference))
    response: FloatArray = np.asarray(_monod(co2, half) / _monod(reference, half))
    return response[()]


def co2_slope(co2_mg_l: ArrayLike, co2_k_mg_l: ArrayLike) -> FloatArray:
    """Return how steeply the response to CO2 rises: its log for a rise of log CO2 by one.

    Parameters
    ----------
    co2_mg_l : array_like
        Dissolved CO2 [mg/L], above 0.
    co2_k_mg_l : array_like
        Half-saturation [mg/L], 0 or more.

    Returns
    -------
    ndarray of float
        Slope [1]: 0 where CO2 does not limit, at most 1.

    Raises
    ------
    ValueError
        If the CO2 is not above 0, or the half-saturation is below 0.

    Notes
    -----
    ``d log(C/(C + k)) / d log C = k/(C + k)``: a log spread of CO2 times this is one of the rate.

    References
    ----------
    As :func:`co2_response`.

    Examples
    --------
    At the half-saturation doubt of 30 % about the CO2 is one of 15 % about growth:

    >>> float(0.3 * co2_slope(3.0, 3.0))
    0.15
    """
    co2 = checked("co2_mg_l", co2_mg_l, above_zero=True)
    half = checked("co2_k_mg_l", co2_k_mg_l)
    slope: FloatArray = np.asarray(half / (co2 + half))
    return slope[()]


NUTRIENTS: Mapping[str, str] = MappingProxyType(
    {"no3_mg_l": "n_k_mg_l", "po4_mg_l": "p_k_mg_l", "k_mg_l": "k_k_mg_l"}
)
"""The nutrients that may be the scarcest, and the plant's half-saturation of each."""


def nutrient_response(*values: ArrayLike) -> FloatArray:
    """Return the response to the scarcest of the nutrients, nitrate, phosphate and potassium.

    Parameters
    ----------
    *values : array_like
        In the order of ``NUTRIENTS``: concentrations in the water [mg/L], 0 or more, where NaN
        takes the reference; then half-saturations [mg/L], 0 or more, where 0 is for a nutrient
        that does not limit; then reference concentrations [mg/L], above 0.

    Returns
    -------
    ndarray of float
        Response [1]: 1 at the reference, 0 where a nutrient with a half-saturation is missing.

    Raises
    ------
    ValueError
        If a reference is not above 0, another argument is below 0, or there are not three values
        for each nutrient.

    Notes
    -----
    ``min(S/(S + k))`` over the same minimum at the reference: more of a nutrient that is not the
    scarcest changes nothing (Liebig). Leaves out what the plant has stored; what roots take from
    the substrate is a floor under it in :func:`combined_response`.

    References
    ----------
    Multiplying nutrients predicts worst: W. T. de Groot, Ecological Modelling 18, 1983, 99-119. The
    minimum as a first approximation: G. I. Agren et al., New Phytologist, 2012,
    doi 10.1111/j.1469-8137.2012.04116.x.

    Examples
    --------
    Reference 9, 9, 9 with half-saturations 1: all 0.9. Phosphate at 1 gives 0.5, and 0.5/0.9:

    >>> round(float(nutrient_response(9, 1, 9, 1, 1, 1, 9, 9, 9)), 4)
    0.5556
    """
    many = len(NUTRIENTS)
    parts = (values[:many], values[many : 2 * many], values[2 * many :])
    scarcest: FloatArray = np.asarray(np.inf)
    at_reference: FloatArray = np.asarray(np.inf)
    for name, amount, half_saturation, reference_amount in zip(NUTRIENTS, *parts, strict=True):
        half = checked(f"half-saturation of {name}", half_saturation)
        reference = checked(f"reference_{name}", reference_amount, above_zero=True)
        known = checked(name, _or_reference(amount, reference))
        scarcest = np.minimum(scarcest, _monod(known, half))
        at_reference = np.minimum(at_reference, _monod(reference, half))
    response: FloatArray = np.asarray(scarcest / at_reference)
    return response[()]


def temperature_response(
    temperature_c: ArrayLike,
    temp_min_c: ArrayLike,
    temp_opt_c: ArrayLike,
    temp_max_c: ArrayLike,
    reference_temperature_c: ArrayLike,
) -> FloatArray:
    """Return the response to water temperature.

    Parameters
    ----------
    temperature_c : array_like
        Water temperature [deg C]; NaN takes the reference.
    temp_min_c, temp_opt_c, temp_max_c : array_like
        Temperatures at which growth begins, is fastest and ends [deg C], in this order.
    reference_temperature_c : array_like
        Reference temperature [deg C], between the limits.

    Returns
    -------
    ndarray of float
        Response [1]: 1 at the reference, largest at the optimum, 0 at and outside the limits.

    Raises
    ------
    ValueError
        If minimum, optimum and maximum do not rise in this order, or the reference lies at or
        outside the limits.

    Notes
    -----
    ``b(T) = [(Tmax - T)/(Tmax - Topt)] [(T - Tmin)/(Topt - Tmin)]^((Topt - Tmin)/(Tmax - Topt))``
    over ``b(T_reference)``. Leaves out acclimation and damage.

    References
    ----------
    W. Yan and L. A. Hunt, Annals of Botany 84, 1999, 607-614, doi 10.1006/anbo.1999.0955 (equation
    as printed, DOI from memory), there with Tmin = 0.

    Examples
    --------
    Limits 0, 20, 30 make the exponent 2: at 25, (5/10) (25/20)^2

    >>> float(temperature_response(25.0, 0.0, 20.0, 30.0, 20.0))
    0.78125
    """
    low, best, high = (
        np.asarray(t, dtype=np.float64) for t in (temp_min_c, temp_opt_c, temp_max_c)
    )
    if np.any((low >= best) | (best >= high)):
        raise ValueError("temperatures must rise from temp_min_c over temp_opt_c to temp_max_c")
    reference = np.asarray(reference_temperature_c, dtype=np.float64)
    at_reference = _beta(reference, low, best, high)
    if np.any(at_reference <= 0.0):
        raise ValueError("the reference temperature must lie between temp_min_c and temp_max_c")
    temperature = _or_reference(temperature_c, reference)
    response: FloatArray = np.asarray(_beta(temperature, low, best, high) / at_reference)
    return response[()]


@dataclass(frozen=True, slots=True)
class Response:
    """A factor of the rate: its function and the columns that it is called with, in this order.

    ``conditions`` are those of the water and the light, ``traits`` those of the plant; the
    reference conditions come last. ``each_apart`` says that each condition which nobody gave is a
    doubt of its own; else all of them together are one.
    """

    function: Callable[..., FloatArray]
    conditions: tuple[str, ...]
    traits: tuple[str, ...]
    each_apart: bool = False


RESPONSES: Mapping[str, Response] = MappingProxyType(
    {
        "light": Response(
            light_response,
            ("ppfd_umol", "photoperiod_h"),
            ("light_k_umol", "light_floor", "respiration_share"),
        ),
        "co2": Response(co2_response, ("co2_mg_l",), ("co2_k_mg_l",)),
        "nutrient": Response(
            nutrient_response, tuple(NUTRIENTS), tuple(NUTRIENTS.values()), each_apart=True
        ),
        "temperature": Response(
            temperature_response, ("temperature_c",), ("temp_min_c", "temp_opt_c", "temp_max_c")
        ),
    }
)
CONDITIONS = tuple(name for factor in RESPONSES.values() for name in factor.conditions)
"""The conditions that growth answers to."""
TRAITS = tuple(name for factor in RESPONSES.values() for name in factor.traits)
"""The traits of a plant that say how it does."""


def combined_response(
    at: Mapping[str, ArrayLike],
    plant: Mapping[str, ArrayLike],
    reference: Mapping[str, ArrayLike],
    least_nutrient: ArrayLike = 0.0,
) -> FloatArray:
    """Return the product of all responses, the factor by which conditions change the rate.

    Parameters
    ----------
    at : mapping of str to array_like
        The conditions by the names of ``CONDITIONS`` [unit in the name]; NaN takes the reference.
    plant : mapping of str to array_like
        The plant by the names of ``TRAITS`` [unit in the name].
    reference : mapping of str to array_like
        Reference conditions by the names of ``CONDITIONS`` [unit in the name].
    least_nutrient : array_like, optional
        Response to nutrients that the substrate leaves at the least [1], 0 to 1.

    Returns
    -------
    ndarray of float
        Combined response [1], 0 or more; 1 at the reference.

    Raises
    ------
    ValueError
        As the single responses.
    KeyError
        If a condition or a trait is missing.

    Notes
    -----
    ``f = L C max(min(N, P, K), S) T``, ``S`` from the substrate. Light, CO2 and temperature
    multiply because light and CO2 help each other; nutrients enter by their minimum. This reading
    of the evidence is ours. Iron and all other interactions are left out.

    References
    ----------
    Light with CO2: T. Andersen and O. Pedersen, Hydrobiologia 477, 2002, 163-170,
    doi 10.1023/A:1021007124604. The single responses name theirs.

    Examples
    --------
    With nothing known of the conditions the rate stays as it is:

    >>> reference = dict(ppfd_umol=100.0, photoperiod_h=8.0, co2_mg_l=25.0, no3_mg_l=15.0,
    ...                  po4_mg_l=1.0, k_mg_l=15.0, temperature_c=25.0)
    >>> plant = dict(light_k_umol=80.0, light_floor=0.3, respiration_share=0.05, co2_k_mg_l=5.0,
    ...              n_k_mg_l=1.0, p_k_mg_l=0.1, k_k_mg_l=1.0,
    ...              temp_min_c=10.0, temp_opt_c=27.0, temp_max_c=35.0)
    >>> float(combined_response(dict.fromkeys(CONDITIONS, float("nan")), plant, reference))
    1.0
    """
    response: FloatArray = np.asarray(1.0)
    for kind, factor in RESPONSES.items():
        share = factor.function(
            *(at[name] for name in factor.conditions),
            *(plant[name] for name in factor.traits),
            *(reference[name] for name in factor.conditions),
        )
        response = response * (np.maximum(share, least_nutrient) if kind == "nutrient" else share)
    return np.asarray(response)[()]


def _or_reference(values: ArrayLike, reference: ArrayLike) -> FloatArray:
    """Return the values, with the reference in place of NaN."""
    array = np.asarray(values, dtype=np.float64)
    return np.where(np.isnan(array), np.asarray(reference, dtype=np.float64), array)


def _monod(amount: FloatArray, half_saturation: FloatArray) -> FloatArray:
    """Return ``S/(S + k)``; 1 where ``k`` is 0, also without any ``S``."""
    free = half_saturation == 0.0
    total = np.where(free, 1.0, amount + half_saturation)
    return np.where(free, 1.0, amount / total)


def _beta(T: FloatArray, low: FloatArray, best: FloatArray, high: FloatArray) -> FloatArray:
    """Return the beta function with a minimum; 0 at and outside the limits."""
    inside = (low < T) & (high > T)
    at = np.where(inside, T, best)
    power = (best - low) / (high - best)
    value = (high - at) / (high - best) * ((at - low) / (best - low)) ** power
    return np.where(inside | np.isnan(T), np.where(np.isnan(T), np.nan, value), 0.0)
