"""A new file beside the book: written whole or not at all."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from growthcast.book.words import printable
from growthcast.errors import UsageError


@contextmanager
def refusals_in_words(file: Path) -> Iterator[None]:
    """Turn what the system says of a file into a sentence."""
    try:
        yield
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise UsageError(f'"{printable(str(file))}" cannot be written: {reason}') from error


def write_whole(file: Path, content: bytes) -> None:
    """Write a file in one step: a reader finds the old one or the new one, never a part."""
    beside = file.parent / f".growthcast-{os.getpid()}{file.suffix}"
    with refusals_in_words(file):
        try:
            with beside.open("xb") as kept:
                kept.write(content)
                kept.flush()
                os.fsync(kept.fileno())
            beside.replace(file)
        except BaseException:
            beside.unlink(missing_ok=True)
            raise
