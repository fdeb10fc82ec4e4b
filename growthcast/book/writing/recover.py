"""What a writer that was killed left behind: its change is completed, or swept away.

A change counts from its line in the journal on, which is written when every temporary file is
whole. The next writer finds the temporary files; where the journal's last line names them and
nobody has touched their targets since, it renames them. Anything else is removed.
"""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

from growthcast.book.writing.journal import entries

__all__ = ["recover", "temporary"]

_ENDING = ".growthcast-new"


def temporary(target: Path) -> Path:
    """Return the one temporary name of a file, beside it and hidden."""
    return target.with_name(f".{target.name}{_ENDING}")


def recover(folder: Path) -> None:
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
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except FileNotFoundError:
        return None
