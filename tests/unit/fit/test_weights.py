"""Weights of whole tanks: how they are read, and what they teach."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from scipy.stats import norm

from growthcast.fit.design import build_design
from growthcast.fit.growth import fit_growth
from growthcast.fit.model.spreads import Spreads
from growthcast.fit.sites.weights import _log_chance
from growthcast.forecast.heights import LEVELS, forecast_heights
from tests.books import HEADER, PRACTICE, make_book

ON = date(2026, 6, 1)
DAYS = [ON - timedelta(days=7 * back) for back in range(9, -1, -1)]
STEMS, CARPET = 0, 1
LOW, MIDDLE, HIGH = (LEVELS.index(level) for level in (0.1, 0.5, 0.9))
RNG = np.random.default_rng(5)
WOBBLE = RNG.normal(0.0, 0.05, len(DAYS))


def book_of(folder, rows):
    return make_book(folder, trims=HEADER + "".join(rows), on=ON)


def grams_per_cm(folder):
    """What a centimetre of each area weighs at the table's density."""
    return build_design(book_of(folder, []), ON).traits.gram_per_cm


def visits(heights, grams):
    """Rows of ten visits: the stems' heights, and a weight of the tank where one is given."""
    rows = []
    for day, (before, after), weight in zip(DAYS, heights, grams, strict=True):
        rows.append(f"{day},lobby,stems,{before:.1f},{after:.1f},,,,,\n")
        if weight is not None:
            rows.append(f"{day},lobby,,,,,{weight:.0f},,,\n")
    return rows


def heights_of(wobble):
    return [(18.0 + w, 9.0) for w in 10.0 * wobble]


@pytest.mark.parametrize(("whole", "carpet_cm"), [("all", 1.5), ("rest", 0.5)])
def test_the_log_tells_what_a_bucket_holds(tmp_path, whole, carpet_cm):
    """The carpet gives a little at every visit; the stems' 9 cm are in the weight, or not."""
    per_cm = grams_per_cm(tmp_path / "empty")
    heights = heights_of(WOBBLE)
    grams = [
        carpet_cm * per_cm[CARPET] + (per_cm[STEMS] * (before - after) if whole == "all" else 0.0)
        for before, after in heights
    ]
    fit = fit_growth(book_of(tmp_path / "book", visits(heights, grams)), ON)
    reading, why = fit.whole_tank_grams
    assert reading == whole
    assert "times as likely" in why


def test_without_a_word_a_bucket_holds_everything(tmp_path):
    """Where no area has amounts of its own, the two mean the same, and nothing tells them apart."""
    fit = fit_growth(book_of(tmp_path, [f"{ON},lobby,,,,,300,,,\n"]), ON)
    assert fit.whole_tank_grams == ("all", "nothing in the log tells, so everything")
    assert fit.as_dict()["whole_tank_grams"]["reading"] == "all"


def test_what_the_practice_says_is_not_asked_of_the_log(tmp_path):
    per_cm = grams_per_cm(tmp_path / "empty")
    heights = heights_of(WOBBLE)
    grams = [per_cm[STEMS] * (before - after) for before, after in heights]
    book = book_of(tmp_path / "book", visits(heights, grams))
    said = replace(book, practice=replace(book.practice, whole_tank_grams="rest"))
    assert fit_growth(said, ON).whole_tank_grams == ("rest", "as [log] whole_tank_grams says")


def test_a_bucket_beside_all_amounts_teaches_densities_and_leaves_heights(tmp_path):
    """What comes off is known by rulers; it weighs one and a half times what the table says."""
    per_cm = grams_per_cm(tmp_path / "empty")
    heights = heights_of(WOBBLE)
    grams = [1.5 * per_cm[STEMS] * (before - after) for before, after in heights]
    carpet = [f"{day},lobby,carpet,2.5,,,,,,\n" for day in DAYS]
    without = fit_growth(book_of(tmp_path / "none", [*visits(heights, [None] * 10), *carpet]), ON)
    fit = fit_growth(book_of(tmp_path / "book", [*visits(heights, grams), *carpet]), ON)
    learnt = fit.posterior(np.array([STEMS]))
    before = without.posterior(np.array([STEMS]))
    assert learnt.mean.log_density[0] == pytest.approx(np.log(1.5), abs=0.15)
    assert learnt.log_density_variance[0] < 0.4**2 * before.log_density_variance[0]
    assert not fit.unused_weights
    day = np.array([fit.design.on_day + 7.0])
    told, wanted = (
        forecast_heights(f, np.array([STEMS, CARPET]), day).height_cm for f in (fit, without)
    )
    np.testing.assert_allclose(told, wanted, rtol=0.02)


