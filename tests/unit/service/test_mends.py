"""What would make an interval hold, and how sure advice is, on nouns made by hand."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.stats import norm

from growthcast.fit.model.noise import span_drift
from growthcast.growth.logistic import shape_factor, stage
from growthcast.service import mends
from growthcast.service.interval import interval_options
from growthcast.service.mends import (
    _bounds,
    _Case,
    _less_light,
    _plants,
    certainty_of,
    chance_if_known,
    in_full,
    lit_below,
    mends_for,
)
from tests.unit.service.made import made_areas


@pytest.mark.parametrize(
    ("days", "shape", "budget"), [(9, 1.0, 13.0), (21, 1.4, 21.0), (1, 1.0, 9.0)]
)
def test_a_chance_given_growth_is_an_integral_over_luck_hand_and_drift(days, shape, budget):
    """Over 60 hands and 60 drifts for the code's six of each; luck by the normal itself."""
    living = made_areas((3,), draws=16, shape=shape, budget_cm=np.full(3, budget))
    chance, draws = chance_if_known(living, days), living.draws
    ahead = span_drift(np.array([20000.0]), np.array([20000.0 + days]), 20000.0)
    scores = norm.ppf((np.arange(60) + 0.5) / 60)
    week = 0.25 * np.sqrt(7 / max(days, 1))
    ahead_d = living.unrested(days)
    together = np.ones((16, 60))
    for area, run in enumerate(living.run):
        drift = ahead.weight[:, 0] @ draws.knots[run]
        usual = shape_factor(shape) * np.exp(draws.log_rate[area] + drift) * days
        grown = np.zeros((3, 16), np.float32)
        grown[area] = usual
        rest_d = living.rest_d(ahead_d, living.budget_cm, grown)[area]
        usual = usual * (1 - rest_d / days)
        ceiling = draws.ceiling_cm[area].astype(float)
        goal = stage(living.budget_cm[area], ceiling, shape)
        off = 0.2 * np.sqrt(ahead.remainder[0])
        inside = np.zeros((16, 60))
        for hand in scores:
            left = np.minimum(living.least_cut_cm[area] * np.exp(0.05 * hand), 0.999999 * ceiling)
            way = (goal - stage(left, ceiling, shape)) / usual
            lasts = way[:, None] * np.exp(-off * scores)  # how often its usual growth has room
            inside += np.where(lasts <= 0, 0.0, norm.cdf((lasts - 1) / week)) / 60
        together *= inside
    assert chance == pytest.approx(together.mean(axis=1), abs=0.04 if days == 1 else 0.01)
    assert chance.std() > 0.02


def test_without_any_luck_known_growth_decides():
    living = made_areas((1,), draws=64, budget_cm=np.array([13.0]))
    living = replace(living, errors=replace(living.errors, span=0.0, drift=0.0))
    chance = chance_if_known(living, 9)
    assert 6 * chance == pytest.approx(np.round(6 * chance))  # sixths: of hands alone
    assert (chance.min(), chance.max()) == pytest.approx((0.0, 1.0))


def test_the_best_interval_of_a_draw_is_the_longest_that_holds(monkeypatch):
    """Four draws hold 21, 14, 7 and no days; were each cut to its floor, all hold a step more."""

    def chances(living, days):
        holds = np.array([21, 14, 7, 0]) + (0 if (living.safe_cut_cm > 1.0).any() else 7)
        return np.where(holds >= days, 0.9, 0.89)

    monkeypatch.setattr(mends, "chance_if_known", chances)
    living = made_areas(
        (2,), draws=4, floor_cm=np.array([1.0, 6.0]), safe_cut_cm=np.array([0.5, 8])
    )
    sure = certainty_of(living, (7, 14, 21), 14, 0.9)
    assert sure.best == {0: 0.25, 7: 0.25, 14: 0.25, 21: 0.25}
    assert sure.chance_best == 0.25
    limits = []

    def kept(living, days):
        limits.append(living.safe_cut_cm.tolist())
        return chances(living, days)

    monkeypatch.setattr(mends, "chance_if_known", kept)
    assert certainty_of(living, (7,), None, 0.9).chance_best == 0.25
    assert limits == [[0.5, 8.0], [0.5, 6.0]]  # the second time down to its floor
    free = replace(living, safe_cut_cm=living.floor_cm.copy())
    assert certainty_of(free, (7,), 7, 0.9).best_from_floor is None


def short(budget, cut):
    return SimpleNamespace(needed_budget_cm=budget, cut_needed_cm=cut)


def bounds_tried(mine, floor, safe):
    living = SimpleNamespace(
        floor_cm=np.array(floor), safe_cut_cm=np.array(safe), budget_cm=np.full(3, 20.0)
    )

    def tried(kind, name, bound, places):
        return kind, name, pytest.approx(bound.tolist()), places.tolist()

    return list(_bounds(SimpleNamespace(living=living, mend_bound=tried), mine))


