"""growthcast unlog: take back the last visit logged."""

from __future__ import annotations

from growthcast.book.shipped import find_own_book
from growthcast.cli.options import AsJson, OwnBook
from growthcast.cli.output import print_answer


def unlog_command(book: OwnBook = None, as_json: AsJson = False) -> None:
    """Take back the last visit that log wrote, byte for byte; the journal keeps both.

    Example: growthcast unlog my-book

    Exit status: 0 done, 2 nothing to take back or rows were added after it, 3 tool fault.
    """
    from growthcast.book.writing.unlog import take_back

    entry = take_back(find_own_book(book))
    print_answer(
        as_json,
        {"taken_back": entry.summary, "logged_at": entry.at, "id": entry.id},
        [f"Taken back: {entry.summary} (written {entry.at}). It stays in journal.jsonl."],
    )