def test_a_weight_no_area_can_hold_bends_no_height(tmp_path):
    """Nine hundred grams, while one area of 200 cm2, 7 cm at most, has no amounts of its own."""
    areas = (
        "area_id,tank_id,label,species_id,area_cm2,floor_cm,budget_cm,cut_cm,planted_on\n"
        "stems,lobby,,rotala-rotundifolia,400,7,22,9,2025-01-01\n"
        "buce,lobby,,bucephalandra-pygmaea,200,2,7,,2025-01-01\n"
    )
    rows = visits(heights_of(WOBBLE), [900.0] * 10)
    book = make_book(tmp_path, areas=areas, trims=HEADER + "".join(rows), on=ON)
    fit = fit_growth(book, ON)
    now = forecast_heights(fit, np.array([0, 1]), np.array([fit.design.on_day])).height_cm[:, 0]
    assert fit.solution.converged.all()
    assert 7.0 < now[0, MIDDLE] < 11.0
    assert 1.0 < now[1, MIDDLE] < 8.0
    assert now[1, HIGH] - now[1, LOW] < 8.0


def test_a_bucket_says_how_likely_a_silent_area_was_cut(tmp_path):
    """The stems account for the weight, or the carpet must have given the most of it."""
    per_cm = grams_per_cm(tmp_path / "empty")
    heights = heights_of(WOBBLE)
    stems = [per_cm[STEMS] * (before - after) for before, after in heights]
    chances = []
    for name, more in (("none", 0.0), ("more", 2.0 * per_cm[CARPET])):
        rows = visits(heights, [gram + more for gram in stems])
        book = book_of(tmp_path / name, rows)
        said = replace(book, practice=replace(book.practice, whole_tank_grams="all"))
        cuts = fit_growth(said, ON).unsaid_cuts
        assert (cuts.area == CARPET).all()
        chances.append(cuts.chance.mean())
    assert chances[0] < chances[1] - 0.2


def test_what_is_planted_on_the_day_of_a_bucket_gave_nothing(tmp_path):
    """The old plant's trimmings and the new plant's height stay apart."""
    areas = (
        "area_id,tank_id,label,species_id,area_cm2,floor_cm,budget_cm,cut_cm,planted_on,removed_on\n"
        f"old,lobby,,rotala-rotundifolia,400,7,22,9,2025-01-01,{ON}\n"
        f"new,lobby,,rotala-macrandra,400,7,22,9,{ON},\n"
    )
    rows = [f"{day},lobby,old,18,9,,,,,\n" for day in DAYS[:-1]]
    rows += [f"{ON},lobby,,,,,600,,,\n", f"{ON},lobby,new,,6,,,,,\n"]
    book = make_book(tmp_path, areas=areas, trims=HEADER + "".join(rows), on=ON)
    fit = fit_growth(book, ON)
    now = forecast_heights(fit, np.array([1]), np.array([fit.design.on_day])).height_cm[0, 0]
    assert 4.5 < now[LOW] < now[MIDDLE] < now[HIGH] < 7.5


def test_one_weight_in_twenty_is_off_by_five_times_its_error():
    """A mixture of two normals, but for the root of two pi that both share."""
    off, variance = np.array([0.0, 1.0, 30.0]), np.array([1.0, 4.0, 9.0])
    sd = np.sqrt(variance)
    both = 0.95 * norm.pdf(off, 0.0, sd) + 0.05 * norm.pdf(off, 0.0, 5.0 * sd)
    assert _log_chance(off, variance) == pytest.approx(np.log(both * np.sqrt(2 * np.pi)))


@pytest.mark.slow
def test_a_bucket_of_the_rest_where_all_was_measured_is_no_other_tanks(tmp_path):
    """The moss has amounts of its own each day, so that nobody gave to the bucket of its tank."""
    rest = PRACTICE + '[log]\nwhole_tank_grams = "rest"\n'
    lobby = visits(heights_of(WOBBLE), [200.0] * len(DAYS))
    home = [f"{day},home,{row}\n" for day in DAYS for row in ("moss,9,3,,,,,", ",,,,40,,,")]
    unweighed = [row for row in home if "moss" in row]
    borders = []
    for name, rows in (("weighed", lobby + home), ("unweighed", lobby + unweighed)):
        trims = HEADER + "".join(rows)
        book = make_book(tmp_path / name, practice=rest, trims=trims, on=ON)
        borders.append(fit_growth(book, ON, Spreads()).solution.point.border)
    np.testing.assert_allclose(*borders, atol=1e-9)