def test_bounds_are_moved_to_the_millimetre_on_the_safe_side():
    """Budgets up, floors down to the cut that is needed, never below the lowest safe one."""
    mine = [short(24.01, 5.19), None, short(22.1, 3.0)]
    all_short = [short(24.01, 5.19), short(30.0, 7.3), short(22.1, 3.0)]
    higher = [24.1, 20.0, 22.1]
    assert bounds_tried(mine, [7.0, 7.0, 7.0], [4.0, 7.5, 4.0]) == [
        ("budget", "budget_cm", higher, [True, False, True]),
        ("floor", "floor_cm", [5.1, 7.0, 4.0], [True, False, True]),
    ]
    assert bounds_tried(all_short, [7.0, 8.0, 7.0], [4.0, 9.0, 2.0]) == [
        ("budget", "budget_cm", [24.1, 30.0, 22.1], [True] * 3),
        ("floor", "floor_cm", [5.1, 8.0, 3.0], [True] * 3),
        ("lowest cut", "safe_cut_cm", [4.0, 8.0, 2.0], [False, True, False]),
    ]
    lost = [short(24.0, None), None, None]
    assert [kind for kind, *_ in bounds_tried(lost, [7.0] * 3, [8.0, 8.0, 7.0])] == [
        "budget",
        "lowest cut",
    ]


def case_of(living, **more):
    """A tank whose interval of 9 days does not hold."""
    area_id = np.array([f"a{n}" for n in range(12)])
    design = SimpleNamespace(area_id=area_id, **more)
    fit = SimpleNamespace(design=design)
    return _Case("book", fit, living, 9, 0.9)


@pytest.mark.parametrize("confidence", [0.1, 0.999])
def test_a_mend_is_judged_by_the_chance_with_its_change(monkeypatch, confidence):
    """Of the one area changed; floating plants elsewhere let through what they did."""
    living = made_areas((2,), draws=64)
    case = replace(case_of(living), confidence=confidence)
    monkeypatch.setattr(mends, "lit_below", lambda book, fit, now, then: then)
    raised = np.array([13.26, 12.0])
    mend = case.mend_bound("budget", "budget_cm", raised, np.array([True, False]))
    again = interval_options(replace(living, budget_cm=raised), 9, np.array([0.9]))
    assert mend.chance_at_least_cut == again.chance_at_least_cut[0]
    assert mend.holds == (confidence < 0.5)
    assert (mend.area_ids, mend.values, mend.before) == (("a3",), (13.3,), (20.0,))
    assert (mend.kind, mend.interval_d, mend.plant) == ("budget", 9, "")
    chance = case.chance(replace(living, budget_cm=raised))
    assert chance == mend.chance_at_least_cut
    exact = replace(case, confidence=chance)
    assert exact.mend("light", np.ones(2, bool), chance, [50.0]).holds


def test_nothing_is_mended_where_nothing_fails(monkeypatch):
    """Else bounds, plants for the area that limits the tank, and light, in this order."""
    for name in ("_bounds", "_less_light"):
        monkeypatch.setattr(
            mends, name, lambda case, *asked, name=name: [(name, case.interval_d, *asked)]
        )
    monkeypatch.setattr(mends, "_plants", lambda case, limit: [("_plants", limit)])
    living = made_areas((2,), draws=8)
    fit, one = case_of(living).fit, SimpleNamespace(area_id="a4")
    advice = {"short": [one], "confidence": 0.9}

    def tried(fails_at_d, limited_by):
        asked = SimpleNamespace(fails_at_d=fails_at_d, limited_by=limited_by, **advice)
        return mends_for("book", fit, living, asked)

    assert tried(None, "a4") == tried(14, None) == ()
    assert tried(14, "a4") == (
        ("_bounds", 14, [None, one]),
        ("_plants", 1),
        ("_less_light", 14),
    )


def test_light_below_other_floating_plants(monkeypatch):
    """The middle of 10 to 30 % of 500 cm2 is covered: what grows below follows the light there."""
    living = made_areas((3,), draws=8)
    changed = replace(
        living, floor_cm=np.array([10.0, 6.0, 6.0]), budget_cm=np.array([30.0, 19.0, 18.0])
    )
    is_cover = np.arange(12) == 3
    case = case_of(living, is_cover=is_cover, area_cm2=np.full(12, 500.0))
    asked = []

    def under(*told):
        asked.append(told)
        return np.where(np.arange(12) == 4, 0.5, 1.0)

    monkeypatch.setattr(mends, "growth_under", under)
    lit = lit_below("book", case.fit, living, changed)
    assert asked == [("book", case.fit, 2, 100.0)]
    gain = lit.draws.log_rate - living.draws.log_rate
    np.testing.assert_allclose(gain, np.log([[1.0], [0.5], [1.0]]) * np.ones(8), rtol=1e-5)
    assert lit.floor_cm.tolist() == [10.0, 6.0, 6.0]
    is_cover[:] = False
    assert lit_below("book", case.fit, living, changed) is changed
    assert len(asked) == 1


