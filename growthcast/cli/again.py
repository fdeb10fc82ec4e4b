"""What a command printed is kept, and printed again where nothing that it follows from changed.

That is told by the bytes of the book and its names of files, before anything of them is read. All
else is in the key: what was typed and where, the day, the code, and what text is laid out for.
"""

from __future__ import annotations

import json
import os
import sys
import time
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager, redirect_stderr, redirect_stdout, suppress
from pathlib import Path
from typing import Any

from growthcast import cache

COMMANDS = {"interval", "forecast", "cuts", "fit", "watch", "backtest", "rounds", "away", "peak"}
"""Those that print what follows from a book; with a file to write, or a question, they are not."""
AROUND = ("COLUMNS", "GROWTHCAST_TRACEBACK", "NO_COLOR", "TERM", "WT_SESSION")
"""Variables that change what is printed."""
STATUSES = (0, 1)

_books: dict[str, str] | None = None
"""The folders that the command at work has read, each with its state before; None: not kept."""


class _Heard:
    """A stream, and what is written to it, while that is not too long to be kept."""

    def __init__(self, name: str, said: list[tuple[str, str]]) -> None:
        self.name, self.stream, self.said = name, getattr(sys, name), said
        self.room = cache.MOST_OF_ONE

    def write(self, text: str) -> int:
        self.room -= len(text)
        if self.room > 0:
            self.said.append((self.name, text))
        return int(self.stream.write(text))

    def writelines(self, lines: Iterable[str]) -> None:
        for line in lines:
            self.write(line)

    def __getattr__(self, name: str) -> Any:
        return getattr(self.stream, name)


def rests_on(folder: Path) -> None:
    """Remember that what the command at work prints follows from a book, which it reads now."""
    if _books is not None:
        _books.setdefault(str(folder), _state_of(str(folder)))


def not_kept() -> None:
    """Keep nothing of the command at work: it writes a file, or somebody was asked."""
    global _books
    _books = None


def _state_of(folder: str) -> str:
    """Return the digest of a book's files and of all names beside them; "" where there is none."""

    def parts() -> Iterator[bytes]:
        with os.scandir(folder) as found:
            for one in sorted(found, key=lambda one: one.name):
                is_read = one.is_file() and one.name.lower().endswith((".csv", ".toml"))
                state = one.stat(follow_symlinks=False)
                changed = "" if is_read else state.st_mtime_ns
                yield f"{one.name!r} {state.st_size} {changed} ".encode()
                if is_read:
                    yield Path(one.path).read_bytes()

    with suppress(OSError):
        return cache.digest_of(parts()).hex()
    return ""


def _key_of(words: Sequence[str]) -> str:
    """Return the key of what a command prints; "" where that is not kept."""
    with suppress(OSError, ValueError):
        if words[:1] and words[0] in COMMANDS and "--no-cache" not in words and cache.folder():
            streams = [(one.isatty(), one.encoding) for one in (sys.stdout, sys.stderr)]
            around: list[object] = [os.environ.get(name) for name in AROUND]
            if any(is_terminal for is_terminal, _ in streams):
                from shutil import get_terminal_size

                around.append(get_terminal_size())
            here = str(Path.cwd()), Path("practice.toml").exists(), time.strftime("%Y-%m-%d")
            said = repr((words, streams, around, here, cache.code()))
            return cache.digest_of([said.encode()]).hex()
    return ""


def printed_again(words: Sequence[str]) -> int | None:
    """Print what the command printed before and return its exit status; None where it must run."""
    if not (key := _key_of(words)) or (body := cache.held(key)) is None:
        return None
    with suppress(*cache.NOT_OURS):
        books, said, status = json.loads(body)
        if all(_state_of(folder) == state for folder, state in books.items()):
            for name, text in said:
                {"stdout": sys.stdout, "stderr": sys.stderr}[name].write(text)
            sys.stdout.flush()
            return int(status)
    return None


@contextmanager
def heard(words: Sequence[str]) -> Iterator[None]:
    """Run a command, and keep what it prints."""
    global _books
    if not (key := _key_of(words)):
        yield
        return
    said: list[tuple[str, str]] = []
    out, err = _Heard("stdout", said), _Heard("stderr", said)
    status: Any = 0
    _books = {}
    try:
        with redirect_stdout(out), redirect_stderr(err):
            yield
    except SystemExit as stop:
        status = stop.code or 0
        raise
    except BaseException:
        not_kept()
        raise
    finally:
        books, _books = _books or {}, None
        same = all(state and _state_of(folder) == state for folder, state in books.items())
        whole = min(out.room, err.room) > 0 and status in STATUSES
        if books and same and whole and key == _key_of(words):
            cache.hold(key, json.dumps([books, said, status]).encode())
