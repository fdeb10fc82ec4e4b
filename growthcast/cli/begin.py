"""growthcast start: a new book, asked for on a terminal, or taken from a sheet."""

from __future__ import annotations

import shlex
import sys
from collections.abc import Callable, Mapping
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from growthcast.cli.log import answer
from growthcast.cli.options import File
from growthcast.cli.output import print_words, say
from growthcast.cli.tables import print_line
from growthcast.errors import BookProblems, UsageError

if TYPE_CHECKING:
    from growthcast.book.begin.typed import Row

T = TypeVar("T")
TANK = (
    "Tank (name, client length x width x depth in cm, as lobby, Client A 120x45x48; Enter ends): "
)
AREA = "  plant and place (f front, m middle, b back, w wood, s surface; Enter ends): "
NEXT = """\
Next, in this order ({guide} there explains every column):
  1. type your name and price of an hour into {practice}
  2. growthcast add tank {book} tank_id=lobby client=Mine water_depth_cm=45
  3. growthcast add area {book} area_id=stems tank_id=lobby species_id=rotala-rotundifolia \
area_cm2=400 floor_cm=8 budget_cm=22 planted_on=2026-01-15
  4. growthcast log {book} --tank lobby stems=24/12 35min --yes"""
PRICE = "Your price of an hour, net, in EUR (Enter to leave open): "
LEFT_OPEN = (
    "What is left out is proposed from plant, place and depth, and marked as proposed; heights you "
    "know are written as 9-22, ground as 400cm2, a day of planting as 2026-01-15 (without it: "
    "before your time)."
)


def start_command(folder: Path, sheet: File) -> None:
    """Write a new book: on a terminal tanks and plants are asked for; nothing is written over.

    Example: growthcast start my-book

    Exit status: 0 done, 2 the folder holds a book already or cannot be written, 3 tool fault.
    """
    from growthcast.book.begin.start import GUIDE, check_new_folder, start_book, start_from

    typed = shlex.quote(str(folder))
    if sheet is not None:
        from growthcast.book.sheets.load import read_workbook
        from growthcast.say.written import merge_words

        names, merge = start_from(folder, read_workbook(sheet), today=date.today())
        print_words(merge_words(merge, delete_missing=False))
        say(*(f"{sheet.name}: {words}." for words in merge.not_taken))
        print_line(f"A new book is in {folder}: {', '.join(names)}.")
    elif sys.stdin.isatty():
        check_new_folder(folder)
        typed_so_far: list[str] = []
        try:
            asked = ask_for_book(lambda question: _asked(question, typed_so_far))
        except (UsageError, KeyboardInterrupt):
            say("Typed so far, to be pasted when you start again:\n" + "\n".join(typed_so_far))
            raise
        if asked is None:
            say("Nothing was written.")
            return
        print_line(f"A new book is in {folder}: {', '.join(start_book(folder, *asked))}.")
    else:
        names = start_book(folder)
        print_line(f"A new book is in {folder}: {', '.join(names)}.")
        there = {"guide": GUIDE, "practice": folder / "practice.toml", "book": typed}
        print_words(NEXT.format(**there).split("\n"))
    print_line(f"  growthcast check {typed} says at any time what is still missing.")


def _asked(question: str, so_far: list[str]) -> str:
    so_far.append(answer(question))
    return so_far[-1]


def ask_for_book(
    ask: Callable[[str], str],
) -> tuple[Mapping[str, str | float], list[Row], list[Row]] | None:
    """Ask for the practice, its tanks and their plants; ``None`` where they are not to be written.

    What is not understood is said and asked for again.
    """
    from growthcast.book.begin.start import check_rows
    from growthcast.book.begin.typed import area_typed, complete_areas, tank_typed
    from growthcast.book.read import read_shipped_species
    from growthcast.say.written import first_book_words

    species = read_shipped_species()
    name = ask("Name of the practice (Enter to leave open): ")
    practice = {"name": name, "labour_rate_per_h": _until_understood(ask, PRICE, _price)}
    say(LEFT_OPEN)
    tanks: list[Row] = []
    areas: list[Row] = []

    def tank_of(typed: str) -> Row:
        return tank_typed(typed, [str(one["tank_id"]) for one in tanks])

    def area_of(typed: str) -> Row:
        area = area_typed(typed, str(tanks[-1]["tank_id"]), species)
        check_rows(tanks[-1:], complete_areas([area], tanks[-1:], species))
        return area

    while tank := _until_understood(ask, TANK, tank_of):
        tanks.append(tank)
        while area := _until_understood(ask, AREA, area_of):
            areas.append(area)
    if not tanks:
        return None
    whole = complete_areas(areas, tanks, species)
    print_words(first_book_words(tanks, whole))
    if ask("Write it? [y/N] ").casefold() not in {"y", "yes"}:
        return None
    return {key: value for key, value in practice.items() if value}, tanks, areas


def _price(typed: str) -> float:
    try:
        return float(typed.replace(",", "."))
    except ValueError as error:
        raise UsageError(f"{typed} is no price; write a number, as 58") from error


def _until_understood(
    ask: Callable[[str], str], question: str, read: Callable[[str], T]
) -> T | None:
    """Return what is typed as it is read; none where nothing is, and what is wrong is said."""
    while typed := ask(question):
        try:
            return read(typed)
        except BookProblems as trouble:
            say(*(f"{one.heading}: found {one.found}; {one.fix}" for one in trouble.findings))
        except UsageError as trouble:
            say(str(trouble))
    return None
