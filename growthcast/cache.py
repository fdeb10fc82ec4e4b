"""What was worked out is kept in the user's cache folder, and never beside a book.

An answer is kept under a key of everything that it follows from: what was given, and the code that
works it out. A file is written whole or not at all, and read only if it holds what was written
under its own name; any other is as if it were not there. Off until a command turns it on.
"""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Callable, Iterable
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    from growthcast.book.book import Book

T = TypeVar("T")
VARIABLE = "GROWTHCAST_CACHE"
"""Environment variable with the folder of the cache, or ``off``."""
OFF = "off"
MOST_BYTES = 64_000_000
"""The folder is no larger; what was not used for longest goes first."""
MOST_OF_ONE = MOST_BYTES // 4
SUFFIX = ".kept"
DIGEST = 32
NOT_OURS = (OSError, ValueError, TypeError, LookupError, AttributeError, ImportError, EOFError)
"""What a file raises that was not written by this code, or not whole."""

_turned_on = False


def turn(on: bool) -> None:
    """Keep answers from now on, or do not."""
    global _turned_on
    _turned_on = on


def folder() -> Path | None:
    """Return where answers are kept, None where they are not."""
    named = os.environ.get(VARIABLE)
    if named is not None:
        return None if named.strip().lower() in ("", OFF) else Path(named)
    from platformdirs import user_cache_path

    return user_cache_path("growthcast", appauthor=False)


def files() -> list[tuple[Path, int]]:
    """Return the kept files with their sizes [byte], those used last at the end."""
    where, found = folder(), []
    for file in where.glob(f"*{SUFFIX}") if where is not None else ():
        with contextlib.suppress(OSError):
            state = file.stat()
            found.append((state.st_mtime_ns, file, state.st_size))
    return [(file, size) for _, file, size in sorted(found)]


def clear() -> int:
    """Delete what is kept; return how many files that were."""
    return sum(_delete(file) for file, _ in files())


def recall(work: Callable[[], T], *given: object) -> T:
    """Return what ``work`` makes of what is ``given``; it is only worked out if it is not kept.

    Nothing else than what is given may change the answer.
    """
    if not _turned_on or folder() is None:
        return work()
    from growthcast.coded import coded, decoded

    key = _key(given)
    with contextlib.suppress(*NOT_OURS):
        if (body := held(key)) is not None:
            kept: T = decoded(body)
            return kept
    made = work()
    hold(key, coded(made))
    return made


def tables_of(book: Book) -> tuple[object, ...]:
    """Return all of a book that answers follow from: not where it lies, nor what was found odd."""
    from dataclasses import fields

    names = [one.name for one in fields(book) if one.name not in ("folder", "findings")]
    return tuple(getattr(book, name) for name in names)


def _key(given: object) -> str:
    """Return the digest of what is given, and of the code."""
    from growthcast.coded import coded

    return digest_of([f"{code()}\n".encode(), coded(given)]).hex()


def digest_of(parts: Iterable[bytes]) -> bytes:
    """Return the digest of bytes, ``DIGEST`` long."""
    try:  # hashlib loads OpenSSL first, which takes half as long as reading a book
        from _blake2 import blake2b
    except ImportError:
        from hashlib import blake2b
    digest = blake2b(digest_size=DIGEST)
    for part in parts:
        digest.update(part)
    return digest.digest()


@cache
def code() -> str:
    """Return what tells this code from any other: versions, and the files of a checkout.

    The time of the folder of the packages tells when any of them was replaced.
    """
    package = Path(__file__).parent
    homes = (Path(home) for home in sys.path if Path(home, "numpy").is_dir())
    packages = next(homes, package)
    seen = [sys.version, f"{packages} {packages.stat().st_mtime_ns}"]
    for top in filter(Path.is_dir, (package, package.parent / "species")):
        rooms = [str(top)]
        while rooms:
            with os.scandir(rooms.pop()) as found:
                for one in found:
                    if one.name.endswith((".py", ".toml", ".csv", ".html", ".css", ".typ")):
                        state = one.stat()
                        seen.append(f"{one.path} {state.st_size} {state.st_mtime_ns}")
                    elif one.is_dir(follow_symlinks=False) and one.name != "__pycache__":
                        rooms.append(one.path)
    return "\n".join(sorted(seen))


def held(key: str) -> bytes | None:
    """Return what was kept under a key, whole, else None."""
    file, where = f"{key}{SUFFIX}", folder()
    with contextlib.suppress(OSError):
        if where is not None and (where / file).stat().st_size <= MOST_BYTES:
            data = (where / file).read_bytes()
            digest, body = data[:DIGEST], data[DIGEST:]
            if digest_of([key.encode(), body]) == digest:
                with contextlib.suppress(OSError):
                    os.utime(where / file)  # used last
                return body
    return None


def hold(key: str, body: bytes) -> None:
    """Keep bytes under a key; a folder that cannot be written to, or is full, keeps none."""
    from tempfile import NamedTemporaryFile

    where = folder()
    with contextlib.suppress(OSError):
        if where is None or len(body) > MOST_OF_ONE:
            return
        where.mkdir(mode=0o700, parents=True, exist_ok=True)
        temporary = None
        try:
            with NamedTemporaryFile(dir=where, suffix=SUFFIX, delete=False) as written:
                temporary = Path(written.name)
                written.write(digest_of([key.encode(), body]) + body)
            temporary.replace(where / f"{key}{SUFFIX}")
        except OSError:
            if temporary is not None:
                _delete(temporary)
    _keep_bounded()


def _keep_bounded() -> None:
    kept = files()
    over = sum(size for _, size in kept) - MOST_BYTES
    for file, size in kept:
        if over <= 0:
            return
        over -= size if _delete(file) else 0


def _delete(file: Path) -> bool:
    with contextlib.suppress(OSError):
        file.unlink()
        return True
    return False
