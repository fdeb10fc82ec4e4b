"""The interval rule against a plain simulation of the same draws, and the laws it obeys."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from growthcast.fit.growth import fit_growth
from growthcast.say.reasons import reason
from growthcast.service.draws import stratified_normals
from growthcast.service.interval import interval_options, needed_budgets
from growthcast.service.living import HAND_SPREAD, living_areas
from growthcast.service.recommend import recommend
from tests.books import AREAS, HEADER, PRACTICE, TANKS, make_book
from tests.curve import height_after

ON = date(2026, 6, 1)


@pytest.fixture(scope="module")
def lobby(tmp_path_factory):
    """Return the living areas of the lobby tank: stems and carpet."""
    fit = fit_growth(make_book(tmp_path_factory.mktemp("book")), ON)
    return living_areas(fit, np.array([0]))


def grown_heights(living, interval_d, cut_cm):
    """Height of every area and draw after an interval, by the closed form of one span."""
    start = cut_cm[:, None] * np.exp(HAND_SPREAD * living.draws.hand)
    mean_rate = living.growth_after_cut(interval_d)[0] / interval_d
    return height_after(start, interval_d, mean_rate, living.draws.ceiling_cm)


@pytest.mark.parametrize("interval_d", [7, 14, 28])
def test_chances_are_those_of_a_plain_simulation(lobby, interval_d):
    option = interval_options(lobby, interval_d, np.array([0.9]))
    within = grown_heights(lobby, interval_d, option.cut_cm) <= lobby.budget_cm[:, None] * (
        1 + 1e-9
    )
    np.testing.assert_allclose(option.chance_within, within.mean(axis=1), atol=2 / 1024)
    assert option.chance_all_within[0] == pytest.approx(within.all(axis=0).mean(), abs=2 / 1024)


@pytest.mark.parametrize("interval_d", [7, 14, 28])
def test_the_rest_is_that_of_the_cut_it_follows(lobby, interval_d):
    """Visit by visit until nothing changes, each draw with its own growth and no luck."""
    option = interval_options(lobby, interval_d, np.array([0.9]))
    lasting = replace(lobby, errors=replace(lobby.errors, span=0.0)).growth(interval_d) / interval_d
    ceiling, cut = lobby.draws.ceiling_cm, option.cut_cm[:, None]
    pause = np.zeros(lasting.shape)
    for _ in range(40):
        end = height_after(cut, interval_d - pause, lasting, ceiling)
        taken = 1.0 - cut / end
        hard, tips = np.clip(2.0 * taken - 1.0, 0.0, 1.0), 1.0 - np.exp(-taken / 0.1)
        lost = lobby.pause_d[:, None] * hard + lobby.draws.lag_d * tips
        pause = 0.5 * (pause + np.minimum(lost, 0.9 * interval_d))
    _, rest_d = lobby.growth_after_cut(interval_d)
    assert np.sqrt(np.mean((rest_d - pause) ** 2, axis=1)).max() < 0.4  # a lag is up to 9 days
    assert pause.std(axis=1).max() > (0.3 if interval_d > 7 else 0.1)


def test_the_cut_is_the_highest_that_holds(lobby):
    option = interval_options(lobby, 7, np.array([0.9]))
    assert option.feasible[0]
    higher = grown_heights(lobby, 7, option.cut_cm * 1.03) <= lobby.budget_cm[:, None]
    assert higher.all(axis=0).mean() < 0.9


def test_joint_chance_is_below_each_areas_own(lobby):
    option = interval_options(lobby, 7, np.array([0.9]))
    assert (option.chance_within > option.chance_all_within[0]).all()


def test_presentable_days_are_those_of_a_daily_simulation(lobby):
    """Day by day: the days on which all stand between floor and budget, and those of some bare."""
    option = interval_options(lobby, 21, np.array([0.9]), 0.8 * lobby.floor_cm)
    assert option.share_of_days_bare[0] > 0.05
    draws = lobby.draws
    growth, rest_d = lobby.growth_after_cut(21)
    assert (rest_d > 0).any()
    awake_d = 21 - rest_d
    start = option.cut_cm[:, None] * np.exp(HAND_SPREAD * draws.hand)
    times = (np.arange(2100) + 0.5) / 100
    floor = lobby.floor_cm[:, None] * np.exp(-0.15)  # the error of a look
    inside, bare = [], []
    for t in times:
        awake = np.maximum(t - rest_d, 0.0)
        height = height_after(start, awake, growth / awake_d, draws.ceiling_cm)
        stands = (height >= floor) & (height <= lobby.budget_cm[:, None])
        inside.append(stands.all(axis=0).mean())
        bare.append((height < floor).any(axis=0).mean())
    assert option.share_of_days_bare[0] == pytest.approx(np.mean(bare), abs=0.003)
    assert option.share_of_days_presentable[0] == pytest.approx(np.mean(inside), abs=0.003)


def test_what_would_mend_it_does(lobby):
    lobby = replace(lobby, budget_cm=0.88 * lobby.budget_cm)
    option = interval_options(lobby, 10, np.array([0.9]))
    assert not option.feasible[0]
    budgets = needed_budgets(lobby, 10, np.array([0.9]), option.falls_short)
    mended = grown_heights(lobby, 10, lobby.least_cut_cm) <= budgets[:, None]
    assert mended.all(axis=0).mean() >= 0.9 - 2 / 1024
    assert (option.cut_needed_cm < lobby.least_cut_cm).any()
    low = grown_heights(lobby, 10, option.cut_needed_cm) <= lobby.budget_cm[:, None] * (1 + 1e-9)
    assert low.all(axis=0).mean() >= 0.9 - 2 / 1024


def test_a_budget_said_to_hold_does_although_areas_rest_less_under_it(lobby):
    """Cut less hard they pause less: the budget from today's growth alone would not do."""
    wanted = np.array([0.9])
    budgets = needed_budgets(lobby, 21, wanted, np.ones(2, bool))

    def chance(share):
        mended = replace(lobby, budget_cm=share * budgets)
        return interval_options(mended, 21, wanted).chance_at_least_cut[0]

    assert chance(1.002) >= 0.9 > chance(0.99)


