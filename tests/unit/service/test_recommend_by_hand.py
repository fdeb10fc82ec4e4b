"""Recommendations of a block of tanks made by hand, put together from its intervals one by one."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from growthcast.service import recommend as module
from growthcast.service.effort.hours import saving, visit_effort
from growthcast.service.effort.learn import KINDS, Timing
from growthcast.service.interval import interval_options
from growthcast.service.living import living_part
from growthcast.service.recommend import option_of, recommend
from tests.unit.service.made import made_areas

TANKS = {2: (0, 28), 5: (1, 5), 8: (2, 10), 11: (3, 28)}
"""By place in the book: run in the block and longest interval; no plant grows in tank 0."""
LISTED = (7, 10, 14, 21)


@pytest.fixture
def practice(monkeypatch):
    """Four tanks of five areas: caps of 5 and of 10 days, and one roomy tank."""
    living = made_areas((2, 1, 1, 1), draws=256, budget_cm=np.array([15.0, 14.0, 13.0, 13.0, 28.0]))
    area_id = np.array([f"a{n}" for n in range(8)])
    label = np.array([f"A{n}" for n in range(8)])
    caps = np.full(12, 28.0)
    for place, (_, cap) in TANKS.items():
        caps[place] = cap
    columns = {
        "longest_interval_d": caps,
        "confidence": np.full(12, 0.8),
        "travel_min": np.full(12, 20),
    }
    columns["confidence"][2] = 0.7
    book = SimpleNamespace(
        tanks=range(12),
        areas=SimpleNamespace(text={"area_id": area_id, "label": label}.__getitem__),
        of_tanks=columns.__getitem__,
        practice=SimpleNamespace(intervals_d=LISTED, labour_rate_per_h=50.0),
    )
    design = SimpleNamespace(
        area_id=area_id,
        is_cover=np.arange(8) == 7,
        area_cm2=np.full(8, 500.0),
        gap_d=np.arange(12),
        traits=SimpleNamespace(floor_cm=np.full(8, 30.0), lowest_cut_cm=np.zeros(8)),
    )
    fit = SimpleNamespace(design=design, basis=["log"] * 8, lowest_cut_cm=np.zeros(8))
    log_min, seen = np.log(np.full(2 * KINDS, 3.0)), np.ones(KINDS, bool)
    timing = Timing(log_min, 0.01 * np.eye(2 * KINDS), 0.2, 9, seen, None, np.zeros(8, int))

    def said(place):
        cap = int(caps[place])
        return {
            "tank_id": f"t{place}",
            "client": "A",
            "longest_interval_d": cap,
            "own_limit": cap < 28,
            "confidence": columns["confidence"][place],
        }

    told = [said(place) for place in range(12)]
    monkeypatch.setattr(module, "_said", lambda *_: told)
    monkeypatch.setattr(module, "learn_timing", lambda *_: timing)
    monkeypatch.setattr(module, "blocks_of_tanks", lambda fit, tanks: [tanks[tanks > 0]])
    monkeypatch.setattr(
        module,
        "living_areas",
        lambda _, tanks: living_part(living, np.isin(living.tank, tanks)[living.run]),
    )
    monkeypatch.setattr(module, "fixed_minutes", lambda *_: 30.0 + np.arange(12))
    return book, fit, living, timing, told


def worked_out(practice, place, days):
    """An interval of one tank: the option of the block, its efforts, and its hours in each draw."""
    book, fit, living, timing, _ = practice
    option = interval_options(living, days, book.of_tanks("confidence")[living.tank])
    fixed_min = (50.0 + np.arange(12))[living.tank]
    effort = visit_effort(fit.design, timing, option, fixed_min)
    return option, effort, effort.hours_of_year(TANKS[place][0], days)


def test_each_tank_gets_the_longest_interval_before_the_first_that_fails(practice):
    book, fit, living, timing, _ = practice
    places = [11, 0, 2, 5, 8]
    found = dict(zip(places, recommend(book, fit, np.array(places)), strict=True))
    assert (found[0].recommended_interval_d, found[0].options) == (28, ())
    failed = []
    for place, (run, cap) in TANKS.items():
        advice, here = found[place], living.of_tank(run)
        listed = ((5,) if cap == 5 else ()) + LISTED
        every = {d: worked_out(practice, place, d) for d in listed}
        held = [d for d in listed if d <= cap]
        fails = next((d for d in held if not every[d][0].feasible[run]), None)
        chosen = max((d for d in held if fails is None or d < fails), default=None)
        assert advice.tank_id == f"t{place}"
        assert (advice.recommended_interval_d, advice.fails_at_d) == (chosen, fails)
        assert advice.listed_d == tuple(o.interval_d for o in advice.options) == listed
        assert (advice.longest_gap_d, advice.minutes) == (place, timing.rests_on(np.array([0])))
        for told in advice.options:
            option, effort, hours = every[told.interval_d]
            assert told.minutes_range == effort.visit_min[run]
            assert told.minutes_per_visit == effort.year_min[run].p50
            assert told.year.cost == pytest.approx(50 * told.year.hours)
            assert told.chance_all_within == option.chance_all_within[run]
            assert [area.cut_cm for area in told.areas] == option.cut_cm[here].tolist()
            over = np.maximum(option.found_cm[here, 2] - living.budget_cm[here], 0.0)
            assert [area.cm_over_budget_p90 for area in told.areas] == over.tolist()
            needed = [area.cut_needed_cm for area in told.areas]
            assert [np.nan if cm is None else cm for cm in needed] == pytest.approx(
                option.cut_needed_cm[here].tolist(), nan_ok=True
            )
            alone, drawn = option_of(book, fit, place, told.interval_d)
            assert alone == told
            assert drawn == pytest.approx(hours)
        if fails is None:
            assert (advice.limited_by, advice.short, advice.longer) == (None, (), None)
            continue
        failed.append(place)
        short = every[fails][0].falls_short[here]
        names = [f"a{n}" for n in living.area[here][short]]
        assert sorted(one.area_id for one in advice.short) == names
        assert advice.limited_by == advice.short[0].area_id
        for one in advice.short:
            at = int(one.area_id[1:]) - 3
            assert (one.floor_cm, one.least_cut_cm) == (
                living.floor_cm[at],
                living.least_cut_cm[at],
            )
            assert one.needed_budget_cm > living.budget_cm[at]
            assert replace(one, needed_budget_cm=None) in advice.option(fails).areas
        if chosen is not None:
            saved = saving(every[chosen][2], every[fails][2], 50.0)
            assert advice.longer.saved == saved
            assert advice.longer.interval_d == fails
        else:
            assert advice.longer is None
    assert len(failed) > 1
    assert found[5].recommended_interval_d is not None  # its cap of 5 days holds


def test_told_briefly_it_is_the_same_interval_and_limit(practice):
    book, fit, *_ = practice
    for whole, brief in zip(recommend(book, fit), recommend(book, fit, briefly=True), strict=True):
        for name in ("tank_id", "recommended_interval_d", "limited_by", "fails_at_d", "listed_d"):
            assert getattr(brief, name) == getattr(whole, name)
        assert brief.options == (() if whole.chosen is None else (whole.chosen,))
        assert (brief.short, brief.longer) == ((), None)


def test_in_full_each_tank_is_told_of_its_own_areas_unless_nothing_holds(practice, monkeypatch):
    book, fit, *_, told = practice
    told[8]["not_holding"] = ("one",)
    asked = []

    def in_full(book, fit, part, advice):
        asked.append((advice.tank_id, part.area.tolist()))
        return replace(advice, mends=("a mend",))

    monkeypatch.setattr(module, "in_full", in_full)
    found = recommend(book, fit, full=True)
    assert asked == [("t2", [3, 4]), ("t5", [5]), ("t11", [7])]
    assert [one.tank_id for one in found if one.mends] == ["t2", "t5", "t11"]
    assert (found[8].recommended_interval_d, found[8].limited_by) == (None, None)
    assert recommend(book, fit)[2].mends == ()
