"""The journal of changes: one line of JSON for each, only ever added to.

Each line holds what was taken out of and put into each file and where, so that nothing a person
typed is lost and the last entry can be taken back byte for byte. Readers of a book pass it by.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from growthcast.errors import NotWritten

JOURNAL = "journal.jsonl"
_FLAGS = os.O_RDWR | getattr(os, "O_BINARY", 0) | getattr(os, "O_NOFOLLOW", 0)


@dataclass(frozen=True, slots=True)
class Splice:
    """What happened to one file: from byte ``at`` on, ``removed`` gave way to ``added``.

    ``before`` and ``after`` are hashes of the whole file, ``None`` where there was no file.
    """

    at: int
    removed: bytes
    added: bytes
    before: str | None
    after: str | None


@dataclass(frozen=True, slots=True)
class Entry:
    """One change of a book: when, by which command, in which words, and what it did to files.

    ``visit`` is the number of the visit that it logs and the line it was logged from, for visits
    that may arrive twice.
    """

    id: str
    at: str
    command: str
    summary: str
    files: Mapping[str, Splice]
    takes_back: str | None = None
    visit: tuple[str, str] | None = None


def splice_of(
    old: bytes | None, new: bytes | None, before: str | None, after: str | None
) -> Splice:
    """Return the one run of bytes in which two versions of a file differ."""
    a, b = old or b"", new or b""
    start = _shared_start(a, b)
    end = min(_shared_start(a[start:][::-1], b[start:][::-1]), len(a) - start, len(b) - start)
    return Splice(start, a[start : len(a) - end], b[start : len(b) - end], before, after)


def _shared_start(a: bytes, b: bytes) -> int:
    """Return how many bytes two texts share at their start, by halving."""
    low, high = 0, min(len(a), len(b))
    while low < high:
        middle = (low + high + 1) // 2
        if a[low:middle] == b[low:middle]:
            low = middle
        else:
            high = middle - 1
    return low


def line_of(entry: Entry) -> bytes:
    """Return an entry as its line."""
    content: dict[str, Any] = {
        "id": entry.id,
        "at": entry.at,
        "command": entry.command,
        "summary": entry.summary,
    }
    if entry.takes_back is not None:
        content["takes_back"] = entry.takes_back
    if entry.visit is not None:
        content["visit"] = entry.visit
    content["files"] = {
        name: {
            "byte": splice.at,
            "removed": _text(splice.removed),
            "added": _text(splice.added),
            "sha256_before": splice.before,
            "sha256_after": splice.after,
        }
        for name, splice in entry.files.items()
    }
    try:
        return json.dumps(content, ensure_ascii=False).encode() + b"\n"
    except UnicodeEncodeError:  # bytes that are not UTF-8 text
        return json.dumps(content).encode() + b"\n"


def _visit(told: list[str] | None) -> tuple[str, str] | None:
    return None if told is None else (str(told[0]), str(told[1]))


def _text(data: bytes) -> str:
    return data.decode("utf-8", "surrogateescape")


def _bytes(text: str) -> bytes:
    return text.encode("utf-8", "surrogateescape")


def _journal(folder: Path) -> Path:
    """Return where the journal is; ``NotWritten`` where it is a link, which is never followed."""
    path = folder / JOURNAL
    if path.is_symlink():
        raise NotWritten(
            f"{JOURNAL} in {folder} is a link, and the journal is written beside the book's files "
            "only: put the file itself in the link's place, or remove the link. Nothing was changed"
        )
    return path


def append_line(folder: Path, entry: Entry) -> int:
    """Write an entry at the journal's end, on the disk when this returns; return its old size.

    A last line torn by a crash is ended first. ``OSError`` where it cannot be written; the journal
    then ends where it did.
    """
    stream = os.open(_journal(folder), _FLAGS | os.O_CREAT | os.O_APPEND, 0o666)
    try:
        size = os.fstat(stream).st_size
        data = line_of(entry)
        if size:
            os.lseek(stream, size - 1, os.SEEK_SET)
            if os.read(stream, 1) != b"\n":
                data = b"\n" + data
        try:
            left = memoryview(data)
            while left:
                left = left[os.write(stream, left) :]
            os.fsync(stream)
        except OSError:
            os.ftruncate(stream, size)
            raise
    finally:
        os.close(stream)
    return size


def shorten(folder: Path, size: int) -> None:
    """Take an entry out again whose change did not come about; ``size`` is from before it."""
    stream = os.open(_journal(folder), _FLAGS)
    try:
        os.ftruncate(stream, size)
        os.fsync(stream)
    finally:
        os.close(stream)


def entries(folder: Path) -> Iterator[Entry]:
    """Yield the journal's entries, oldest first; torn lines and lines of others are passed by."""
    path = _journal(folder)
    if not path.is_file():
        return
    for line in path.read_bytes().split(b"\n"):
        try:
            content = json.loads(line)
            files = {
                str(name): Splice(
                    int(one["byte"]),
                    _bytes(one["removed"]),
                    _bytes(one["added"]),
                    one["sha256_before"],
                    one["sha256_after"],
                )
                for name, one in content["files"].items()
            }
            yield Entry(
                content["id"],
                content["at"],
                content["command"],
                content["summary"],
                files,
                content.get("takes_back"),
                _visit(content.get("visit")),
            )
        except (ValueError, KeyError, TypeError, AttributeError, IndexError):
            continue
