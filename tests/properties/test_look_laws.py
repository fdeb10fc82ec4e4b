"""What a look may do to what is known of a height, over all forms and bands."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest

from growthcast.book.book import Book
from growthcast.fit.growth import fit_growth
from growthcast.forecast.heights import LEVELS, forecast_heights
from tests.books import HEADER, make_book

pytestmark = pytest.mark.slow

ON = date(2026, 6, 1)
SPECIES = {
    "carpet": ("micranthemum-tweediei", 5.5),
    "rosette": ("cryptocoryne-wendtii", 26.0),
    "stem": ("rotala-rotundifolia", 44.0),
    "creeping": ("staurogyne-repens", 9.0),
    "epiphyte": ("leptochilus-pteropus", 32.0),
    "moss": ("taxiphyllum-barbieri", 9.0),
    "floating": ("limnobium-laevigatum", 95.0),
}
"""A plant of each form, and the height (or cover), a little below its ceiling, that bands share."""
LOW, MIDDLE, HIGH = (LEVELS.index(level) for level in (0.1, 0.5, 0.9))
PLANTED_D = (5, 20, 400)


def a_band(form, high, low, planted_d):
    """Return a form, its floor and budget, and how long ago the area was planted."""
    top = SPECIES[form][1]
    return form, round(low * high * top, 1), round(high * top, 1), planted_d


BANDS = [
    a_band(form, high, low, planted_d)
    for n, form in enumerate(SPECIES)
    for high, low, planted_d in (
        (0.85, 0.25, PLANTED_D[n % 3]),
        (0.35, 0.65, PLANTED_D[(n + 1) % 3]),
        (0.6, 0.4, 400),
    )
]


def book_of(folder, band, rows) -> Book:
    form, floor, budget, planted_d = band
    areas = (
        "area_id,tank_id,label,species_id,area_cm2,floor_cm,budget_cm,cut_cm,planted_on\n"
        f"a,lobby,,{SPECIES[form][0]},400,{floor},{budget},,{ON - timedelta(days=planted_d)}\n"
    )
    folder.mkdir(exist_ok=True)
    return make_book(folder, areas=areas, trims=HEADER + rows, on=ON)


def standing(folder, band, rows):
    """Low, middle and high height on the day, and the chance to be over."""
    fit = fit_growth(book_of(folder, band, rows), ON)
    areas, day = np.array([0]), np.array([fit.design.on_day])
    now = forecast_heights(fit, areas, day)
    quantiles = now.height_cm[0, 0]
    return quantiles[LOW], quantiles[MIDDLE], quantiles[HIGH], float(now.chance_over_budget[0, 0])


@pytest.mark.parametrize("band", BANDS, ids=str)
def test_a_look_says_where_it_says(tmp_path, band):
    _, floor, budget, planted_d = band
    low, middle, high, over = standing(tmp_path / "none", band, "")
    for look in ("short", "right", "over"):
        row = f"{ON},lobby,a,,,,,{look},,\n"
        new_low, new_middle, new_high, new_over = standing(tmp_path / look, band, row)
        # Newly planted and said to be over, it stands where the curve is steeper: as a share.
        assert new_high / new_low <= high / low
        if planted_d > 20:
            assert new_high - new_low <= high - low
        if look == "short":
            assert new_middle < middle
        elif look == "over":
            assert new_middle > middle
            assert new_over > over
        else:
            assert floor <= new_middle <= budget
            assert new_over <= over


@pytest.mark.parametrize("band", BANDS[::2], ids=str)
@pytest.mark.parametrize("look", ["short", "right", "over"])
def test_a_look_beside_a_height_changes_next_to_nothing(tmp_path, band, look):
    _, floor, budget, _ = band
    read = {"short": 0.8 * floor, "right": 0.5 * (floor + budget), "over": 1.1 * budget}[look]
    row = f"{ON},lobby,a,{read:.1f},,,,{{}},,\n"
    alone = standing(tmp_path / "alone", band, row.format(""))
    beside = standing(tmp_path / "beside", band, row.format(look))
    assert abs(beside[1] - alone[1]) < 0.25 * (alone[2] - alone[0])


def test_right_everywhere_for_three_months_raises_no_alarm(tmp_path):
    days = [ON - timedelta(days=7 * back) for back in range(12, -1, -1)]
    areas = "area_id,tank_id,label,species_id,area_cm2,floor_cm,budget_cm,cut_cm,planted_on\n"
    areas += "".join(
        f"{form},lobby,,{plant},300,{0.25 * top:.1f},{0.6 * top:.1f},,2025-01-01\n"
        for form, (plant, top) in SPECIES.items()
    )
    rows = "".join(f"{day},lobby,{form},,,,,right,,\n" for day in days for form in SPECIES)
    book = make_book(tmp_path, areas=areas, trims=HEADER + rows, on=ON)
    fit = fit_growth(book, ON)
    after = np.array([fit.design.on_day + 1.0])
    ahead = forecast_heights(fit, np.arange(len(SPECIES)), after)
    middle = ahead.height_cm[:, 0, MIDDLE]
    traits = fit.design.traits
    assert (middle > traits.floor_cm).all()
    assert (middle < traits.budget_cm).all()
    assert (ahead.chance_over_budget[:, 0] < 0.5).all()


def test_one_right_on_a_fresh_area_puts_it_inside(tmp_path):
    band = ("stem", 6.0, 15.0, 400)
    _, middle, _, over = standing(tmp_path, band, f"{ON},lobby,a,,,,,right,,\n")
    assert 6.0 < middle < 15.0
    assert over < 0.2
