"""Laws that the growth curve and the responses keep for every plant and every condition."""

import numpy as np
import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from growthcast.growth.logistic import (
    height_and_slope,
    height_at_stage,
    rate_from_speed,
    stage,
)
from growthcast.growth.responses import (
    CONDITIONS,
    co2_response,
    combined_response,
    light_gain_h,
    light_response,
    nutrient_response,
    temperature_response,
)
from growthcast.growth.water import carbonate_constants, co2_mg_l
from tests.curve import days_to_height, height_after, speed_of_growth

at_leisure = settings(deadline=None)  # a busy machine is no broken law
ceilings = st.floats(1.0, 300.0)
rates = st.floats(0.002, 0.6)
spans = st.floats(0.0, 120.0)
shares = st.floats(1e-3, 0.999)
shapes = st.one_of(
    st.floats(-1.0, 2.0), st.sampled_from([-1.0, -1e-9, 0.0, 1e-13, 1e-9, 1e-6, 1.0, 2.0])
)
amounts = st.floats(0.0, 200.0)
some = st.floats(0.05, 100.0)
halves = st.one_of(st.just(0.0), st.floats(0.01, 50.0))


@at_leisure
@given(shares, ceilings, shapes)
def test_stage_and_height_are_inverse(share, ceiling, shape):
    height = share * ceiling
    back = height_at_stage(stage(height, ceiling, shape), ceiling, shape)
    assert back == pytest.approx(height, rel=1e-10)


@at_leisure
@given(shares, shares, rates, ceilings, shapes)
def test_days_to_height_inverts_height_after(low, high, rate, ceiling, shape):
    low, high = sorted((low * ceiling, high * ceiling))
    days = days_to_height(low, high, rate, ceiling, shape)
    assert height_after(low, days, rate, ceiling, shape) == pytest.approx(high, rel=1e-9)


@at_leisure
@given(shares, spans, rates, ceilings, shapes)
def test_height_after_inverts_days_to_height(share, days, rate, ceiling, shape):
    height = share * ceiling
    reached = height_after(height, days, rate, ceiling, shape)
    assume(reached < 0.999 * ceiling)
    back = days_to_height(height, reached, rate, ceiling, shape)
    assert back == pytest.approx(days, rel=1e-7, abs=1e-8)


@at_leisure
@given(shares, spans, spans, rates, ceilings, shapes)
def test_growing_in_two_spans_is_growing_in_one(share, first, second, rate, ceiling, shape):
    height = share * ceiling
    one = height_after(height, first + second, rate, ceiling, shape)
    midway = height_after(height, first, rate, ceiling, shape)
    assert height_after(midway, second, rate, ceiling, shape) == pytest.approx(one, rel=1e-9)


@at_leisure
@example(0.5, 1.0, 5e-324)
@given(rates, ceilings, shapes)
def test_growth_at_half_of_the_ceiling(rate, ceiling, shape):
    speed = speed_of_growth(ceiling / 2, rate, ceiling, shape)
    assert speed == pytest.approx(rate * ceiling / 4, rel=1e-10)
    assert rate_from_speed(7 * speed, ceiling) == pytest.approx(rate, rel=1e-10)


@at_leisure
@example(0.5, 1.0, 5e-324)
@given(st.floats(0.02, 0.98), ceilings, shapes)
def test_slope_is_the_derivative_of_the_height(share, ceiling, shape):
    z, step = stage(share * ceiling, ceiling, shape), 1e-5
    ends = height_at_stage(np.array([z - step, z + step]), ceiling, shape)
    slope = height_and_slope(z, np.asarray(ceiling), np.asarray(shape))[1]
    assert slope == pytest.approx((ends[1] - ends[0]) / (2 * step), rel=1e-5, abs=1e-8 * ceiling)


@at_leisure
@example([0.0, 0.5], 0.0, 0.1, 1.0, 5e-324)  # the least number there is, once halved to nothing
@given(st.lists(st.floats(0.0, 1.2), min_size=2, max_size=8), spans, rates, ceilings, shapes)
def test_taller_stays_taller(parts, days, rate, ceiling, shape):
    heights = np.sort(parts) * ceiling
    later = height_after(heights, days, rate, ceiling, shape)
    assert np.all(np.diff(later) >= -1e-12 * ceiling)
    assert np.all(later >= np.minimum(heights, ceiling) - 1e-12 * ceiling)
    stages = stage(heights, ceiling, shape)
    assert np.all(stages[1:] >= stages[:-1] - 1e-12)


