"""What commands print on terminals of 80, 60 and 40 columns: nothing typed is broken."""

from __future__ import annotations

import io
import re

import pytest

from growthcast.book.files import demo_dir
from growthcast.book.read import read_book
from growthcast.cli import output
from growthcast.cli.output import print_answer
from growthcast.say.words import Answer
from tests.cli import run

DEMO = str(demo_dir())
COMMANDS = [
    ["interval", DEMO],
    ["forecast", DEMO],
    ["cuts", DEMO, "--tank", "lobby-stems"],
    ["rounds", DEMO],
    ["away", DEMO, "--from", "2026-12-01", "--to", "2026-12-14"],
    ["watch", DEMO],
    ["fit", DEMO],
    ["species"],
]
MANY_ROWS = {"fit"}


class Terminal(io.StringIO):
    """Text that goes to a terminal."""

    def isatty(self) -> bool:
        return True


def printed(said, width):
    with pytest.MonkeyPatch.context() as patch:
        for name, value in {"COLUMNS": str(width), "NO_COLOR": "1", "TERM": "xterm"}.items():
            patch.setenv(name, value)
        patch.setattr("sys.stdout", stdout := Terminal())
        print_answer(Answer(notes=said))
    return stdout.getvalue()


@pytest.mark.parametrize("command", COMMANDS, ids=lambda command: command[0])
def test_an_answer_fits_a_screen_and_breaks_no_id(command, monkeypatch):
    said = []

    def gather(answer, details=False):
        said.extend(output._parts(answer, details))
        said.extend([] if details else ["More with --details."])

    monkeypatch.setattr(output, "print_answer", gather)
    assert run(*command).status == 0
    book = read_book(demo_dir())
    ids = {*book.tanks.text("tank_id"), *book.areas.text("area_id"), *book.areas.text("species_id")}
    wide = set(re.split(r"[\s,;:.()]+", printed(said, 200)))
    for width in (80, 60, 40):
        text = printed(said, width)
        assert all(len(line) <= width for line in text.splitlines()), width
        shown = set(re.split(r"[\s,;:.()]+", text))
        assert ids & wide <= shown, width
    if command[0] not in MANY_ROWS:
        assert len(printed(said, 80).splitlines()) <= 24
    assert isinstance(said[0], str)  # the answer, before any table
