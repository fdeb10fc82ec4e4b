"""Tanks and areas typed on a line each, and what is proposed where they leave something open."""

from __future__ import annotations

import pytest

from growthcast.book.begin.typed import (
    _heights,
    _round,
    area_typed,
    complete_areas,
    plant_meant,
    slug,
    tank_typed,
)
from growthcast.book.read import read_shipped_species
from growthcast.errors import UsageError

SPECIES = read_shipped_species()
TANK = tank_typed("lobby, Client A 120x45x50")


def test_a_tank_on_a_line():
    sides = {"length_cm": 120.0, "width_cm": 45.0, "water_depth_cm": 50.0}
    assert {"tank_id": "lobby", "client": "Client A", "name": None} | sides == TANK
    hall = tank_typed("Practice Hall 2, Dr. A, B 60,5 x 30 x 36")
    assert (hall["tank_id"], hall["client"]) == ("practice-hall-2", "Dr. A, B")
    assert (hall["name"], hall["length_cm"]) == ("Practice Hall 2", 60.5)
    assert tank_typed("desk 30")["length_cm"] is None
    assert slug(" Büro/Süd ") == "buro-sud"
    for line in ("lobby", "120x45x48", "lobby 120x45", ", A 48"):
        with pytest.raises(UsageError, match="write its name"):
            tank_typed(line)
    with pytest.raises(UsageError, match="there already"):
        tank_typed("Lobby 40", ["lobby"])


def test_an_area_on_a_line():
    assert area_typed("rotala ma b 9-22 400cm2 2026-01-15", "lobby", SPECIES) == {
        "tank_id": "lobby",
        "species_id": "rotala-macrandra",
        "place": "back",
        "floor_cm": 9.0,
        "budget_cm": 22.0,
        "area_cm2": 400.0,
        "planted_on": "2026-01-15",
    }
    assert "place" not in area_typed("java moss", "lobby", SPECIES)


@pytest.mark.parametrize(
    ("name", "plant"),
    [
        ("Anubias barteri nana", "anubias-barteri-nana"),
        ("anu b n", "anubias-barteri-nana"),  # not petite, which has a word more
        ("water wisteria", "hygrophila-difformis"),
        ("frogbit", "limnobium-laevigatum"),
    ],
)
def test_a_plant_goes_by_any_name_or_the_beginnings_of_its_words(name, plant):
    assert plant_meant(SPECIES, name) == plant


def test_what_may_be_several_plants_is_refused_with_them():
    with pytest.raises(
        UsageError, match=r"may be .*, rotala-macrandra, rotala-rotundifolia, .*: write more"
    ):
        plant_meant(SPECIES, "rotala")
    with pytest.raises(UsageError, match="has no plant"):
        plant_meant(SPECIES, "plastic plant")
    with pytest.raises(UsageError, match="has no plant"):
        plant_meant(SPECIES, "")


def test_what_is_open_is_proposed_and_says_so():
    lines = ["rotala ma b", "ludwigia re b", "rotala ma b", "java moss", "salvinia a"]
    rows = complete_areas([area_typed(one, "lobby", SPECIES) for one in lines], [TANK], SPECIES)
    ids = ["lobby-rotala", "lobby-ludwigia", "lobby-rotala-macrandra", "lobby-taxiphyllum"]
    assert [row["area_id"] for row in rows] == [*ids, "lobby-salvinia"]
    assert len({row["label"] for row in rows}) == 5
    back = rows[0]  # 120 x 45 cm of ground, 30 % of it the back's, shared by three; 50 cm deep
    assert (back["area_cm2"], back["floor_cm"], back["budget_cm"]) == (540.0, 10.0, 24.0)
    assert back["note"] == "proposed: area_cm2, floor_cm, budget_cm"
    assert (rows[3]["place"], rows[4]["place"]) == ("wood", "surface")
    assert (rows[4]["floor_cm"], rows[4]["budget_cm"], rows[4]["area_cm2"]) == (10.0, 60.0, 5400.0)


def test_what_is_known_stays_and_is_not_called_proposed():
    row = area_typed("rotala ma b 12-15 400cm2", "lobby", SPECIES)
    [whole] = complete_areas([{**row, "area_id": "stems"}], [TANK], SPECIES)
    assert (whole["area_id"], whole["floor_cm"], whole["budget_cm"]) == ("stems", 12.0, 15.0)
    assert "note" not in whole
    [half] = complete_areas([{**row, "floor_cm": None, "note": "near"}], [TANK], SPECIES)
    assert half["floor_cm"] == 9.0  # at most 60 % of its budget
    assert half["note"] == "near; proposed: floor_cm"


