"""Variants, plants, layouts and swaps of a rescape on draws and areas made by hand."""

from __future__ import annotations

from dataclasses import replace
from itertools import product
from types import SimpleNamespace

import numpy as np
import pytest

from growthcast.book.supposed import with_cells
from growthcast.errors import UsageError
from growthcast.fit.growth import fit_growth
from growthcast.service.holding import Holding
from growthcast.service.recommend import recommend
from growthcast.service.rescape import plants, swaps, variants
from growthcast.service.rescape.layouts import LayoutAdvice, LayoutArea
from growthcast.service.rescape.plants import (
    PlantAdvice,
    _looked_at,
    compare_plants,
    usual_choice,
    usually_planted_cm,
)
from growthcast.service.rescape.swaps import (
    Comers,
    SwapSearch,
    _cheapest,
    _search,
    _variant,
    swaps_to_reach,
    unasked_for,
)
from growthcast.service.rescape.variants import (
    LONGEST_D,
    Outlook,
    _range,
    grown_over,
    stand_with,
)
from tests.books import make_book
from tests.unit.service.by_hand import living
from tests.unit.service.test_rescape import CONDITIONS, ON


def two(**changes):
    return living([0.1, 0.05], [60.0, 12.0], [6.0, 1.0], [22.0, 4.5], spread=0.2, **changes)


def test_growth_over_intervals_of_its_own_is_that_of_each_area_over_its_interval():
    areas = two()
    found = grown_over(areas, np.array([1, 21]))
    for i, days in enumerate((1.0, 21.0)):
        np.testing.assert_allclose(found[i], areas.growth(days)[i], rtol=1e-5)


def outlook(areas, *places, planted=1.0, confidence=0.9):
    planted_cm = np.broadcast_to(planted, len(places)).astype(float)
    return Outlook(stand(areas, confidence), np.array(places), planted_cm)


def test_the_way_to_a_height_is_that_of_the_logistic_and_endless_beyond_a_ceiling():
    """10 of 40 cm are odds of 1 to 3, 20 of 40 are even: ln 3 apart. 9 cm are beyond 8."""
    areas = living([0.1, 0.1], [40.0, 8.0], [1, 1], [20, 9])
    sure = replace(areas, errors=replace(areas.errors, span=0.0, drift=0.0))
    one = outlook(sure, 0, 1)
    found = one._days_between(np.array([10.0, 2.0]), np.array([20.0, 9.0]))
    np.testing.assert_allclose(found[0], np.log(3.0) / 0.1, rtol=1e-5)
    assert np.isinf(found[1]).all()
    # None stands above its ceiling, and what stands above a height takes no days to it.
    assert (one._days_between(np.array([50.0, 8.0]), np.array([20.0, 6.0])) == 0.0).all()


def test_ranges_are_tenth_middle_and_ninetieth_of_the_draws_in_order():
    mixed = np.random.default_rng(1).permutation(11).astype(float)
    assert _range(np.stack([mixed, np.where(mixed > 8.5, np.inf, mixed)])).tolist() == [
        [1.0, 5.0, 9.0],
        [1.0, 5.0, np.inf],
    ]


@pytest.mark.parametrize("confidence", [0.5, 0.9, 1.0])
def test_the_days_an_area_allows_are_found_as_by_trying_every_one(confidence):
    areas = living(
        [0.1, 0.05, 0.6, 0.01], [60, 12, 60, 3], [6, 1, 21, 1], [22, 4.5, 22, 4.5], spread=0.15
    )
    found = outlook(areas, 0, 1, 2, 3, confidence=confidence).allowed_d
    least = areas.least_cut_cm[:, None]

    def share(days):
        return (areas.highest_cut(grown_over(areas, np.full(4, days))) >= least).mean(axis=1)

    for i, days in enumerate(found.tolist()):
        assert days == LONGEST_D or share(days + 1)[i] < confidence
        assert days == 0 or share(days)[i] >= confidence
    assert found[2] == 0  # not even one
    assert found[3] == LONGEST_D  # its ceiling lies below the budget
    assert 0 < found[1] < LONGEST_D


