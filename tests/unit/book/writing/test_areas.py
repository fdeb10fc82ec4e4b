"""A plant replaced, a tank given up, heights agreed anew: the files change there and only there."""

from __future__ import annotations

from datetime import date

import pytest

from growthcast.book.read import read_book
from growthcast.book.writing.areas import _fresh_id, _renamed, move_bounds, replace_area, retire
from growthcast.book.writing.journal import entries
from growthcast.errors import BookProblems, UsageError
from tests.unit.book.small_book import FILES, TODAY

ON = date(2026, 3, 10)


def areas_of(folder):
    return (folder / "areas.csv").read_text()


def test_a_plant_is_replaced_with_its_ground_and_heights(make_book):
    folder = make_book(areas_csv=FILES["areas.csv"].replace("T1,left,", "T1,left rotala,"))
    old = areas_of(folder)
    change = replace_area(folder, "A1", "Hydrocotyle tripartita", ON, today=TODAY, by="Ann")
    head, first, *others = old.splitlines()
    new = areas_of(folder).splitlines()
    # Every line gets room for the new column, and nothing else of it changes.
    assert new[0] == f"{head},removed_on"
    assert new[1] == f"{first},2026-03-10"
    assert new[2:-1] == [f"{line}," for line in others]
    assert new[-1] == "A1-2,T1,left hydrocotyle,hydrocotyle-tripartita,300,8,25,12,2026-03-10,"
    assert change.ended == ("A1",)
    assert change.summary == (
        "T1: A1 (rotala-rotundifolia) ends on 2026-03-10; A1-2 (hydrocotyle-tripartita) begins "
        "that day on 300 cm², floor 8 cm, budget 25 cm, cut 12 cm"
    )
    [entry] = entries(folder)
    assert (entry.command, entry.by, entry.summary) == ("replace", "Ann", change.summary)
    assert read_book(folder, today=TODAY).areas.text("area_id").tolist() == [
        "A1",
        *["A2", "A3", "A1-2"],
    ]


def test_the_label_that_a_next_plant_keeps_goes_on_naming_its_area(make_book):
    folder = make_book()
    replace_area(folder, "left", "hydrocotyle-tripartita", ON, today=TODAY)
    change = move_bounds(folder, "left", date(2026, 3, 20), budget_cm=20.0, today=TODAY)
    assert change.summary.startswith("T1: A1-2 from 2026-03-20 on: budget 25 cm to 20 cm")


def test_an_id_that_names_the_plant_names_the_next_one(make_book):
    files = {n: FILES[n].replace("A1", "back-rotala") for n in ("areas.csv", "trims.csv")}
    folder = make_book(areas_csv=files["areas.csv"], trims_csv=files["trims.csv"])
    plant = "hydrocotyle-tripartita"
    row = replace_area(folder, "back-rotala", plant, ON, today=TODAY, write=False).row
    assert row["area_id"] == "back-hydrocotyle"
    given = {"area_id": "new", "budget_cm": 7.0, "floor_cm": 3.0, "cut_cm": None}
    row = replace_area(folder, "back-rotala", plant, ON, given, today=TODAY, write=False).row
    assert [row[n] for n in ("area_id", "floor_cm", "budget_cm", "cut_cm")] == ["new", 3, 7, None]
    again = replace_area(folder, "back-rotala", "rotala-rotundifolia", ON, today=TODAY).row
    assert again["area_id"] == "back-rotala-2"


@pytest.mark.parametrize(
    ("area", "plant", "on", "said"),
    [
        ("A", "rotala-rotundifolia", ON, 'no area "A"; it may be A1, A2, A3: write'),
        ("A4", "rotala-rotundifolia", ON, 'no area "A4"; there are A1, A2'),
        ("A1", "rotala-rotundifola", ON, 'no plant "rotala-rotundifola"; did you mean'),
        ("A1", "rotala-rotundifolia", date(2025, 12, 31), "was planted on 2026-01-01, after"),
        ("A1", "salvinia-natans", ON, "also give floor_cm and budget_cm"),
    ],
)
def test_what_cannot_be_replaced_is_said_and_nothing_is_written(make_book, area, plant, on, said):
    folder = make_book()
    before = areas_of(folder)
    with pytest.raises(UsageError, match=said):
        replace_area(folder, area, plant, on, today=TODAY)
    assert areas_of(folder) == before
    assert not list(entries(folder))


