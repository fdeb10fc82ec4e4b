"""True rates of every area on every day, drawn before anything is visited."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from tests.simulator.arrays import BoolArray, FloatArray, IntArray
from tests.simulator.nature import REFERENCE, light_at_leaf, response, settled_share
from tests.simulator.plan import PracticePlan, Richness, Traits, read_lag_spreads

__all__ = ["World", "daily_noise", "draw_world", "drift_course"]

COVER_CEILING = 100.0
MIDSUMMER = 172


@dataclass(frozen=True, slots=True)
class World:
    """Everything about the areas (A) that does not depend on how they are cut; T days.

    ``alive`` (T, A); ``expected_rate`` and ``noisy_rate`` (T, A) before span noise, pauses and
    shade. ``leaf_light`` and ``hours`` (T, A) are the light in open water and its hours, and
    ``surface`` (A,) the share of the tank's surface that a floating area takes.
    """

    tank: IntArray
    traits: tuple[Traits, ...]
    alive: BoolArray
    expected_rate: FloatArray
    noisy_rate: FloatArray
    reference_rate: FloatArray
    ceiling: FloatArray
    shape: FloatArray
    start: FloatArray
    lag_d: FloatArray
    mass_effect: FloatArray
    species_effect: dict[str, float]
    tank_effect: FloatArray
    area_effect: FloatArray
    leaf_light: FloatArray
    hours: FloatArray
    surface: FloatArray


def draw_world(plan: PracticePlan, richness: Richness, seed: int) -> World:
    """Draw the lasting effects, then the rates of every day to the end of ``future_days``."""
    lasting, weather = (np.random.default_rng([seed, stream]) for stream in (1, 2))
    tank_place = {tank.tank_id: k for k, tank in enumerate(plan.tanks)}
    tank = np.array([tank_place[area.tank_id] for area in plan.areas], dtype=np.int64)
    traits = tuple(plan.traits[area.species_id] for area in plan.areas)
    species = sorted({area.species_id for area in plan.areas})
    species_effect = {
        name: float(lasting.normal() * plan.traits[name].rate_spread * richness.species_spread)
        for name in species
    }
    drawn = lasting.normal(size=len(plan.tanks)) * richness.tank_spread
    tank_effect = np.array(
        [d if t.effect is None else t.effect for t, d in zip(plan.tanks, drawn, strict=True)]
    )
    area_effect = lasting.normal(size=tank.size) * richness.area_spread
    reference = _reference_rates(plan, traits, species_effect, tank_effect[tank], area_effect)
    ceiling = _ceilings(plan, traits, tank, lasting.normal(size=tank.size), richness)
    shape = np.clip(1.0 + richness.shape_spread * lasting.normal(size=tank.size), 0.4, 1.8)
    mass_effect = richness.density_spread * lasting.normal(size=tank.size)
    starts = lasting.uniform(0.2, 0.8, size=tank.size)

    first = plan.first_on.toordinal()
    count = plan.last_on.toordinal() - first + 1 + plan.future_days
    days = first + np.arange(count)
    planted = np.array([area.planted_on.toordinal() for area in plan.areas])
    removed = np.array([(area.removed_on or date.max).toordinal() for area in plan.areas])
    alive = (planted <= days[:, None]) & (days[:, None] <= removed)
    factor, leaf_light, hours = _responses(plan, traits, tank, days, richness)
    expected = reference * factor
    size = np.array([home.length_cm * home.width_cm for home in plan.tanks])[tank]
    floats = np.array([t.is_cover for t in traits])
    surface = np.where(floats, [area.area_cm2 for area in plan.areas], 0.0) / size
    if richness.settling:
        settle = np.array([t.settle_d for t in traits]) * _settling(traits, richness, seed)
        expected = expected * settled_share(days[:, None] + 0.5 - planted, settle)
    day_of_year = np.array([date.fromordinal(int(day)).timetuple().tm_yday for day in days])
    season = np.cos((day_of_year - MIDSUMMER) * 2.0 * np.pi / 365.25) * richness.season_share
    expected = expected * (1.0 + season[:, None])
    for fault in plan.faults:
        struck = np.array([fault.strikes(area) for area in plan.areas])
        since = days >= fault.from_date.toordinal()
        expected = np.where(since[:, None] & struck, fault.growth_share * expected, expected)
    noise = daily_noise(weather, alive.shape, richness.week_spread)
    drift = drift_course(weather, count, len(plan.tanks), richness)[:, tank]
    return World(
        tank=tank,
        traits=traits,
        alive=alive,
        expected_rate=expected,
        noisy_rate=expected * noise * drift,
        reference_rate=reference,
        ceiling=ceiling,
        shape=shape,
        start=_start_heights(plan, ceiling, starts, richness, seed),
        lag_d=_lags(traits, richness, seed),
        mass_effect=mass_effect,
        species_effect=species_effect,
        tank_effect=tank_effect,
        area_effect=area_effect,
        leaf_light=leaf_light,
        hours=hours,
        surface=surface,
    )


def _lags(traits: tuple[Traits, ...], richness: Richness, seed: int) -> FloatArray:
    """Days of growth (A,) that each area loses after a cut."""
    if not richness.lag_drawn:
        return np.full(len(traits), richness.lag_d)
    rng = np.random.default_rng([seed, 9])
    of_form = {
        form: abs(float(rng.normal())) * spread for form, spread in read_lag_spreads().items()
    }
    return np.array([of_form[t.form] for t in traits])


def _settling(traits: tuple[Traits, ...], richness: Richness, seed: int) -> FloatArray:
    """How much longer (A,) than in the table each area takes to settle, as a factor."""
    rng = np.random.default_rng([seed, 10])
    of_all = rng.normal()
    of_form = {form: of_all + rng.normal() for form in read_lag_spreads()}
    off = np.array([of_form[t.form] for t in traits]) / np.sqrt(2.0)
    factor: FloatArray = richness.settle_factor * np.exp(richness.settle_spread * off)
    return factor


def _reference_rates(
    plan: PracticePlan,
    traits: tuple[Traits, ...],
    species_effect: dict[str, float],
    tank_effect: FloatArray,
    area_effect: FloatArray,
) -> FloatArray:
    table = np.log([t.rate_per_day for t in traits])
    of_species = np.array([species_effect[t.species_id] for t in traits])
    drawn = np.exp(table + of_species + tank_effect + area_effect)
    given = np.array([area.rate_per_day or np.nan for area in plan.areas])
    return np.where(np.isnan(given), drawn, given)


def _ceilings(
    plan: PracticePlan,
    traits: tuple[Traits, ...],
    tank: IntArray,
    normal: FloatArray,
    richness: Richness,
) -> FloatArray:
    water = np.array([t.water_depth_cm for t in plan.tanks])[tank]
    cover = np.array([t.is_cover for t in traits])
    reaches = np.array([t.reaches_surface for t in traits])
    usual = np.where(reaches, water, np.minimum([t.ceiling_cm for t in traits], water))
    spread = np.array([t.ceiling_spread for t in traits]) * richness.ceiling_spread
    drawn = usual * np.exp(spread * normal)
    given = np.array([area.ceiling_cm or np.nan for area in plan.areas])
    height = np.where(np.isnan(given), drawn, given)
    return np.where(cover, COVER_CEILING, height)


def _start_heights(
    plan: PracticePlan, ceiling: FloatArray, between: FloatArray, richness: Richness, seed: int
) -> FloatArray:
    """Height on the first simulated day, or at planting: between usual cut and budget.

    A height at planting that stands in the book was read like any other.
    """
    start = []
    misread = np.random.default_rng([seed, 12]).normal(size=len(plan.areas))
    for area, share, off in zip(plan.areas, between.tolist(), misread.tolist(), strict=True):
        if area.start_cm is not None:
            start.append(area.start_cm)
        elif area.planted_on >= plan.first_on and area.planted_height_cm:
            typed = area.planted_height_cm
            sd = np.hypot(richness.height_error_cm, richness.height_error_share * typed)
            start.append(max(typed + sd * off, 0.5 * typed))
        elif area.planted_on >= plan.first_on:
            start.append(area.aim_cm)
        else:
            start.append(area.aim_cm + share * (area.budget_cm - area.aim_cm))
    return np.minimum(start, 0.95 * ceiling)


def _responses(
    plan: PracticePlan,
    traits: tuple[Traits, ...],
    tank: IntArray,
    days: IntArray,
    richness: Richness,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Response of every area on every day, its light and the hours of it, all (T, A)."""
    factor, light, hours = np.ones((3, days.size, len(traits)))
    if not richness.responses:
        return factor, light, hours
    for a, area in enumerate(plan.areas):
        home = plan.tanks[tank[a]]
        share = 1.0 if area.light_share is None else area.light_share
        leaf = 0.5 * (area.floor_cm + area.budget_cm)
        leaf = home.water_depth_cm if traits[a].is_cover else min(leaf, home.water_depth_cm)
        known: dict[str, float] = {}
        for place, condition in enumerate(home.conditions):
            known |= condition.values
            since = days >= (condition.from_date.toordinal() if place else 0)
            factor[since, a] = response(traits[a], known, share, leaf)
            light[since, a] = light_at_leaf(known, share, leaf)
            hours[since, a] = known.get("photoperiod_h", REFERENCE["photoperiod_h"])
    return factor, light, hours


def daily_noise(rng: np.random.Generator, size: tuple[int, ...], week_spread: float) -> FloatArray:
    """Mean-one factors, independent from day to day, whose weekly means scatter by the spread."""
    variance = np.log1p(7.0 * week_spread**2)
    noise: FloatArray = np.exp(np.sqrt(variance) * rng.normal(size=size) - 0.5 * variance)
    return noise


def drift_course(rng: np.random.Generator, days: int, tanks: int, richness: Richness) -> FloatArray:
    """Mean-one factors (T, K) of an Ornstein-Uhlenbeck course of the log rate."""
    keep = np.exp(-1.0 / richness.drift_days)
    fresh = rng.normal(size=(days, tanks)) * np.sqrt(1.0 - keep**2)
    course = np.empty((days, tanks))
    course[0] = rng.normal(size=tanks)
    for day in range(1, days):
        course[day] = keep * course[day - 1] + fresh[day]
    spread = richness.drift_spread
    return np.exp(spread * course - 0.5 * spread**2)