def stand(areas, confidence=0.9):
    clock = SimpleNamespace(settle_d=np.full(areas.area.size, 30.0))
    fit = SimpleNamespace(design=SimpleNamespace(clock=clock))
    return SimpleNamespace(book=None, fit=fit, living=areas, confidence=confidence)


def days_with_a_ramp(settled, ramp):
    """Days until growth that rises from nothing over ``ramp`` adds up to ``settled`` full days."""
    days = np.linspace(0.0, 400.0, 400_001)
    lived = np.cumsum(np.minimum(days / ramp, 1.0)) * 0.001
    return float(days[np.searchsorted(lived, settled)])


@pytest.mark.parametrize("factor", [0.0, 0.3])
def test_days_to_the_look_are_those_of_growth_that_rises_while_plants_settle(factor):
    """All draws alike: 10 % a day from 2 to 6 cm, and 5 % from 0.1 to 1 cm of 12."""
    areas = living([0.1, 0.05], [60.0, 12.0], [6.0, 1.0], [22.0, 4.5], settling=factor)
    areas = replace(areas, errors=replace(areas.errors, span=0.0, drift=0.0))
    found = outlook(areas, 0, 1, planted=[2.0, 0.1])
    ramp = 30.0 * np.exp(factor)
    ways = [np.log(6 / 54) - np.log(2 / 58), np.log(1 / 11) - np.log(0.1 / 11.9)]
    for i, (way, rate) in enumerate(zip(ways, (0.1, 0.05), strict=True)):
        wanted = days_with_a_ramp(way / rate, ramp)
        assert found.look_d[i] == pytest.approx((wanted,) * 3, rel=2e-3)
    assert ways[0] / 0.1 < 0.5 * ramp < ramp < ways[1] / 0.05  # both parts of the ramp
    odds = np.log(22 / 38) - np.log(6 / 54), np.log(4.5 / 7.5) - np.log(1 / 11)
    np.testing.assert_allclose(found.days[:, 1], [odds[0] / 0.1, odds[1] / 0.05], rtol=1e-4)
    assert found.allowed_d.tolist() == [int(odds[0] / 0.1), int(odds[1] / 0.05)]
    planted = outlook(areas, 1, 0, planted=[1.0, 7.0])
    assert planted.look_d == [(0.0,) * 3] * 2
    still = replace(
        areas, draws=replace(areas.draws, log_rate=np.full_like(areas.draws.week, -np.inf))
    )
    idle = outlook(still, 1, 0, planted=[1.0, 5.0])
    assert idle.look_d == [(0.0,) * 3, (None,) * 3]  # what never grows stands where it was planted
    high = replace(areas, floor_cm=np.array([6.0, 13.0]), budget_cm=np.array([22.0, 22.0]))
    never = outlook(high, 1)
    assert (never.look_d, never.days.tolist()) == ([(None,) * 3], [[LONGEST_D] * 3])


def test_a_plant_does_where_it_likely_holds_comes_up_and_fills_the_place(monkeypatch):
    """A ceiling of 12 cm lies below the middle of 8 and 22, and below a floor of 13."""
    areas = living([0.1, 0.05], [60.0, 12.0], [6.0, 1.0], [22.0, 4.5])
    asked = []

    def holding_of(book, fit, places):
        asked.append(places.tolist())
        return Holding(np.array([0.8, 0.9])[: places.size], np.ones(1), np.ones(1))

    monkeypatch.setattr(variants, "holding_of", holding_of)

    def told(living, *places, planted=0.5):
        found = outlook(living, *places, planted=planted)
        chances = found.reaches_look.tolist(), found.fills.tolist()
        return *chances, found.likely.tolist()

    assert told(areas, 0, 1) == ([1.0, 1.0], [1.0, 1.0], [True, True])
    assert told(areas, 1, 0)[2] == [True, True]
    assert asked == [[0, 1], [1, 0]]
    low = replace(areas, floor_cm=np.array([6.0, 8.0]), budget_cm=np.array([22.0, 22.0]))
    assert told(low, 1) == ([1.0], [0.0], [False])
    high = replace(low, floor_cm=np.array([6.0, 13.0]))
    assert told(high, 1) == ([0.0], [0.0], [False])
    assert told(high, 1, planted=13.0)[0] == [1.0]  # it is put in as high as that
    monkeypatch.setattr(
        variants, "holding_of", lambda *_: Holding(np.array([0.79]), np.ones(1), np.ones(1))
    )
    assert told(areas, 0) == ([1.0], [1.0], [False])


