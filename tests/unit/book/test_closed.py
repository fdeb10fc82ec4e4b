"""closed.csv and public holidays: what is read, and what wrong rows and codes get."""

from __future__ import annotations

import subprocess
import sys
from datetime import date

import pytest

from growthcast.book.checks.rounds import (
    ClosedTime,
    closed_on,
    closed_times,
    open_before,
    open_from,
    public_holidays,
    wrong_region,
)
from tests.unit.book.small_book import FILES

HEADER = "client,tank_id,from_date,to_date,note\n"


def found(inspect, rows):
    book, findings = inspect(closed_csv=HEADER + rows)
    return book, [(item.slug, item.row, item.found, item.fix) for item in findings]


def test_overlapping_times_of_clients_and_tanks_are_fine(inspect):
    rows = (
        "a clinic,,2026-08-01,2026-08-21,works holidays\n"
        "a clinic,T1,2026-08-10,2026-08-30,\n"
        ",T2,2026-12-24,2026-12-24,one day\n"
    )
    book, findings = found(inspect, rows)
    assert findings == []
    assert book.closed.date("to_date").astype("datetime64[D]").tolist()[2] == date(2026, 12, 24)
    assert book.closed.text("note")[0] == "works holidays"


def test_no_file_is_no_closed_day(inspect):
    book, findings = inspect()
    assert findings == ()
    assert len(book.closed) == 0


@pytest.mark.parametrize(
    ("row", "slug", "says"),
    [
        (",,2026-08-01,2026-08-21,", "closed-for-nobody", "no client and no tank"),
        ("a clinik,,2026-08-01,2026-08-21,", "unknown-client", 'did you mean "a clinic"?'),
        ("a clinic,T2,2026-08-01,2026-08-21,", "unknown-client", "T2 is of another client"),
        (",T9,2026-08-01,2026-08-21,", "unknown-id", '"T9"'),
        ("a clinic,,2026-08-21,2026-08-01,", "closed-backwards", "swap the two"),
        ("a clinic,,2026-08-21,,", "blank-cell", "fill in a date"),
    ],
)
def test_wrong_rows_are_problems_at_their_cell(inspect, row, slug, says):
    book, findings = found(inspect, row + "\n")
    assert book is None
    [(what, line, seen, fix)] = findings
    assert (what, line) == (slug, 2)
    assert says in f"{seen} {fix}"


def test_codes_of_countries_and_their_parts():
    for code in ("DE", "DE-BY", "GB-SCT", "FR"):
        assert wrong_region(code) is None
    for code, fix in (
        ("de-by", 'did you mean "DE-BY"?'),
        ("DE_BY", 'did you mean "DE-BY"?'),
        ("DE-QQQ", "one of DE-BB, DE-BE"),
        ("Bavaria", 'write the ISO 3166 code of your country, as "DE"'),
    ):
        assert fix in wrong_region(code)[1]


def test_an_unknown_code_is_a_problem_in_the_practice(inspect):
    toml = FILES["practice.toml"] + '[rounds]\nholidays = "DE-BJ"\n'
    book, [finding] = inspect(practice_toml=toml)
    assert book is None
    assert (finding.slug, finding.row, finding.column) == ("not-a-choice", 13, "holidays")
    assert "did you mean" in finding.fix


def test_holidays_are_those_of_the_part_asked_for():
    first, last = date(2026, 12, 24), date(2027, 1, 7)
    bavaria, germany = (public_holidays(code, first, last) for code in ("DE-BY", "DE"))
    assert set(bavaria) - set(germany) == {date(2027, 1, 6)}
    assert germany[date(2026, 12, 25)] == "Christmas Day"


def test_nobody_waits_for_the_library_of_holidays_without_asking():
    code = (
        "import sys; from growthcast.book.read import read_book; "
        "from growthcast.book.files import demo_dir; read_book(demo_dir());"
        "import growthcast.service.recommend; sys.exit('holidays' in sys.modules)"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


def test_a_country_is_loaded_without_all_others_and_all_of_them_can_be_later():
    code = (
        "import sys; from growthcast.book.checks.rounds import wrong_region; wrong_region('DE-BY');"
        "assert sum('holidays.countries' in name for name in sys.modules) < 5;"
        "import holidays.countries; holidays.countries.France"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


def test_a_time_is_of_the_tank_it_names_else_of_all_tanks_of_its_client(inspect):
    book, _ = inspect(
        closed_csv=HEADER + "a clinic,,2026-08-10,2026-08-21,\n"
        ",T1,2026-08-01,2026-08-05,\na school,T2,2026-12-24,2026-12-24,\n",
        tanks_csv=FILES["tanks.csv"] + "T3,a clinic,60,30,30,\nT4,,60,30,30,\n",
    )
    assert {name: [str(time) for time in times] for name, times in closed_times(book).items()} == {
        "T1": ["from 2026-08-01 to 2026-08-05", "from 2026-08-10 to 2026-08-21"],
        "T2": ["from 2026-12-24 to 2026-12-24"],
        "T3": ["from 2026-08-10 to 2026-08-21"],
    }


def test_open_days_lie_before_and_after_times_that_touch():
    times = tuple(ClosedTime(date(2026, 8, a), date(2026, 8, b)) for a, b in ((3, 5), (6, 9)))
    for day, time in ((2, None), (3, times[0]), (5, times[0]), (6, times[1]), (9, times[1])):
        assert closed_on(times, date(2026, 8, day)) == time
    assert closed_on(times, date(2026, 8, 10)) is None
    assert open_from(times, date(2026, 8, 4)) == date(2026, 8, 10)
    assert open_from(times, date(2026, 8, 2)) == date(2026, 8, 2)
    assert open_before(times, date(2026, 8, 8), date(2026, 8, 2)) == date(2026, 8, 2)
    assert open_before(times, date(2026, 8, 8), date(2026, 8, 3)) is None
    assert open_before(times, date(2026, 8, 12), date(2026, 8, 3)) == date(2026, 8, 12)
