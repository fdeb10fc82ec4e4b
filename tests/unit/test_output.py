"""Tables and sentences as terminals of 80, 60 and 40 columns show them."""

from __future__ import annotations

import io
import json
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from growthcast.cli.output import print_answer, print_json
from growthcast.cli.tables import print_line, print_table
from growthcast.say.words import FINE, OVERDUE, RANGES, RANGES_HOLD, Answer, Table

VISITS = Table(
    "",
    ["tank", "client", "a visit>", "due"],
    [
        ["Week of 23 Nov: 5.5 of 40 h"],
        ["study-rhizome", "Client of the house", "101 min (92–112)", f"{OVERDUE} 30 Nov"],
        ["lobby-stems", "Another client", "59 min (56–63)", f"{FINE} 4 Dec"],
    ],
    ["client", RANGES],
)
ids = st.from_regex(r"[a-z]{1,12}(-[a-z0-9]{1,9}){0,3}", fullmatch=True)


class Terminal(io.StringIO):
    """Text that goes to a terminal, or not."""

    def __init__(self, encoding: str, is_terminal: bool) -> None:
        super().__init__()
        self.coded, self.is_terminal = encoding, is_terminal

    @property
    def encoding(self) -> str:
        return self.coded

    def isatty(self) -> bool:
        return self.is_terminal


def printed(function, *arguments, width=80, is_terminal=True, encoding="utf-8", **environment):
    """Return what is printed to a terminal of a width; without colours unless asked for."""
    with pytest.MonkeyPatch.context() as patch:
        for name, value in {"TERM": "xterm", "NO_COLOR": "1", "COLUMNS": str(width)}.items():
            patch.setenv(name, environment.get(name, value))
        stdout = Terminal(encoding, is_terminal)
        patch.setattr("sys.stdout", stdout)
        function(*arguments)
    return stdout.getvalue()


def test_a_table_that_fits_stands_a_row_a_line_under_a_rule():
    assert printed(print_table, VISITS).splitlines() == [
        " tank           client                        a visit  due",
        " ──────────────────────────────────────────────────────────────",
        " Week of 23 Nov: 5.5 of 40 h",
        " study-rhizome  Client of the house  101 min (92–112)  ! 30 Nov",
        f" lobby-stems    Another client         59 min (56–63)  {FINE} 4 Dec",
        "",
    ]


def test_columns_give_way_in_the_order_declared_and_ranges_last():
    wide, narrow = (printed(print_table, VISITS, width=width) for width in (61, 60))
    assert "client" not in wide
    assert "(92–112)" in wide
    short = VISITS._replace(rows=[["study-rhizome-" + 30 * "x", *VISITS.rows[1][1:]]])
    without = printed(print_table, short, width=70)
    assert "101 min" in without
    assert "(92–112)" not in without
    assert narrow.count("\n") == wide.count("\n")


def test_below_60_columns_a_row_becomes_a_block_with_every_column():
    assert printed(print_table, VISITS, width=40).splitlines() == [
        "Week of 23 Nov: 5.5 of 40 h",
        "study-rhizome, Client of the house",
        "  a visit: 101 min (92–112)",
        "  due: ! 30 Nov",
        "lobby-stems, Another client",
        "  a visit: 59 min (56–63)",
        f"  due: {FINE} 4 Dec",
        "",
    ]


@settings(max_examples=40)
@given(st.lists(st.tuples(ids, ids, st.integers(0, 9)), min_size=1, max_size=4))
@pytest.mark.parametrize("width", [80, 60, 40])
def test_no_id_is_ever_broken(width, rows):
    cells = [[one, f"to {two}", f"{n} cm ({n}–9) and {n} more words here"] for one, two, n in rows]
    text = printed(print_table, Table("", ["area", "plant", "now>"], cells), width=width)
    for one, two, _ in rows:
        assert one in re.split(r"[ ,\n]", text)
        assert two in re.split(r"[ ,\n]", text)
    line = printed(print_line, " ".join(word for row in rows for word in row[:2]), width=width)
    assert line.split() == [word for row in rows for word in row[:2]]
    assert all(len(text) <= width or " " not in text.strip() for text in line.splitlines())


def test_a_number_stays_with_its_unit_and_a_day_with_its_month():
    said = "the chance was 90 % and 12 cm on Fri 30 Nov, 7 days"
    for width in range(8, 30):
        lines = printed(print_line, said, width=width).splitlines()
        for whole in ("90 %", "12 cm", "Fri 30 Nov,", "7 days"):
            assert any(whole in line for line in lines), (width, whole)