def test_an_area_that_is_gone_is_not_replaced_or_moved(make_book):
    folder = make_book()
    replace_area(folder, "A1", "rotala-rotundifolia", ON, today=TODAY)
    for change in (
        lambda: replace_area(folder, "A1", "rotala-rotundifolia", ON, today=TODAY),
        lambda: move_bounds(folder, "A1", ON, floor_cm=5.0, today=TODAY),
    ):
        with pytest.raises(UsageError, match="was removed on 2026-03-10 already"):
            change()


def test_rows_logged_after_the_day_forbid_it(make_book):
    folder = make_book()
    with pytest.raises(BookProblems) as told:
        replace_area(folder, "A1", "rotala-rotundifolia", date(2026, 1, 20), today=TODAY)
    assert [item.slug for item in told.value.findings] == ["outside-life"]


def test_a_client_is_given_up_with_all_that_lives_there(make_book):
    folder = make_book()
    change = retire(folder, ON, client="a clinic", today=TODAY)
    assert change.ended == ("A1", "A2")
    assert change.summary == "a clinic: tank T1 given up on 2026-03-10; 2 areas end: A1, A2"
    ends = [line.rpartition(",")[2] for line in areas_of(folder).splitlines()]
    assert ends == ["removed_on", "2026-03-10", "2026-03-10", ""]
    with pytest.raises(UsageError, match="T1: no area lives beyond 2026-03-11; the last was remov"):
        retire(folder, date(2026, 3, 11), tank_id="T1", today=TODAY)
    with pytest.raises(UsageError, match="nothing was planted by 2025-12-01"):
        retire(folder, date(2025, 12, 1), tank_id="T2", today=TODAY)
    with pytest.raises(UsageError, match='no client "a schol"; did you mean "a school"'):
        retire(folder, ON, client="a schol", today=TODAY)
    with pytest.raises(UsageError, match="--tank ID, or all of a client's"):
        retire(folder, ON, today=TODAY)


def test_heights_are_agreed_anew_from_a_day_on(make_book):
    folder = make_book()
    before = areas_of(folder)
    change = move_bounds(folder, "A1", ON, budget_cm=20.0, cut_cm=10.0, today=TODAY)
    assert change.summary == (
        "T1: A1 from 2026-03-10 on: budget 25 cm to 20 cm, cut 12 cm to 10 cm"
    )
    assert (folder / "bounds.csv").read_text() == (
        "area_id,from_date,floor_cm,budget_cm,cut_cm,note\nA1,2026-03-10,,20,10,\n"
    )
    assert areas_of(folder) == before
    # The same day again corrects its row; what holds already is no change.
    move_bounds(folder, "A1", ON, budget_cm=21.0, today=TODAY)
    assert (folder / "bounds.csv").read_text().endswith("\nA1,2026-03-10,,21,10,\n")
    with pytest.raises(UsageError, match="has floor 8 cm, budget 21 cm, cut 10 cm on 2026-03-10"):
        move_bounds(folder, "A1", ON, budget_cm=21.0, today=TODAY)
    # What comes after takes the heights of its day.
    row = replace_area(folder, "A1", "rotala-rotundifolia", ON, today=TODAY, write=False).row
    assert [row["floor_cm"], row["budget_cm"], row["cut_cm"]] == [8, 21, 10]
    with pytest.raises(BookProblems) as told:
        move_bounds(folder, "A1", date(2026, 3, 20), floor_cm=22.0, today=TODAY)
    assert [(i.file, i.row, i.slug) for i in told.value.findings] == [
        ("bounds.csv", 3, "floor-at-budget")
    ]


