"""How areas stand, rest and grow from visit to visit: draw by draw, and by trying every rank."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from growthcast.fit.model.clock import GrowthClock
from growthcast.forecast.report import as_date
from growthcast.service.interval import lasts_from
from growthcast.service.visit import standing
from growthcast.service.visit.peak import _best_from, routes_to
from growthcast.service.visit.standing import (
    Standing,
    _grown_since,
    cut_to_last,
    days_that_hold,
    saved_by_leaving,
    visits_lasted,
)
from tests.unit.service.by_hand import DRAWS, living

ON = 20_000.0


def clock(areas, *, changes=(), planted=-5_000.0, settle_d=30.0):
    """Growth at full speed, but for ``changes``: days after the fit and the share from then on."""
    from_day = np.array([[-1e6, *(ON + day for day, _ in changes)]] * areas)
    response = np.array([[1.0, *(share for _, share in changes)]] * areas)
    return GrowthClock(
        from_day,
        response,
        np.full(areas, ON + planted),
        np.full(areas, settle_d),
        np.ones(areas),
        np.zeros((areas, 0)),
    )


def stood(heights, *, rest=0.0, areas=None, **known):
    """Let two areas stand at heights, of 60 and 12 cm at most, 22 and 4.5 cm allowed."""
    usual = {"lag_d": 2.0, "pause_d": 8.0, "spread": 0.2}
    if areas is None:
        areas = living([0.1, 0.05], [60.0, 12.0], [6.0, 1.0], [22.0, 4.5], **usual)
    count = areas.area.size
    rest_d = np.full((count, DRAWS), rest, np.float32)
    ticking = known.pop("clock", None) or clock(count, **known)
    return Standing(areas, ticking, 0, areas.stage_of(np.array(heights)), rest_d)


def even(**known):
    """Make the two areas without any scatter: 10 % a day, and 5 %."""
    areas = living([0.1, 0.05], [60.0, 12.0], [6.0, 1.0], [22.0, 4.5], **known)
    return replace(areas, errors=replace(areas.errors, span=0.0, drift=0.0))


def lost(taken, lag_d=2.0, pause_d=8.0):
    """Days that a cut costs: the lag once tips are gone, a pause in proportion beyond a half."""
    return lag_d * (1.0 - np.exp(-max(taken, 0.0) / 0.1)) + pause_d * max(2.0 * taken - 1.0, 0.0)


def test_growth_ahead_follows_the_conditions_to_come():
    """Half of it from the tenth day on: of 20 days three quarters, of 5 all, of 40 five eighths."""
    one = stood([10.0, 2.0], changes=[(10.0, 0.5)])
    for days, share in ((5, 1.0), (20, 0.75), (40, 0.625)):
        wanted = share * one.living.growth(float(days))
        np.testing.assert_allclose(one.growth(days), wanted, rtol=1e-5)
    several = [*one.growths([5, 20])]
    np.testing.assert_array_equal(several[1], one.growth(20))
    later = replace(one, after_d=4)
    wanted = (6 + 0.5 * 14) / 20 * one.living.growth(20.0, 4.0)
    np.testing.assert_allclose(later.growth(20), wanted, rtol=1e-5)


def test_growth_slows_while_plants_take_longer_to_settle_than_was_thought():
    """Planted on the day: of 20 days on a ramp of 30 a hundredth more ramp costs a hundredth."""
    ramp = stood([10.0, 2.0], areas=even(), planted=0.0)
    slow = replace(ramp, living=even(settling=0.01))
    np.testing.assert_allclose(slow.growth(20) / ramp.growth(20), np.exp(-0.01), rtol=1e-4)
    np.testing.assert_allclose(ramp.growth(20)[0], 0.1 * 20**2 / 60, rtol=1e-3)
    settled = replace(slow, clock=clock(2))
    np.testing.assert_allclose(settled.growth(20)[0], 0.1 * 20, rtol=1e-5)


@pytest.mark.parametrize(
    ("planted", "pause", "lag_share", "lag_d", "days", "awake"),
    [
        (-5_000.0, 0.0, 0.0, 0.0, 10.0, 1.0),
        (-5_000.0, 0.0, 0.5, 2.0, 10.0, 0.9),  # half of a lag of two days, of ten
        (-5_000.0, 0.0, 1.0, 20.0, 10.0, 0.1),  # a tenth of the growth is left at least
        (-5_000.0, 4.0, 0.0, 0.0, 6.0, 1.0),  # the pause may be off by half: 2 of 6 days
        (-10.0, 0.0, 0.0, 0.0, 100.0 / 60.0, np.exp(-0.01)),  # on a ramp of 30 days
    ],
)
def test_what_has_grown_since_the_last_reading(planted, pause, lag_share, lag_d, days, awake):
    """Ten days ago, at 10 % a day; the second area was read a day after the day of the fit."""
    areas = even(lag_d=lag_d, settling=0.01)
    areas = replace(areas, errors=replace(areas.errors, span=0.4))
    design = SimpleNamespace(clock=clock(2, planted=planted), on_day=ON)
    last = SimpleNamespace(
        last_day=np.array([ON - 10.0, ON + 1.0]),
        last_pause_d=np.array([pause, 0.0]),
        last_lag_share=np.array([lag_share, 0.0]),
    )
    rate = np.log(np.full((2, DRAWS), 0.1))
    luck = np.tile(np.linspace(-3.0, 3.0, DRAWS, dtype=np.float32), (2, 1))
    fit = SimpleNamespace(design=design)
    grown = _grown_since(fit, areas, last, rate, luck)
    spread = np.hypot(0.4 * 0.7**0.5, 0.5 * pause / days)
    wanted = 0.1 * days * awake * np.maximum(1.0 + spread * luck[0], 0.0)
    np.testing.assert_allclose(grown[0], wanted, rtol=1e-3, atol=1e-6)
    assert not grown[1].any()


def test_what_rests_grows_less_and_has_less_rest_to_come():
    """Six days of rest: of 10 days 4 are awake; of 5 at least a tenth, and 1.5 days are left."""
    one = stood([10.0, 2.0], rest=6.0)
    today, also, five, ten = one.each_later([0, 0, 5, 10])
    assert today is also is one
    for then, days, awake, left in ((five, 5, 0.5, 1.5), (ten, 10, 4.0, 0.0)):
        np.testing.assert_allclose(
            then.stages, one.stages + one.growth(days) * awake / days, rtol=1e-4
        )
        np.testing.assert_allclose(then.rest_d, left, atol=1e-5)
        assert then.after_d == days
    assert ten.later(3).after_d == 13


def test_what_stands_at_its_budget_is_within_it_and_a_tank_where_all_of_it_is():
    areas = even()
    for heights, inside in (([22.0, 4.5], [1, 1]), ([22.1, 4.5], [0, 1]), ([9.0, 4.51], [1, 0])):
        one = stood(heights, areas=areas)
        assert one.within().all(axis=1).tolist() == inside
        assert one.chance.tolist() == [float(all(inside))]


def test_a_cut_leaves_what_is_lower_and_is_rested_after_by_what_it_takes():
    one = stood([20.0, 2.0], rest=0.5)
    cut = one.cut(np.array([8.0, np.nan]))
    share = np.exp(0.05 * one.living.draws.hand)
    for draw in range(DRAWS):
        top = one.living.draws.ceiling_cm[0, draw]
        left = min(8.0 * share[0, draw], top)
        assert cut.height_cm[0, draw] == pytest.approx(min(left, one.height_cm[0, draw]), rel=1e-4)
        days = lost(1.0 - left / one.height_cm[0, draw])
        assert cut.rest_d[0, draw] == pytest.approx(max(days, 0.5), rel=1e-3)
    np.testing.assert_allclose(cut.height_cm[1], one.height_cm[1], rtol=1e-6)
    assert (cut.rest_d[1] == 0.5).all()
    np.testing.assert_array_equal(one.cut(np.array([50.0, 11.0])).stages[0], one.stages[0])


@pytest.mark.parametrize("days", [6, 21])
def test_what_is_cut_to_its_highest_aim_comes_up_to_its_goal(days):
    """The rest after such a cut is that of the cut: what grows in the days awake is the way."""
    one = stood([21.0, 4.4], rest=0.3)
    goal = one.living.stage_of(np.array([18.0, 4.0]))
    growth, share = one.growth(days), one.living.hand_share
    aims = one.aims(goal, days, growth)
    for area, draw in np.ndindex(aims.shape):
        if not np.isfinite(goal[area, draw]):
            assert np.isinf(aims[area, draw])
            continue
        stands = one.height_cm[area, draw]
        left = aims[area, draw] * share[area, draw]
        rest = min(max(lost(1.0 - left / stands), 0.3), 0.9 * days)
        top = one.living.draws.ceiling_cm[area, draw]
        reached = np.log(left / (top - left)) + growth[area, draw] * (1.0 - rest / days)
        assert reached == pytest.approx(goal[area, draw], abs=0.02)


def test_days_until_a_height_is_passed_come_after_the_rest():
    """20 cm of 60 are odds of 1 to 2, 30 even: ln 2 at 10 % a day are 6.93 days, after 2 of rest.

    Of 2 to 4.5 cm of 12 the way is ln 3 at 5 %: 21.97 days, and 23.97 with the rest.
    """
    one = stood([20.0, 2.0], areas=even(), rest=2.0)
    goal = np.array([30.0, 4.5])
    first, second = 10.0 * np.log(2.0), 20.0 * (np.log(4.5 / 7.5) - np.log(0.2))
    for span, wanted in ((30, (first + 2, second + 2)), (10, (first + 2, np.inf))):
        found = one.days_until(span, goal)
        assert found[:, 0] == pytest.approx(wanted, rel=1e-4)
    assert one.days_until(10, np.array([20.0, 1.0])).max() == 0.0
    assert np.isinf(one.days_until(400, np.array([61.0, 12.5]))).all()
    assert np.isinf(one.days_until(int(second), goal)[1]).all()


def best_cuts(one, days, confidence):
    """Try every common rank of the highest cuts, from the top: the first that holds is best."""
    areas = one.living
    uncut = one.later(days).within()
    aims = one.aims(areas.budget_stage, days, one.growth(days))
    highest = np.minimum(aims, areas.budget_cm[:, None])
    ranked = np.sort(highest, axis=1)
    for rank in range(DRAWS - 1, -1, -1):
        cut = np.maximum(ranked[:, rank], areas.least_cut_cm)
        if (uncut | (highest >= cut[:, None])).all(axis=0).mean() >= confidence:
            return cut
    return areas.least_cut_cm


@pytest.mark.parametrize(("heights", "days"), [((20.0, 4.0), 5), ((20.0, 1.1), 9), ((9.0, 3.0), 3)])
def test_cuts_of_a_visit_are_the_highest_that_last(heights, days):
    one = stood(heights)
    found = cut_to_last(one, days, np.array([0.8]))
    np.testing.assert_allclose(found.cut_cm, best_cuts(one, days, 0.8), rtol=1e-6)
    ended = one.cut(found.cut_cm).later(days)
    assert found.chance[0] == pytest.approx(ended.within().all(axis=0).mean())
    np.testing.assert_array_equal(found.began.stages, one.cut(found.cut_cm).stages)
    np.testing.assert_array_equal(found.ended.stages, ended.stages)
    assert found.chance[0] >= 0.8
    assert (found.needed_cm == found.cut_cm).all()
    assert found.days_below_floor.tolist() == [0.0, 0.0]


def test_where_no_cut_lasts_it_is_told_how_bare_one_would_have_to_be():
    """The stems last 30 days from below their floor only; the carpet from no safe cut at all."""
    areas = living([0.07, 0.2], [60.0, 12.0], [9.0, 2.0], [22.0, 4.5])
    areas = replace(areas, errors=replace(areas.errors, span=0.0, drift=0.0))
    areas = replace(areas, safe_cut_cm=np.array([3.0, 1.0]))
    one = stood([20.0, 4.0], areas=areas)
    days = 30
    found = cut_to_last(one, days, np.array([0.9]))
    assert found.cut_cm.tolist() == [9.0, 2.0]
    assert found.chance[0] == 0.0
    # Of 22 from 60 cm the odds are 22 to 38; 30 days of 7 % before that is a stage 2.1 lower.
    below = 60.0 / (1.0 + np.exp(2.1 - np.log(22.0 / 38.0)))
    assert found.needed_cm[0] == pytest.approx(below, rel=1e-3)
    assert np.isnan(found.needed_cm[1])
    bare = [floor * np.exp(-0.15) for floor in (9.0, 2.0)]
    way = [
        np.log(b / (top - b)) - np.log(c / (top - c))
        for b, c, top in ((bare[0], below, 60.0), (bare[1], 1.0, 12.0))
    ]
    assert found.days_below_floor == pytest.approx([way[0] / 0.07, way[1] / 0.2], rel=0.01)


def test_days_that_hold_are_counted_one_by_one():
    one = stood([12.0, 2.5])
    chances = [one.later(days).within().all(axis=0).mean() for days in range(1, 40)]
    for confidence in (0.5, 0.9):
        most = next(n for n, chance in enumerate(chances) if chance < confidence)
        assert days_that_hold(one, 39, confidence) == most > 0
        assert days_that_hold(one, most - 1, confidence) == most - 1
    assert days_that_hold(stood([30.0, 2.0]), 10, 0.9) == 0


def test_usual_cuts_last_as_many_visits_as_hold_now_and_at_every_visit():
    """Each with the root of the wanted chance; an area without a usual cut lasts none."""
    one = stood([14.0, 2.5])
    seen = set()
    for usual in ((7.0, 1.0), (9.0, 1.5), (12.0, 2.0), (18.0, 3.5), (21.9, np.nan)):
        given = np.array(usual)
        made = np.where(np.isnan(given), one.living.budget_cm, given)
        wanted = []
        for area in range(2):
            visits = 0
            while visits < 4:
                days = 4 * (visits + 1)
                now = one.cut(made).later(days).within()[area].mean()
                steady = lasts_from(one.living, made, days)[area].mean()
                if min(now, steady) < 0.8**0.5:
                    break
                visits += 1
            wanted.append(0 if np.isnan(given[area]) else visits)
        assert visits_lasted(one, 4, given, 0.8).tolist() == wanted
        seen |= set(wanted)
    assert len(seen) > 2


def saving_of(monkeypatch, lasted, *, removed=12.0, ends=20.0):
    """Work out what usual cuts save: 8 min to set up and half a minute a centimetre.

    At every visit, a week apart, 5 cm come off each of three areas. ``removed`` cm of the first
    come off where it is left for three visits, 9 cm of the second where for two.
    """
    usual, asked = np.array([8.0, 9.0, 10.0]), []

    def options(living, days, confidence, cut_cm):
        assert (living, confidence) == ("living", "wanted")
        aims = np.where(np.array(lasted) > 1, usual, 15.0)
        assert cut_cm.tolist() == aims.tolist()
        asked.append(days)
        return SimpleNamespace(interval_d=days, removed_cm={21: removed, 14: 9.0}[days])

    def effort(design, timing, at, fixed_min):
        assert (design, timing, fixed_min.tolist()) == ("design", "timing", [0.0])
        minutes = (8.0 + 0.5 * at.removed_cm) * (at.removed_cm > 0.0)
        return SimpleNamespace(area_min=np.full((3, 256), minutes, np.float32))

    monkeypatch.setattr(standing, "interval_options", options)
    monkeypatch.setattr(standing, "visit_effort", effort)
    every = {"living": "living", "confidence": "wanted", "cut_cm": np.full(3, 15.0)}
    option = SimpleNamespace(interval_d=7, removed_cm=ends - 15.0, **every)
    return saved_by_leaving("design", "timing", option, usual, np.array(lasted), 60.0), asked


def test_usual_cuts_save_the_visits_at_which_areas_are_left(monkeypatch):
    """52.14 visits a year of 10.5 min at each area; left for three 17.38 of 14, for two of 12.5."""
    visits = 365 / 7
    found, asked = saving_of(monkeypatch, [3, 2, 1])
    hours = visits * (2 * 10.5 - 14.0 / 3 - 12.5 / 2) / 60
    assert found.hours.p50 == pytest.approx(hours, rel=1e-5)
    assert found.cost.p50 == pytest.approx(60.0 * hours, rel=1e-5)
    assert asked == [14, 21]
    alone, _ = saving_of(monkeypatch, [3, 1, 0])
    assert alone.hours.p50 == pytest.approx(visits * (10.5 - 14.0 / 3) / 60, rel=1e-5)
    for hours, worth in ((0.51, True), (0.49, False)):  # half an hour a year is worth a word
        third_min = 3.0 * (10.5 - hours * 60.0 / visits)
        assert (
            saving_of(monkeypatch, [3, 1, 1], removed=2.0 * (third_min - 8.0))[0] is not None
        ) is worth
    assert saving_of(monkeypatch, [1, 1, 0])[0] is None
    # Where an area has sunk below its cut nothing comes off, and no time is taken.
    assert saving_of(monkeypatch, [3, 1, 1], removed=-3.0)[0].hours.p50 == pytest.approx(
        visits * 10.5 / 60
    )
    assert saving_of(monkeypatch, [3, 1, 1], ends=14.0)[0] is None


def test_ways_to_a_day_cut_last_at_each_visit_and_only_hold_before_it():
    """Visits in 2 and 9 days, the day in 15: what each leads to, one after the other."""
    one = stood([18.0, 4.0])
    target = np.array([19.0, 3.8])
    found = routes_to(one, [2, 9], 15, target, 0.8)
    assert [[cut[0].purpose for cut in route.cuts] for route in found] == [
        [],
        ["shape"],
        ["hold", "shape"],
    ]
    np.testing.assert_allclose(found[0].ended.stages, one.later(15).stages)
    assert found[0].hidden.all()
    assert found[0].regrown == [None, None]
    first = one.later(2)
    held = cut_to_last(first, 7, np.array([0.8]))
    hold = found[2].cuts[0]
    assert [cut.on for cut in hold] == [as_date(one.living.on_day + 2)] * 2
    assert [cut.cut_cm for cut in hold] == held.cut_cm.tolist()
    within = [cut.chance_within for cut in hold]
    np.testing.assert_allclose(within, held.ended.within().mean(axis=1))
    second = held.began.later(7)
    for route, arrived, day in ((found[1], first, 2), (found[2], second, 9)):
        last = route.cuts[-1]
        aim, off = (np.array([getattr(c, n) for c in last]) for n in ("cut_cm", "removed_cm"))
        growth = arrived.growth(15 - day)
        wanted = np.median(arrived.aims(one.living.stage_of(target), 15 - day, growth), axis=1)
        assert {cut.on for cut in last} == {as_date(one.living.on_day + day)}
        np.testing.assert_allclose(aim, np.clip(wanted, one.living.least_cut_cm, [22.0, 4.5]))
        began = arrived.cut(aim)
        ended = began.later(15 - day)
        assert ended.after_d == 15
        np.testing.assert_array_equal(route.ended.stages, ended.stages)
        start, end = (np.median(each.height_cm, axis=1) for each in (began, ended))
        taken = np.maximum(arrived.height_cm - began.height_cm, 0.0)
        np.testing.assert_allclose(off, np.median(taken, axis=1))
        often, inside = zip(*((cut.chance_needed, cut.chance_within) for cut in last), strict=True)
        np.testing.assert_allclose(often, (taken > 0.02 * arrived.height_cm).mean(axis=1))
        np.testing.assert_allclose(inside, ended.within().mean(axis=1))
        np.testing.assert_allclose(route.regrown, np.maximum(end - start, 0.0) / end)
        shown = (np.maximum(end - start, 0.0) / end < 0.15) & (off >= 0.02 * start)
        assert route.hidden.tolist() == (~shown).tolist()


def test_a_cut_that_takes_less_than_a_fiftieth_does_not_show():
    """Cut to 17.8 of 18 cm a day before, or to 17.6: a day at 10 % brings back 7 % of it."""
    one = stood([18.0, 4.0], areas=even())
    for aim, hidden in ((17.8, True), (17.6, False)):
        left = one.cut(np.array([aim, np.nan]))
        [_, route] = routes_to(one, [0], 1, np.median(left.later(1).height_cm, axis=1), 0.8)
        assert route.cuts[0][0].cut_cm == pytest.approx(aim, rel=1e-3)
        assert route.hidden[0] == hidden
        assert route.regrown[0] == pytest.approx(0.07, abs=0.005)
    # Of ten days at 5 % two fifths of what is left of half a centimetre come back.
    low = stood([18.0, 0.5], areas=replace(even(), floor_cm=np.array([6.0, 0.1])))
    [_, route] = routes_to(low, [0], 10, np.array([18.0, 0.4]), 0.8)
    assert route.regrown[1] == pytest.approx(1.0 - np.exp(-0.5), abs=0.02)


def test_an_uncut_area_is_best_from_the_day_on_which_its_middle_draw_enters_its_band():
    """Looked at every third day from the day after: 20 cm are passed in 10, 12 cm never entered."""
    areas = SimpleNamespace(area=np.arange(4))

    def later(days):
        heights = [10.0 + days, 30.0, 5.0, 15.0 + (days > 9) * 20.0]
        return SimpleNamespace(height_cm=np.repeat(heights, 3).reshape(4, 3))

    band = np.array([[20.0, 20.0, 20.0, 20.0], [22.0] * 4, [25.0] * 4])
    one = SimpleNamespace(living=areas, later=later)
    # From day 7 on: 7, 10, ... the first stands at 20 on day 10; the second is over its band, the
    # third never comes up to it, and the last jumps over it.
    assert _best_from(one, band, 6) == [10, None, None, None]
    assert _best_from(one, band, 5) == [12, None, None, None]