def test_cells_are_folded_between_words_where_no_column_gives_way():
    row = ["study-rhizome", 3 * "back right hygrophila ", 3 * "front left pennywort "]
    text = printed(print_table, Table("", ["tank", "area", "also"], [row]), width=62)
    assert max(map(len, text.splitlines())) <= 62
    assert sorted(" ".join(text.split()[4:]).split()) == sorted(" ".join(row).split())


def test_a_quoted_name_is_never_broken():
    said = 'The page that you asked for was written to "a long folder/of pages.html" and is whole.'
    assert '"a long folder/of pages.html"' in printed(print_line, said, width=40)


def test_what_a_mark_says_is_coloured_and_plain_without_colours():
    text = printed(print_table, VISITS, NO_COLOR="")
    assert "\x1b[31m! 30 Nov\x1b[0m" in text
    assert f"\x1b[32m{FINE} 4 Dec\x1b[0m" in text
    for plain in (
        printed(print_table, VISITS),
        printed(print_table, VISITS, is_terminal=False, NO_COLOR=""),
        printed(print_table, VISITS, TERM="dumb", NO_COLOR=""),
    ):
        assert "\x1b" not in plain
        assert "! 30 Nov" in plain  # the mark stays
    assert re.sub(r"\x1b\[\d*m", "", text) == printed(print_table, VISITS)


def test_a_person_cannot_steer_the_terminal():
    table = Table("Title \x1b[2J", ["area\x07"], [["stems\x1b]0;x"]])
    assert not {"\x1b", "\x07"} & {*printed(print_table, table), *printed(print_line, "a\x1b[31m")}


def test_outside_unicode_rules_and_marks_have_plain_letters():
    text = printed(print_table, VISITS, encoding="ascii")
    assert "(92-112)" in text
    assert "+ 4 Dec" in text
    assert text.isascii()


def test_details_are_printed_to_who_asks_and_offered_on_a_terminal_alone():
    answer = Answer("Weekly.", details=["Because.", Answer("So.", details=["Too."])])
    assert printed(print_answer, answer) == "Weekly.\nMore with --details.\n"
    assert printed(print_answer, answer, is_terminal=False) == "Weekly.\n"
    assert printed(print_answer, Answer("Weekly.")) == "Weekly.\n"
    everything = printed(lambda: print_answer(answer, details=True))
    assert everything == "Weekly.\nBecause.\nSo.\nToo.\n"


def test_what_stands_beside_an_answer_goes_to_stderr(capsys):
    answer = Answer(notes=[Answer("So.", beside=["Mind it."])], details=[Answer(beside=["Rows."])])
    print_answer(answer)
    assert capsys.readouterr() == ("So.\n", "Mind it.\n")
    print_answer(answer, details=True)
    assert capsys.readouterr().err == "Mind it.\nRows.\n"


def test_what_stands_beside_an_answer_is_said_after_it(monkeypatch):
    told = io.StringIO()  # a terminal shows both streams as they come
    monkeypatch.setattr("sys.stdout", told)
    monkeypatch.setattr("sys.stderr", told)
    print_answer(
        Answer("So.", notes=["And so."], beside=["Mind it."], details=["Why."]), details=True
    )
    assert told.getvalue() == "So.\nAnd so.\nMind it.\nWhy.\n"


def test_ranges_are_not_explained_where_they_gave_way():
    table = VISITS._replace(gives_way=[RANGES, "client"])
    said = Answer(table=table, notes=[f"Time. {RANGES_HOLD}"])
    assert RANGES_HOLD in printed(print_answer, said)
    assert printed(print_answer, said, width=61).endswith("Time.\n")


def test_an_answer_written_as_it_comes_reads_as_if_it_were_all_there(capsys):
    parts = [{"tank_id": "lobby", "days": 7}, {"tank_id": "büro", "days": None}]
    print_json({"tanks": parts, "on": "2026-03-02"})
    at_once = capsys.readouterr().out
    print_json({"tanks": iter(parts), "on": "2026-03-02"})
    assert capsys.readouterr().out == at_once
    assert json.loads(at_once) == {"tanks": parts, "on": "2026-03-02"}
    print_json({"tanks": iter([])})
    assert json.loads(capsys.readouterr().out) == {"tanks": []}