@pytest.mark.parametrize(("enough", "share"), [(0.8, 0.8), (0.5, 0.5), (0.3, 0.5)])
def test_a_lamp_is_dimmed_no_further_than_it_must_be(monkeypatch, enough, share):
    """In tenths of 111 umol, to a half at most; where that does not do it is told none the less."""
    living = made_areas((2,), draws=8)
    light = {"ppfd_umol": 111.0}
    monkeypatch.setattr(mends, "conditions_now", lambda *_: light)
    monkeypatch.setattr(
        mends, "suppose", lambda *asked: SimpleNamespace(fit=asked[-1].conditions["ppfd_umol"])
    )
    seen = []

    def dimmed(ppfd, tanks):
        seen.append(ppfd)
        return living

    monkeypatch.setattr(mends, "living_areas", dimmed)

    def chance(*_):
        return SimpleNamespace(
            chance_at_least_cut=[0.95 if seen[-1] <= enough * 111 + 0.5 else 0.8]
        )

    monkeypatch.setattr(mends, "interval_options", chance)
    [mend] = _less_light(case_of(living))
    assert (mend.values, mend.before) == ((round(share * 111),), (111.0,))
    assert mend.area_ids == ("a3", "a4")
    assert mend.holds == (enough >= 0.5)
    for dark in (0.0, np.nan):
        light["ppfd_umol"] = dark
        assert list(_less_light(case_of(living))) == []


@pytest.mark.parametrize(
    ("chances", "kept"),
    [
        ([0.95, 0.91, 0.92, 0.93, 0.94], [3, 1, 0]),  # the one with a caution comes last
        ([0.95, 0.5, 0.6, 0.4, 0.94], [0, 4]),
        ([0.5, 0.7, 0.6, 0.4, 0.3], [1]),
        ([0.5, 0.7, 0.99, 0.4, 0.3], [1]),  # what grows no slower is no way out
        ([], []),
    ],
)
def test_three_plants_that_hold_are_told_or_the_likeliest(monkeypatch, chances, kept):
    """Those that rescape would take for the area that limits the tank, the fastest first.

    The area grows at .1 a day, what is tried at .05, .06, .1, .08 and .09, the last with a caution.
    """
    living, asked = made_areas((2,), draws=8), []
    rates = np.log([0.1, 0.2, 0.05, 0.06, 0.1, 0.08, 0.09])
    drawn = SimpleNamespace(log_rate=np.repeat(rates[:, None], 8, axis=1))
    of = {
        "species_id": ["", "", *(f"s{n}" for n in range(5))],
        "scientific_name": ["", "", *(f"S. {n}" for n in range(5))],
        "caution": [""] * 6 + ["spreads"],
    }
    comers = SimpleNamespace(
        stand=SimpleNamespace(
            living=SimpleNamespace(draws=drawn), trait=lambda name, place: of[name][place]
        ),
        new=np.arange(2, 2 + len(chances)),
        holds=lambda days: ("holds", days),
        chances=lambda *more: asked.append(more) or np.array(chances),
    )

    def likely(*told):
        asked.append(told)
        return comers

    monkeypatch.setattr(mends, "likely_comers", likely)
    monkeypatch.setattr(mends, "unasked_for", lambda book, fit, area: [f"of {area}", "other"])
    case = case_of(living)
    found = _plants(case, 0)
    pool = [(3, "of 3"), (3, "other")]
    assert asked == [("book", case.fit, 2, pool), (("holds", 9), [0])]
    assert [mend.values for mend in found] == [(f"s{n}",) for n in kept]
    assert [mend.plant for mend in found] == [f"S. {n}" for n in kept]
    assert [mend.chance_at_least_cut for mend in found] == [chances[n] for n in kept]
    assert {mend.area_ids for mend in found} <= {("a3",)}


def test_advice_in_full_is_sure_of_what_the_tank_may_get(monkeypatch):
    """Of the listed intervals those within its limit; none of them, and nothing is worked out."""
    monkeypatch.setattr(mends, "certainty_of", lambda *asked: asked)
    monkeypatch.setattr(mends, "mends_for", lambda *_: ("mend",))
    monkeypatch.setattr(mends, "replace", lambda advice, **more: more)
    listed = [SimpleNamespace(interval_d=days) for days in (7, 14, 21)]
    advice = SimpleNamespace(
        options=listed, longest_interval_d=14, recommended_interval_d=7, confidence=0.9
    )
    said = in_full("book", "fit", "living", advice)
    assert said == {"certainty": ("living", (7, 14), 7, 0.9), "mends": ("mend",)}
    advice.longest_interval_d = 5
    assert in_full("book", "fit", "living", advice) is advice
