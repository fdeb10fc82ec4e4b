"""One writer a book: a lock that the system takes back when its holder dies."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from filelock import FileLock, Timeout

from growthcast.errors import NotWritten

__all__ = ["LOCK", "book_lock"]

LOCK = ".growthcast.lock"
"""The lock file, in the book's folder: every program and person that writes there meets at it.

It is empty, stays where it is, and no reader of a book takes its name for a table. A folder in
which it cannot be made is one in which no table could be replaced either.
"""

PATIENCE_S = 30.0
"""How long to wait for another writer, in seconds."""


@contextmanager
def book_lock(folder: Path, patience_s: float | None = None) -> Iterator[None]:
    """Hold the book's lock; other processes wait, and the same thread may enter once more.

    ``NotWritten`` where the folder cannot be written in, or another writer keeps the lock for
    longer than ``patience_s`` (30 s unless told otherwise).
    """
    wait_s = PATIENCE_S if patience_s is None else patience_s
    if not folder.is_dir():
        raise NotWritten(f"no book at {folder}: it is not a folder")
    if not os.access(folder, os.W_OK | os.X_OK):
        raise NotWritten(_read_only(folder))
    lock = FileLock(folder.resolve() / LOCK, is_singleton=True)
    try:
        lock.acquire(timeout=wait_s, poll_interval=0.005)
    except Timeout as late:
        raise NotWritten(
            f"another growthcast has been writing in {folder} for {wait_s:.0f} s; "
            "wait until it is done, then run this again. Nothing was changed"
        ) from late
    except PermissionError as denied:
        raise NotWritten(_read_only(folder)) from denied
    except OSError as error:
        reason = error.strerror or "no reason given"
        raise NotWritten(
            f"the lock file {LOCK} cannot be made in {folder} ({reason}). Nothing was changed"
        ) from error
    try:
        yield
    finally:
        lock.release()


def _read_only(folder: Path) -> str:
    return (
        f"you may not write in {folder}; change the folder's permissions, or copy the book to "
        "where you may. Nothing was changed"
    )
