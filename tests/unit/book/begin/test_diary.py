"""An old diary as rows of the log, on tables written by hand. All of it invented."""

from __future__ import annotations

from datetime import date

import openpyxl
import pytest

from growthcast.book.begin.diary import (
    Diary,
    Meanings,
    meanings_text,
    plan_import,
    propose_meanings,
    read_diary,
    read_meanings,
    understand_diary,
    write_import,
)
from growthcast.book.writing.journal import entries
from growthcast.errors import UsageError
from tests.unit.book.small_book import TODAY

MARCH = date(2026, 3, 13)


def table(*lines):
    head, *rows = (tuple(line.split(";")) for line in lines)
    return Diary("old.csv", head, tuple(enumerate(rows, start=2)))


@pytest.fixture
def book(inspect):
    return inspect()[0]


def taken(book, *lines, **reading):
    """Understand a diary whose headings are the log's own names."""
    diary = table(*lines)
    found = understand_diary(diary, Meanings({h: h for h in diary.headings}, **reading), book)
    return [(n, dict(row)) for n, row in found.rows], [
        (one.row, one.why) for one in found.not_taken
    ]


def test_cells_are_bare_and_a_few_different_ones_are_shown():
    diary = table("day;what", "1; a ", "2;b", "3;a", "4", "5;;x", "6;c", "7;d")
    assert diary.column("what") == ["a", "b", "a", "", "", "c", "d"]
    assert diary.examples("what") == ['"a"', '"b"', '"c"']


@pytest.mark.parametrize("mark", [";", ",", "\t"])
def test_a_table_is_read_by_the_mark_its_heading_has_most_of(tmp_path, mark):
    text = 'day| plant |,;\n\n1|"a\nb"|\n|\n2|c|\n'.replace("|", mark)
    text = text.replace(f"plant {mark},;", f"plant {mark}x")
    (tmp_path / "old.csv").write_text(text)
    diary = read_diary(tmp_path / "old.csv")
    assert diary.headings == ("day", "plant", "x")
    assert [(n, cells[:2]) for n, cells in diary.rows] == [(3, ("1", "a\nb")), (5, ("2", "c"))]


def test_a_workbook_is_read_as_it_is_shown(tmp_path):
    made = openpyxl.Workbook()
    for row in (["day", "cm"], [date(2026, 3, 13), 18.5]):
        made.active.append(row)
    made.save(tmp_path / "old.xlsx")
    diary = read_diary(tmp_path / "old.xlsx")
    assert [cells for _, cells in diary.rows] == [("2026-03-13", "18.5")]


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("day,plant\n", "holds no rows"),
        ("", "cannot be read: 0 bytes"),
        ("day,day\n1,2\n", "two columns of one name"),
        ("day,,\n1,2,3\n", ""),  # headings that are blank are no names
    ],
)
def test_a_table_needs_rows_and_one_name_a_column(tmp_path, text, why):
    (tmp_path / "old.csv").write_text(text)
    if why:
        with pytest.raises(UsageError, match=why):
            read_diary(tmp_path / "old.csv")
    else:
        assert read_diary(tmp_path / "old.csv").headings == ("day", "", "")


def test_a_column_is_known_by_its_heading_else_by_what_all_of_its_cells_are(book):
    diary = table(
        "Vorher [cm];Höhe vorher;a;b;c;d;e;f;sky;",
        "18;19;T1;left;short;13.3.2026;;T1;soon;1",
        "18;19;a school;top;over;14.3.2026;;sun;13.3.2026;1",
    )
    assert propose_meanings(diary, book).columns == {
        "Vorher [cm]": "before_cm",
        "Höhe vorher": "",  # one meaning has one column
        "a": "tank_id",
        "b": "area_id",
        "c": "look",
        "d": "date",
        "e": "",
        "f": "",
        "sky": "",
    }
    # Each of these days can be read in one of the two orders only, and both are days.
    for cells, name in (("3/13/2026", "date"), ("13/3/2026", "date"), ("3/32/2026", "")):
        assert propose_meanings(table("x", cells), book).columns == {"x": name}


def test_meanings_that_are_kept_are_read_again(tmp_path):
    diary = table("day;how tall;x", "13.3.2026;18;", "14.3.2026;19;")
    kept = tmp_path / "columns.toml"
    meanings = Meanings({"day": "date", "how tall": "before_cm", "x": ""}, "day-first", "comma")
    kept.write_text(meanings_text(meanings, diary))
    assert '"how tall" = "before_cm" # as in "18", "19"' in kept.read_text()
    assert 'x = "" # as in nothing' in kept.read_text()
    assert read_meanings(kept, diary) == meanings
    kept.write_text('[columns]\nday = "date"\n')
    assert read_meanings(kept, diary) == Meanings({"day": "date", "how tall": "", "x": ""})


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("[columns\n", "cannot be read"),
        ('[columns]\nday = "days"\n', '"day": no column is'),
        ('[columns]\nday = "date"\nx = "date"\n', "two columns of the diary have one meaning"),
        ('[columns]\nday = ""\nx = ""\n', ""),
        ('[columns]\nplant = "area_id"\n', 'has no column "plant"'),
        ('[reading]\ndates = "day"\n', "dates: there is no"),
        ('[reading]\nnumbers = "dot"\n', "numbers: there is no"),
    ],
)
def test_meanings_that_are_not_understood_are_named(tmp_path, text, why):
    kept, diary = tmp_path / "columns.toml", table("day;x", "1;2")
    kept.write_text(text)
    if why:
        with pytest.raises(UsageError, match=why):
            read_meanings(kept, diary)
    else:
        assert read_meanings(kept, diary) == Meanings({"day": "", "x": ""})