def test_chances_with_comers_are_those_of_the_draws_in_which_all_hold():
    """Two areas that stay or go, each with two that would come."""
    rng = np.random.default_rng(5)
    holds, one = rng.random((7, 64)) < 0.8, SimpleNamespace(now=np.array([0, 1, 2]))
    comers = Comers(one, np.array([3, 4, 5, 6]), np.array([1, 2, 2, 1]))
    single, both = comers.chances(holds, [2]), comers.chances(holds, [1, 2])
    for i, plant in enumerate((4, 5)):
        assert single[i] == pytest.approx(holds[[0, 1, plant]].all(axis=0).mean())
        for j, other in enumerate((3, 6)):
            assert both[j, i] == pytest.approx(holds[[0, plant, other]].all(axis=0).mean())


@pytest.fixture(scope="module")
def known(tmp_path_factory):
    book = make_book(tmp_path_factory.mktemp("book"), conditions=CONDITIONS)
    return book, fit_growth(book, ON)


def test_a_stand_compares_listed_intervals_up_to_the_tanks_own_limit(known):
    book, fit = known
    lobby = book.tanks.text("tank_id") == "lobby"
    for limit, listed in ((14.0, (7, 10, 14)), (13.0, (7, 10)), (5.0, (5,))):
        limited = with_cells(book.tanks, lobby, {"longest_interval_d": limit})
        found = stand_with(replace(book, tanks=limited), fit, 0, [])
        [answer] = found.answers([np.array([0, 1])])
        assert tuple(option.interval_d for option in answer.options) == listed
    assert (found.confidence, found.known) == (0.9, 3)
    assert (found.area_cm2.tolist(), found.place_of) == ([400.0, 900.0], {0: 0, 1: 1})
    assert (found.area_id(1), found.label(1)) == ("carpet", "Front carpet")


def test_an_answer_is_that_of_the_interval_rule_and_what_fails_first_at_the_next(known):
    """As the tank stands, its answer is that of ``interval``; alone each area has its own."""
    book, fit = known
    one, [tank] = stand_with(*known, 0, []), recommend(book, fit, np.array([0]))
    both, turned, carpet = one.answers([np.array([0, 1]), np.array([1, 0]), np.array([1])])
    assert both.recommended_interval_d == tank.recommended_interval_d
    places = both.limited_by, turned.limited_by
    assert [one.area_id(place) for place in places[:1]] == [tank.limited_by]
    assert (places[1], carpet.limited_by) == (1 - places[0], 0)
    fails = tank.option(tank.fails_at_d).areas[both.limited_by]
    assert both.limited_within == pytest.approx(fails.chance_within)
    assert both.chosen.interval_d == both.recommended_interval_d
    [short] = one.answers([np.array([0, 1])], [2])
    assert (short.recommended_interval_d, short.limited_by, short.limited_within) == (2, None, None)
    [never] = one.answers([np.array([0, 1])], [300, 90])
    assert (never.recommended_interval_d, never.chosen.interval_d) == (None, 90)
    assert never.limited_by is not None


