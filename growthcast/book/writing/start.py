"""A new book: its files with nothing in them yet but what a person needs to fill them in."""

from __future__ import annotations

import textwrap
from pathlib import Path

from growthcast.book.checks.names import FILES
from growthcast.book.tables import TABLES
from growthcast.book.writing.replace import replace_files
from growthcast.errors import NotWritten, UsageError

__all__ = ["GUIDE", "start_book"]

GUIDE = "README.txt"
"""The explanations of a new book, since tables hold no comments; readers pass it by."""

_PRACTICE = """\
# The practice: one value a line, after the = sign. A line that begins with # is not read.
# growthcast check says what is missing or mistyped, line by line.

[practice]
name = "My practice"            # as it should stand on papers for clients
currency = "EUR"                # three capital letters: EUR, CHF, GBP, USD
# labour_rate_per_h = 50.0      # your price of an hour; take the # away and type your own

[visit]
fixed_min = 30                  # minutes at a tank before any trimming: glass, water, checks
travel_min = 20                 # minutes of travel for one visit

[targets]
confidence = 0.90               # wanted chance that every area stays inside its height budget
intervals_d = [7, 10, 14, 21, 28]   # visit intervals to compare, in days
horizon_d = 60                  # how many days ahead forecasts reach

[log]
# Whose a weight or a time of the whole tank is: "all" areas', their own amounts included, or only
# that of the "rest", the areas without amounts of their own. Left out, your log decides.
# whole_tank_grams = "all"
# whole_tank_minutes = "rest"
"""

_GUIDE_HEAD = """\
How to keep this book
=====================

This folder is a book: the tanks you keep, what grows in them, and what you cut and when. Every
table is plain text that any spreadsheet or editor opens; growthcast only ever adds lines at their
end when you tell it to. Delete this file whenever you like: it is not read.

1. Open practice.toml and type your own name, price of an hour and minutes.
2. Add a tank:
       growthcast add tank . tank_id=lobby "client=Client A" water_depth_cm=45
3. Add each planted area, one patch of one plant each:
       growthcast add area . area_id=stems tank_id=lobby species_id=rotala-rotundifolia
           area_cm2=400 floor_cm=8 budget_cm=22 planted_on=2026-01-15
   (on one line). growthcast species lists the plants known and their species_id.
4. If you know them, add light, CO2 and nutrients:
       growthcast add conditions . tank_id=lobby from_date=2026-01-15 ppfd_umol=80 photoperiod_h=8
5. At every visit, log what you measured and cut; the first line shows, the second writes:
       growthcast log . --tank lobby --on 2026-02-02 stems=24/12 35min
       growthcast log . --tank lobby --on 2026-02-02 stems=24/12 35min --yes
   Without a ruler: moss=right by eye (short, right, over), rest=right for all areas not named.
   A weighed bucket: bucket=900g is all that came out of the tank, rest=900g what the areas
   without amounts of their own gave.
   A mistake is taken back with: growthcast unlog .
6. growthcast check .     says what is wrong or odd, where, and how to mend it
   growthcast interval .  says how often each tank must be visited

Dates are written YYYY-MM-DD. A blank cell means: not known. Heights are those of the canopy above
the area's own base in cm; for floating plants the same columns hold per cent of the surface.
journal.jsonl keeps every change made by growthcast; leave it and .growthcast.lock where they are.

What each column holds (* must be filled in)
"""

_TITLES = {
    "tanks": "tanks.csv: one row for each tank",
    "areas": "areas.csv: one row for each planted area",
    "trims": "trims.csv, the log: one row for each area cut, measured or looked at on a day",
    "conditions": "conditions.csv: light and water; a row holds until the tank's next one",
    "closed": "closed.csv: days on which nobody can be visited, of a client or of one tank",
}
_WIDTH = 96


def start_book(folder: Path) -> tuple[str, ...]:
    """Write a new book into a folder, made if it is not there; return the names of its files.

    ``UsageError`` where the folder holds a file of a book already, ``NotWritten`` where it cannot
    be written: nothing is ever written over.
    """
    if folder.exists() and not folder.is_dir():
        raise UsageError(f"{folder} is a file; name a folder for the new book")
    files = {
        "practice.toml": _PRACTICE,
        **{f"{table}.csv": _header(table) for table in _TITLES},
        GUIDE: _guide(),
    }
    there = [name for name in (*FILES, GUIDE) if (folder / name).exists()]
    if there:
        raise UsageError(
            f"{folder} holds {', '.join(there)} already and nothing is written over; "
            "name another folder"
        )
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        reason = error.strerror or "no reason given"
        raise NotWritten(f"the folder {folder} cannot be made ({reason})") from error
    replace_files(
        folder,
        {name: text.encode() for name, text in files.items()},
        expected=dict.fromkeys(files),
        command="start",
        summary="a new book",
    )
    return tuple(files)


def _header(table: str) -> str:
    return ",".join(column.name for column in TABLES[table]) + "\n"


def _guide() -> str:
    parts = [_GUIDE_HEAD]
    for table, title in _TITLES.items():
        parts.append(f"\n{title}\n")
        for column in TABLES[table]:
            must = "*" if column.required else ""
            holds = "" if column.kind in {"text", "id"} else f" ({column.expected})"
            text = f"{column.name}{must}: {column.meaning}{holds}"
            lines = textwrap.wrap(text, _WIDTH, initial_indent="  ", subsequent_indent="      ")
            parts.append("\n".join(lines) + "\n")
    return "".join(parts)
