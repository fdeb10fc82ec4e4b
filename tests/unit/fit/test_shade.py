"""Floating plants shade what stands below: by hand, and as a simulator has it that knows no fit."""

from __future__ import annotations

from datetime import date, timedelta
from itertools import pairwise
from types import SimpleNamespace

import numpy as np
import pytest

from growthcast.book.read import read_book
from growthcast.fit.design import build_design, day_number
from growthcast.fit.rows.lived import floating_shade
from growthcast.growth.responses import light_response
from growthcast.log.visits import Visits
from tests.books import AREAS, HEADER, make_book
from tests.simulator.plan import AreaPlan, Condition, PracticePlan, Richness, TankPlan
from tests.simulator.simulate import simulate

TANKS = "tank_id,client,length_cm,width_cm,water_depth_cm,longest_interval_d\n"
FLOATS = AREAS + "float,lobby,Frogbit,limnobium-laevigatum,1000,10,50,20,2026-03-01,{}\n"
LOG = HEADER + (
    "2026-03-11,lobby,float,60,20,,,,,\n2026-03-21,lobby,float,80,40,,,,,\n"
    "2026-03-21,lobby,stems,18,9,,,,,\n"
)
CONDITIONS = "tank_id,from_date,ppfd_umol,photoperiod_h\nlobby,2026-03-15,80,8\n"
ON = date(2026, 4, 1)


def design_of(folder, removed="", size="50,40", areas=FLOATS):
    book = make_book(
        folder,
        tanks=f"{TANKS}lobby,Client A,{size},46,\nhome,Client B,,,34,\nbare,Client B,,,34,\n",
        areas=areas.format(removed),
        trims=LOG if "float" in areas else HEADER,
        conditions=CONDITIONS,
    )
    return build_design(book, ON)


def test_cover_between_two_visits_is_the_mean_of_what_was_left_and_found(tmp_path):
    """Half of the surface: 60 % found, then (20 + 80) / 2, ahead the mean of both spans."""
    shade = design_of(tmp_path).shade
    days = [date(2026, 2, 1), date(2026, 3, 5), date(2026, 3, 15), date(2026, 5, 1)]
    found = [shade.on(day_number(day)).tolist() for day in days]
    assert [lobby for lobby, _, _ in found] == pytest.approx([0.0, 0.30, 0.25, 0.275])
    assert {share for _, *others in found for share in others} == {0.0}
    gone = design_of(tmp_path / "gone", "2026-03-26").shade
    assert gone.on(day_number(date(2026, 3, 25)))[0] == pytest.approx(0.275)
    assert gone.on(day_number(date(2026, 3, 26)))[0] == pytest.approx(0.0)


def test_light_below_is_what_the_cover_leaves(tmp_path):
    design, bare = design_of(tmp_path), design_of(tmp_path / "bare", areas=AREAS)
    assert bare.shade is None
    stems, floating = 0, 3
    species = design.species[stems]
    traits = [
        design.priors.traits[name][species]
        for name in ("light_k_umol", "light_floor", "respiration_share")
    ]
    light = 80.0 * np.exp(0.005 * 14.5)
    lit, shaded = (light_response(i, 8.0, *traits, 100.0, 8.0) for i in (light, 0.725 * light))
    day = day_number(ON)
    assert design.clock.speed(day)[stems] / bare.clock.speed(day)[stems] == pytest.approx(
        shaded / lit
    )
    assert design.clock.speed(day)[2] == bare.clock.speed(day)[2]  # the other tank's moss
    assert design.clock.speed(day)[floating] > design.clock.speed(day)[stems]
    # Where the tank's size is not known, nobody knows what share of it is covered.
    assert design_of(tmp_path / "size", size=",").shade is None


def visited(*rows):
    """Visits of area, day, height found and left, in the order of both."""
    area, day, found, left = (np.array(column) for column in zip(*rows, strict=True))
    blank, no = np.full(area.size, np.nan), np.zeros(area.size, dtype=bool)
    none = np.zeros(area.size, dtype=np.int64)
    amounts = found.astype(float), left.astype(float), blank, blank, blank
    return Visits(area, day.astype(float), *amounts, none, no, no, none - 1, np.arange(area.size))


