"""One writer a book: a lock that the system takes back when its holder dies.

What a killed writer left behind is completed or swept away by the next. A change counts from its
line in the journal on, which is written when every temporary file is whole. The next writer finds
the temporary files; where the journal's last line names them and nobody has touched their targets
since, it renames them. Anything else is removed.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from filelock import FileLock, Timeout

from growthcast.book.writing.journal import entries, hash_of
from growthcast.errors import NotWritten

LOCK = ".growthcast.lock"
"""The lock file, in the book's folder: every program and person that writes there meets at it.

It is empty, stays where it is, and no reader of a book takes its name for a table. A folder in
which it cannot be made is one in which no table could be replaced either.
"""

_ENDING = ".growthcast-new"
PATIENCE_S = 30.0
"""How long to wait for another writer, in seconds."""


@contextmanager
def book_lock(folder: Path, patience_s: float | None = None) -> Iterator[None]:
    """Hold the book's lock; other processes wait, and the same thread may enter once more.

    What a killed writer left behind is completed or swept away first.

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
        if lock.lock_counter == 1:
            _recover(folder)
        yield
    finally:
        lock.release()


def _read_only(folder: Path) -> str:
    return (
        f"you may not write in {folder}; change the folder's permissions, or copy the book to "
        "where you may. Nothing was changed"
    )


def temporary(target: Path) -> Path:
    """Return the one temporary name of a file, beside it and hidden."""
    return target.with_name(f".{target.name}{_ENDING}")


def _recover(folder: Path) -> None:
    """Complete or sweep away what a killed writer left; to be called under the book's lock."""
    left = _left_behind(folder)
    if not left:
        return
    last = None
    for last in entries(folder):  # noqa: B007 - the last one is wanted
        pass
    for name, splice in last.files.items() if last else ():
        target = (folder / name).resolve()
        if name in left and _hash(target) == splice.before:
            if splice.after is None and not left[name].stat().st_size:
                target.unlink(missing_ok=True)
            elif splice.after is not None and _hash(left[name]) == splice.after:
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
    try:
        return hash_of(path.read_bytes())
    except FileNotFoundError:
        return None
