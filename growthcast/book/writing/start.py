"""A new book: its files with nothing in them yet but what a person needs to fill them in."""

from __future__ import annotations

import textwrap
from pathlib import Path

from growthcast.book.checks.names import FILES
from growthcast.book.tables import TABLES
from growthcast.book.writing.replace import replace_files
from growthcast.errors import NotWritten, UsageError

GUIDE = "README.txt"
"""The explanations of a new book, since tables hold no comments; readers pass it by."""

_TEMPLATES = Path(__file__).with_name("new_book")

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
        "practice.toml": _template("practice.toml"),
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


def _template(name: str) -> str:
    return (_TEMPLATES / name).read_text(encoding="utf-8")


def _header(table: str) -> str:
    return ",".join(column.name for column in TABLES[table]) + "\n"


def _guide() -> str:
    parts = [_template(GUIDE)]
    for table, title in _TITLES.items():
        parts.append(f"\n{title}\n")
        for column in TABLES[table]:
            must = "*" if column.required else ""
            holds = "" if column.kind in {"text", "id"} else f" ({column.expected})"
            text = f"{column.name}{must}: {column.meaning}{holds}"
            lines = textwrap.wrap(text, _WIDTH, initial_indent="  ", subsequent_indent="      ")
            parts.append("\n".join(lines) + "\n")
    return "".join(parts)
