"""Tables laid out by ourselves are those that rich prints."""

from __future__ import annotations

import io
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from growthcast.cli import output
from growthcast.cli.output import print_table, printable

WIDE_CHARACTERS = "\N{CJK UNIFIED IDEOGRAPH-6C34}\N{COMBINING ACUTE ACCENT}\N{EN DASH}"
texts = st.text(
    st.characters(codec="utf-8", exclude_categories=["Cs"]) | st.sampled_from(WIDE_CHARACTERS),
    max_size=12,
)


class Terminal(io.StringIO):
    """Text that goes to a terminal, or not."""

    encoding = "utf-8"

    def __init__(self, is_terminal: bool) -> None:
        super().__init__()
        self.is_terminal = is_terminal

    def isatty(self) -> bool:
        return self.is_terminal


def printed(function, *arguments, is_terminal=False, **environment):
    with pytest.MonkeyPatch.context() as patch:
        for name in ("FORCE_COLOR", "TTY_COMPATIBLE", "NO_COLOR"):
            patch.delenv(name, raising=False)
        patch.setenv("TERM", "xterm")
        patch.setenv("COLUMNS", "40")
        for name, value in environment.items():
            patch.setenv(name, value)
        stdout = Terminal(is_terminal)
        patch.setattr("sys.stdout", stdout)
        function(*arguments)
    return stdout.getvalue()


@st.composite
def tables(draw):
    columns = draw(st.lists(texts, min_size=1, max_size=4))
    row = st.lists(texts, min_size=len(columns), max_size=len(columns))
    rights = draw(st.lists(st.booleans(), min_size=len(columns), max_size=len(columns)))
    heads = [
        printable(c).rstrip(">") + ">" * right for c, right in zip(columns, rights, strict=True)
    ]
    return draw(texts), heads, draw(st.lists(row, max_size=4))


@given(tables())
def test_tables_are_those_of_rich(table):
    title, columns, rows = table
    by_rich = printed(
        output._print_with_rich,
        printable(title),
        [column.rstrip(">") for column in columns],
        [column.endswith(">") for column in columns],
        [[printable(cell) for cell in row] for row in rows],
    )
    assert printed(print_table, *table) == by_rich


def test_a_usual_table_needs_no_rich(monkeypatch):
    monkeypatch.setattr(output, "_print_with_rich", None)
    text = printed(print_table, "Heights", ["area", "height>"], [["stems", "9–12 cm"]])
    assert text.splitlines() == [
        "Heights          ",
        "                 ",
        " area     height ",
        " ─────────────── ",
        " stems   9–12 cm ",
        "                 ",
    ]


def test_a_terminal_shows_the_header_bold_and_folds_what_is_wider():
    table = ("Passes", ["area", "passes"], [["stems", "on 2026-06-08"]])
    assert "\x1b[1m area    passes        \x1b[0m\n" in printed(
        print_table, *table, is_terminal=True
    )
    wider = ("Passes", ["area", "passes"], [["stems", 8 * "never "]])
    lines = re.sub(r"\x1b\[\d*m", "", printed(print_table, *wider, is_terminal=True)).splitlines()
    assert max(map(len, lines)) == 40  # the terminal's columns
    assert sum("never" in line for line in lines) == 2


def test_a_folded_table_breaks_no_id_and_no_range():
    row = ["study-rhizome", "Client B of the house", "952 (899–1004)"]
    text = printed(print_table, "Visits", ["tank", "client", "a year>"], [row], is_terminal=True)
    lines = re.sub(r"\x1b\[\d*m", "", text).splitlines()
    assert max(map(len, lines)) == 40
    assert all(any(word in line for line in lines) for cell in row for word in cell.split())
    longer = printed(print_table, "Visits", ["tank"], [[60 * "x"]], is_terminal=True)
    assert longer.count("x") == 60  # a word beyond the terminal is broken, not lost


@pytest.mark.parametrize("cell", ["on 2026-06-08", 8 * "never "])  # by ourselves, and by rich
@pytest.mark.parametrize(("no_color", "bold"), [("1", False), ("", True)])
def test_who_wants_no_colours_gets_no_bold_letters_either(cell, no_color, bold):
    table = ("Passes", ["area", "passes"], [["stems", cell]])
    text = printed(print_table, *table, is_terminal=True, NO_COLOR=no_color)
    assert ("\x1b[" in text) == bold