def test_variants_are_answered_alike_however_many_are_worked_out_at_once(known, monkeypatch):
    one = stand_with(*known, 0, [])
    asked = [np.array([0]), np.array([1, 0]), np.array([1]), np.array([0, 1])]
    together = one.answers(asked, [14, 7])
    monkeypatch.setattr(variants, "ROWS_AT_ONCE", 2)
    assert one.answers([]) == []
    for places, mine, theirs in zip(asked, one.answers(asked, [7, 14]), together, strict=True):
        for option, other in zip(mine.options, theirs.options, strict=True):
            assert option.chance_all_within == other.chance_all_within
        assert mine.chance_within.shape == (places.size,)
        for taken, alike in zip(mine.area_min, theirs.area_min, strict=True):
            assert (taken.p10, taken.p50) == pytest.approx((alike.p10, alike.p50), rel=1e-5)
            assert taken.p90 == pytest.approx(alike.p90, rel=1e-5)
        assert mine.chosen.year.hours == pytest.approx(np.median(mine.hours_drawn), rel=0.05)
    both, turned = together[3], together[1]
    for off, alike in zip(both.removed_cm, reversed(turned.removed_cm), strict=True):
        assert (off.p10, off.p50) == pytest.approx((alike.p10, alike.p50), rel=1e-5)
        assert off.p90 == pytest.approx(alike.p90, rel=1e-5)
    saved = one.saved(together[3], together[0])
    less = together[3].hours_drawn - together[0].hours_drawn
    assert saved.hours.p50 == pytest.approx(np.median(less), rel=0.05)
    assert saved.cost.p50 == pytest.approx(60.0 * saved.hours.p50)


def test_a_combination_that_reaches_is_found_as_by_trying_every_one():
    """Four areas, of which three may change, to two or three comers each."""
    rng = np.random.default_rng(3)
    base, owners = np.array([0, 1, 2, 3]), np.array([1, 1, 2, 3, 3, 2, 1])
    new = np.arange(4, 11)
    for wanted in (0.6, 0.75, 0.85, 0.95, 0.999):
        holds = rng.random((11, 64)) < np.array([0.99] + [0.5] * 3 + [0.9] * 7)[:, None]
        one = SimpleNamespace(confidence=wanted, now=base)
        found, tried, size = _search(Comers(one, new, owners), holds)
        chances = {}
        for picks in product(*([None, *new[owners == area].tolist()] for area in (1, 2, 3))):
            pairs = tuple((a, p) for a, p in zip((1, 2, 3), picks, strict=True) if p is not None)
            kept = [area for area in base.tolist() if area not in dict(pairs)]
            chances[pairs] = holds[[*kept, *dict(pairs).values()]].all(axis=0).mean()
        enough = {pairs for pairs, chance in chances.items() if pairs and chance >= wanted}
        sizes = {len(pairs) for pairs in enough}
        last = min(sizes, default=3)
        assert size == last
        assert tried == sum(0 < len(pairs) <= last for pairs in chances)
        told = {pairs: chance for chance, pairs in found}
        assert all(chance == pytest.approx(chances[pairs]) for pairs, chance in told.items())
        reached = {pairs for pairs, chance in told.items() if chance >= wanted}
        assert reached == {pairs for pairs in enough if len(pairs) == last}
        best = {}  # of each set of areas in which none reaches it the likeliest
        for pairs, chance in chances.items():
            areas = tuple(area for area, _ in pairs)
            if 0 < len(pairs) <= last and not any(areas == tuple(dict(r)) for r in reached):
                best[areas] = max(best.get(areas, 0.0), chance)
        others = [chance for pairs, chance in told.items() if pairs not in reached]
        assert sorted(others) == pytest.approx(sorted(best.values()))


def test_the_cheapest_of_the_fewest_swaps_on_the_least_ground_come_first(monkeypatch):
    """Minutes of a visit are told by the plant that comes; area 1 is 900 cm2, area 0 400 cm2."""
    minutes = {10: 50.0, 11: 40.0, 12: 45.0, 13: 41.0, 20: 42.0, 21: 30.0}
    asked = []

    def answers(variants, intervals):
        asked.append((len(variants), intervals))
        return [
            SimpleNamespace(options=[SimpleNamespace(minutes_per_visit=minutes[max(places)])])
            for places in (variant.tolist() for variant in variants)
        ]

    base, ground = np.array([0, 1]), np.array([400.0, 900.0, 100.0])
    one = SimpleNamespace(area_cm2=ground, answers=answers, now=base)
    tried = [(0.95, ((0, plant),)) for plant in (10, 11, 12, 13)]
    tried += [(0.99, ((1, 20),)), (0.92, ((1, 21),))]
    # Three of the set on the least ground, and the cheapest of the other.
    found = _cheapest(one, tried, 14)
    assert [pairs for pairs, _ in found] == [((1, 21),), ((0, 11),), ((0, 13),), ((0, 12),)]
    costs = [answer.options[0].minutes_per_visit for _, answer in found]
    assert costs == [30.0, 40.0, 41.0, 45.0]
    assert asked == [(4, [14]), (2, [14])]
    assert _cheapest(one, [], 14) == []
    monkeypatch.setattr(swaps, "MOST_COSTED", 1)
    monkeypatch.setattr(swaps, "MOST_SETS", 1)
    [(pairs, _)] = _cheapest(one, [(0.97, ((0, 12),)), *tried], 14)
    assert pairs == ((0, 12),)
    assert _variant(one, ((1, 21),)).tolist() == [0, 21]


