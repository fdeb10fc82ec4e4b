"""What is laid over a book in memory: rows, cells, conditions, and changes as they are typed."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from growthcast.book.names import plant_meant
from growthcast.book.supposed import (
    Changes,
    parse_changes,
    with_cells,
    with_conditions,
    with_planted_areas,
    with_references,
    with_rows,
)
from growthcast.errors import UsageError

CONDITIONS = """tank_id,from_date,ppfd_umol,co2_mg_l
T1,2026-01-01,90,
T1,2026-03-01,80,20
T2,2025-06-01,60,
"""
FEBRUARY = date(2026, 2, 1)


@pytest.fixture
def book(inspect):
    return inspect(conditions_csv=CONDITIONS)[0]


def cells(book, *names):
    table = book.conditions
    days = table.date("from_date").astype("datetime64[D]").tolist()
    columns = (table.number(name).tolist() for name in names)
    return list(zip(table.text("tank_id").tolist(), days, *columns, strict=True))


def test_rows_are_added_at_the_end_without_a_number(book):
    more = with_rows(book.areas, [{"area_id": "new", "tank_id": "T1", "area_cm2": 50.0}])
    assert more.rows.tolist() == [*book.areas.rows.tolist(), 0]
    assert more.text("area_id").tolist() == ["A1", "A2", "A3", "new"]
    assert more.number("area_cm2")[-1] == 50.0
    assert np.isnan(more.number("floor_cm")[-1])
    assert np.isnat(more.date("planted_on")[-1])
    said = {"floor_cm": 0.1 + 0.2, "label": 7.0, "planted_on": FEBRUARY}
    typed = with_rows(book.areas, [said])
    assert typed.number("floor_cm")[-1] == 0.1 + 0.2  # to the last digit
    assert typed.text("label")[-1] == "7.0"
    assert typed.date("planted_on")[-1] == np.datetime64(FEBRUARY)
    assert with_rows(book.areas, []) is book.areas
    with pytest.raises(KeyError, match="has no column depth"):
        with_rows(book.areas, [{"depth": 1.0}])


def test_cells_of_a_mask_are_changed_or_blanked(book):
    """A text may be longer than any that the column holds; the table itself stays."""
    where = np.array([False, True, False])
    label = "the carpet in front of the wood"
    other = with_cells(book.areas, where, {"label": label, "floor_cm": None})
    assert other.text("label").tolist() == ["left", label, "top"]
    assert np.isnan(other.number("floor_cm")).tolist() == [False, True, False]
    assert book.areas.text("label").tolist() == ["left", "front", "top"]


def test_a_reference_holds_from_the_first_day_of_the_tank_on(book):
    """Or from the day of the answer, where no condition is older."""
    for tank, on, first in (
        ("T1", FEBRUARY, date(2026, 1, 1)),
        ("T1", date(2025, 12, 1), date(2025, 12, 1)),
        ("T9", FEBRUARY, FEBRUARY),
    ):
        laid = with_references(book, tank, on, {"co2_mg_l": 25.0})
        assert cells(laid, "co2_mg_l")[-1] == (tank, first, 25.0)
    assert with_references(book, "T1", FEBRUARY, {}) is book


def test_supposed_conditions_outlast_those_of_later_days(book):
    laid = with_conditions(book, "T1", FEBRUARY, {"ppfd_umol": 50.0})
    found = [
        (*row[:2], *np.nan_to_num(row[2:]).tolist()) for row in cells(laid, "ppfd_umol", "co2_mg_l")
    ]
    assert found == [
        ("T1", date(2026, 1, 1), 90.0, 0.0),
        ("T1", date(2026, 3, 1), 0.0, 20.0),
        ("T2", date(2025, 6, 1), 60.0, 0.0),
        ("T1", FEBRUARY, 50.0, 0.0),
    ]
    same_day = with_conditions(book, "T1", date(2026, 3, 1), {"ppfd_umol": 50.0})
    assert np.isnan(same_day.conditions.number("ppfd_umol")[1])


def test_planted_areas_begin_on_their_day(book):
    laid = with_planted_areas(book, [{"area_id": "new", "tank_id": "T1"}], FEBRUARY).areas
    assert laid.date("planted_on")[-1] == np.datetime64(FEBRUARY)
    assert len(laid) == 4


def test_changes_are_conditions_or_areas_of_the_tank(book):
    found = parse_changes(["ppfd_umol = 60", "A1=hydrocotyle-tripartita"], book, 0)
    assert found == Changes({"ppfd_umol": 60.0}, {"A1": "hydrocotyle-tripartita"})
    assert found
    assert parse_changes(["A1=pennywort"], book, 0).plants == {"A1": "hydrocotyle-tripartita"}
    assert not parse_changes([], book, 0)


@pytest.mark.parametrize(
    ("texts", "why"),
    [
        (["ppfd_umol"], "is not NAME=VALUE"),
        (["=60"], "is not NAME=VALUE"),
        (["ppfd_umol="], "is not NAME=VALUE"),
        (["ppfd_umol=60", "ppfd_umol=70"], 'names "ppfd_umol" twice'),
        (["A1=rotala-rotundifolia", "A1=salvinia-natans"], 'names "A1" twice'),
        (["ppfd_umol=bright"], r'ppfd_umol: found "bright".*as in ppfd_umol=60'),
        (["photoperiod_h=25"], r'found "25".*as in photoperiod_h=7'),
        (["temperature_c=-9"], r'found "-9".*as in temperature_c=25'),
        (["co2_mg_l=-1"], r'found "-1".*as in co2_mg_l=10'),
        (["A3=salvinia-natans"], r"tank T1 has no such condition or area.*the areas of T1 are A1"),
        (["ppfd_umo=60"], 'did you mean "ppfd_umol"'),
        (["A1=roses"], 'the species table has no plant "roses"'),
    ],
)
def test_a_change_that_is_not_clear_is_named(book, texts, why):
    with pytest.raises(UsageError, match=f"(?is){why}"):
        parse_changes(texts, book, 0)


def test_a_plant_goes_by_any_of_its_names(book):
    for name in ("rotala-rotundifolia", "Rotala rotundifolia", "roundleaf toothcup"):
        assert plant_meant(book.species, name, "--to: ") == "rotala-rotundifolia"
    with pytest.raises(UsageError, match=r'--to: the species table has no plant "oak"'):
        plant_meant(book.species, "oak", "--to: ")
