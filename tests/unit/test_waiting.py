"""Long work: steps are told of, and a bar is drawn after a while on a terminal alone."""

from __future__ import annotations

import io
import sys
from threading import Event

import pytest

from growthcast.cli import output as waiting
from growthcast.cli.output import working
from growthcast.steps import LISTENER, steps


class Terminal(io.StringIO):
    """Text that goes to a terminal; it tells when words come up in it."""

    def __init__(self, words: str) -> None:
        super().__init__()
        self.words, self.seen = words, Event()

    def isatty(self) -> bool:
        return True

    def write(self, text: str) -> int:
        written = super().write(text)
        if self.words in self.getvalue():
            self.seen.set()
        return written


@pytest.fixture
def heard():
    told = []
    token = LISTENER.set(lambda number, total: told.append((number, total)))
    yield told
    LISTENER.reset(token)


def test_steps_are_told_of_and_loops_within_them_are_not(heard):
    assert [[*steps("xy")] for _ in steps([1, 2])] == [["x", "y"]] * 2
    assert heard == [(1, 2), (2, 2)]
    loop = steps([1, 2])
    next(loop)
    loop.close()  # as an error within it would
    assert [*steps("a")] == ["a"]  # who listens is still there
    assert heard[2:] == [(1, 1)]


def test_long_work_says_what_it_does_and_how_far_it_is(monkeypatch):
    monkeypatch.setattr(waiting, "PATIENCE_S", 0.0)
    monkeypatch.setattr(waiting, "EVERY_S", 0.01)
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("COLUMNS", "80")
    stderr, stdout = Terminal("s left"), io.StringIO()
    monkeypatch.setattr(sys, "stderr", stderr)
    monkeypatch.setattr(sys, "stdout", stdout)
    with working("Planning"):
        LISTENER.get()(1, 2)
        assert stderr.seen.wait(20.0)
    assert "Planning" in stderr.getvalue()
    assert stdout.getvalue() == ""
    assert LISTENER.get() is None


def test_quick_work_and_pipes_show_nothing(monkeypatch):
    for stderr in (Terminal("never"), io.StringIO()):
        monkeypatch.setattr(sys, "stderr", stderr)
        with working("Planning"):
            assert (LISTENER.get() is not None) == stderr.isatty()
        assert stderr.getvalue() == ""
