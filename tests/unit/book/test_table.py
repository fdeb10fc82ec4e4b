"""Tables by column."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd
import pytest

from growthcast.book.cells.convert import value_of
from growthcast.book.read import book_of_frames
from growthcast.book.tables import column_of
from growthcast.errors import BookProblems, UsageError
from tests.unit.book.small_book import FILES, TODAY


def test_a_mask_keeps_every_kind_of_column(inspect):
    text = "weather," + FILES["trims.csv"].replace("\n2026", "\nsun,2026")
    book, _ = inspect(trims_csv=text)
    kept = book.trims.keep(np.array([False, True, False, True]))
    assert kept.rows.tolist() == [3, 5]
    assert kept.text("area_id").tolist() == ["A2", "A3"]
    assert kept.extra == {"weather": ("sun", "sun")}
    assert kept.codes("area_id").tolist() == [1, 2]
    assert book.trims.codes("tank_id").tolist() == [1, 1, 1, 2]


def test_absent_columns_are_there_and_blank(inspect):
    book, _ = inspect()
    assert np.isnan(book.areas.number("light_share")).all()
    assert book.areas.text("note").tolist() == [""] * 3
    assert np.isnat(book.areas.date("removed_on")).all()


def test_absent_files_are_tables_without_rows(inspect):
    book, findings = inspect(trims_csv=None, conditions_csv=None)
    assert [item.slug for item in findings] == ["no-log"]
    assert len(book.trims) == len(book.conditions) == 0
    assert book.trims.number("before_cm").shape == (0,)


def test_headers_alone_are_fine(inspect):
    header = FILES["trims.csv"].split("\n")[0]
    for text in (header, header + "\n"):
        book, findings = inspect(trims_csv=text, conditions_csv="tank_id,from_date\n")
        assert findings == ()
        assert len(book.trims) == 0


@pytest.mark.parametrize(
    ("name", "why"),
    [
        ("-a", 'which begins with "-"'),
        (".a", 'which begins with "."'),
        ("a/b", "which holds a slash or backslash"),
        ("a\\b", "which holds a slash or backslash"),
        ("a\x1fb", "which holds a control character"),
        ("a\x7f", "which holds a control character"),
        ("a\x9fb", "which holds a control character"),
        ("a\u00a0b", None),  # a space that prints as one
        ("a-b. c_\u00e9", None),
        ("~", None),
    ],
)
def test_why_a_text_is_no_id(name, why):
    text, fault = value_of(name, column_of("tanks", "tank_id"), False, True)
    assert (text, fault and fault.why) == (name, why)


def test_cells_that_are_given_are_told_from_blank_ones_in_every_kind(inspect):
    book, _ = inspect()
    assert book.trims.given("look").tolist() == [True, False, False, False]
    assert book.trims.given("removed_cm").tolist() == [False, True, False, False]
    assert book.trims.given("date").all()
    assert not book.areas.given("removed_on").any()
    first = book.trims.as_rows()[0]
    assert (first["area_id"], first["before_cm"], first["removed_g"]) == ("A1", 24.5, None)
    assert repr(book.trims) == "<trims.csv: 4 rows>"
    assert book.trims.places("area_id", np.array(["A3", "A1", "A1"])).tolist() == [1, -1, -1, 0]


def test_a_tank_keeps_its_own_word_and_else_the_practices(inspect):
    tanks = FILES["tanks.csv"].replace("confidence", "longest_interval_d").replace("0.95", "10")
    book, _ = inspect(tanks_csv=tanks)
    assert book.of_tanks("longest_interval_d").tolist() == [21.0, 10.0]
    assert book.of_tanks("fixed_min").tolist() == [35.0, 35.0]
    assert book.tanks_of("a school").tolist() == [1]
    with pytest.raises(UsageError, match=r'tanks.csv has no client "a scool"'):
        book.tanks_of("a scool")


def test_a_tank_has_ended_once_its_last_area_has(inspect):
    head = "area_id,tank_id,species_id,area_cm2,floor_cm,budget_cm,planted_on,removed_on\n"
    rows = (("A1", "T1", "2026-02-01"), ("A2", "T1", "2026-03-01"), ("A3", "T2", ""))
    areas = head + "".join(
        f"{area},{tank},rotala-rotundifolia,300,8,25,2026-01-01,{gone}\n"
        for area, tank, gone in rows
    )
    book, _ = inspect(areas_csv=areas, trims_csv=None, on=date(2026, 4, 1))
    assert book.ended_tanks(date(2026, 2, 28)) == set()
    assert book.ended_tanks(date(2026, 3, 1)) == {"T1"}


def test_a_book_of_one_tank_holds_its_areas_log_and_conditions_alone(inspect):
    book, _ = inspect()
    alone = book.only(["T2"])
    assert alone.tanks.text("tank_id").tolist() == ["T2"]
    assert alone.areas.text("area_id").tolist() == ["A3"]
    assert alone.trims.text("area_id").tolist() == ["A3"]
    assert alone.conditions.number("ppfd_umol").tolist() == [60.0]
    assert len(book.only(["T2", "T1"]).trims) == 4
    assert alone.species is book.species


def test_the_last_condition_of_a_tank_is_the_one_given_last_by_a_day(inspect):
    rows = "T1,2026-01-10,7\nT1,2026-03-01,4\nT1,2026-02-01,\nT2,2026-01-01,12\n"
    book, _ = inspect(conditions_csv=f"tank_id,from_date,kh_dkh\n{rows}")
    day = float(np.datetime64("2026-02-28").astype(int))
    assert book.latest_condition("kh_dkh", "T1") == 4.0
    assert [book.latest_condition("kh_dkh", "T1", day + n) for n in (0.0, 1.0)] == [7.0, 4.0]
    assert book.latest_condition("kh_dkh", "T2") == 12.0
    assert np.isnan(book.latest_condition("kh_dkh", "T2", day - 90.0))
    assert np.isnan(book.latest_condition("co2_mg_l", "T1"))


def test_frames_hold_a_book_as_files_do():
    """Dates are dates; what is wrong is said by row as in a file with a header."""
    tanks = pd.DataFrame({"tank_id": ["T1"], "water_depth_cm": [40.0]})
    area = {"area_id": ["A1"], "tank_id": ["T1"], "species_id": ["salvinia-natans"]}
    area |= {"area_cm2": [300.0], "floor_cm": [8.0], "budget_cm": [25.0]}
    areas = pd.DataFrame(area | {"planted_on": [pd.Timestamp("2026-01-01")]})
    for practice in ("", {"practice": {"name": "P"}}, '[practice]\nname = "P"\n'):
        book = book_of_frames(practice, {"tanks": tanks, "areas": areas}, TODAY)
        assert book.areas.date("planted_on")[0] == np.datetime64("2026-01-01")
        assert book.practice.name == ("P" if practice else "")
    with pytest.raises(BookProblems, match=r"areas.csv:2"):
        book_of_frames("", {"tanks": tanks, "areas": areas.assign(floor_cm=-1.0)}, TODAY)
    with pytest.raises(UsageError, match="a book has no table"):
        book_of_frames("", {"tank": tanks}, TODAY)
    for practice in (3, "practice.toml"):
        with pytest.raises(UsageError, match="practice is the text of"):
            book_of_frames(practice, {"tanks": tanks}, TODAY)
    day = pd.Timestamp(TODAY) + pd.Timedelta(days=2)
    trims = pd.DataFrame({"date": [day], "tank_id": ["T1"], "area_id": ["A1"], "before_cm": [9.0]})
    frames = {"tanks": tanks, "areas": areas, "trims": trims}
    assert len(book_of_frames("", frames, day.date()).trims) == 1
    with pytest.raises(BookProblems, match=r"trims.csv:2:A: date"):
        book_of_frames("", frames, TODAY)
