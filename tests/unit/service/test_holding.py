"""Whether plants hold under a tank's conditions, both sides of what they need, by hand."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from scipy.special import ndtr

from growthcast.fit.supposed import cover_now, light_under
from growthcast.service.holding import Holding, holding
from growthcast.species import read_reference

REFERENCE = read_reference()
ONE = ndtr(1.0)
"""Of a normal below one deviation: 0.8413."""


def chances(respiration=0.02, needs="no", share=1.0, half=55.0, **conditions):
    """Judge a plant of middling light that grows from 10 to 35 deg C, where all is as it likes."""
    priors = SimpleNamespace(
        traits={
            "respiration_share": np.array([respiration]),
            "light_k_umol": np.array([half]),
            "temp_min_c": np.array([10.0]),
            "temp_max_c": np.array([35.0]),
        },
        needs_co2=np.array([needs]),
    )
    usual = {"ppfd_umol": 500.0, "photoperiod_h": 8.0, "temperature_c": 23.0, "co2_mg_l": 25.0}
    place, nothing = np.zeros(1, dtype=np.int64), np.zeros(1)
    return holding(usual | conditions, priors, place, np.array([share]), nothing)


@pytest.mark.parametrize(
    ("light", "changes", "chance"),
    [
        (25.0, {}, 0.5),  # half of the plants keep their form at 25 umol for 8 h
        (25.0 * np.exp(0.3), {}, ONE),
        (25.0 * np.exp(-0.3), {}, 1.0 - ONE),
        (20.0, {"photoperiod_h": 10.0}, 0.5),
        (200.0 / 12.0, {"photoperiod_h": 14.0}, 0.5),  # more than 12 h count as 12
        (50.0, {"share": 0.5}, 0.5),
        (12.0, {"half": 40.0}, 0.5),
        (45.0, {"half": 90.0}, 0.5),
        (35.0, {"half": 72.5}, 0.5),  # midway between 55 and 90
        (55.0 * np.arctanh(0.9), {"respiration": 0.3}, 0.5),  # 24 x 0.3 / 8 of the gain
        (1e6, {"respiration": 0.34}, 0.0),  # it respires more than it can gain in 8 h
        (1e6, {"photoperiod_h": 0.0}, 0.0),
    ],
)
def test_half_of_the_plants_hold_at_the_light_they_need(light, changes, chance):
    found = chances(ppfd_umol=light, **changes)
    assert found.light == pytest.approx([chance], abs=1e-6)
    assert found.warmth * found.co2 == pytest.approx([1.0], abs=1e-6)


def test_light_that_nobody_measured_is_the_references_with_its_doubt():
    usual, doubt = REFERENCE.conditions["ppfd_umol"], REFERENCE.unknown_spread["light"]
    found = chances(ppfd_umol=np.nan, share=0.25)
    assert found.light == pytest.approx(ndtr(np.log(0.25 * usual / 25.0) / np.hypot(0.3, doubt)))


@pytest.mark.parametrize(
    ("warm_c", "chance"),
    [(31.0, 0.5), (32.0, 1.0 - ONE), (30.0, ONE), (15.0, 0.5), (14.0, 1.0 - ONE)],
)
def test_half_hold_five_degrees_above_the_lower_and_four_below_the_upper_limit(warm_c, chance):
    assert chances(temperature_c=warm_c).warmth == pytest.approx([chance], abs=1e-6)


@pytest.mark.parametrize(
    ("needs", "co2", "chance"),
    [
        ("yes", 8.0, 0.5),
        ("yes", 8.0 * np.exp(0.5), ONE),
        ("helps", 1.5, 0.5),
        ("helps", 1.5 * np.exp(-0.5), 1.0 - ONE),
        ("no", 0.0, 1.0),
    ],
)
def test_half_hold_at_the_co2_they_need_and_some_need_none(needs, co2, chance):
    found = chances(needs=needs, co2_mg_l=co2)
    assert found.co2 == pytest.approx([chance], abs=1e-6)


def test_co2_that_nobody_measured_is_the_references_with_twice_its_doubt():
    usual, doubt = REFERENCE.conditions["co2_mg_l"], 2.0 * REFERENCE.unknown_spread["co2"]
    found = chances(needs="yes", co2_mg_l=np.nan)
    assert found.co2 == pytest.approx(ndtr(np.log(usual / 8.0) / np.hypot(0.5, doubt)))


def test_all_three_must_hold_and_those_below_eight_of_ten_are_named():
    found = Holding(np.array([0.9, 0.79]), np.array([0.5, 0.8]), np.array([1.0, 0.2]))
    assert found.chance == pytest.approx([0.45, 0.79 * 0.8 * 0.2])
    assert (found.limits(0), found.limits(1)) == (("warmth",), ("light", "co2"))


def under(cover_cm2, now=0.2, length=60.0, floating=True):
    """The light under floating plants in a tank of 60 by 50 cm; 1,000 cm2 of them stand at half."""
    design = SimpleNamespace(
        shade=SimpleNamespace(on=lambda _: np.array([0.0, now])) if now else None,
        on_day=0.0,
        tank_id=np.array(["a", "b"]),
        stays=np.array([True, True, False, True]),
        is_cover=np.array([floating, False, True, True]),
        tank=np.array([1, 1, 1, 0]),
        area_cm2=np.full(4, 1000.0),
        traits=SimpleNamespace(middle_cm=np.full(4, 50.0)),
    )
    sizes = {"length_cm": np.array([1.0, length]), "width_cm": np.array([1.0, 50.0])}
    book = SimpleNamespace(tanks=SimpleNamespace(number=sizes.__getitem__))
    fit = SimpleNamespace(design=design)
    assert cover_now(fit).tolist() == [0.0, now]
    return light_under(book, fit, 1, cover_cm2)


def test_light_under_other_floating_plants_goes_with_what_they_cover():
    """500 cm2 at half of their band are seen to cover a fifth: twice as many cover two fifths."""
    assert under(1000.0) == pytest.approx((1.0 - 0.4) / (1.0 - 0.2))
    assert under(0.0) == pytest.approx(1.0 / 0.8)
    assert under(900.0, now=0.0, floating=False) == pytest.approx(1.0 - 900.0 / 3000.0)
    assert under(900.0, length=np.nan) == 1.0
    assert 0.0 < under(1e6) < 0.1  # some light is always left
