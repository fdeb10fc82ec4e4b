"""The journal of changes: one line of JSON for each, only ever added to.

Each line holds what was taken out of and put into each file and where, so that nothing a person
typed is lost and the last entry can be taken back byte for byte. Readers of a book pass it by.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

from growthcast.errors import NotWritten
from growthcast.nouns import dataclass

JOURNAL = "journal.jsonl"
_FLAGS = os.O_RDWR | getattr(os, "O_BINARY", 0) | getattr(os, "O_NOFOLLOW", 0)


_SAID = ("id", "at", "command", "summary", "takes_back", "visit", "by")
_OF_A_FILE = ("byte", "removed", "added", "sha256_before", "sha256_after")
"""What a line holds of an entry and of each of its files, in this order."""


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
    that may arrive twice; ``by`` who made the change, where that was said.
    """

    id: str
    at: str
    command: str
    summary: str
    files: Mapping[str, Splice]
    takes_back: str | None = None
    visit: tuple[str, str] | None = None
    by: str | None = None


def hash_of(data: bytes | None) -> str | None:
    """Return the SHA-256 of a file's bytes in hexadecimal digits; ``None`` for no file."""
    return None if data is None else hashlib.sha256(data).hexdigest()


def splice_of(old: bytes | None, new: bytes | None) -> Splice:
    """Return the one run of bytes in which two versions of a file differ."""
    a, b = old or b"", new or b""
    start = _shared_start(a, b)
    end = min(_shared_start(a[start:][::-1], b[start:][::-1]), len(a) - start, len(b) - start)
    removed, added = a[start : len(a) - end], b[start : len(b) - end]
    return Splice(start, removed, added, hash_of(old), hash_of(new))


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
    said = {name: getattr(entry, name) for name in _SAID if getattr(entry, name) is not None}
    files = {name: _told(splice) for name, splice in entry.files.items()}
    content = said | {"files": files}
    try:
        return json.dumps(content, ensure_ascii=False).encode() + b"\n"
    except UnicodeEncodeError:  # bytes that are not UTF-8 text
        return json.dumps(content).encode() + b"\n"


def _told(splice: Splice) -> dict[str, Any]:
    removed, added = (
        data.decode("utf-8", "surrogateescape") for data in (splice.removed, splice.added)
    )
    values = (splice.at, removed, added, splice.before, splice.after)
    return dict(zip(_OF_A_FILE, values, strict=True))


def _read(told: Mapping[str, Any]) -> Splice:
    at, *texts, before, after = (told[name] for name in _OF_A_FILE)
    removed, added = (text.encode("utf-8", "surrogateescape") for text in texts)
    return Splice(int(at), removed, added, before, after)


def _journal(folder: Path) -> Path:
    """Return where the journal is; ``NotWritten`` where it is a link, which is never followed."""
    path = folder / JOURNAL
    if path.is_symlink():
        raise NotWritten(
            f"{JOURNAL} in {folder} is a link, and the journal is written beside the book's files "
            "only: put the file itself in the link's place, or remove the link. Nothing was changed"
        )
    return path


def write_all(stream: int, data: bytes) -> None:
    """Write bytes to an open file, on the disk when this returns."""
    left = memoryview(data)
    while left:
        left = left[os.write(stream, left) :]
    os.fsync(stream)


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
            write_all(stream, data)
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
            files = {str(name): _read(told) for name, told in content["files"].items()}
            number = content.get("visit")
            yield Entry(
                content["id"],
                content["at"],
                content["command"],
                content["summary"],
                files,
                content.get("takes_back"),
                None if number is None else (str(number[0]), str(number[1])),
                content.get("by"),
            )
        except (ValueError, KeyError, TypeError, AttributeError, IndexError):
            continue


def undone(known: Iterable[Entry]) -> set[str]:
    """Return the ids of the entries that later ones took back; one may take several back."""
    return {one for entry in known if entry.takes_back for one in entry.takes_back.split()}
