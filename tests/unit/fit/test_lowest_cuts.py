"""The log of an area lowers the lowest cut that the species table gives it, and no slip does."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest

from growthcast.fit.growth import fit_growth
from growthcast.say.ahead import away_sentence
from growthcast.say.cuts import watch_list
from growthcast.say.reasons import certainty_words, reason
from growthcast.service.recommend import recommend
from growthcast.service.visit.away import weeks_away
from growthcast.service.visit.cuts import cut_sheet
from tests.books import HEADER, make_book

ON, TABLE_CM = date(2026, 6, 1), 10.5
AREAS = """area_id,tank_id,label,species_id,area_cm2,floor_cm,budget_cm,cut_cm,planted_on,removed_on
crypts,lobby,Crypts,cryptocoryne-wendtii,400,6,13,,2025-01-01,
others,home,More crypts,cryptocoryne-wendtii,400,6,13,,2025-01-01,
"""


def rows(*amounts):
    """Return a log of weekly visits that ends today; each text holds the cells from before_cm."""
    days = [ON - timedelta(days=7 * back) for back in reversed(range(len(amounts)))]
    told = (f"{day},lobby,crypts,{cells}\n" for day, cells in zip(days, amounts, strict=True))
    return HEADER + "".join(told)


def fitted(folder, *amounts):
    book = make_book(folder, areas=AREAS, trims=rows(*amounts))
    return book, fit_growth(book, ON)


@pytest.mark.parametrize(
    ("cells", "lowest_cm"),
    [
        ("12,7.5,,,,,", 7.5),  # two heights
        (",7.5,4,,,,", 7.5),  # a height and a length
        ("12,,4.5,,,,", 7.5),  # the height follows from the two
        (",5,,,right,,", 5.0),  # it cannot have looked right at 5 cm
        (",7.5,,,right,,", TABLE_CM),  # right after the cut already: that shows no growth
        (",7.5,,,,,", TABLE_CM),  # nothing tells that it grew
        ("7.6,7.5,,,,,", TABLE_CM),  # within a ruler's error
        ("13,11.5,,,,,", TABLE_CM),  # a log of higher cuts never raises it
    ],
)
def test_logged_cuts_from_which_an_area_grew_teach_its_lowest_cut(tmp_path, cells, lowest_cm):
    _, fit = fitted(tmp_path, *[cells] * 6)
    assert fit.lowest_cut_cm[0] == pytest.approx(lowest_cm)
    assert fit.lowest_cut_cm[1] == TABLE_CM  # the same plant elsewhere


def test_one_slip_decides_nothing(tmp_path):
    _, fit = fitted(tmp_path, *["12.8,11,,,,,"] * 3, "12.8,7.1,,,,,", *["12.8,11,,,,,"] * 3)
    assert fit.lowest_cut_cm[0] == TABLE_CM


def test_rows_set_aside_do_not_count(tmp_path):
    slips = ["12.8,1.1,,,,,", "12.8,11,,,,,", "12.8,1.1,,,,,"]
    _, fit = fitted(tmp_path, *["12.8,11,,,,,"] * 8, *slips, *["12.8,11,,,,,"] * 8)
    assert len(fit.suspects) == 2
    assert fit.lowest_cut_cm[0] == TABLE_CM


def test_answers_that_the_table_decides_name_its_limit_and_how_to_change_it(tmp_path):
    book, fit = fitted(tmp_path, *["12.8,11,,,,,"] * 8)
    lobby = np.array([0])
    [advice] = recommend(book, fit, lobby, full=True)
    assert advice.recommended_interval_d is None
    sheet = cut_sheet(book, fit, 0, ON + timedelta(days=14))
    [away] = weeks_away(book, fit, ON, ON + timedelta(days=21), lobby)
    for said in (reason(advice), " ".join(watch_list(sheet)), away_sentence(away)):
        assert "species table says that cryptocoryne-wendtii is not cut below 10.5 cm" in said
        assert "write lowest_cut_cm in species.csv" in said
    [lower] = [mend for mend in advice.mends if mend.kind == "lowest cut"]
    assert lower.holds
    assert lower.values == (6.0,)
    assert advice.certainty.best_from_floor[0] < 0.05 < 0.4 < advice.certainty.chance_best
    assert "lowest cuts known from the species table" in certainty_words(advice, advice.certainty)


def test_a_log_of_low_cuts_makes_the_advice(tmp_path):
    book, fit = fitted(tmp_path, *["11,7.5,,,,,"] * 8)
    [advice] = recommend(book, fit, np.array([0]))
    assert advice.recommended_interval_d is not None
    cuts = {area.area_id: area.cut_cm for area in advice.options[-1].areas}
    assert cuts == {"crypts": pytest.approx(7.5)}
    assert "the log shows crypts growing on from 7.5 cm" in reason(advice)


def test_where_the_floor_decides_no_limit_is_named(tmp_path):
    book = make_book(tmp_path)
    [advice] = recommend(book, fit_growth(book, ON), np.array([0]), full=True)
    assert "species table says" not in reason(advice)
    assert advice.certainty.best_from_floor is None