def test_the_beginning_of_an_id_will_do(make_book):
    folder = make_book(areas_csv=FILES["areas.csv"].replace("A3", "B3"), trims_csv=None)
    assert move_bounds(folder, "b", ON, budget_cm=50.0, today=TODAY).row["area_id"] == "B3"
    areas = folder / "areas.csv"
    areas.write_text(areas.read_text().replace("20,2026-01-01", "20,"))  # planted before our time
    assert retire(folder, ON, tank_id="T2", today=TODAY, write=False).ended == ("B3",)


@pytest.mark.parametrize(
    ("name", "new"),
    [
        ("Rota 2", "anubias 2"),  # four letters name it
        ("rot-2", "rot-2"),
        ("left ROTALAS", "left anubias"),
        ("rotalasx", "rotalasx"),
        ("old rose", "old rose"),  # three letters of a name are none
        ("back_rotala-red", "back_anubias-red"),
    ],
)
def test_a_label_names_a_plant_by_a_word_of_four_letters_at_least(name, new):
    assert _renamed(name, ["rotala", "ros", "old"], "anubias-barteri") == new


def test_a_fresh_id_is_numbered_on_whatever_its_case():
    assert _fresh_id("stems", ["moss"]) == "stems"
    assert _fresh_id("stems", ["Stems", "stems-2"]) == "stems-3"
    assert _fresh_id("stems-3", ["stems-3", "stems-1"]) == "stems-2"


def test_what_is_given_up_is_counted_and_what_is_planted_later_is_asked_about(make_book):
    tanks = FILES["tanks.csv"].replace("a school", "a clinic") + "T3,a clinic,60,30,30,\n"
    folder = make_book(tanks_csv=tanks)
    both = retire(folder, ON, client="a clinic", today=TODAY, write=False)
    assert both.summary == (
        "a clinic: tanks T1, T2 given up on 2026-03-10; 3 areas end: A1, A2, A3"
    )
    one = retire(folder, ON, tank_id="T2", today=TODAY, write=False)
    assert one.summary == "tank T2 given up on 2026-03-10; 1 area ends: A3"
    with pytest.raises(UsageError, match="T3 has no area in areas"):
        retire(folder, ON, tank_id="T3", today=TODAY)
    later = FILES["areas.csv"].replace("2,6,,2026-01-01", "2,6,,2026-03-11")
    folder = make_book(areas_csv=later, trims_csv="date,tank_id\n")
    with pytest.raises(UsageError, match="planted after 2026-03-10: A2; take these rows out"):
        retire(folder, ON, tank_id="T1", today=TODAY)
    on_the_day = retire(folder, date(2026, 3, 11), tank_id="T1", today=TODAY, write=False)
    assert on_the_day.ended == ("A1", "A2")


def test_cover_is_said_in_per_cent_and_a_first_cut_without_one_before(make_book):
    folder = make_book()
    change = move_bounds(folder, "A3", ON, floor_cm=10.0, budget_cm=50.0, today=TODAY)
    assert change.summary == "T2: A3 from 2026-03-10 on: budget 60 % to 50 %"
    assert change.row == {"area_id": "A3", "from_date": ON, "budget_cm": 50.0}
    cut = move_bounds(folder, "A2", ON, cut_cm=3.0, today=TODAY, write=False)
    assert cut.summary == "T1: A2 from 2026-03-10 on: cut 3 cm"
    with pytest.raises(UsageError, match="A3 has floor 10 %, budget 50 %, cut 20 % on"):
        move_bounds(folder, "A3", ON, budget_cm=50.0, today=TODAY)
    with pytest.raises(UsageError, match="rotundifolia in cm and salvinia-natans in % cover"):
        replace_area(folder, "A1", "salvinia-natans", ON, {"floor_cm": 5.0}, today=TODAY)
    given = {"floor_cm": 5.0, "budget_cm": 50.0, "cut_cm": None}
    row = replace_area(folder, "A1", "salvinia-natans", ON, given, today=TODAY, write=False)
    assert row.summary.endswith(
        "(salvinia-natans) begins that day on 300 cm², floor 5 %, budget 50 %"
    )
    same = replace_area(folder, "A3", "salvinia-natans", ON, today=TODAY, write=False)
    assert same.row["budget_cm"] == 50.0  # as agreed on the day
