"""What if: other conditions and plants from a day on, under the fit as it is."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from growthcast.book.supposed import Changes, parse_changes, with_conditions, with_planted_areas
from growthcast.book.tables import CONDITION_WORDS
from growthcast.errors import UsageError
from growthcast.fit.growth import fit_growth
from growthcast.fit.solver.view import departure_of
from growthcast.fit.supposed import fit_beside, suppose
from growthcast.forecast.heights import forecast_heights
from growthcast.growth.responses import CONDITIONS as ANSWERED
from growthcast.service.recommend import recommend
from tests.books import TANKS, make_book

ON = date(2026, 6, 1)
DAY = float(np.datetime64(ON, "D").astype(int))
CONDITIONS = """tank_id,from_date,ppfd_umol,photoperiod_h,co2_mg_l,temperature_c
lobby,2025-01-01,90,8,25,25
lobby,2026-06-08,140,,,
"""


@pytest.fixture(scope="module")
def known(tmp_path_factory):
    book = make_book(tmp_path_factory.mktemp("known") / "book", conditions=CONDITIONS)
    return book, fit_growth(book, ON)


def speed(fit, day):
    return fit.design.clock.speed(day)


def test_the_log_and_what_it_taught_do_not_move(known) -> None:
    book, fit = known
    supposed = suppose(book, fit, 0, Changes({"ppfd_umol": 30.0, "co2_mg_l": 3.0}, {}))
    assert supposed.fit.solution is fit.solution
    now = forecast_heights(fit, np.arange(2), np.array([DAY]))
    then = forecast_heights(supposed.fit, np.arange(2), np.array([DAY]))
    assert np.array_equal(now.height_cm, then.height_cm)
    later = np.array([DAY + 14.0])
    lower = forecast_heights(supposed.fit, np.arange(2), later).height_cm
    assert np.all(lower < forecast_heights(fit, np.arange(2), later).height_cm)


def test_what_grew_since_the_last_visit_grew_as_it_did(tmp_path) -> None:
    """Ten days after it the light is supposed to be half as strong, from then on."""
    book = make_book(tmp_path, conditions=CONDITIONS.replace("06-08", "06-05"))
    fit, on = fit_growth(book, date(2026, 6, 11)), DAY + 10.0
    then = suppose(book, fit, 0, Changes({"ppfd_umol": 45.0}, {})).fit
    first, second = (
        forecast_heights(one, np.arange(2), np.array([on, on + 1.0])).height_cm
        for one in (fit, then)
    )
    np.testing.assert_array_equal(first[:, 0], second[:, 0])
    assert (second[:, 1] < first[:, 1]).all()


def test_a_supposed_plant_leaves_the_others_where_they_were(known) -> None:
    book, fit = known
    supposed = suppose(book, fit, 0, Changes({}, {"stems": "hygrophila-corymbosa"}))
    old, new = (f.posterior(np.arange(3)) for f in (fit, supposed.fit))
    assert np.abs(old.mean.border - new.mean.border).max() < 1e-5
    assert np.abs(old.covariance - new.covariance).max() < 1e-5
    assert supposed.fit.design.alive.tolist() == [False, True, True, True]
    # ... and is fitted as it would be in a fit of the whole book with the spreads as learnt.
    whole = fit_growth(supposed.book, ON, fit.design.spreads)
    here, there = (f.posterior(np.array([3])) for f in (supposed.fit, whole))
    assert np.allclose(here.mean.border, there.mean.border, atol=0.02)
    assert np.allclose(here.covariance, there.covariance, atol=0.02)


def test_an_area_planted_at_a_known_height_is_fitted_too(known) -> None:
    book, fit = known
    row = {
        "area_id": "new",
        "tank_id": "lobby",
        "species_id": "rotala-wallichii",
        "area_cm2": 300.0,
        "floor_cm": 7.0,
        "budget_cm": 22.0,
        "planted_height_cm": 4.0,
    }
    laid, wide = fit_beside(book, fit, [row])
    assert wide.solution.converged.all()
    assert np.array_equal(wide.solution.point.border[:, :3], fit.solution.point.border)
    assert np.abs(departure_of(wide.solution.view)[:, 3]).max() < 1e-9
    now = forecast_heights(wide, np.array([3]), np.array([DAY])).height_cm[0, 0]
    assert now[0] < 4.0 < now[-1] < 6.0
    whole = fit_growth(laid, ON, fit.design.spreads).posterior(np.array([3]))
    assert np.allclose(wide.posterior(np.array([3])).mean.border, whole.mean.border, atol=0.02)


def test_areas_whose_rises_taught_stay_so_and_a_new_one_has_none(known) -> None:
    book, fit = known
    taught = np.array([True, False, True])
    view = fit.solution.view
    view = replace(view, problem=replace(view.problem, rises=taught))
    fit = replace(fit, solution=replace(fit.solution, view=view))
    row = {
        "area_id": "new",
        "tank_id": "lobby",
        "species_id": "rotala-wallichii",
        "area_cm2": 300.0,
        "floor_cm": 7.0,
        "budget_cm": 22.0,
    }
    problem = fit_beside(book, fit, [row])[1].solution.problem
    assert problem.rises.tolist() == [*taught, False]


def test_a_tank_without_co2_is_in_the_same_doubt_whatever_is_supposed_beside_it(tmp_path) -> None:
    """How much its plants want CO2 is that of those it has; of none it has, of those supposed."""
    conditions = CONDITIONS.replace("90,8,25", "90,8,0") + "bare,2025-01-01,60,8,0,25\n"
    book = make_book(tmp_path, conditions=conditions, tanks=TANKS + "bare,Client C,40,\n")
    fit = fit_growth(book, ON)
    names = ("rotala-macrandra", "anubias-barteri-nana", "elodea-canadensis")
    size = {"area_cm2": 100.0, "floor_cm": 3.0, "budget_cm": 12.0}
    rows = [
        {"area_id": f"{tank}-{n}", "tank_id": tank, "species_id": species, **size}
        for tank in ("lobby", "bare")
        for n, species in enumerate(names)
    ]
    wide = fit_beside(book, fit, rows)[1]
    before, after = (one.solution.view.pooled.tank_covariance[:, 0, 0] for one in (fit, wide))
    assert np.array_equal(after[:2], before[:2])
    assert after[2] > before[2]


def test_a_later_row_does_not_override_what_is_supposed(known) -> None:
    book, fit = known
    supposed = suppose(book, fit, 0, Changes({"ppfd_umol": 40.0}, {}))
    before, after = speed(supposed.fit, DAY + 1.0), speed(supposed.fit, DAY + 30.0)
    assert np.array_equal(before, after)
    assert speed(fit, DAY + 30.0)[0] > speed(fit, DAY + 1.0)[0] > before[0]
    # Of another condition the recorded row of next week holds all the same.
    warm = suppose(book, fit, 0, Changes({"temperature_c": 22.0}, {}))
    assert speed(warm.fit, DAY + 30.0)[0] > speed(warm.fit, DAY + 1.0)[0]
    assert np.array_equal(speed(warm.fit, DAY - 1.0), speed(fit, DAY - 1.0))


def test_a_condition_never_given_does_not_change_the_past(known) -> None:
    book, fit = known
    same = suppose(book, fit, 0, Changes({"k_mg_l": 15.0}, {}))
    assert same.assumed == {"k_mg_l": 15.0}
    assert same.now == {"k_mg_l": None}
    assert same.growth_factor == pytest.approx(1.0)
    less = suppose(book, fit, 0, Changes({"k_mg_l": 0.5}, {}))
    assert less.growth_factor[0] == pytest.approx(0.5)  # what the substrate leaves rooted stems
    assert np.array_equal(speed(less.fit, DAY - 1.0), speed(fit, DAY - 1.0))


def test_light_never_given_counts_as_the_reference(tmp_path: Path) -> None:
    book = make_book(tmp_path)
    fit = fit_growth(book, ON)
    same = suppose(book, fit, 0, Changes({"ppfd_umol": 100.0}, {}))
    assert same.growth_factor == pytest.approx(1.0)
    assert suppose(book, fit, 0, Changes({"ppfd_umol": 40.0}, {})).growth_factor[0] < 0.9


def test_no_co2_added_is_3_mg_per_litre_with_wider_ranges(known) -> None:
    book, fit = known
    none, three = (suppose(book, fit, 0, Changes({"co2_mg_l": c}, {})) for c in (0.0, 3.0))
    assert np.array_equal(none.growth_factor, three.growth_factor)
    now, then = (
        [forecast_heights(one.fit, np.arange(2), np.array([DAY + ahead])) for one in (none, three)]
        for ahead in (0.0, 14.0)
    )
    assert np.array_equal(now[0].height_cm, now[1].height_cm)
    width = [np.ptp(one.height_cm, axis=2) for one in then]
    assert width[0][0] > 1.2 * width[1][0]
    assert np.all(width[0] > width[1])
    [sure], [doubted] = (recommend(one.book, one.fit, np.array([0])) for one in (three, none))
    likely = [
        (more.chance_at_least_cut, less.chance_at_least_cut)
        for more, less in zip(sure.options, doubted.options, strict=True)
        if 0.6 < more.chance_at_least_cut < 0.99
    ]
    assert likely
    assert all(less < more for more, less in likely)


def test_supposing_what_a_tank_has_changes_nothing_where_no_co2_is_added(tmp_path) -> None:
    conditions = "tank_id,from_date,co2_mg_l\nlobby,2025-01-01,0\n"
    book = make_book(tmp_path, conditions=conditions)
    fit = fit_growth(book, ON)
    same = suppose(book, fit, 0, Changes({"co2_mg_l": 0.0}, {}))
    assert same.growth_factor == pytest.approx(1.0)
    assert same.now == {"co2_mg_l": 0.0}
    ahead = np.array([DAY + 14.0])
    before, after = (forecast_heights(f, np.arange(2), ahead) for f in (fit, same.fit))
    assert np.array_equal(before.height_cm, after.height_cm)


def test_less_growth_never_asks_for_more_visits(known) -> None:
    book, fit = known
    tank = np.array([0])
    [now] = recommend(book, fit, tank)
    dim = suppose(book, fit, 0, Changes({"ppfd_umol": 25.0, "co2_mg_l": 3.0}, {}))
    [then] = recommend(dim.book, dim.fit, tank)
    assert (then.recommended_interval_d or 0) >= (now.recommended_interval_d or 0)
    for before, after in zip(now.options, then.options, strict=True):
        assert after.chance_at_least_cut >= before.chance_at_least_cut


def test_only_the_tank_supposed_of_changes(known) -> None:
    book, fit = known
    dim = suppose(book, fit, 0, Changes({"ppfd_umol": 25.0}, {}))
    assert dim.growth_factor[2] == 1.0
    assert speed(dim.fit, DAY + 9.0)[2] == speed(fit, DAY + 9.0)[2]


def test_rows_are_laid_over_not_written(known) -> None:
    book, _ = known
    text = (book.folder / "conditions.csv").read_bytes()
    laid = with_conditions(book, "lobby", ON, {"ppfd_umol": 40.0})
    assert laid.conditions.number("ppfd_umol")[-1] == 40.0
    assert np.isnan(laid.conditions.number("ppfd_umol")[1])
    more = with_planted_areas(book, [{"area_id": "new one", "tank_id": "home"}], ON)
    assert more.areas.date("planted_on")[-1] == np.datetime64(ON)
    assert (book.folder / "conditions.csv").read_bytes() == text


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("ppfd_umol", "not NAME=VALUE"),
        ("=3", "not NAME=VALUE"),
        ("ppfd_umol=", "not NAME=VALUE"),
        ("ppfd_umol=-3", "expected"),
        ("ppfd_umol=60 umol", "ppfd_umol"),
        ("photoperiod_h=30", "24"),
        ("ppfd=60", 'did you mean "ppfd_umol"'),
        ("fe_mg_l=1", "iron"),
        ("ph=6.5", "co2_mg_l"),
        ("moss=rotala-rotundifolia", "no such condition or area"),  # of the other tank
        ("stems=rotala-rotundifolla", "did you mean"),
    ],
)
def test_what_is_not_clear_is_said(known, text: str, said: str) -> None:
    with pytest.raises(UsageError, match=said):
        parse_changes([text], known[0], 0)


def test_changes_are_read(known) -> None:
    changes = parse_changes(["ppfd_umol=60", "stems = Rotala wallichii"], known[0], 0)
    assert changes == Changes({"ppfd_umol": 60.0}, {"stems": "rotala-wallichii"})
    with pytest.raises(UsageError, match="twice"):
        parse_changes(["ppfd_umol=60", "ppfd_umol=50"], known[0], 0)


def test_a_plant_measured_otherwise_is_refused(known) -> None:
    book, fit = known
    with pytest.raises(UsageError, match="percent cover"):
        suppose(book, fit, 0, Changes({}, {"stems": "lemna-minor"}))


def test_what_may_be_supposed_is_what_growth_answers_to():
    assert tuple(CONDITION_WORDS) == ANSWERED
