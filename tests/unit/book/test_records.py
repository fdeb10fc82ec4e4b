"""Where a cell stands, whatever its file was written by."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import numpy as np
import pytest

from growthcast.book import read as reading
from growthcast.book.cells import records
from growthcast.book.files import find_book
from growthcast.book.findings import count_of, format_finding, format_findings
from growthcast.book.read import inspect_book, read_book
from growthcast.book.words import is_one_slip, nearest
from growthcast.errors import BookProblems, MissingBook
from tests.unit.book.small_book import FILES, TODAY

HEADER = "date,tank_id,area_id,before_cm,note\n"


def places(findings):
    return [(item.slug, item.file, item.row, item.column) for item in findings]


def test_a_row_is_a_record_and_a_blank_line_counts(inspect):
    text = HEADER + '2026-02-01,T1,A1,24,"two\nlines"\n\n,,,,\n2026-02-08,T1,A1,tall,\n'
    _, findings = inspect(trims_csv=text)
    assert places(findings) == [("not-a-number", "trims.csv", 5, "D")]


def test_blank_lines_above_the_header(inspect):
    _, findings = inspect(trims_csv="\n\n" + HEADER + "2026-02-01,T1,A1,tall,\n")
    assert places(findings) == [("not-a-number", "trims.csv", 4, "D")]


def test_a_line_that_names_the_separator(inspect):
    text = "sep=;\n" + HEADER.replace(",", ";") + "2026-02-01;T1;A1;24,5;x\n"
    book, findings = inspect(trims_csv=text)
    assert book.trims.number("before_cm").tolist() == [24.5]
    assert book.trims.rows.tolist() == [3]
    assert {item.slug for item in findings} == {"delimiter", "decimal-comma-file"}


def test_semicolons_with_decimal_points(inspect):
    text = HEADER.replace(",", ";") + "2026-02-01;T1;A1;24.5;1,5 of something\n"
    book, findings = inspect(trims_csv=text)
    assert book.trims.number("before_cm").tolist() == [24.5]
    assert [item.slug for item in findings] == ["delimiter"]


def test_an_unquoted_decimal_comma_never_shifts_cells(inspect):
    _, findings = inspect(trims_csv=HEADER + "2026-02-01,T1,A1,24,5,\n")
    assert places(findings) == [("long-row", "trims.csv", 2, "F")]


def test_a_table_padded_by_a_spreadsheet(inspect):
    text = HEADER.replace("\n", ",,\n") + "2026-02-01,T1,A1,24,x,,\n"
    book, findings = inspect(trims_csv=text)
    assert findings == ()
    assert book.trims.text("note").tolist() == ["x"]


def test_the_one_row_that_ends_early_is_torn(inspect):
    lines = FILES["trims.csv"].splitlines()
    lines[2] = "2026-02-01,T1,A2"
    _, findings = inspect(trims_csv="\n".join(lines) + "\n")
    assert ("torn-row", "trims.csv", 3, None) in places(findings)


def test_blank_cells_left_out_at_the_end_are_read(inspect):
    rows = "".join(f"2026-02-0{day},T1,A1,24.5\n" for day in range(1, 5))
    book, findings = inspect(trims_csv=HEADER + rows)
    assert places(findings) == [("short-rows", "trims.csv", 2, None)]
    assert book.trims.text("note").tolist() == [""] * 4


def test_unknown_columns_are_kept(inspect):
    book, _ = inspect(trims_csv="weather," + HEADER + "sunny,2026-02-01,T1,A1,24,\n")
    assert book.trims.extra == {"weather": ("sunny",)}


def test_known_columns_in_other_case(inspect):
    book, findings = inspect(trims_csv=" Date ,TANK_ID,Area_Id,Before_CM\n2026-02-01,T1,A1,24\n")
    assert findings == ()
    assert len(book.trims) == 1


@pytest.mark.parametrize("name", ["before cm", "before-cm", "Before (cm)", "befroe_cm", "before_c"])
def test_did_you_mean_a_column(inspect, name):
    _, findings = inspect(trims_csv=HEADER.replace("before_cm", name) + "2026-02-01,T1,A1,24,\n")
    hit = next(item for item in findings if item.slug == "near-column")
    assert (hit.column, hit.fix) == ("D", 'did you mean "before_cm"?')


def test_did_you_mean_an_id(inspect):
    _, findings = inspect(trims_csv=HEADER + "2026-02-01,t1,A1,24,\n")
    assert findings[0].fix == 'did you mean "T1"?'


def test_na_is_an_id_like_any_other(inspect):
    tanks = FILES["tanks.csv"] + "NA,,,,30,\n"
    book, findings = inspect(tanks_csv=tanks)
    assert findings == ()
    assert book.tanks.text("tank_id").tolist() == ["T1", "T2", "NA"]


def test_utf16_without_its_mark_says_so(inspect):
    _, findings = inspect(trims_csv=FILES["trims.csv"].encode("utf-16-le"))
    assert [item.slug for item in findings] == ["nul-bytes"]


def test_a_link_to_nowhere(make_book):
    folder = make_book(trims_csv=None)
    (folder / "trims.csv").symlink_to(folder / "gone.csv")
    _, findings = inspect_book(folder, today=TODAY)
    assert places(findings) == [("unreadable-file", "trims.csv", None, None)]


def test_a_file_one_may_not_read(make_book, monkeypatch):
    folder, opened = make_book(), Path.open

    def refused(self, *arguments, **named):
        if self.name == "trims.csv":
            raise PermissionError(13, "Permission denied")
        return opened(self, *arguments, **named)

    monkeypatch.setattr(Path, "open", refused)
    _, findings = inspect_book(folder, today=TODAY)
    assert places(findings) == [("unreadable-file", "trims.csv", None, None)]
    assert findings[0].fix == "change its permissions"


def test_a_file_that_changes_is_read_once_more(make_book, monkeypatch):
    folder = make_book()
    path, stat, written = folder / "trims.csv", Path.stat, []

    def written_once(self, **kwargs):
        if self == path and len(written) < 4:
            written.append(1)
            if len(written) == 4:  # after the first reading
                path.write_text(HEADER + "2026-02-01,T1,A1,24,\n")
        return stat(self, **kwargs)

    monkeypatch.setattr(Path, "stat", written_once)
    book, findings = inspect_book(folder, today=TODAY)
    assert findings == ()
    assert len(book.trims) in {1, 4}
    assert len(written) == 4


def test_everything_is_found_at_once(inspect):
    _, findings = inspect(
        practice_toml="[practice]\ncurrency = 3\n[targets]\nconfidence = 90\n",
        tanks_csv="tank_id,water_depth_cm\nT1,deep\nT2,30\n",
        trims_csv=HEADER + "2026-02-01,T1,A7,24,\nsoon,T1,A1,-3,\n",
    )
    assert {(item.file, item.row) for item in findings} == {
        ("practice.toml", 2),
        ("practice.toml", 4),
        ("tanks.csv", 2),
        ("trims.csv", 2),
        ("trims.csv", 3),
    }
    assert len(findings) == 6


def test_at_most_twenty_a_file_then_a_count(inspect):
    rows = "".join(f"2026-02-01,T1,A1,{n} cm,\n" for n in range(30))
    _, findings = inspect(trims_csv=HEADER + rows)
    text = format_findings(item for item in findings if item.slug == "unit-in-number")
    assert text.count("[unit-in-number]") == 20
    assert text.splitlines()[-1] == "trims.csv: and 10 more (10 problems)"


def test_one_fault_in_many_rows_is_told_once_with_its_rows(inspect):
    rows = "".join(f"2027-02-01,T1,A{n},24,\n" for n in (1, 2)) + "2026-02-01,T1,A1,24,\n"
    rows += "2027-02-01,T2,A3,24,\n2026-02-01,T1,A2,tall,\n"
    _, findings = inspect(trims_csv=HEADER + rows)
    assert [item.row for item in findings] == [2, 3, 5, 6]
    lines = format_findings(findings).splitlines()
    assert lines[0].startswith("trims.csv:2:A: date: found 2027-02-01, which is after today")
    assert lines[3] == "    rows:     2 to 3, 5 (3 rows)"
    assert lines[4].startswith("trims.csv:6:D: before_cm: found")
    assert count_of(findings) == "2 problems"
    assert str(BookProblems(findings)).startswith("the book has 2 problems")


def test_a_log_without_the_column_of_areas_has_one_problem(inspect):
    rows = "".join(f"2026-02-{n:02d},T1,A1,{n + 10},9\n" for n in range(1, 25))
    _, findings = inspect(trims_csv="date,tank_id,area,before_cm,after_cm\n" + rows)
    assert [(item.row, item.slug) for item in findings] == [
        (1, "missing-column"),
        (1, "unknown-column"),
    ]


def test_the_wording_of_the_style_guide(inspect):
    _, findings = inspect(trims_csv=HEADER + "2026-02-01,T1,A1,12 cm,\n")
    assert format_finding(findings[0]) == (
        'trims.csv:2:D: before_cm: found "12 cm", a number with its unit [unit-in-number]\n'
        "    expected: centimetres above 0, at most 300\n"
        "    fix:      write 12"
    )


def test_own_species_are_laid_over_cell_by_cell(inspect):
    own = "species_id,rate_per_day,common_name,reaches_surface\nrotala-rotundifolia,0.11,,FALSE\n"
    book, _ = inspect(species_csv=own)
    assert book.species.number("rate_per_day").tolist() == [0.11, 0.09, 0.2]
    assert book.species.text("common_name")[0] == "roundleaf toothcup"
    assert not book.species.flag("reaches_surface")[0]


def test_identical_rows_are_read_once(inspect):
    row = "2026-02-01,T1,A1,24,\n"
    book, findings = inspect(trims_csv=HEADER + row + row)
    assert book.trims.rows.tolist() == [2]
    assert [item.slug for item in findings] == ["same-rows"]


@pytest.mark.parametrize(
    ("first", "second", "fix"),
    [
        ("24,", ",a snail", "put the note of row 3 into row 2"),
        (",a snail", "24,", "put the note of row 2 into row 3"),
        ("24,", "25,", "put both into one row, or correct the date or the id of one"),
    ],
)
def test_a_note_of_its_own_belongs_into_the_row_with_the_amounts(inspect, first, second, fix):
    rows = [f"2026-02-01,T1,A1,{row}\n" for row in (first, second)]
    _, findings = inspect(trims_csv="date,tank_id,area_id,before_cm,note\n" + "".join(rows))
    assert [(item.slug, item.fix) for item in findings] == [("two-rows", fix)]
    later = "2026-01-31,T1,A1,20,\n2026-01-31,T1,A2,5,\n"
    lines = "date,tank_id,area_id,before_cm,note\n" + later + "".join(rows)
    _, findings = inspect(trims_csv=lines)
    moved = fix.replace("row 3", "row 5").replace("row 2", "row 4")
    assert [(item.slug, item.row, item.fix) for item in findings] == [("two-rows", 5, moved)]


def test_conditions_planned_for_later_are_kept(inspect):
    text = FILES["conditions.csv"] + "T1,2027-01-01,120,8,25,25\n"
    book, findings = inspect(conditions_csv=text, on=date(2026, 3, 1))
    assert findings == ()
    assert len(book.conditions) == 3


def test_whole_tank_weight_needs_an_area(inspect):
    text = "date,tank_id,area_id,removed_g,minutes\n2025-12-01,T1,,50,9\n2026-01-01,T1,,50,9\n"
    book, findings = inspect(trims_csv=text)
    assert places(findings) == [("nothing-to-share", "trims.csv", 2, "D")]
    np.testing.assert_array_equal(book.trims.number("minutes"), [9, 9])


def test_no_folder_no_book(tmp_path):
    with pytest.raises(MissingBook, match="does not exist"):
        read_book(tmp_path / "nowhere")
    _, findings = inspect_book(tmp_path / "nowhere", today=TODAY)
    assert "unreadable-file" in {item.slug for item in findings}


def test_problems_are_raised_together(make_book):
    with pytest.raises(BookProblems, match="2 problems") as caught:
        read_book(make_book(trims_csv=HEADER + "2026-02-01,T9,A9,24,\n"), today=TODAY)
    assert len(caught.value.findings) == 2


def test_which_book_is_meant(tmp_path, monkeypatch, make_book):
    demo = tmp_path / "demo"
    demo.mkdir()
    monkeypatch.setattr("growthcast.book.files.demo_dir", lambda: demo)
    monkeypatch.chdir(tmp_path)
    folder, line = find_book(None)
    assert folder == demo
    assert line is not None
    assert "\n" not in line
    book = make_book()
    monkeypatch.chdir(book)
    assert find_book(None) == (book, None)
    assert find_book(str(book)) == (book, None)
    with pytest.raises(MissingBook):
        find_book(str(book / "nowhere"))


def test_the_shipped_species_can_be_read(monkeypatch):
    monkeypatch.undo()
    table = reading.read_shipped_species()
    assert len(table) > 10
    assert (table.number("rate_per_day") > 0).all()


def test_a_long_table_is_taken_apart_row_by_row_only_where_its_header_is(monkeypatch):
    """512 records at a time: 1,500 even rows are not looked at one by one."""
    rows, looked = "".join(f"2026-02-01,T1,A1,{n},x\n" for n in range(1500)), []
    fitted = records._Reading._fitted
    monkeypatch.setattr(records._Reading, "_fitted", lambda *a: looked.append(a[1]) or fitted(*a))
    grid, findings = records.read_grid((HEADER + rows).encode(), "trims.csv", frozenset())
    assert looked == list(range(1, 513))
    assert findings == []
    assert grid.rows.tolist() == list(range(2, 1502))
    cells = grid.columns[3]
    assert [cells.values[code] for code in cells.codes] == [str(n) for n in range(1500)]


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ('1,"x" y,3\n', ("stray-quote", 2, "B")),
        ('"x" y,"p,q"\n', ("stray-quote", 2, "A")),
        ('"p,q","a ""b"", c","x"z,4\n', ("stray-quote", 2, "C")),
        (',,p"q,"never\n,closed', ("unclosed-quote", 2, "D")),
        ('1,"two\n\nlines",3\n\n,"a""\n', ("unclosed-quote", 4, "B")),
        ("1,2\n3,4\n5," + "x" * 200_000 + "\n", ("long-cell", 4, None)),
    ],
)
@pytest.mark.parametrize("mark", [",", ";", "\t"])
def test_where_a_table_cannot_be_read_on(text, place, mark):
    """A record is a row; a mark in quotes parts no cells."""
    known = frozenset(("date", "note"))
    data = ("date,note\n" + text).replace(",", mark).encode()
    _, findings = records.read_grid(data, "trims.csv", known)
    assert [(i.slug, i.row, i.column) for i in findings if i.slug == place[0]] == [place]


@pytest.mark.parametrize(
    ("name", "slip"),
    [
        ("budgte", True),  # two letters swapped
        ("budgt", True),  # one left out
        ("budgeet", True),  # one twice
        ("bucget", True),  # one for another
        ("Bud-get", True),  # case and spacing aside
        ("bcdgat", False),  # two for others
        ("budg", False),
        ("budgetary", False),
        ("tegdub", False),
    ],
)
def test_one_slip_of_the_hand(name, slip):
    assert is_one_slip(name, "budget") is slip
    assert is_one_slip("budget", name) is slip
    assert not is_one_slip("a", "b")  # too short to be meant


def test_among_very_many_names_only_those_that_begin_alike_are_likely():
    many = [f"tank-{n}" for n in range(2001)]
    assert nearest("tonk-1", many[:2000]) == "tank-1"
    assert nearest("tonk-1", many) is None
    assert nearest("Tank-1x", many) == "tank-1"
    assert nearest("TANK-7 ", many) == "tank-7"  # case and spaces aside it is that name
