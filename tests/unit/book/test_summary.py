"""What commands other than ``check`` say of the findings."""

from __future__ import annotations

from datetime import date

from growthcast.book.findings import (
    count_of,
    format_finding,
    format_findings,
    note_order,
    summary_for_commands,
)
from growthcast.errors import Finding
from tests.unit.book.small_book import FILES

HEADER = "date;tank_id;area_id;before_cm;after_cm;note\n"


def test_nothing_to_say(inspect):
    assert summary_for_commands(inspect()[1]) == ""


def test_rows_that_end_early_are_left_to_check(inspect):
    """All older rows do once ``log`` has added a column to the header."""
    rows = "".join(f"2026-02-0{day},T1,A1,24\n" for day in range(1, 5))
    text = "date,tank_id,area_id,before_cm,by\n" + rows
    _, findings = inspect(trims_csv=text, on=date(2026, 2, 14))
    assert [item.slug for item in findings] == ["short-rows"]
    assert summary_for_commands(findings) == ""


def test_remarks_are_one_line(inspect):
    text = HEADER + "2026-02-01;T1;A1;24,5;;Grün\n2026-02-20;T1;A1;24,5;;\n"
    _, findings = inspect(trims_csv=text.encode("cp1252"), on=date(2026, 2, 14))
    assert summary_for_commands(findings) == (
        "Read as Windows-1252, semicolons, decimal commas; "
        "1 row(s) after 2026-02-14, which were left out: see growthcast check"
    )


def test_a_way_of_reading_is_named_once(inspect):
    files = {
        f"{name}_csv": FILES[f"{name}.csv"].replace("\n", "\r\n") for name in ("tanks", "trims")
    }
    _, findings = inspect(**files)
    assert summary_for_commands(findings) == "Read as Windows line ends: see growthcast check"


def test_without_a_log(inspect):
    _, findings = inspect(trims_csv=None)
    assert summary_for_commands(findings) == (
        "No log: answers rest on the species table: see growthcast check"
    )


def test_at_most_five_notes(inspect):
    rows = "".join(f"2026-02-0{day};T1;A1;{day + 50};;\n" for day in range(1, 4))
    rows += "".join(f"2026-03-0{day};T1;A2;{day + 30};;\n" for day in range(1, 5))
    _, findings = inspect(trims_csv=HEADER + rows)
    lines = summary_for_commands(findings).splitlines()
    notes = [item for item in findings if item.level == "note"]
    assert lines[:15] == [line for item in notes[:5] for line in format_finding(item).splitlines()]
    assert lines[15:] == [
        "And 2 more notes: see growthcast check",
        "Read as semicolons: see growthcast check",
    ]


def one(row, found="x", *, level="note", column="B", slug="odd", file="trims.csv", fix="f"):
    return Finding(file, row, column, "heading", found, "e", fix, slug, level)


def test_rows_of_one_fault_are_told_in_runs():
    """Two rows that follow each other are a run; more than twelve are cut short."""
    rows = [2, 4, 5, 7, 8, 9, 4]
    first, *_, said = format_findings([one(row) for row in rows]).splitlines()
    assert first == "trims.csv:2:B: heading: found x [odd]"
    assert said == "    rows:     2, 4 to 5, 7 to 9 (6 rows)"
    many = format_findings([one(row) for row in range(2, 28, 2)])
    told = ", ".join(str(row) for row in range(2, 26, 2))
    assert many.splitlines()[-1] == f"    rows:     {told} and others (13 rows)"
    each = format_findings([one(row, f"{row}") for row in range(2, 8)])
    assert each.splitlines()[-1] == "    rows:     2 to 7 (6 rows, each with a value of its own)"
    apart = format_findings([one(row, f"{row}") for row in range(2, 7)])
    assert "rows:" not in apart


def test_the_place_of_a_finding_has_what_is_known_of_it():
    assert format_finding(one(None)).startswith("trims.csv: heading: found")
    assert format_finding(one(3, column=None)).startswith("trims.csv:3: heading: found")
    assert format_finding(one(3, column="heading")).startswith("trims.csv:3: heading: found")
    assert format_finding(one(3, level="remark")) == "trims.csv:3:B: heading: found x [odd]"


def test_problems_are_listed_first_where_not_everything_is():
    notes = [one(row, slug=f"n{row}") for row in range(2, 22)]
    problem = one(22, level="problem")
    assert format_findings([*notes, one(2, file="areas.csv")]).count("found") == 21
    lines = format_findings([*notes, problem]).splitlines()
    assert lines[0].startswith("trims.csv:22:B")
    assert lines[-1] == "trims.csv: and 1 more (no problems, 1 note)"
    assert count_of([*notes, problem, one(3, level="remark", slug="r")]) == (
        "1 problem, 20 notes, 1 remark"
    )
    assert count_of([]) == "no problems"


def test_one_note_more_than_are_told_is_one():
    notes = [one(row, slug=f"n{row}") for row in range(2, 8)]
    lines = summary_for_commands(notes).splitlines()
    assert lines[-1] == "And 1 more note: see growthcast check"
    assert sum("found" in line for line in lines) == 5
    assert not summary_for_commands(notes[:5]).splitlines()[-1].startswith("And")


def test_findings_stand_in_the_order_of_the_files_and_their_cells():
    """Column C before AA, files of nobody last."""
    ordered = [
        one(9, file="practice.toml"),
        one(None, file="tanks.csv"),
        one(2, column=None, file="areas.csv"),
        one(2, column="C", file="areas.csv"),
        one(2, column="AA", file="areas.csv", slug="a"),
        one(2, column="AA", file="areas.csv", slug="b"),
        one(3, column="A", file="areas.csv"),
        one(1, file="a.txt"),
        one(1, file="b.txt"),
    ]
    assert sorted([*ordered[4:], *ordered[:4]], key=note_order) == ordered