def test_more_confidence_never_lengthens_the_interval(lobby):
    for interval_d in (7, 10, 14, 21, 28):
        feasible = [
            bool(interval_options(lobby, interval_d, np.array([c])).feasible[0])
            for c in (0.5, 0.7, 0.8, 0.9, 0.95, 0.99)
        ]
        assert feasible == sorted(feasible, reverse=True)


def test_more_confidence_never_raises_a_cut(lobby):
    cuts = [
        interval_options(lobby, 7, np.array([c])).cut_cm for c in (0.5, 0.7, 0.8, 0.9, 0.95, 0.99)
    ]
    assert (np.diff(np.array(cuts), axis=0) <= 1e-12).all()


def advice(folder, tank=None, **files):
    book = make_book(folder, **files)
    fit = fit_growth(book, ON)
    return recommend(book, fit, None if tank is None else np.array([tank]))


def test_one_tank_alone_gets_the_advice_it_gets_among_others(tmp_path):
    both, alone = advice(tmp_path / "a"), advice(tmp_path / "b", tank=1)
    assert alone == both[1:]


def test_a_higher_budget_never_shortens_the_interval(tmp_path):
    days = []
    for budget in (14, 18, 22, 30, 44):
        areas = AREAS.replace("400,7,22,9", f"400,7,{budget},9")
        tank = advice(tmp_path / str(budget), tank=0, areas=areas)[0]
        days.append(tank.recommended_interval_d or 0)
    assert days == sorted(days)
    assert days[0] < days[-1]


def test_the_limiting_area_is_named_with_what_would_mend_it(tmp_path):
    tank = advice(tmp_path, areas=AREAS.replace("400,7,22,9", "400,8,20,9"))[0]
    assert tank.limited_by == "stems"
    assert "Back stems" in reason(tank)
    assert "of height for Back stems" in reason(tank)