def test_what_a_layout_does_not_hold_is_named():
    """Not what its own log has seen to hold, whatever the table says of it."""

    def area(area_id, holds, seen=False):
        return LayoutArea(area_id, "s", False, 400.0, 0.9, (), holds, "", seen)

    answer, areas = SimpleNamespace(recommended_interval_d=14), (area("x", 0.49), area("y", 0.5))
    some = LayoutAdvice("a", answer, None, (*areas, area("z", 0.1, True)), None, 1.0, None)
    assert [one.area_id for one in some.lost] == ["x"]
    assert (some.nothing_holds, some.interval_d) == (False, 14)
    none = replace(some, areas=some.areas[:1])
    assert (none.nothing_holds, none.interval_d) == (True, None)


def plant(**changes):
    usual = {
        "is_there_now": False,
        "seen_to_hold": False,
        "holding": Holding(np.array([0.9]), np.ones(1), np.ones(1)),
        "chance_reaches_look": 0.9,
        "chance_fills": 0.8,
        "lowest_cut_cm": 3.0,
        "budget_cm": 22.0,
        "look_d": (1.0, 90.0, None),
    }
    made = object.__new__(PlantAdvice)
    for name, value in (usual | changes).items():
        object.__setattr__(made, name, value)
    return made


def test_a_plant_fits_where_it_likely_holds_fills_the_place_and_can_be_cut():
    assert plant().fits
    assert plant().chance_fills_look == 0.8
    assert plant(chance_fills=0.95).chance_fills_look == 0.9
    for chance, fits in ((0.5, True), (0.49, False)):
        assert plant(chance_fills=chance).fits is fits
        lost = Holding(np.array([chance]), np.ones(1), np.ones(1))
        assert (plant(holding=lost).fits, plant(holding=lost).is_lost) == (fits, not fits)
        assert plant(holding=lost, seen_to_hold=True).fits
    for lowest, tall in ((21.9, False), (22.0, True)):
        assert (plant(lowest_cut_cm=lowest).is_too_tall, plant(lowest_cut_cm=lowest).fits) == (
            tall,
            not tall,
        )
    waits = [plant(look_d=(0.0, days, None)).waits_long for days in (90.0, 90.1, None)]
    assert waits == [False, True, True]
    assert not plant(look_d=(0.0, None, None), is_there_now=True).waits_long
    assert _looked_at(np.array([3.0, 364.0, 365.0])) == {"p10": 3.0, "p50": 364.0, "p90": None}


def test_a_keeper_thinks_of_the_form_that_stands_there_or_of_the_place(known):
    book, fit = known
    assert usual_choice(book, fit, 1) == ("carpet", "")
    placed = with_cells(book.areas, np.array([True, False, False]), {"place": "back"})
    assert usual_choice(replace(book, areas=placed), fit, 0) == (None, "back")