def test_a_row_holds_what_its_cells_say_in_the_logs_units(book):
    rows, not_taken = taken(
        book,
        "date;tank_id;area_id;heights;before_cm;removed_g;minutes;look;note",
        "13.3.2026;T1;left;24/12;;0.12 kg;1:10;;tall",
        "14.3.2026;;top;;60;;;over;",
        "15.3.2026;T1;front;/3;;;;;",
    )
    assert not_taken == []
    one = {"date": MARCH, "tank_id": "T1", "area_id": "A1", "before_cm": 24.0, "after_cm": 12.0}
    other = {"date": date(2026, 3, 14), "tank_id": "T2", "area_id": "A3", "before_cm": 60.0}
    last = {"date": date(2026, 3, 15), "tank_id": "T1", "area_id": "A2", "after_cm": 3.0}
    assert rows == [
        (2, one | {"removed_g": 120.0, "minutes": 70.0, "note": "tall"}),
        (3, other | {"look": "over"}),
        (4, last),
    ]


def test_a_row_that_is_not_understood_is_left_out_with_the_reason(book):
    rows, not_taken = taken(
        book,
        "date;tank_id;area_id;before_cm",
        ";T1;left;18",
        "soon;T1;left;18",
        "13.3.2026;T1;left;tall",
        "13.3.2026;T9;left;18",
        "13.3.2026;T2;left;18",
        "13.3.2026;T1;left;",
        "13.3.2026;T1;left;301",
        "13.3.2026;T1;left;300",
    )
    assert [number for number, _ in rows] == [9]
    for (number, why), (row, said) in zip(
        not_taken,
        [
            (2, "no day"),
            (3, 'date: "soon" is not understood'),
            (4, 'before_cm: "tall" is not understood'),
            (5, 'no one tank goes by "T9"'),
            (6, 'no one area of that day goes by "left"'),
            (7, "nothing that the log holds"),
            (8, "before_cm: 301 is beyond"),
        ],
        strict=True,
    ):
        assert (number, said in why) == (row, True), why


def test_a_diary_without_days_or_with_two_orders_is_refused(book):
    with pytest.raises(UsageError, match="no column holds the days"):
        taken(book, "tank_id;before_cm", "T1;18")
    with pytest.raises(UsageError, match='column "date": "3/4/2026" may begin with'):
        taken(book, "date;area_id;before_cm", "3/4/2026;left;18")
    rows, _ = taken(book, "date;area_id;before_cm", "3/2/2026;left;1,5", dates="month-first")
    assert (rows[0][1]["date"], rows[0][1]["before_cm"]) == (date(2026, 3, 2), 1.5)


def test_the_time_at_the_tank_moves_to_the_tanks_own_row(book):
    """It is written beside areas: once a tank and day, the first time that is said."""
    rows, not_taken = taken(
        book,
        "date;tank_id;area_id;before_cm;visit_min;water_share",
        "13.3.2026;T1;left;18;60 min;50%",
        "13.3.2026;T1;front;4;70 min;",
        "13.3.2026;T2;top;;40 min;30%",
        "14.3.2026;T1;left;19;50 min;",
        "14.3.2026;T1;;;55 min;",
    )
    assert not_taken == []
    bare = [
        (n, r["tank_id"], r["area_id"], r.get("visit_min"), r.get("water_share")) for n, r in rows
    ]
    assert bare == [
        (2, "T1", "A1", None, None),
        (2, "T1", None, 60.0, 0.5),
        (3, "T1", "A2", None, None),
        (4, "T2", None, 40.0, 0.3),
        (5, "T1", "A1", None, None),
        (6, "T1", None, 55.0, None),
    ]


def test_what_the_log_refuses_or_has_is_listed_and_the_rest_is_written_at_once(make_book, book):
    folder = make_book()
    before = (folder / "trims.csv").read_bytes()
    diary = table(
        "date;area_id;before_cm;after_cm;note",
        "15.2.2026;top;50;21;",
        "16.3.2026;left;3;6;",
        "13.3.2026;left;18;9;",
        "13.3.2026;left;18;9;",
    )
    found = understand_diary(diary, Meanings({h: h for h in diary.headings}), book)
    plan = plan_import(folder, found, today=TODAY)
    assert [number for number, _ in plan.rows] == [4]
    assert [one.row for one in plan.not_taken] == [2, 3, 5]
    assert "trims.csv refuses it: after_cm: 6 cm" in plan.not_taken[1].why
    assert plan.before == before == (folder / "trims.csv").read_bytes()
    write_import(folder, plan, "old.csv")
    added = (folder / "trims.csv").read_bytes()
    assert added == plan.after
    assert added.startswith(before)
    assert added.count(b"\n") == before.count(b"\n") + 1
    assert [(one.command, one.summary) for one in entries(folder)] == [
        ("import", "1 rows from old.csv")
    ]
    again = plan_import(folder, found, today=TODAY)
    assert (again.rows, again.after) == ((), added)
    held = [one.row for one in again.not_taken if one.why == "the log has this row already"]
    assert held == [4, 5]


def test_a_log_with_problems_of_its_own_takes_nothing(make_book, book):
    folder = make_book(trims_csv="date,tank_id,area_id,before_cm,after_cm\n2026-02-01,T1,A1,9,18\n")
    diary = table("date;area_id;before_cm", "13.3.2026;left;18")
    found = understand_diary(diary, Meanings({h: h for h in diary.headings}), book)
    with pytest.raises(UsageError, match=r"trims.csv has problems of its own"):
        plan_import(folder, found, today=TODAY)
