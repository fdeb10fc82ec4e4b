"""Doubts about a visit that was typed: both sides of every threshold, and the causes named."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from growthcast.book.writing.visit.entry import visit_rows
from growthcast.fit.growth import recalled_fit
from growthcast.growth.normal import normal_quantile
from growthcast.say.log import cause_words, doubt_words
from growthcast.service.doubts.judge import doubts_about, doubts_of_visit
from growthcast.service.doubts.typed import Expected, expected_at
from tests.books import HEADER, make_book, stem_log

ON = date(2026, 6, 8)
NORMALS = normal_quantile((np.arange(1024) + 0.5) / 1024)


@pytest.fixture(scope="module")
def book(tmp_path_factory):
    """Eight cuts of the stems to 9 cm; the carpet was never logged."""
    return make_book(tmp_path_factory.mktemp("doubts") / "book", trims=stem_log())


def expected(stems=(20.0, 0.0), carpet=(3.0, 0.0), **changes):
    """Return a tank whose heights are normal; readings are off by half a centimetre and 5 %.

    ``changes`` are those of the stems.
    """
    mean_cm, sd_cm = stems
    back = Expected(
        area_id="stems",
        label="Back stems",
        heights_cm=mean_cm + sd_cm * NORMALS,
        error_cm=0.5,
        error_share=0.05,
        floor_cm=7.0,
        budget_cm=22.0,
        lowest_cut_cm=5.0,
        gram_per_cm=10.0,
        log_gram_sd=0.5,
        weight_sd=0.2,
        guessed=False,
        is_cover=False,
    )
    mean_cm, sd_cm = carpet
    front = replace(
        back,
        area_id="carpet",
        label="Front carpet",
        heights_cm=mean_cm + sd_cm * NORMALS,
        error_cm=0.2,
        floor_cm=1.0,
        budget_cm=4.5,
        lowest_cut_cm=0.5,
        gram_per_cm=80.0,
    )
    return [replace(back, **changes), front]


def doubts(book, known, line, reading="all"):
    rows = visit_rows(book, "lobby", ON, line.split())
    return doubts_about(known, rows, book, ON, reading)


def columns(book, known, line, reading="all"):
    return [doubt.column for doubt in doubts(book, known, line, reading)]


def cause(book, known, line, reading="all"):
    return cause_words(doubts(book, known, line, reading)[0])


@pytest.mark.parametrize(
    ("typed", "far"), [("16.9", True), ("17", False), ("23", False), ("23.1", True)]
)
def test_a_reading_is_far_beyond_2_75_errors_of_a_sure_height(book, typed, far):
    """0.3 % lie beyond 2.748 deviations on a side; one of 20 cm is 1.118 cm."""
    assert columns(book, expected(), f"stems={typed}") == (["before_cm"] if far else [])


@pytest.mark.parametrize(
    ("typed", "far"), [("11.4", True), ("11.8", False), ("28.8", False), ("29.4", True)]
)
def test_the_forecasts_own_doubt_is_allowed_for(book, typed, far):
    """2.97 cm of forecast and 0.8 to 1.5 cm of reading are 3.1 to 3.3 cm together."""
    assert columns(book, expected((20.0, 2.97)), f"stems={typed}") == (["before_cm"] if far else [])


@pytest.mark.parametrize(
    ("typed", "far"), [("3.4", True), ("3.6", False), ("43", False), ("45", True)]
)
def test_an_area_never_logged_is_held_against_its_band(book, typed, far):
    known = expected((14.5, 3.0), guessed=True)
    assert columns(book, known, f"stems={typed}") == (["before_cm"] if far else [])


def test_a_doubt_says_what_was_found_what_was_expected_and_a_cause(book):
    [doubt] = doubts(book, expected((19.5, 1.2)), "stems=2.1")
    assert doubt_words(doubt) == (
        "2.1 cm; expected 18.0 to 21.0 cm (8 times in 10): a slipped decimal? 21 cm fits"
    )
    assert (doubt.area_id, doubt.column, doubt.found, doubt.unit) == (
        "stems",
        "before_cm",
        2.1,
        "cm",
    )
    assert doubt.expected == pytest.approx((17.96, 19.5, 21.04), abs=0.02)


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("stems=2.1", "a slipped decimal? 21 cm fits"),
        ("stems=205", "millimetres, or a slipped decimal? 20.5 cm fits"),
        ("stems=3 carpet=20", "swapped with Front carpet?"),
        ("carpet=20 stems=3", "swapped with Back stems?"),
        ("stems=9/20", "the heights before and after the wrong way round?"),
        ("stems=9", "the height after the cut? Write stems=/9 then"),
        ("stems=3", "a reading of Front carpet?"),
        ("stems=14", "a cut that is not in the log?"),
        ("stems=30", ""),
        ("stems=14+-0", "a cut that is not in the log?"),
        ("stems=/14+-0", "a cut that is not in the log?"),
    ],
)
def test_the_likeliest_cause_is_named(book, line, said):
    assert cause(book, expected(), line) == said


def test_a_cover_is_not_measured_in_millimetres(book):
    known = expected(is_cover=True)
    assert cause(book, known, "stems=200") == "a slipped decimal? 20 % fits"


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("20/7.8", []),
        ("20/7.7", ["cut to 7.7 cm; never below 9 cm in 8 cuts so far"]),
        (
            "20/0.9",
            ["cut to 0.9 cm; never below 9 cm in 8 cuts so far: a slipped decimal? 9 cm fits"],
        ),
        ("/22.9", []),
        ("/23.1", ["cut to 23.1 cm; expected to stand at 20.0 to 20.0 cm (8 times in 10)"]),
        ("22.9/22.9", []),
        ("-22.9", []),
        ("-14+/9", []),  # together they stood at 23 cm
        ("-14.1+/9", ["14.1 cm taken off; expected to stand at 20.0 to 20.0 cm (8 times in 10)"]),
        ("-23.1", ["23.1 cm taken off; expected to stand at 20.0 to 20.0 cm (8 times in 10)"]),
        ("-0", []),
        (
            "-100",
            [
                "100 cm taken off; expected to stand at 20.0 to 20.0 cm (8 times in 10): "
                "millimetres, or a slipped decimal? 10 cm fits"
            ],
        ),
    ],
)
def test_a_cut_is_held_against_what_stood_there_and_against_earlier_cuts(book, typed, said):
    assert [doubt_words(doubt) for doubt in doubts(book, expected(), f"stems={typed}")] == said


@pytest.mark.parametrize(("typed", "deep"), [("3/0.9", False), ("3/1.1", False), ("3/0.3", True)])
def test_few_cuts_are_held_against_what_the_species_stands(book, typed, deep):
    """The stated cut of the carpet is 1.5 cm; 0.9 cm is no farther below 1.3 than readings err."""
    stems, carpet = expected()
    known = [stems, replace(carpet, lowest_cut_cm=1.3)]
    assert columns(book, known, f"carpet={typed}") == (["after_cm"] if deep else [])


@pytest.mark.parametrize(
    ("stems", "line", "far"),
    [
        ((12.0, 1.0), "stems=over", True),
        ((17.0, 1.0), "stems=over", False),
        ((12.0, 1.0), "stems=short", True),
        ((9.0, 1.0), "stems=short", False),
        ((12.0, 1.0), "stems=right", False),
        ((40.0, 3.0), "stems=right", True),
        ((12.0, 1.0), "stems=12+over", False),
    ],
)
def test_a_look_is_doubted_where_it_was_very_unlikely(book, stems, line, far):
    assert columns(book, expected(stems), line) == (["look"] if far else [])


@pytest.mark.parametrize(
    ("line", "odd"),
    [
        ("stems=640g", False),  # 200 g stand there: lognormal with 0.5, 1 of 100 is 3.2 times that
        ("stems=650g", True),
        ("stems=1g", False),
        ("stems=20/10+365g", False),  # 100 g were cut, read to 1.4 cm: lognormal with 0.515
        ("stems=20/10+395g", True),
        ("stems=20/10+27g", False),
        ("stems=20/10+24g", True),
    ],
)
def test_a_weight_is_doubted_above_all_that_stands_or_far_from_what_was_cut(book, line, odd):
    assert columns(book, expected(), line) == (["removed_g"] if odd else [])


@pytest.mark.parametrize(
    ("line", "reading", "odd"),
    [
        ("1050g", "all", False),  # 440 g stand there, each area's weight lognormal with 0.5
        ("1150g", "all", True),
        ("stems=20/10 600g", "rest", False),  # 240 g stand on the carpet
        ("stems=20/10 800g", "rest", True),
        ("stems=20/10 800g", "all", False),
        ("stems=20/10 rest=800g", "all", True),
        ("stems=20/10 bucket=800g", "rest", False),
        ("stems=20/20 carpet=3/3 5g", "rest", False),
        ("stems=20/20 carpet=3 5g", "all", True),
        ("stems=20/10 carpet=3 100g", "all", False),
        ("stems=20/10 carpet=3 900g", "all", True),
        ("stems=90g carpet=60g 155g", "all", False),
        ("stems=90g carpet=60g 300g", "all", True),
    ],
)
def test_a_weight_of_the_tank_is_doubted_as_it_is_read(book, line, reading, odd):
    found = doubts(book, expected(), line, reading)
    assert [doubt.area_id for doubt in found] == ([None] if odd else [])


def test_what_a_weight_was_expected_to_be_is_said_with_its_range(book):
    [doubt] = doubts(book, expected((20.0, 0.0), (0.0, 0.0)), "900g")
    assert doubt_words(doubt) == (
        "900 g; everything that stands there is expected to weigh 200 g (105 to 380 g, 8 times in "
        "10): weighed with its water?"
    )


@pytest.mark.parametrize(
    ("line", "reading", "said"),
    [
        (
            "stems=20/10 800g",
            "rest",
            "everything that came out of the tank? Write bucket=800g then",
        ),
        ("stems=20/10+1000g", "all", "a slipped decimal? 100 g fits"),
        ("stems=20/10+0.1g", "all", "kilograms? 100 g fits"),
        ("stems=3000g", "all", "a slipped decimal? 300 g fits"),
        ("stems=90000g", "all", ""),
    ],
)
def test_the_likeliest_cause_of_a_weight_is_named(book, line, reading, said):
    assert cause(book, expected(), line, reading) == said


def test_amounts_logged_earlier_that_day_count_in_the_bucket(tmp_path):
    log = f"{HEADER}{ON},lobby,stems,20,10,,,,,\n"
    book = make_book(tmp_path, trims=log)
    known = expected((10.0, 0.0), (3.0, 0.0))
    assert columns(book, known, "carpet=3 100g") == []
    assert columns(book, known, "carpet=3 900g") == ["removed_g"]


def test_what_is_expected_comes_from_the_fit(book):
    fit = recalled_fit(book, ON)
    tank = expected_at(fit, book, "lobby")
    assert [area.area_id for area in tank] == ["stems", "carpet"]
    assert [area.label for area in tank] == ["Back stems", "Front carpet"]
    assert [area.guessed for area in tank] == [False, True]
    assert tank[0].range_cm[1] == pytest.approx(18.0, abs=0.7)
    assert [area.gram_per_cm for area in tank] == pytest.approx(
        [10.0, 81.0]
    )  # 25 and 90 g/l on 400 and 900 cm2
    assert not doubts(book, tank, "stems=18/9 carpet=3")
    assert cause(book, tank, "stems=1.8/0.9") == "a slipped decimal? 18 cm fits"
    rows = visit_rows(book, "lobby", ON, ["stems=1.8/9"])
    assert [doubt.found for doubt in doubts_of_visit(fit, book, "lobby", rows)] == [1.8]
    gone = recalled_fit(book, ON - timedelta(days=3000))
    assert expected_at(gone, book, "lobby") == []
