"""The log of an area lowers the lowest cut that the species table gives it, and no slip does."""

from __future__ import annotations

from datetime import date, timedelta
from types import SimpleNamespace

import numpy as np
import pytest

from growthcast.fit.cuts import lowest_cuts_shown
from growthcast.fit.growth import fit_growth
from growthcast.fit.model.noise import ErrorModel
from growthcast.fit.rows.chains import Link
from growthcast.log.visits import Look
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


def shown(*visits, trust=1.0, copies=2):
    """Lowest cut shown by visits, each the fields of the nodes found, left and found next.

    A reading is off by 0.5 cm: above a height by 1 cm is clearly above it.
    """
    blank = {
        "reading_cm": np.nan,
        "removed_cm": np.nan,
        "aim_sd_cm": np.nan,
        "reading_sd_cm": np.nan,
    }
    nodes, previous = [], []
    for area, visit in enumerate(visits):
        for _ in range(copies):
            for n, fields in enumerate(visit):
                previous.append(len(nodes) - (n > 0))
                nodes.append(blank | {"area": area, "look": 0, "floor_cm": 6.0} | fields)
    fields = {name: np.array([node[name] for node in nodes]) for name in nodes[0]}
    chains = SimpleNamespace(nodes=SimpleNamespace(**fields), previous=np.array(previous))
    block = SimpleNamespace(chains=chains, trust=np.full(len(nodes), trust))
    count = len(visits)
    errors = ErrorModel(np.full(count, 0.5), np.zeros(count), 0.2, 0.1, 0.2)
    problem = SimpleNamespace(blocks=[block], errors=errors, area_count=count)
    return lowest_cuts_shown(problem).tolist()


FOUND = {"link": Link.FRESH, "reading_cm": 12.0}
LEFT = {"link": Link.AIMED, "reading_cm": 7.5, "aim_sd_cm": 0.6}


@pytest.mark.parametrize(
    ("left", "later", "lowest_cm"),
    [
        (LEFT, {"reading_cm": 8.6}, 7.5),  # clearly above the cut
        (LEFT, {"reading_cm": 8.4}, np.inf),
        (LEFT, {"look": Look.OVER}, 7.5),
        (LEFT, {"look": Look.RIGHT}, np.inf),  # right it looked after the cut already
        ({**LEFT, "reading_cm": 5.9}, {"look": Look.RIGHT}, 5.9),
        ({**LEFT, "reading_cm": 6.0}, {"look": Look.RIGHT}, np.inf),
        ({**LEFT, "aim_sd_cm": np.nan}, {"reading_cm": 9.0}, np.inf),  # no cut has left it
        ({**LEFT, "reading_sd_cm": 0.3}, {"reading_cm": 9.0}, np.inf),  # agreed, not measured
        ({"link": Link.CUT, "removed_cm": 5.0, "aim_sd_cm": 0.6}, {"reading_cm": 8.1}, 7.0),
        ({"link": Link.CUT, "removed_cm": 5.0, "aim_sd_cm": 0.6}, {"reading_cm": 7.9}, np.inf),
        ({"link": Link.WEIGHED, "removed_cm": 5.0, "aim_sd_cm": 0.6}, {"reading_cm": 9.0}, np.inf),
    ],
)
def test_a_cut_counts_where_growth_from_it_was_seen(left, later, lowest_cm):
    assert shown((FOUND, left, {"link": Link.GREW} | later)) == [lowest_cm]


@pytest.mark.parametrize(
    ("off", "link", "lowest_cm"),
    [(1.1, Link.CUT, 7.5), (0.9, Link.CUT, np.inf), (1.1, Link.WEIGHED, 7.5)],
)
def test_what_came_off_at_the_next_visit_shows_growth(off, link, lowest_cm):
    nodes = FOUND, LEFT, {"link": Link.GREW}, {"link": link, "removed_cm": off, "aim_sd_cm": 0.6}
    assert shown(nodes) == [lowest_cm]


def test_the_second_lowest_of_an_areas_cuts_counts_and_no_other_areas():
    grew = {"link": Link.GREW, "reading_cm": 11.0}
    visits = [(FOUND, {**LEFT, "reading_cm": cm}, grew) for cm in (7.0, 9.0)]
    both = (*visits[0], *visits[1], FOUND, {**LEFT, "reading_cm": 8.0}, grew)
    assert shown(both, *visits, copies=1) == [8.0, np.inf, np.inf]
    assert shown(*visits) == [7.0, 9.0]
    assert shown(*visits, trust=1e-4) == [np.inf, np.inf]


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
