"""growthcast start: a new book, ready to be filled in."""

from __future__ import annotations

import shlex
from pathlib import Path
from typing import Annotated

import typer

from growthcast.cli.output import print_line

NewFolder = Annotated[
    Path, typer.Argument(metavar="DIR", help="Folder for the new book; made if it is not there.")
]


def start_command(folder: NewFolder) -> None:
    """Write a new book from templates that explain themselves; nothing is ever written over.

    Example: growthcast start my-book

    Exit status: 0 done, 2 the folder holds a book already or cannot be written, 3 tool fault.
    """
    from growthcast.book.writing.start import GUIDE, start_book

    names = start_book(folder)
    typed = shlex.quote(str(folder))
    print_line(f"A new book is in {folder}: {', '.join(names)}.")
    print_line(f"Next, in this order ({GUIDE} there explains every column):")
    print_line(f"  1. type your name and price of an hour into {folder / 'practice.toml'}")
    print_line(f"  2. growthcast add tank {typed} tank_id=lobby client=Mine water_depth_cm=45")
    print_line(
        f"  3. growthcast add area {typed} area_id=stems tank_id=lobby "
        "species_id=rotala-rotundifolia area_cm2=400 floor_cm=8 budget_cm=22 planted_on=2026-01-15"
    )
    print_line(f"  4. growthcast log {typed} --tank lobby stems=24/12 35min --yes")
    print_line(f"  growthcast check {typed} says at any time what is still missing.")