@at_leisure
@given(shares, st.lists(spans, min_size=2, max_size=6), rates, rates, ceilings, shapes)
def test_more_days_and_more_rate_never_lower(share, days, rate, other, ceiling, shape):
    height, days = share * ceiling, np.sort(days)
    slow, fast = sorted((rate, other))
    later = height_after(height, days, slow, ceiling, shape)
    assert np.all(np.diff(later) >= -1e-12 * ceiling)
    assert np.all(later <= ceiling)
    assert np.all(height_after(height, days, fast, ceiling, shape) >= later - 1e-12 * ceiling)


@at_leisure
@given(st.floats(-1.0, 2.0), st.floats(-1.0, 2.0), shares, ceilings)
def test_near_shapes_give_near_heights(shape, other, share, ceiling):
    """No jump anywhere, also not where the Gompertz limit takes over."""
    near = np.clip(shape + 1e-7 * other, -1.0, 2.0)
    height = share * ceiling
    a = height_after(height, 10.0, 0.1, ceiling, shape)
    b = height_after(height, 10.0, 0.1, ceiling, near)
    assert a == pytest.approx(b, rel=1e-5)


@at_leisure
@given(st.floats(0.0, 1e-6), st.floats(0.0, 1e9), st.floats(0.0, 5.0), st.floats(1e-3, 1e6), shapes)
def test_extreme_arguments_stay_finite(height, days, rate, ceiling, shape):
    later = height_after(height, days, rate, ceiling, shape)
    assert np.isfinite(later)
    assert 0.0 <= later <= max(ceiling, height)
    assert stage(height, ceiling, shape) <= stage(ceiling / 2, ceiling, shape)


species = st.fixed_dictionaries(
    {
        "light_k_umol": st.floats(5.0, 200.0),
        "light_floor": st.floats(0.0, 1.0),
        "respiration_share": st.floats(0.0, 0.03),
        "co2_k_mg_l": halves,
        "n_k_mg_l": halves,
        "p_k_mg_l": halves,
        "k_k_mg_l": halves,
        "temp_min_c": st.floats(0.0, 15.0),
        "temp_opt_c": st.floats(20.0, 30.0),
        "temp_max_c": st.floats(31.0, 42.0),
    }
)
references = st.fixed_dictionaries(
    {
        "ppfd_umol": st.floats(30.0, 500.0),
        "photoperiod_h": st.floats(6.0, 16.0),
        "co2_mg_l": some,
        "no3_mg_l": some,
        "po4_mg_l": some,
        "k_mg_l": some,
        "temperature_c": st.floats(16.0, 30.5),
    }
)
unknown = st.just(float("nan"))
conditions = st.fixed_dictionaries(
    {
        "ppfd_umol": unknown | st.floats(0.0, 3000.0),
        "photoperiod_h": unknown | st.floats(0.0, 24.0),
        "co2_mg_l": unknown | amounts,
        "no3_mg_l": unknown | amounts,
        "po4_mg_l": unknown | amounts,
        "k_mg_l": unknown | amounts,
        "temperature_c": unknown | st.floats(0.0, 45.0),
    }
)


@at_leisure
@given(species, references)
def test_every_response_is_one_at_the_reference(traits, reference):
    assert combined_response(reference, traits, reference) == pytest.approx(1.0, rel=1e-12)
    nothing_known = dict.fromkeys(CONDITIONS, float("nan"))
    assert combined_response(nothing_known, traits, reference) == pytest.approx(1.0, rel=1e-12)


