"""The interval rule against brute force on a few draws made by hand."""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property

import numpy as np
import pytest

from growthcast.service.interval import (
    IntervalOptions,
    common_cuts,
    interval_options,
    lasts_from,
    needed_budgets,
    needed_cuts,
)
from growthcast.service.living import HAND_SPREAD
from tests.curve import height_after
from tests.unit.service.made import made_areas

WANTED = np.array([0.8, 0.9])


def grown(living, growth, cut_cm):
    """Heights (A, D) that cuts (A,) have come to, by the closed form."""
    left = cut_cm[:, None] * np.exp(HAND_SPREAD * living.draws.hand)
    return height_after(
        np.minimum(left, living.draws.ceiling_cm), 1.0, growth, living.draws.ceiling_cm
    )


def every_rank(living, ranked, highest, least, wanted, anyhow):
    """The highest rank that holds, each tried in turn."""
    found = []
    for run, chance in enumerate(wanted):
        here = living.of_tank(run)
        holds = [-1]
        for rank in range(ranked.shape[1]):
            cut = np.maximum(ranked[here, rank], least[here])[:, None]
            inside = (highest[here] >= cut) | anyhow[here]
            holds += [rank] if inside.all(axis=0).mean() >= chance else []
        found.append(max(holds))
    return found


@pytest.mark.parametrize("wanted", [(0.5, 0.9), (0.75, 0.999), (0.95, 0.05)])
@pytest.mark.parametrize("anyhow", [False, True])
def test_the_rank_is_the_highest_that_holds(wanted, anyhow):
    living = made_areas((3, 2), draws=32)
    highest = living.highest_cut(living.growth(9.0))
    ranked, least = np.sort(highest, axis=1), np.array([3.0, 0.0, 0.0, 3.0, 0.0])
    open_ = np.random.default_rng(2).random(highest.shape) < 0.4 * anyhow
    found = common_cuts(living, ranked, np.where(open_, np.inf, highest), least, np.array(wanted))
    ranks = every_rank(living, ranked, highest, least, wanted, open_)
    assert found.tolist() == [
        ranked[area, max(ranks[run], 0)] for area, run in enumerate(living.run)
    ]


def test_no_rank_holds_where_the_least_cut_does_not():
    living = made_areas((1, 1), draws=8)
    highest = np.arange(16, dtype=np.float32).reshape(2, 8)
    least = np.array([7.5, 0.0])
    wanted = np.array([0.1, 1.0])  # the lowest to choose from, then that which holds in all draws
    assert common_cuts(living, highest, highest, least, wanted).tolist() == [0.0, 8.0]
    wanted = np.array([1.0, 0.625])
    assert common_cuts(living, highest, highest, 0 * least, wanted).tolist() == [0.0, 11.0]


LOW = np.array([3.0, 5.0, 4.0])
"""Cuts that look bare: below floors of 6 cm and more."""


@pytest.mark.parametrize(("days", "given"), [(1, None), (12, None), (30, None), (12, LOW)])
def test_an_option_is_what_its_draws_come_to(days, given):
    living = made_areas((2, 1), draws=64)
    option = interval_options(living, days, WANTED, given)
    growth, rest_d = living.growth_after_cut(days)
    highest = living.highest_cut(growth)
    ranks = every_rank(
        living, np.sort(highest), highest, living.least_cut_cm, WANTED, np.zeros((3, 64), bool)
    )
    reach = np.minimum(living.budget_cm, np.median(living.draws.ceiling_cm, axis=1))
    cut = np.array([np.sort(highest)[a, max(ranks[r], 0)] for a, r in enumerate(living.run)])
    cut = np.minimum(np.maximum(cut, living.least_cut_cm) if given is None else given, reach)
    assert option.cut_cm == pytest.approx(cut, rel=1e-6)
    inside = highest >= cut[:, None]
    assert option.chance_within == pytest.approx(inside.mean(axis=1))
    whole = [inside[:2].all(axis=0).mean(), inside[2].mean()]
    assert option.chance_all_within == pytest.approx(whole)
    assert option.feasible.tolist() == [w >= c for w, c in zip(whole, WANTED, strict=True)]
    if given is None:
        assert option.feasible.tolist() == [rank >= 0 for rank in ranks]
    lasting = lasts_from(living, living.least_cut_cm, days)
    least = [lasting[:2].all(axis=0).mean(), lasting[2].mean()]
    assert option.chance_at_least_cut == pytest.approx(least)
    ends = grown(living, growth, cut)
    found = np.quantile(ends, [0.1, 0.5, 0.9], axis=1).T
    assert option.found_cm == pytest.approx(found, rel=1e-4)
    assert option.end_cm == pytest.approx(ends, rel=1e-4)  # all 64 of at most 256 draws
    off = np.maximum(found[:, 1] - cut, 0.0)
    assert option.removed_share == pytest.approx(off / found[:, 1], abs=1e-5)
    # Day by day, eight moments a day.
    days_bare, days_right = np.zeros((2, 64)), np.zeros((2, 64))
    start = np.minimum(
        cut[:, None] * np.exp(HAND_SPREAD * living.draws.hand), living.draws.ceiling_cm
    )
    for t in (np.arange(8 * days) + 0.5) / 8:
        awake = np.maximum(t - rest_d, 0.0) / (days - rest_d)
        height = height_after(start, awake, growth, living.draws.ceiling_cm)
        bare = height < living.floor_cm[:, None] * np.exp(-0.15)
        tall = height > living.budget_cm[:, None] * (1 + 1e-6)
        for run, here in enumerate((slice(0, 2), slice(2, 3))):
            days_bare[run] += bare[here].any(axis=0)
            days_right[run] += ~(bare | tall)[here].any(axis=0)
    share = 8.0 * days
    assert option.share_of_days_bare == pytest.approx(days_bare.mean(axis=1) / share, abs=2e-3)
    right = days_right.mean(axis=1) / share
    assert option.share_of_days_presentable == pytest.approx(right, abs=2e-3)


