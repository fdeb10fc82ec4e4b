"""Random but plausible practices for recovery tests."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta

import numpy as np

from tests.simulator.plan import (
    AreaPlan,
    Condition,
    PracticePlan,
    Richness,
    TankPlan,
    Traits,
    read_species_table,
)
from tests.simulator.simulate import simulate
from tests.simulator.style import STYLES
from tests.simulator.truth import SimulatedPractice

__all__ = ["random_practice", "set_up", "simulate_practice", "typed_plan", "typed_practice"]

FORMS = ("stem", "stem", "carpet", "rosette", "creeping", "epiphyte", "moss", "floating")
FLOOR_AND_BUDGET = {
    "carpet": (0.25, 0.65),
    "rosette": (0.30, 0.70),
    "stem": (0.20, 0.55),
    "creeping": (0.20, 0.65),
    "epiphyte": (0.35, 0.75),
    "moss": (0.20, 0.65),
    "floating": (0.10, 0.60),
}
"""Floor and budget as shares of the ceiling, about which practices scatter."""
INTERVALS_D = (7, 10, 14, 14, 21, 28)


def simulate_practice(
    tanks: int = 12,
    days: int = 270,
    seed: int = 1,
    richness: Richness | None = None,
    areas_per_tank: tuple[int, int] = (3, 6),
    future_days: int = 60,
) -> SimulatedPractice:
    """Simulate a practice of random tanks planted from the species table.

    ``days`` is the length of the log; growth then goes on uncut for ``future_days``.
    """
    plan = random_practice(tanks, days, seed, areas_per_tank, future_days)
    return simulate(plan, seed, richness)


def random_practice(
    tanks: int,
    days: int,
    seed: int,
    areas_per_tank: tuple[int, int],
    future_days: int,
    forms: Sequence[str] = FORMS[:-1],
) -> PracticePlan:
    """Draw a practice: tanks, conditions that change, and areas with floors and budgets.

    Plants are of these forms; a few tanks have floating plants beside.
    """
    rng = np.random.default_rng([seed, 0])
    table = read_species_table()
    last_on = date(2026, 11, 20)
    first_on = last_on - timedelta(days=days)
    tank_plans, area_plans = [], []
    for number in range(1, tanks + 1):
        tank = _tank(rng, number, first_on, days)
        tank_plans.append(tank)
        count = int(rng.integers(areas_per_tank[0], areas_per_tank[1] + 1))
        area_plans += _areas(rng, tank, count, table, first_on, forms)
    return PracticePlan(
        name="Simulated practice (invented data)",
        first_on=first_on,
        last_on=last_on,
        tanks=tuple(tank_plans),
        areas=tuple(area_plans),
        traits=table,
        future_days=future_days,
    )


def _tank(rng: np.random.Generator, number: int, first_on: date, days: int) -> TankPlan:
    length = float(rng.integers(35, 161))
    interval = int(rng.choice(INTERVALS_D))
    injected = rng.random() < 0.6
    first = {
        "ppfd_umol": float(rng.integers(40, 141)),
        "photoperiod_h": float(rng.choice([7, 7.5, 8, 8.5])),
        "co2_mg_l": float(rng.integers(14, 29) if injected else rng.integers(3, 7)),
        "no3_mg_l": float(rng.integers(4, 26)),
        "po4_mg_l": float(rng.integers(2, 16)) / 10.0,
        "k_mg_l": float(rng.integers(5, 21)),
        "temperature_c": float(rng.integers(45, 53)) / 2.0,
    }
    if rng.random() < 0.2:
        first["kh_dkh"] = float(rng.integers(3, 9))
    conditions = [Condition(first_on - timedelta(days=200), first)]
    if rng.random() < 0.35:
        on = first_on + timedelta(days=int(rng.integers(days // 4, 3 * days // 4 + 1)))
        light = round(first["ppfd_umol"] * rng.uniform(0.6, 1.3))
        conditions.append(Condition(on, {"ppfd_umol": float(light)}, "lamp changed"))
    return TankPlan(
        tank_id=f"tank-{number:03d}",
        client=f"Client {number}",
        site="",
        length_cm=length,
        width_cm=round(length * rng.uniform(0.35, 0.6)),
        water_depth_cm=round(min(60.0, length * rng.uniform(0.4, 0.7))),
        interval_d=interval,
        first_visit=first_on + timedelta(days=int(rng.integers(0, min(interval, days)))),
        conditions=tuple(conditions),
    )


def _areas(
    rng: np.random.Generator,
    tank: TankPlan,
    count: int,
    table: Mapping[str, Traits],
    first_on: date,
    kinds: Sequence[str],
) -> list[AreaPlan]:
    forms = list(rng.choice(kinds, size=count))
    if rng.random() < 0.15:
        forms[-1] = "floating"
    areas = []
    ground = tank.length_cm * tank.width_cm
    for number, form in enumerate(forms, start=1):
        traits = _species(rng, str(form), table)
        ceiling = traits.ceiling_cm
        if traits.is_cover:
            ceiling = 100.0
        elif traits.reaches_surface:
            ceiling = tank.water_depth_cm
        ceiling = min(ceiling, 100.0 if traits.is_cover else tank.water_depth_cm)
        low, high = FLOOR_AND_BUDGET[str(form)]
        floor = ceiling * low * float(np.exp(0.15 * rng.normal()))
        budget = max(ceiling * high * float(np.exp(0.10 * rng.normal())), 1.6 * floor)
        budget = min(budget, 0.9 * ceiling)
        cut = max(floor * rng.uniform(1.0, 1.2), traits.lowest_cut_cm)
        stated = rng.random() < 0.7 and cut < budget
        areas.append(
            AreaPlan(
                area_id=f"{tank.tank_id}-a{number}",
                tank_id=tank.tank_id,
                label="",
                species_id=traits.species_id,
                area_cm2=round(ground * rng.uniform(0.04, 0.15)),
                floor_cm=round(floor, 1),
                budget_cm=round(budget, 1),
                cut_cm=round(cut, 1) if stated else None,
                planted_on=first_on - timedelta(days=int(rng.integers(60, 400))),
                light_share=None if rng.random() < 0.6 else round(rng.uniform(0.6, 1.0), 2),
            )
        )
    return areas


def _species(rng: np.random.Generator, form: str, table: Mapping[str, Traits]) -> Traits:
    of_form = [traits for traits in table.values() if traits.form == form]
    return of_form[int(rng.integers(len(of_form)))]


def typed_practice(style: str, tanks: int, days: int, seed: int) -> SimulatedPractice:
    """Simulate a practice whose log is typed in one of ``STYLES``, growth uncut for 90 days."""
    return simulate(typed_plan(style, tanks, days, seed), seed, Richness.typed())


def typed_plan(style: str, tanks: int, days: int, seed: int) -> PracticePlan:
    """Draw a practice of a style: some tanks are replanted in part, the last one is a week old."""
    plan = random_practice(tanks, days, seed, (3, 6), 90)
    rng = np.random.default_rng([seed, 9])
    for tank in plan.tanks[:-1:3]:
        plan = _replanted(plan, tank, plan.last_on - timedelta(days=int(rng.integers(1, days))))
    plan = set_up(plan, plan.tanks[-1], plan.last_on - timedelta(days=int(rng.integers(5, 8))))
    return replace(plan, styles=STYLES[style])


def _replanted(plan: PracticePlan, tank: TankPlan, on: date) -> PracticePlan:
    """Give the ground of a tank's first area to its last one's species."""
    mine = [area for area in plan.areas if area.tank_id == tank.tank_id]
    old, like = mine[0], mine[-1]
    fresh = replace(like, area_id=f"{old.area_id}-new", area_cm2=old.area_cm2, planted_on=on)
    areas = [replace(a, removed_on=on) if a is old else a for a in plan.areas]
    tanks = tuple(replace(t, agreed=(on,)) if t is tank else t for t in plan.tanks)
    return replace(plan, areas=(*areas, fresh), tanks=tanks)


def set_up(plan: PracticePlan, tank: TankPlan, on: date) -> PracticePlan:
    """Let a tank begin on a day: planted at half of its usual cut, and looked at by then."""
    areas = tuple(
        replace(a, planted_on=on, planted_height_cm=round(0.5 * a.aim_cm, 1))
        if a.tank_id == tank.tank_id
        else a
        for a in plan.areas
    )
    conditions = (replace(tank.conditions[0], from_date=on),)
    new = replace(tank, first_visit=on, conditions=conditions)
    return replace(plan, areas=areas, tanks=tuple(new if t is tank else t for t in plan.tanks))