@at_leisure
@given(species, references, conditions)
def test_combined_is_the_product_and_unknown_is_the_reference(traits, reference, condition):
    value = combined_response(condition, traits, reference)
    assert np.isfinite(value)
    assert value >= 0.0
    filled = {
        name: reference[name] if np.isnan(given) else given for name, given in condition.items()
    }
    t, r, c = traits, reference, filled
    product = (
        light_response(
            c["ppfd_umol"],
            c["photoperiod_h"],
            t["light_k_umol"],
            t["light_floor"],
            t["respiration_share"],
            r["ppfd_umol"],
            r["photoperiod_h"],
        )
        * co2_response(c["co2_mg_l"], t["co2_k_mg_l"], r["co2_mg_l"])
        * nutrient_response(
            *(c[name] for name in ("no3_mg_l", "po4_mg_l", "k_mg_l")),
            *(t[name] for name in ("n_k_mg_l", "p_k_mg_l", "k_k_mg_l")),
            *(r[name] for name in ("no3_mg_l", "po4_mg_l", "k_mg_l")),
        )
        * temperature_response(
            c["temperature_c"],
            t["temp_min_c"],
            t["temp_opt_c"],
            t["temp_max_c"],
            r["temperature_c"],
        )
    )
    assert value == pytest.approx(product, rel=1e-12)


@at_leisure
@given(
    species, references, st.lists(amounts, min_size=2, max_size=6), st.sampled_from(["ppfd_umol"])
)
def test_more_light_never_slows(traits, reference, light, name):
    light = np.sort(light)
    nothing = dict.fromkeys(CONDITIONS, np.nan)
    value = combined_response(nothing | {name: light}, traits, reference)
    assert np.all(np.diff(value) >= -1e-12)


@at_leisure
@given(some, halves, st.lists(amounts, min_size=2, max_size=6))
def test_more_co2_or_nutrient_never_slows(reference, half, amount):
    amount = np.sort(amount)
    assert np.all(np.diff(co2_response(amount, half, reference)) >= -1e-12)
    nutrient = nutrient_response(amount, 5.0, 5.0, half, 1.0, 1.0, reference, 5.0, 5.0)
    assert np.all(np.diff(nutrient) >= -1e-12)


@at_leisure
@given(st.floats(0.0, 500.0), st.floats(0.0, 24.0), st.floats(5.0, 200.0), st.floats(0.0, 0.3))
def test_below_compensation_is_where_nothing_grows(light, hours, half, respiration):
    assume(light_gain_h(100.0, 8.0, half, respiration) > 0.0)
    response = light_response(light, hours, half, 0.3, respiration, 100.0, 8.0)
    below = bool(light_gain_h(light, hours, half, respiration) <= 0.0)
    assert below == (response == 0.0)
    assert below or response >= 0.3


@at_leisure
@given(st.floats(-5.0, 50.0), st.floats(0.0, 15.0), st.floats(16.0, 30.0), st.floats(31.0, 42.0))
def test_no_temperature_beats_the_optimum(temperature, low, best, high):
    value = temperature_response(temperature, low, best, high, best)
    assert 0.0 <= value <= 1.0 + 1e-12
    assert (value == 0.0) or (low < temperature < high)


@at_leisure
@given(st.floats(5.5, 8.5), st.floats(0.5, 25.0), st.floats(5.0, 35.0))
def test_carbonate_balance_closes(ph, kh, temperature):
    """Put the CO2 back into the equilibria: the alkalinity that comes out is the one put in."""
    pk = carbonate_constants(temperature)
    co2 = co2_mg_l(ph, kh, temperature) / 44.0095e3
    bicarbonate = co2 * 10 ** (ph - pk.first)
    carbonate = bicarbonate * 10 ** (ph - pk.second)
    alkalinity = bicarbonate + 2 * carbonate + 10 ** (ph - pk.water) - 10**-ph
    assert alkalinity * 1e3 / 0.35665 == pytest.approx(kh, rel=1e-9)


@at_leisure
@given(st.floats(4.0, 10.0), st.floats(0.0, 40.0), st.floats(0.0, 45.0))
def test_lower_ph_and_harder_water_mean_more_co2(ph, kh, temperature):
    here = co2_mg_l(ph, kh, temperature)
    assert here >= 0.0
    assert co2_mg_l(ph - 0.1, kh, temperature) >= here
    assert co2_mg_l(ph, kh + 1.0, temperature) >= here
