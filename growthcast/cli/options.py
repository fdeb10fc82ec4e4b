"""Arguments and options that several commands share, and how a command opens its book."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Annotated

import typer

from growthcast.errors import UsageError

if TYPE_CHECKING:
    from growthcast.arrays import IntArray
    from growthcast.book.book import Book
    from growthcast.fit.result import GrowthFit

__all__ = ["AsJson", "BookFolder", "OnDate", "TankId", "open_book", "open_fit", "parse_date"]

BookFolder = Annotated[
    str | None,
    typer.Argument(
        metavar="[BOOK]",
        help="Folder of the book. Default: this folder if it holds practice.toml, else the demo.",
        show_default=False,
    ),
]
OnDate = Annotated[
    str | None,
    typer.Option(
        "--on",
        metavar="DATE",
        help="Day to stand on, as YYYY-MM-DD; later log rows are not used. "
        "Default: the last logged date.",
        show_default=False,
    ),
]
TankId = Annotated[
    str | None,
    typer.Option("--tank", metavar="ID", help="Only this tank.", show_default=False),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON object instead of tables.")]


FIRST_YEAR, LAST_YEAR = 1970, 2200

STALE_D = 42
"""Days without any log after which it is said (common practice, no source)."""


def parse_date(text: str, option: str) -> date:
    """Read a date option."""
    try:
        if len(text) == 10:  # only YYYY-MM-DD, not the compact and week forms
            day = date.fromisoformat(text)
            if FIRST_YEAR <= day.year <= LAST_YEAR:
                return day
            raise UsageError(f"{option} {text} lies outside {FIRST_YEAR} to {LAST_YEAR}")
    except ValueError:
        pass
    raise UsageError(f'{option} "{text}" is not a date; write it as YYYY-MM-DD, as in 2026-03-02')


def open_book(argument: str | None, on: str | None) -> tuple[Book, date]:
    """Read the book a command is called with, say its notes, and settle the day to stand on."""
    from growthcast.book.read import read_book
    from growthcast.book.report import summary_for_commands
    from growthcast.book.shipped import find_book
    from growthcast.cli.output import say
    from growthcast.fit.growth import last_logged

    folder, fell_back = find_book(argument)
    if fell_back:
        say(fell_back)
    day = parse_date(on, "--on") if on else None
    book = read_book(folder, on=day)
    if beside := summary_for_commands(book.findings):
        say(beside)
    if day is None:
        day = last_logged(book)
    if day is None:
        day = date.today()
        say(f"The log holds no rows, so the day to stand on is today, {day}.")
    _say_what_is_planted_later(book, day)
    return book, day


def _say_what_is_planted_later(book: Book, day: date) -> None:
    """Name the areas that are left out because they were planted after the day stood on."""
    from growthcast.cli.output import say

    planted = book.areas.date("planted_on").astype("datetime64[D]")
    later = book.areas.text("area_id")[planted > day]
    if later.size:
        shown = ", ".join(later[:5]) + (" and others" if later.size > 5 else "")
        say(
            f"Planted after {day} and so left out: {shown}. "
            f"Stand on a later day with --on {planted.max()} to include them."
        )


def say_not_fitted(not_fitted: dict[str, str]) -> None:
    """Name the tanks whose log could not be fitted, on stderr."""
    from growthcast.cli.output import say

    for tank, why in not_fitted.items():
        say(
            f"The log of tank {tank} cannot be fitted: {why}. The tank rests on the species table "
            "alone, as if it had no log; growthcast check may find the row."
        )


def open_fit(argument: str | None, on: str | None) -> tuple[Book, date, GrowthFit]:
    """Read and fit the book; areas whose fit did not settle are named on stderr."""
    from growthcast.cli.output import say
    from growthcast.fit.growth import fit_growth, last_logged
    from growthcast.service.assumed import co2_assumed

    book, day = open_book(argument, on)
    for sentence in co2_assumed(book, unknown=False):
        say(sentence)
    fit = fit_growth(book, day)
    say_not_fitted(fit.not_fitted)
    unsettled = fit.design.area_id[~fit.solution.converged]
    if unsettled.size:
        say(
            f"The fit did not settle for {', '.join(unsettled[:10])}"
            f"{' and others' if unsettled.size > 10 else ''}: do not rely on these areas' numbers; "
            "look for a slipped decimal or a mistaken area in their log rows."
        )
    last = last_logged(book)
    if last is not None and (day - last).days > STALE_D:
        say(
            f"The log ends on {last}, {(day - last).days} days before {day}: heights since then "
            "are forecast as if nothing had been cut."
        )
    if fit.widening != 1.0:
        say(
            f"Ranges are {fit.widening:g} times as wide as the model's own, as widening in "
            "practice.toml asks."
        )
    return book, day, fit


def chosen_tanks(book: Book, tank_id: str | None) -> IntArray:
    """Places of the tanks a command is asked for."""
    import numpy as np

    tanks = book.tanks.text("tank_id")
    if tank_id is None:
        return np.arange(tanks.size)
    found = np.flatnonzero(tanks == tank_id)
    if not found.size:
        from growthcast.book.words import did_you_mean, shown

        names = ", ".join(tanks[:8]) + (" and others" if tanks.size > 8 else "")
        hint = did_you_mean(tank_id, tanks.tolist(), otherwise=f"the tanks are {names}")
        raise UsageError(f"tanks.csv has no tank {shown(tank_id)}; {hint}")
    return found


def one_tank(book: Book, tank_id: str | None) -> int:
    """Place of the one tank a command is about."""
    if tank_id is None:
        tanks = book.tanks.text("tank_id")
        names = ", ".join(tanks[:8]) + (" and others" if tanks.size > 8 else "")
        raise UsageError(f"name one tank with --tank ID; the tanks are {names}")
    return int(chosen_tanks(book, tank_id)[0])