@pytest.mark.parametrize(
    ("place", "depth", "ceiling", "lowest", "heights"),
    [
        ("middle", 40.0, 20.0, 3.0, (7.0, 15.0)),  # 18 and 38 % of the water, in half centimetres
        ("", 40.0, 20.0, 3.0, (7.0, 15.0)),
        ("back", 40.0, 90.0, 3.0, (8.0, 19.0)),  # 20 and 48 %
        ("front", 40.0, 90.0, 0.5, (1.6, 4.5)),  # 4 and 11 %, a small one in millimetres
        ("middle", 40.0, 10.0, 3.0, (5.0, 8.0)),  # 80 % of the ceiling, 60 % of that
        ("middle", 20.0, 90.0, 6.0, (6.0, 10.0)),  # the lowest cut is 60 % of the budget
        ("middle", 20.0, 10.0, 6.0, (5.0, 8.0)),  # but nothing above 80 % of the ceiling
        ("middle", 20.0, 12.5, 4.0, (4.0, 7.5)),
    ],
)
def test_heights_are_proposed_by_place_water_and_plant(place, depth, ceiling, lowest, heights):
    plant = {"measure": "height_cm", "reaches_surface": "false"}
    plant |= {"ceiling_cm": ceiling, "lowest_cut_cm": lowest}
    assert _heights(place, depth, plant) == heights
    plant |= {"reaches_surface": "true", "ceiling_cm": 1.0}
    if ceiling > depth:  # the water is the ceiling of what reaches the surface
        assert _heights(place, depth, plant) == heights


def test_heights_are_rounded_as_people_agree_on_them():
    rounded = {2.94: 2.9, 2.96: 3.0, 3.0: 3.0, 3.24: 3.0, 3.26: 3.5, 12.8: 13.0}
    assert {cm: _round(cm) for cm in rounded} == rounded


def test_a_budget_lies_above_the_floor_that_was_given():
    """24 cm is 48 % of the water; a floor of 18 cm asks for 18 / 0.6 at least."""
    row = area_typed("rotala ma b 400cm2", "lobby", SPECIES)
    for floor, budget in ((18.0, 30.0), (12.0, 24.0)):
        [whole] = complete_areas([{**row, "floor_cm": floor}], [TANK], SPECIES)
        assert (whole["floor_cm"], whole["budget_cm"]) == (floor, budget)
        assert whole["note"] == "proposed: budget_cm"


def test_ids_and_labels_of_one_kind_are_told_apart():
    """The genus, then the whole name, then numbers; labels with their place, then numbers."""
    rows = [{"tank_id": "lobby", "species_id": "rotala-macrandra", "place": "back"}] * 4
    rows += [{"tank_id": "lobby", "species_id": "rotala-macrandra", "label": "mine"}]
    made = complete_areas(rows, [TANK], SPECIES)
    ids = ["lobby-rotala", "lobby-rotala-macrandra", "lobby-rotala-2", "lobby-rotala-3"]
    assert [row["area_id"] for row in made] == [*ids, "lobby-rotala-4"]
    first = made[0]["label"]
    assert first.endswith(", back")
    assert [row["label"] for row in made] == [first, *(f"{first} {n}" for n in (2, 3, 4)), "mine"]


def test_ground_is_not_made_up_without_length_and_width():
    bare = tank_typed("desk 30")
    with pytest.raises(UsageError, match="cannot be proposed, as the tank has no length and width"):
        complete_areas([area_typed("java moss", "desk", SPECIES)], [bare], SPECIES)


@pytest.mark.parametrize("depth_cm", [8.0, 20.0, 45.0, 90.0])
def test_every_plant_gets_a_floor_below_its_budget_below_what_it_reaches(depth_cm):
    tank = {**TANK, "water_depth_cm": depth_cm}
    ids = SPECIES.text("species_id").tolist()
    areas = [{"tank_id": "lobby", "species_id": plant} for plant in ids]
    for at, row in enumerate(complete_areas(areas, [tank], SPECIES)):
        cover = SPECIES.text("measure")[at] == "cover_pct"
        ceiling = 100 if cover else min(depth_cm, float(SPECIES.number("ceiling_cm")[at]))
        if SPECIES.flag("reaches_surface")[at]:
            ceiling = depth_cm
        assert 0 < row["floor_cm"] < row["budget_cm"] <= ceiling, ids[at]