def test_no_feasible_interval_is_said_with_the_nearest(tmp_path):
    areas = AREAS.replace("400,7,22,9", "400,12,13,12")
    tank = advice(tmp_path, areas=areas)[0]
    assert tank.recommended_interval_d is None
    assert tank.limited_by == "stems"
    assert [short.area_id for short in tank.short] == ["stems"]  # the carpet holds
    assert reason(tank).startswith("no listed interval is short enough: at 7 days")


def test_a_cap_of_the_tank_limits_without_blaming_a_plant(tmp_path):
    tanks = TANKS.replace("home,Client B,34,", "home,Client B,34,10")
    areas = AREAS.replace("150,2,9,3", "150,2,20,3")
    home = advice(tmp_path, tanks=tanks, areas=areas)[1]
    assert home.recommended_interval_d == 10
    assert home.limited_by is None
    assert "own limit" in reason(home)


def test_a_cap_below_every_listed_interval_is_added(tmp_path):
    tanks = TANKS.replace("home,Client B,34,", "home,Client B,34,5")
    home = advice(tmp_path, tanks=tanks)[1]
    assert home.recommended_interval_d == 5
    assert [o.interval_d for o in home.options] == [5, 7, 10, 14, 21, 28]


def test_a_tank_without_a_living_area_gets_its_cap(tmp_path):
    areas = AREAS.replace("3,2025-01-01,\n", "3,2025-01-01,2026-03-01\n")
    assert areas != AREAS
    home = advice(tmp_path, areas=areas)[1]
    assert (home.recommended_interval_d, home.limited_by, home.options) == (28, None, ())
    assert "this tank has no planted area any more" in reason(home)


def test_advice_says_when_it_rests_on_the_species_table(tmp_path):
    logged, unlogged = advice(tmp_path)
    assert "1 of 2 areas on their tank or species elsewhere" in reason(logged)
    assert "1 of 1 areas on the species table alone" in reason(unlogged)
    assert [area.basis for area in logged.options[0].areas] == ["log", "tank"]


def test_a_longer_interval_never_has_the_better_chance_at_the_floor(tmp_path):
    for tank in advice(tmp_path):
        chances = [option.chance_at_least_cut for option in tank.options]
        assert chances == sorted(chances, reverse=True)


def test_chance_and_excess_agree(tmp_path):
    """Where an area surely stays inside, it is not over in one case of ten either."""
    for tank in advice(tmp_path):
        for option in tank.options:
            for area in option.areas:
                assert area.cm_over_budget_p90 == 0.0 or area.chance_within <= 0.9 + 1e-9


def test_the_books_confidence_holds_where_a_tank_has_none(tmp_path):
    easy = advice(
        tmp_path, practice=PRACTICE + "[targets]\nconfidence = 0.5\nintervals_d = [9, 3]\n"
    )
    assert easy[0].confidence == 0.5
    assert [o.interval_d for o in easy[0].options] == [3, 9]


def test_an_empty_log_still_gives_advice_from_the_table(tmp_path):
    tank = advice(tmp_path, trims=HEADER)[0]
    assert tank.recommended_interval_d is not None


def test_time_and_money_of_a_year(tmp_path):
    tank = advice(tmp_path)[0]
    for option in tank.options:
        assert option.minutes_per_visit > 50  # 30 at the tank and 20 on the road, then trimming
        visits = 365 / option.interval_d
        assert option.year.hours == pytest.approx(visits * option.minutes_per_visit / 60)
        assert option.year.cost == pytest.approx(60 * option.year.hours)


def test_stratified_normals_hold_the_same_quantiles_and_do_not_correlate():
    rows = stratified_normals(np.arange(300) * 16 + 3)
    np.testing.assert_array_equal(np.sort(rows, axis=1)[0], np.sort(rows, axis=1)[-1])
    correlation = np.corrcoef(rows)[np.triu_indices(300, 1)]
    # Independent orders of 1024 values correlate by 1/sqrt(1024) = 0.031.
    assert correlation.std() == pytest.approx(1 / 32, rel=0.05)
    assert np.abs(correlation).max() < 6 / 32
    with pytest.raises(ValueError, match="power of two"):
        stratified_normals(np.arange(2), 1000)
