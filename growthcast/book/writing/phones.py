"""The phones that may hand visits over: a file of their keys, beside the book and for its owner."""

from __future__ import annotations

import contextlib
import json
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from growthcast.book.writing.lock import book_lock
from growthcast.errors import NotWritten

PHONES = ".growthcast.phones"
"""Hidden from readers of the book, and readable by its owner alone."""


def read_phones(folder: Path) -> dict[str, dict[str, Any]]:
    """Return what is known of phones, by the names of their keys; nothing where it is torn."""
    with contextlib.suppress(OSError, ValueError):
        known = json.loads((folder / PHONES).read_text(encoding="utf-8"))
        return {str(name): dict(one) for name, one in known.items()}
    return {}


def write_phones(folder: Path, phones: Mapping[str, Mapping[str, Any]]) -> None:
    """Write what is known of phones, whole or not at all; ``NotWritten`` where that cannot be."""
    path = folder / PHONES
    new = path.with_name(f"{PHONES}-new")
    try:
        with book_lock(folder):
            new.unlink(missing_ok=True)
            stream = os.open(new, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            with os.fdopen(stream, "wb") as file:
                file.write(json.dumps(phones).encode())
                file.flush()
                os.fsync(file.fileno())
            os.replace(new, path)  # noqa: PTH105 - the atomic call itself
    except OSError as error:
        raise NotWritten(f"the keys of phones cannot be kept in {folder}: {error}") from error
