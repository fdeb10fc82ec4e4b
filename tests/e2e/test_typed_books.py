"""Books typed as busy people type them go through every command, and every number is finite."""

from __future__ import annotations

import json
import re
from datetime import timedelta
from pathlib import Path

import pytest

from tests.books import HEADER, write_book
from tests.cli import Ran, run
from tests.simulator import STYLES, typed_practice
from tests.simulator.truth import SimulatedPractice

pytestmark = pytest.mark.slow

CASE = Path(__file__).parents[1] / "cases" / "bucket-nan"
STYLE, DAYS, TANKS = tuple(STYLES), (7, 120, 14, 60, 30, 90), (3, 3, 6, 3, 4)
BOOKS = (
    *((STYLE[n % 7], TANKS[n % 5], DAYS[n % 6], 501 + n) for n in range(7)),
    ("bucket", 9, 120, 1002),
    ("bucket", 9, 60, 1012),
    ("mixed", 9, 120, 1),
)
"""Style, tanks, days and seed of each."""
ONCE_NOT_FITTED = 7
"""From this one on."""
NOT_A_NUMBER = re.compile(r"[-+]?\b(nan|inf|infinity)\b", re.IGNORECASE)
PAGES = ("brief", "overview")
FINDS = {"check", "watch"}
"""Commands whose status may be 1: something needs attention."""


def every_command(practice: SimulatedPractice, book: Path, out: Path) -> list[list[str]]:
    """Every command that answers from a book, for the first of its tanks, pages last."""
    plan = practice.plan
    on, tank = plan.last_on, plan.tanks[0].tank_id
    area = next(a for a in plan.areas if a.tank_id == tank and a.removed_on is None)
    away = [f"--{word}={on + timedelta(days=d)}" for word, d in (("from", 8), ("to", 21))]
    whole, at = [str(book), f"--on={on}"], [str(book), f"--on={on}", f"--tank={tank}"]
    return [
        ["export", str(book), f"--xlsx={out / 'book.xlsx'}"],
        ["import", str(out / "book.xlsx"), str(book)],
        ["fit", *whole],
        ["interval", *whole],
        ["forecast", *whole],
        ["cuts", *at],
        ["rounds", *whole],
        ["away", *whole, *away],
        ["peak", str(book), f"--on={on}", f"--shine={on + timedelta(days=30)}", f"--tank={tank}"],
        ["watch", *whole],
        ["rescape", *at, f"--area={area.area_id}", "--form=stem"],
        ["rescape", *at, "--reach=14"],
        ["backtest", *whole, "--splits=10"],  # of which the page asks, too
        ["check", *whole, "--deep"],
        ["brief", *at, f"--out={out / 'brief.html'}"],
        ["overview", *whole, f"--out={out / 'overview.html'}"],
    ]


def assert_sound(words: list[str], ran: Ran) -> None:
    """A command ended well, and all that it said is sentences and finite numbers."""
    command = " ".join(words)
    assert ran.status in ({0, 1} if words[0] in FINDS else {0}), f"{command}\n{ran.err}"
    assert "Warning" not in ran.err, f"{command}\n{ran.err}"
    for text in (ran.out, ran.err):
        found = NOT_A_NUMBER.search(text)
        assert found is None, f"{command}\n{text[: found.end()][-400:]}"
    if "--json" in words:
        assert json.loads(ran.out), command


@pytest.mark.parametrize("number", range(len(BOOKS)))
def test_every_command_answers_in_finite_numbers(number: int, tmp_path: Path) -> None:
    practice = typed_practice(*BOOKS[number])
    book = practice.write_book(tmp_path / "book")
    pages = PAGES if number < ONCE_NOT_FITTED else ()  # these and backtest fit the past, too
    for place, words in enumerate(every_command(practice, book, tmp_path)):
        if not pages and words[0] in (*PAGES, "backtest"):
            continue
        if words[0] not in PAGES and (number + place) % 2:  # tables and JSON in turn
            words.append("--json")
        assert_sound(words, run(*words))
    for page in pages:
        text = (tmp_path / f"{page}.html").read_text(encoding="utf-8")
        assert NOT_A_NUMBER.search(re.sub(r"<[^>]*>", " ", text)) is None, page


def test_a_weighed_bucket_beside_looks_leaves_every_tank_an_interval() -> None:
    for words in (["interval", str(CASE)], ["interval", str(CASE), "--json"]):
        ran = run(*words)
        assert_sound(words, ran)
    tanks = json.loads(ran.out)["tanks"]
    assert len(tanks) == 9
    for tank in tanks:
        assert tank["options"], tank["tank_id"]
        assert tank["recommended_interval_d"] or tank["reason"], tank["tank_id"]


SMALL = {
    "a bucket on the day": ("2026-06-01,lobby,,,,,90,,,", ["rescape", "--area=stems"]),
    "twice too short": (
        "2026-04-01,lobby,carpet,,,,,short,,\n2026-06-01,lobby,carpet,,,,,short,,",
        ["forecast"],
    ),
    "longer than the water is deep": (
        "2026-05-01,lobby,stems,,,200,,,,\n2026-05-15,lobby,stems,,,150,,,,",
        ["interval"],
    ),
}
"""What was typed, and a command that answered in numbers that are not finite."""


@pytest.mark.parametrize("name", SMALL)
def test_a_few_ordinary_rows_are_answered(name: str, tmp_path: Path) -> None:
    rows, (command, *options) = SMALL[name]
    book = write_book(tmp_path, trims=f"{HEADER}{rows}\n")
    words = [command, str(book), "--on=2026-06-01", "--tank=lobby", *options]
    assert_sound(words, run(*words))
