"""No number that is not finite leaves the package: not in a table, not in JSON, not on a page."""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import dataclass, replace

import numpy as np
import pytest

from growthcast.book.book import Book
from growthcast.errors import NotFinite
from growthcast.finite import finite
from growthcast.fit import result
from growthcast.fit.solver import linearise
from growthcast.forecast import report
from growthcast.service.doubts import judge
from tests.books import write_book
from tests.cli import run

# As for a person: a warning alone stops nothing, the numbers of the answer do.
pytestmark = pytest.mark.filterwarnings("ignore::RuntimeWarning")


def lose_a_border(monkeypatch):
    """One log rate of the fit is no number."""
    whole = result.mean_border

    def lost(view):
        border = whole(view)
        border[linearise.RATE, 1] = np.nan
        return border

    monkeypatch.setattr(result, "mean_border", lost)
    monkeypatch.setattr("tests.cli.KNOWN", {})


def lose_a_height(monkeypatch):
    """One forecast height is no number."""
    whole = report.forecast_heights

    def lost(*arguments):
        seen = whole(*arguments)
        height = seen.height_cm.copy()
        height[0, 0, 1] = np.inf
        return replace(seen, height_cm=height)

    monkeypatch.setattr(report, "forecast_heights", lost)


def lose_minutes(monkeypatch):
    """Minutes at a tank are no number, where the book's own are read."""
    whole = Book.of_tanks

    def lost(book, column):
        return whole(book, column) * (np.nan if column == "fixed_min" else 1.0)

    monkeypatch.setattr(Book, "of_tanks", lost)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("lose", "command"),
    [
        (lose_a_border, "fit"),
        (lose_a_border, "fit --json"),
        (lose_a_border, "away --from 2026-06-10 --to 2026-06-20"),
        (lose_a_border, "peak --tank lobby --shine 2026-07-01"),
        (lose_a_border, "rescape --tank lobby --area stems"),
        (lose_a_height, "forecast"),
        (lose_a_height, "forecast --json"),
        (lose_a_height, "forecast --tank lobby --plot FOLDER/heights.svg"),
        (lose_a_height, "brief --tank lobby --out FOLDER/page.html"),
        (lose_minutes, "interval"),
        (lose_minutes, "interval --json"),
        (lose_minutes, "cuts --tank lobby"),
        (lose_minutes, "rounds --json"),
        (lose_minutes, "overview --out FOLDER/page.html"),
    ],
)
def test_an_answer_that_is_not_finite_is_withheld(tmp_path, monkeypatch, lose, command):
    name, *options = command.replace("FOLDER", str(tmp_path)).split()
    book = write_book(tmp_path / "book")
    lose(monkeypatch)
    ran = run(name, str(book), *options)
    assert ran.status == 3
    assert ran.out == ""
    assert "a number of the answer is not finite" in ran.err
    assert not [file for file in tmp_path.iterdir() if file != book]


def test_what_is_not_finite_is_named_by_its_tank(tmp_path, monkeypatch):
    lose_minutes(monkeypatch)
    ran = run("interval", str(write_book(tmp_path)))
    assert "(recommend/lobby/options/0/minutes_per_visit is nan)" in ran.err


def lose_what_is_expected(monkeypatch):
    """What a visit is held against is no number."""
    monkeypatch.setattr(judge, "doubts_of_visit", lambda *given: finite((np.nan,), "doubts"))


@pytest.mark.parametrize("lose", [lose_a_border, lose_what_is_expected])
def test_a_visit_is_written_whatever_can_be_said_of_it(tmp_path, monkeypatch, lose):
    book = write_book(tmp_path)
    lose(monkeypatch)
    visit = ("--tank", "lobby", "stems=20/12", "--on", "2026-06-08", "--yes")
    ran = run("log", str(book), *visit)
    assert ran.status == 0
    assert "2026-06-08,lobby,stems,20,12" in (book / "trims.csv").read_text()
    assert "Nothing typed is held against what was to be expected" in ran.err


WARNS = """import sys, numpy
from growthcast.book.book import Book
from growthcast.cli.main import main
whole = Book.of_tanks
Book.of_tanks = lambda *given: numpy.log(numpy.zeros(1))[:0].sum() + whole(*given)
sys.argv[1:] = ["interval", sys.argv[1]]
main()"""


@pytest.mark.slow
@pytest.mark.parametrize("told", [False, True])
def test_a_warning_of_numpy_reaches_only_who_asks_for_more(tmp_path, told):
    known = {name: value for name, value in os.environ.items() if name != "GROWTHCAST_TRACEBACK"}
    done = subprocess.run(
        [sys.executable, "-c", WARNS, str(write_book(tmp_path))],
        capture_output=True,
        text=True,
        env=known | ({"GROWTHCAST_TRACEBACK": "1"} if told else {}),
    )
    assert done.returncode == 0
    assert ("RuntimeWarning" in done.stderr) == told


@dataclass(frozen=True)
class Noun:
    tank_id: str
    heights: np.ndarray
    chances: tuple[float | None, ...]


@pytest.mark.parametrize(
    ("heights", "chances", "place"),
    [
        ([1.0, np.nan], (0.5,), "/lobby/heights/1 is nan"),
        ([[1.0], [np.inf]], (0.5,), "/lobby/heights/1/0 is inf"),
        ([1.0], (None, -np.inf), "/lobby/chances/1 is -inf"),
        ([1.0], (None, np.float32("nan")), "/lobby/chances/1 is nan"),
    ],
)
def test_the_place_in_an_answer_is_told(heights, chances, place):
    with pytest.raises(NotFinite, match=rf"\(heights{place}\)"):
        finite([Noun("lobby", np.array(heights), chances)], "heights")


def test_whole_answers_pass_as_they_are():
    answer = [Noun("lobby", np.array([1.0, 2.0]), (None, 0.5)), {"days": np.arange(3)}]
    assert finite(answer, "heights") is answer
