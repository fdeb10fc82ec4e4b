"""The journal of a book in words."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from growthcast.book.writing.journal import Entry, undone
from growthcast.say.words import Table, count_of, tidy


def journal_words(entries: Sequence[Entry], last: int) -> list[str | Table]:
    """Return the last changes of a book as a table, newest first."""
    if not entries:
        return ["The journal holds no change: nothing was written here by a command yet."]
    gone = undone(entries)
    rows = [
        (
            _local(entry.at),
            tidy(entry.by or ""),
            f"{entry.command}: {tidy(entry.summary.removesuffix(f', by {entry.by}'))}"
            + (" (taken back since)" if entry.id in gone else ""),
            entry.id[:6],
        )
        for entry in reversed(entries[-last:])
    ]
    left = len(entries) - len(rows)
    more = [f"{count_of(left, 'earlier change')}; --last lists more."] if left else []
    return [Table("Changes", ("when", "who", "what", "id"), rows), *more]


def _local(at: str) -> str:
    """Return a moment as the clock on the wall showed it, as typed where it is none."""
    try:
        return datetime.fromisoformat(at).astimezone().strftime("%Y-%m-%d %H:%M")
    except ValueError:
        return tidy(at)


def journal_for_programs(entries: Sequence[Entry]) -> list[dict[str, object]]:
    """Return the changes of a book for programs, newest first."""
    gone = undone(entries)
    return [
        {
            "id": entry.id,
            "at": entry.at,
            "by": entry.by,
            "command": entry.command,
            "summary": entry.summary,
            "files": [*entry.files],
            "takes_back": entry.takes_back,
            "taken_back": entry.id in gone,
        }
        for entry in reversed(entries)
    ]