def test_a_single_draw_of_growth_is_worth_256_in_what_is_followed():
    living = made_areas((1,), draws=512)
    assert interval_options(living, 9, np.array([0.8])).end_cm.shape == (1, 256)


def test_areas_that_do_not_hold_are_told_the_cut_they_need():
    """Lower than looks right; NaN where that kills; no lower than needed where they would hold."""
    bounds = {"budget_cm": np.array([15.0, 14.0, 12.0]), "safe_cut_cm": np.array([5.0, 1.0, 9.0])}
    living = made_areas((2, 1), draws=64, **bounds)
    option = interval_options(living, 16, WANTED)
    assert not option.feasible.any()
    growth, rest_d = living.growth_after_cut(16)
    highest, least = living.highest_cut(growth), living.least_cut_cm
    holds = highest >= least[:, None]
    ranks = every_rank(living, np.sort(highest), highest, np.zeros(3), WANTED, holds)
    cuts = [np.sort(highest)[a, max(ranks[r], 0)] for a, r in enumerate(living.run)]
    cuts = np.minimum(cuts, least)
    assert needed_cuts(living, np.sort(highest), highest, WANTED) == pytest.approx(cuts)
    told = np.where(cuts < living.safe_cut_cm, np.nan, cuts)
    assert option.cut_needed_cm == pytest.approx(told, nan_ok=True)
    assert np.isnan(told).any()
    assert (told < least).any()
    assert option.falls_short.tolist() == (~(told >= least)).tolist()
    bare = living.floor_cm[:, None] * np.exp(-0.15)
    start = np.maximum(cuts, living.safe_cut_cm)[:, None] * np.exp(HAND_SPREAD * living.draws.hand)
    days = np.zeros((3, 64))
    for t in (np.arange(320) + 0.5) / 20:
        awake = np.maximum(t - rest_d, 0.0) / (16 - rest_d)
        days += (height_after(start, awake, growth, living.draws.ceiling_cm) < bare) / 20
    days = np.where(cuts < least, np.median(days, axis=1), 0.0)
    assert option.days_below_floor == pytest.approx(days, abs=0.05)
    assert days.max() > 1.0


def test_an_interval_that_holds_needs_no_lower_cut():
    living = made_areas((2, 1), draws=64)
    option = interval_options(living, 2, np.array([0.5, 0.5]))
    assert option.feasible.all()
    assert option.cut_needed_cm.tolist() == option.cut_cm.tolist()
    assert not option.falls_short.any()
    assert option.days_below_floor.tolist() == [0.0] * 3


def test_cuts_that_are_given_are_judged_up_to_budget_and_ceiling():
    living = made_areas((2, 1), draws=64)
    given = np.array([5.0, 10.0, 40.0])
    option = interval_options(living, 8, WANTED, given)
    reach = min(living.budget_cm[2], np.median(living.draws.ceiling_cm[2]))
    assert option.cut_cm == pytest.approx([5.0, 10.0, reach])
    lasts = lasts_from(living, option.cut_cm, 8)
    whole = np.array([lasts[:2].all(axis=0).mean(), lasts[2].mean()])
    assert option.chance_all_within == pytest.approx(whole)
    for shift, holds in ((0.0, True), (0.01, False)):
        again = interval_options(living, 8, whole + shift, given)
        assert again.feasible.tolist() == [holds, holds]


def test_a_part_is_what_its_tanks_alone_come_to():
    living = made_areas((2, 1, 2), draws=64)
    wanted = np.array([0.7, 0.8, 0.9])
    for given in (None, np.arange(8.0, 13.0)):
        whole = interval_options(living, 9, wanted, given)
        part = whole.part(np.array([False, True, True]))
        fresh = interval_options(part.living, 9, wanted[1:], None if given is None else given[2:])
        assert part.living.tank.tolist() == [5, 8]
        for name, value in vars(IntervalOptions).items():
            if isinstance(value, cached_property | property) and not name.startswith("_"):
                every = {3: slice(1, 3), 5: slice(2, 5)}
                of_whole, of_part = getattr(whole, name), getattr(part, name)
                assert of_part == pytest.approx(of_whole[every[len(of_whole)]], nan_ok=True), name
                assert of_part == pytest.approx(getattr(fresh, name), nan_ok=True), name


def test_budgets_that_would_do_are_the_lowest_that_hold():
    """Of the short areas alone: the first tank holds already, one area of the second is let go."""
    bounds = {"budget_cm": np.array([30.0, 10.0, 24.0]), "pause_d": np.array([4.0, 9.0, 4.0])}
    living = made_areas((1, 2), draws=256, **bounds)
    wanted = np.array([0.5, 0.8])
    short = np.array([False, True, False])
    budgets = needed_budgets(living, 9, wanted, short)
    assert budgets[[0, 2]].tolist() == [30.0, 24.0]
    assert budgets[1] > 10.0

    def chance(by):
        raised = replace(living, budget_cm=budgets * np.array([1.0, by, 1.0]))
        return lasts_from(raised, raised.least_cut_cm, 9)[1:].all(axis=0).mean()

    assert chance(1.003) >= 0.8 > chance(0.99)
    assert needed_budgets(living, 9, wanted, np.zeros(3, bool)).tolist() == [30.0, 10.0, 24.0]
