"""What commands other than ``check`` say of the findings."""

from __future__ import annotations

from datetime import date

from growthcast.book.findings import format_finding, summary_for_commands
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