def test_a_plant_is_planted_at_half_of_the_floor_unless_it_is_written(known, monkeypatch):
    book, fit = known
    asked = []

    def seen(stand, places, planted_cm):
        asked.append(planted_cm.tolist())
        return Outlook(stand, places, planted_cm)

    monkeypatch.setattr(plants, "Outlook", seen)
    first, second = compare_plants(book, fit, 0, ["rotala-wallichii"])
    written = with_cells(book.areas, np.array([True, False, False]), {"planted_height_cm": 5.0})
    compare_plants(replace(book, areas=written), fit, 0, [])
    assert asked == [[3.5, 3.5], [5.0]]
    assert usually_planted_cm(np.array([0.0, 7.0])).tolist() == [0.1, 3.5]
    for one in (first, second):
        listed = [d for d in (7, 10, 14, 21, 28) if d <= one.own_interval_d]
        assert one.own_listed_d == max(listed, default=None)
        year, removed, minutes = (
            one.tank.chosen.year,
            one.tank.removed_cm[-1],
            one.tank.area_min[-1],
        )
        assert one.litres_per_year.p90 == pytest.approx(0.4 * removed.p90 * year.visits)
        assert one.minutes_per_year.p10 == pytest.approx(minutes.p10 * year.visits)
        assert one.limits_tank == one.tank_limited_by.startswith("stems")
    [now] = [one for one in (first, second) if one.is_there_now]
    assert (now.spans, now.basis, now.is_cover) == (7, "own log", False)
    [carpet] = compare_plants(book, fit, 1, [])
    assert (carpet.form, carpet.spreads_sideways, now.spreads_sideways) == ("carpet", True, False)
    with pytest.raises(UsageError):
        compare_plants(book, fit, 0, ["limnobium-laevigatum"])  # measured by its cover


def test_a_swap_is_sought_among_plants_of_the_form_that_stands_there(known, monkeypatch):
    book, fit = known
    priors = fit.design.priors
    form = dict(zip(priors.species_id.tolist(), priors.form.tolist(), strict=True))
    usual, rosettes = (unasked_for(book, fit, 0, wanted) for wanted in (None, "rosette"))
    assert {form[name] for name in usual} == {"stem"}
    assert {form[name] for name in rosettes} == {"rosette"}
    assert "hygrophila-polysperma" not in usual  # regulated in places
    assert "rotala-macrandra" in usual
    assert unasked_for(book, fit, 0, None, {"rotala-macrandra"}) == ["rotala-macrandra"]
    soft = [name for name in usual if "Soft acid water" in caution_of(priors, name)]
    assert not soft  # of which the book says nothing
    named = ["anubias-barteri", "hygrophila-polysperma", "limnobium-laevigatum"]
    asked, comers = [], swaps.likely_comers

    def seen(book, fit, tank, changes):
        asked.append(sorted(changes))
        return comers(book, fit, tank, changes)

    monkeypatch.setattr(swaps, "likely_comers", seen)
    swaps_to_reach(book, fit, 0, 28, ["carpet"], plants=named, form="stem")
    swaps_to_reach(book, fit, 0, 28, ["carpet"], plants=named)
    swaps_to_reach(book, fit, 0, 28, ["carpet"], plants=named, stock={"anubias-barteri"})
    assert asked == [[(0, named[1])], [(0, named[0]), (0, named[1])], [(0, named[0])]]


def caution_of(priors, name):
    return str(priors.caution[priors.species_id == name][0])


def test_nothing_is_sought_where_the_tank_holds_and_kept_areas_that_do_not_are_named(known):
    book, fit = known
    done = swaps_to_reach(book, fit, 0, 1, [], plants=["rotala-wallichii"])
    assert (done.holds_already, done.combinations_tried, done.most_swaps) == (True, 0, 0)
    assert (done.proposals, done.nearest, done.pinned_short) == ((), None, ())
    kept = swaps_to_reach(book, fit, 0, 60, ["stems", "carpet"], plants=["rotala-wallichii"])
    assert [name for name, _ in kept.pinned_short] == ["stems", "carpet"]
    assert all(chance < 0.9 for _, chance in kept.pinned_short)
    assert (kept.combinations_tried, kept.nearest) == (0, None)
    for lost, nothing in ((2, True), (1, False)):
        made = object.__new__(SwapSearch)
        object.__setattr__(made, "not_holding", (None,) * lost)
        object.__setattr__(made, "now", SimpleNamespace(chance_within=np.arange(2)))
        assert made.nothing_holds is nothing
