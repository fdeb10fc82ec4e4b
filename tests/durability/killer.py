"""Writes a book's files and is killed at every boundary of a system call, once at each.

Run as a program of its own: it forks for every kill, so that the parent can look at what is left.
Prints how many kills there were, or what was lost.
"""

from __future__ import annotations

import os
import shutil
import signal
import sys
from collections.abc import Mapping
from pathlib import Path

from growthcast.book.writing.journal import LOCK, Entry, book_lock, entries
from growthcast.book.writing.replace import read_file, replace_files

CALLS = (
    *("open", "close", "write", "fsync", "replace", "unlink", "lseek", "read", "ftruncate"),
    *("fchmod", "fchown", "fstat", "lstat", "access", "listdir", "readlink"),
)

OLD = {"trims.csv": b"a\n" * 3000, "areas.csv": b"b\n" * 10}
CASES: dict[str, Mapping[str, bytes | None]] = {
    "append": {"trims.csv": OLD["trims.csv"] + b"new row\n"},
    "two files": {"trims.csv": b"c\n" * 4000, "areas.csv": b"d\n"},
    "removal": {"areas.csv": None},
    "areas and their heights": {"areas.csv": b"b,1\n" * 10, "bounds.csv": b"g\n"},
}


def die_at(number: int, moment: str) -> None:
    """Be killed in the middle of the n-th write from here on, or after the n-th system call.

    Before a call nothing is otherwise than after the one before it.
    """
    count = 0

    def watched(name, real):
        def call(*arguments, **options):
            nonlocal count
            count += moment == "after" or name == "write"
            if count != number:
                return real(*arguments, **options)
            try:
                if moment == "middle":
                    real(arguments[0], bytes(arguments[1])[: len(arguments[1]) // 2])
                else:
                    real(*arguments, **options)
            finally:  # a call that fails is one as well
                os.kill(os.getpid(), signal.SIGKILL)

        return call

    for name in CALLS:
        setattr(os, name, watched(name, getattr(os, name)))


def is_killed(folder: Path, new: Mapping[str, bytes | None], number: int, moment: str) -> bool:
    """Whether the child that wrote was killed; not so once there are fewer calls than that."""
    child = os.fork()
    if child == 0:
        die_at(number, moment)
        replace_files(folder, new, {name: OLD.get(name) for name in new}, Entry("test"))
        os._exit(0)
    _, status = os.waitpid(child, 0)
    assert os.WIFSIGNALED(status) or os.WEXITSTATUS(status) == 0, status
    return os.WIFSIGNALED(status)


def look(folder: Path, new: Mapping[str, bytes | None]) -> None:
    """Every file is whole, old or new; after the next writer all are old, or all are new."""
    for name, data in new.items():
        assert read_file(folder, name) in (OLD.get(name), data), f"{name} is torn"
    for name, data in OLD.items():
        assert name in new or read_file(folder, name) == data, f"{name} was touched"
    with book_lock(folder):
        pass
    now = {name: read_file(folder, name) for name in new}
    told = list(entries(folder))
    assert now in (dict(new), {name: OLD.get(name) for name in new}), "half a change"
    assert bool(told) == (now == dict(new)), "the journal and the files disagree"
    left = [p.name for p in folder.iterdir() if p.name.startswith(".") and p.name != LOCK]
    assert not left, f"left behind: {left}"
    replace_files(folder, {"species.csv": b"next"}, {"species.csv": None})
    assert len(list(entries(folder))) == len(told) + 1, "the journal lost a line"


def main(scratch: Path) -> int:
    kills = 0
    for new in CASES.values():
        for moment in ("middle", "after"):
            number, killed = 1, True
            while killed:
                folder = scratch / f"{kills}"
                folder.mkdir()
                for name, data in OLD.items():
                    (folder / name).write_bytes(data)
                killed = is_killed(folder, new, number, moment)
                look(folder, new)
                shutil.rmtree(folder)
                kills += killed
                number += 1
    return kills


if __name__ == "__main__":
    print(main(Path(sys.argv[1])))
