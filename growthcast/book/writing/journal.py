"""The journal of changes, one line of JSON each and only ever added to, and the book's lock.

Each line holds what was taken out of and put into each file and where, so that nothing a person
typed is lost and the last entry can be taken back byte for byte. Readers of a book pass it by.

One writer a book: the system takes the lock back when its holder dies. What a killed writer left
behind is completed or swept away by the next. A change counts from its line in the journal on,
which is written when every temporary file is whole. The next writer finds the temporary files;
where the journal's last line names them and nobody has touched their targets since, it renames
them. Anything else is removed.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import field, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from uuid import uuid4

from growthcast.book.findings import refusal
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
    """One change of a book: by which command, in which words, when, and what it did to files.

    ``visit`` is the number of the visit that it logs and the line it was logged from, for visits
    that may arrive twice; ``by`` who made the change, where that was said; ``takes_back`` the ids
    of entries that it undoes.
    """

    command: str = "write"
    summary: str = ""
    takes_back: str | None = None
    visit: tuple[str, str] | None = None
    by: str | None = None
    id: str = ""
    at: str = ""
    files: Mapping[str, Splice] = field(default_factory=dict)

    def stamped(self, files: Mapping[str, Splice]) -> Entry:
        """Return the entry with an id, the time that it is now, and what is done to files."""
        at = datetime.now(UTC).isoformat(timespec="seconds")
        return replace(self, id=uuid4().hex[:12], at=at, files=files, by=self.by or None)


def hash_of(data: bytes | None) -> str | None:
    """Return the SHA-256 of a file's bytes in hexadecimal digits; ``None`` for no file."""
    return None if data is None else hashlib.sha256(data).hexdigest()


def splice_of(old: bytes | None, new: bytes | None) -> Splice:
    """Return the one run of bytes in which two versions of a file differ."""
    a, b = old or b"", new or b""
    start = _shared_start(a, b)
    end = _shared_start(a[start:][::-1], b[start:][::-1])
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
    content = {name: getattr(entry, name) for name in _SAID if getattr(entry, name) is not None}
    content["files"] = {name: _told(splice) for name, splice in entry.files.items()}
    try:
        return json.dumps(content, ensure_ascii=False).encode() + b"\n"
    except UnicodeEncodeError:  # bytes that are not UTF-8 text
        return json.dumps(content).encode() + b"\n"


def _told(splice: Splice) -> dict[str, Any]:
    texts = (one.decode("utf-8", "surrogateescape") for one in (splice.removed, splice.added))
    values = (splice.at, *texts, splice.before, splice.after)
    return dict(zip(_OF_A_FILE, values, strict=True))


def _read(told: Mapping[str, Any]) -> Splice:
    at, *texts, before, after = (told[name] for name in _OF_A_FILE)
    removed, added = (text.encode("utf-8", "surrogateescape") for text in texts)
    return Splice(int(at), removed, added, before, after)


def _journal(folder: Path) -> Path:
    """Return where the journal is; ``NotWritten`` where it is a link, which is never followed."""
    path = folder / JOURNAL
    if path.is_symlink():
        raise NotWritten(refusal("journal-is-link", journal=JOURNAL, folder=folder))
    return path


@contextmanager
def opened(path: Path, flags: int, mode: int = 0o666) -> Iterator[int]:
    """Open a file or folder as the system has it, and close it again."""
    stream = os.open(path, flags, mode)
    try:
        yield stream
    finally:
        os.close(stream)


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
    with opened(_journal(folder), _FLAGS | os.O_CREAT | os.O_APPEND) as stream:
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
    return size


def shorten(folder: Path, size: int) -> None:
    """Take an entry out again whose change did not come about; ``size`` is from before it."""
    with opened(_journal(folder), _FLAGS) as stream:
        os.ftruncate(stream, size)
        os.fsync(stream)


def entries(folder: Path) -> Iterator[Entry]:
    """Yield the journal's entries, oldest first; torn lines and lines of others are passed by."""
    path = _journal(folder)
    if not path.is_file():
        return
    for line in path.read_bytes().split(b"\n"):
        try:
            content = json.loads(line)
            files = {str(name): _read(told) for name, told in content["files"].items()}
            said = {name: content[name] for name in _SAID if name in content}
            if number := said.pop("visit", None):
                said["visit"] = str(number[0]), str(number[1])
            yield Entry(**said, files=files)
        except (ValueError, KeyError, TypeError, AttributeError, IndexError):
            continue


def undone(known: Iterable[Entry]) -> set[str]:
    """Return the ids of the entries that later ones took back; one may take several back."""
    return {one for entry in known if entry.takes_back for one in entry.takes_back.split()}


LOCK = ".growthcast.lock"
"""The lock file, in the book's folder: every program and person that writes there meets at it.

It is empty, stays where it is, and no reader of a book takes its name for a table. A folder in
which it cannot be made is one in which no table could be replaced either.
"""

_ENDING = ".growthcast-new"
PATIENCE_S = 30.0
"""How long to wait for another writer, in seconds."""


@contextmanager
def book_lock(folder: Path) -> Iterator[None]:
    """Hold the book's lock; other processes wait, and the same thread may enter once more.

    What a killed writer left behind is completed or swept away first.

    ``NotWritten`` where the folder cannot be written in, or another writer keeps the lock for
    longer than ``PATIENCE_S``.
    """
    from filelock import FileLock, Timeout  # who only reads the journal does without

    if not folder.is_dir():
        raise NotWritten(f"no book at {folder}: it is not a folder")
    lock = FileLock(folder.resolve() / LOCK, is_singleton=True)
    try:
        if not os.access(folder, os.W_OK | os.X_OK):
            raise PermissionError
        lock.acquire(timeout=PATIENCE_S)
    except Timeout as late:
        raise NotWritten(refusal("lock-kept", folder=folder, seconds=PATIENCE_S)) from late
    except PermissionError as denied:
        raise NotWritten(refusal("folder-closed", folder=folder)) from denied
    except OSError as error:
        reason = error.strerror or "no reason given"
        raise NotWritten(refusal("no-lock", lock=LOCK, folder=folder, reason=reason)) from error
    try:
        if lock.lock_counter == 1:
            _recover(folder)
        yield
    finally:
        lock.release()


def temporary(target: Path) -> Path:
    """Return the one temporary name of a file, beside it and hidden."""
    return target.with_name(f".{target.name}{_ENDING}")


def _recover(folder: Path) -> None:
    """Complete or sweep away what a killed writer left; to be called under the book's lock."""
    left = _left_behind(folder)
    if not left:
        return
    for name, splice in [Entry(), *entries(folder)][-1].files.items():
        target = (folder / name).resolve()
        if name in left and _hash(target) == splice.before:
            if splice.after is None and not left[name].stat().st_size:
                target.unlink(missing_ok=True)
            elif _hash(left[name]) == splice.after:
                os.replace(left.pop(name), target)  # noqa: PTH105 - the atomic call itself
    for leftover in left.values():
        leftover.unlink(missing_ok=True)


def _left_behind(folder: Path) -> dict[str, Path]:
    """Return the temporary files there are, by the name of the file each was to replace."""
    there = os.listdir(folder)  # noqa: PTH208 - names as they are written
    names = {name for name in there if not name.startswith(".")}
    names |= {name[1 : -len(_ENDING)] for name in there if name.endswith(_ENDING)}
    made = {name: temporary((folder / name).resolve()) for name in names if name}
    return {name: path for name, path in made.items() if path.is_file()}


def _hash(path: Path) -> str | None:
    with suppress(FileNotFoundError):
        return hash_of(path.read_bytes())
    return None
