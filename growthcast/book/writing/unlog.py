"""Taking back the last visit logged, byte for byte."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from uuid import uuid4

from growthcast.book.words import shown
from growthcast.book.writing.journal import Entry, Splice, append_line, entries
from growthcast.book.writing.lock import book_lock
from growthcast.book.writing.replace import hash_of, read_file, replace_files
from growthcast.errors import UsageError


def last_entry(folder: Path, command: str = "log") -> Entry | None:
    """Return the journal's last entry of a command that has not been taken back, if any."""
    known = list(entries(folder))
    undone = {entry.takes_back for entry in known}
    left = [entry for entry in known if entry.command == command and entry.id not in undone]
    return left[-1] if left else None


def take_back(folder: Path, command: str = "log") -> Entry:
    """Take back the last entry of a command and return it; its file is as it was before, exactly.

    The journal keeps both the entry and that it was taken back. ``UsageError`` where there is no
    entry left, or the file no longer ends with it.
    """
    with book_lock(folder):
        entry = last_entry(folder, command)
        if entry is None:
            raise UsageError(
                f"nothing logged in {folder} is left to take back; rows typed by hand are removed "
                "by hand"
            )
        [(name, splice)] = entry.files.items()
        now = read_file(folder, name)
        if now is None or not now.endswith(splice.added) or not splice.added:
            raise UsageError(_moved_on(folder, name, entry, splice, now))
        before = now[: len(now) - len(splice.added)]
        old = None if splice.before is None and not before else before
        replace_files(
            folder,
            {name: old},
            expected={name: hash_of(now)},
            command="unlog",
            summary=f"took back: {entry.summary}",
            takes_back=entry.id,
        )
        return entry


def _moved_on(folder: Path, name: str, entry: Entry, splice: Splice, now: bytes | None) -> str:
    """Say why an entry cannot be taken back; one that is gone is marked so in the journal."""
    lines = splice.added.replace(b"\0", b"").decode("utf-8", "replace").strip().splitlines() or [""]
    if now is None or splice.added.strip() not in now:
        at = datetime.now(UTC).isoformat(timespec="seconds")
        gone = f"was not in {name} any more: {entry.summary}"
        append_line(folder, Entry(uuid4().hex[:12], at, "unlog", gone, {}, entry.id))
        return (
            f"the last visit logged ({entry.summary}) is not in {name} any more: it was changed or "
            "removed by hand; nothing was changed. The next unlog takes back the visit before it"
        )
    return (
        f"{name} no longer ends with the last visit logged ({entry.summary}): rows were added "
        f"after it; nothing was changed. To take it back, remove the row {shown(lines[-1])} by hand"
    )
