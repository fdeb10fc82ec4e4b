"""growthcast start: a new book, asked for on a terminal, or taken from a sheet."""

from __future__ import annotations

import shlex
import sys
from collections.abc import Callable, Mapping
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from growthcast.cli.log import answer
from growthcast.cli.options import File
from growthcast.cli.output import print_words, say
from growthcast.cli.tables import print_line
from growthcast.errors import BookProblems, UsageError

if TYPE_CHECKING:
    from growthcast.book.begin.typed import Row
    from growthcast.book.book import Table

TANK = (
    "Tank (name, client length x width x depth in cm, as lobby, Client A 120x45x48; Enter ends): "
)
AREA = "  plant and place (f front, m middle, b back, w wood, s surface; Enter ends): "
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
        from growthcast.say.workbook import merge_words

        names, merge = start_from(folder, read_workbook(sheet), today=date.today())
        print_words(merge_words(merge, delete_missing=False))
        for words in merge.not_taken:
            say(f"{sheet.name}: {words}.")
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
        print_line(f"Next, in this order ({GUIDE} there explains every column):")
        print_line(f"  1. type your name and price of an hour into {folder / 'practice.toml'}")
        print_line(f"  2. growthcast add tank {typed} tank_id=lobby client=Mine water_depth_cm=45")
        print_line(
            f"  3. growthcast add area {typed} area_id=stems tank_id=lobby species_id="
            "rotala-rotundifolia area_cm2=400 floor_cm=8 budget_cm=22 planted_on=2026-01-15"
        )
        print_line(f"  4. growthcast log {typed} --tank lobby stems=24/12 35min --yes")
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
    from growthcast.book.begin.typed import complete_areas
    from growthcast.book.read import read_shipped_species
    from growthcast.say.workbook import first_book_words

    species = read_shipped_species()
    practice = {"name": ask("Name of the practice (Enter to leave open): ")}
    practice |= _price(ask)
    say(LEFT_OPEN)
    tanks: list[Row] = []
    areas: list[Row] = []
    while tank := _tank(ask, [str(one["tank_id"]) for one in tanks]):
        tanks.append(tank)
        while area := _area(ask, tank, species):
            areas.append(area)
    if not tanks:
        return None
    whole = complete_areas(areas, tanks, species)
    print_words(first_book_words(tanks, whole))
    if ask("Write it? [y/N] ").casefold() not in {"y", "yes"}:
        return None
    return {key: value for key, value in practice.items() if value}, tanks, areas


def _price(ask: Callable[[str], str]) -> dict[str, Any]:
    while typed := ask("Your price of an hour, net, in EUR (Enter to leave open): "):
        try:
            return {"labour_rate_per_h": float(typed.replace(",", "."))}
        except ValueError:
            say(f"{typed} is no price; write a number, as 58")
    return {}


def _tank(ask: Callable[[str], str], taken: list[str]) -> Row:
    from growthcast.book.begin.typed import tank_typed

    while typed := ask(TANK):
        try:
            return tank_typed(typed, taken)
        except UsageError as trouble:
            say(str(trouble))
    return {}


def _area(ask: Callable[[str], str], tank: Row, species: Table) -> Row:
    from growthcast.book.begin.start import check_rows
    from growthcast.book.begin.typed import area_typed, complete_areas

    while typed := ask(AREA):
        try:
            area = area_typed(typed, str(tank["tank_id"]), species)
            check_rows([tank], complete_areas([area], [tank], species))
            return area
        except BookProblems as trouble:
            for one in trouble.findings:
                say(f"{one.heading}: found {one.found}; {one.fix}")
        except UsageError as trouble:
            say(str(trouble))
    return {}