def test_shade_adds_up_what_floats_day_by_day():
    """Areas 0 and 2 float on half and a third of tank 1, area 3 on all of tank 0; area 1 stands.

    Each covers the mean of what was left and what was found next, its usual part where neither
    was told; after its last visit the mean of the last year's spans; nothing once removed.
    """
    nan = np.nan
    visits = visited(
        *((0, 5, 60, 20), (0, 15, 80, nan), (0, 30, nan, 40), (0, 41, 70, 10), (0, 390, 50, 30)),
        *((1, 5, 10, 5), (2, 7, nan, nan), (2, 12, nan, 30), (3, 50, 100, 90), (3, 500, 1, 1)),
    )
    tank, usual = np.array([1, 1, 1, 0]), np.array([50.0, 9.0, 45.0, 60.0])
    planted, removed = np.array([2.0, 0.0, 8.0, 1.0]), np.array([nan, nan, 300.0, nan])
    floats, share = np.array([True, False, True, True]), np.array([0.5, 0.5, 1.0 / 3.0, 1.0])
    traits = SimpleNamespace(tank=tank, middle_cm=usual, planted_day=planted, removed_day=removed)
    shade = floating_shade(visits, traits, floats, share, 3, 400.0)
    spans = {  # cover from one day to the next, by hand [percent]
        0: [(2, 60), (5, 50), (15, 80), (30, 55), (41, 30), (390, (55 + 30) / 2)],
        2: [(8, 45), (12, 45)],
        3: [(1, 100), (50, 100)],
    }
    for day in (0.0, 1.0, 3.0, 6.0, 9.0, 16.0, 35.0, 45.0, 299.0, 301.0, 395.0, 900.0):
        wanted = np.zeros(3)
        for area, told in spans.items():
            now = [cover for begun, cover in told if begun <= day]
            gone = day >= removed[area]
            wanted[tank[area]] += 0.0 if gone or not now else share[area] * now[-1] / 100.0
        assert shade.on(day) == pytest.approx(np.minimum(wanted, 0.95)), day
    assert floating_shade(visits, traits, ~floats, 0 * share, 3, 4.0) is None


def test_growth_below_follows_a_simulated_cover(tmp_path):
    """Frogbit over the whole of a tank, cut back from most of it each fortnight."""
    first = date(2026, 1, 5)
    tank = TankPlan(
        *("t", "", ""), 100.0, 40.0, 45.0, 14, first, (Condition(first, {"ppfd_umol": 60.0}),)
    )
    areas = tuple(
        AreaPlan(name, "t", name, plant, cm2, low, high, cut, date(2024, 1, 1))
        for name, plant, cm2, low, high, cut in (
            ("stems", "rotala-rotundifolia", 600.0, 6.0, 30.0, 8.0),
            ("float", "limnobium-laevigatum", 4000.0, 5.0, 90.0, 25.0),
        )
    )
    plan = PracticePlan("p", first, first + timedelta(days=112), (tank,), areas)
    practice = simulate(plan, 1, Richness.exact())
    book = read_book(practice.write_book(tmp_path), today=practice.last_on)
    clock, truth = build_design(book, practice.last_on).clock, practice.truth
    stems = np.zeros(1, np.int64)
    visits = [day_number(day) for day in truth.visited["t"]]
    told, true = [], []
    for began, ended in pairwise(visits[1:]):
        rows = slice(*(int(day - day_number(first)) for day in (began, ended)))
        true.append(truth.expected_rate_per_day[rows, 0].sum() / truth.reference_rate_per_day[0])
        span = stems, np.array([began]), np.array([ended]), np.zeros(1)
        told.append(float(clock.growth_between(*span)[0][0]))
    open_water = simulate(plan, 1, Richness.exact(shade=False)).truth
    lit = open_water.expected_rate_per_day[20, 0] / open_water.reference_rate_per_day[0]
    assert told == pytest.approx(true, rel=0.04)
    assert max(true) < 0.9 * 14.0 * lit  # the shade is not small
