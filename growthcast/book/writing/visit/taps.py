"""What was tapped on a photo, kept beside the log, and the picture itself where that is wanted.

A file has a line a photo: its day, tank, the visit's number, and the taps as the page for tapping
writes them. They are kept whenever a visit by photo is logged, also where it is taken back,
so that a better formula can read them again. Pictures are kept only where somebody asks for it.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping
from datetime import date
from itertools import count
from pathlib import Path
from typing import Any

from growthcast.book.writing.journal import hash_of
from growthcast.book.writing.lock import book_lock
from growthcast.book.writing.replace import read_file, refusals_in_words, replace_files, write_whole
from growthcast.errors import UsageError

TAPS, PHOTOS = "taps.jsonl", "photos"
LONGEST_TAPS = 20_000
"""Letters: 300 areas with a base and a top each."""


def read_taps(text: str) -> Mapping[str, Any]:
    """Return what was tapped on a photo, checked, and nothing else that the text may hold.

    It is a JSON object: ``width`` and ``height`` of the picture that was tapped on, ``corners``,
    ``areas`` by id with ``base`` and ``top`` or "skip", and ``focal`` or
    ``back``; pairs of pixels. ``UsageError`` where it is no such object.
    """
    try:
        return _checked(text)
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError) as error:
        raise UsageError(
            "the taps are not as the page for tapping writes them; make the file with growthcast "
            "measure PHOTO --tank ID --html FILE.html"
        ) from error


def _checked(text: str) -> dict[str, Any]:
    if len(text) > LONGEST_TAPS:
        raise ValueError("too long")
    given = json.loads(text)
    sizes = ("width", "height", *(("focal",) if given.get("focal") is not None else ()))
    told: dict[str, Any] = {name: _number(given[name]) for name in sizes}
    told["magnified"] = bool(given.get("magnified"))
    told["corners"] = [_pair(one) for one in given["corners"]]
    told |= {"back": [_pair(one) for one in given["back"]]} if given.get("back") else {}
    told["areas"] = {str(area): _tapped(tapped) for area, tapped in given["areas"].items()}
    if (len(told["corners"]), len(told.get("back", "ab"))) != (4, 2):
        raise ValueError("not all corners")
    return told


def _tapped(tapped: Any) -> Any:
    if tapped == "skip":
        return tapped
    base = {"base": _pair(tapped["base"])} if tapped.get("base") else {}
    return {**base, "top": _pair(tapped["top"])}


def _pair(tapped: Any) -> list[float]:
    across, down = (float(one) for one in tapped)
    if not math.isfinite(across + down):
        raise ValueError("not in the picture")
    return [across, down]


def _number(told: Any) -> float:
    number = float(told)
    if not 0.0 < number < math.inf:
        raise ValueError("not a size")
    return number


def keep_taps(folder: Path, tank_id: str, day: date, number: str, taps: str) -> None:
    """Add the taps of a visit to the book's, once, under its lock and with its journal."""
    line = {"date": day.isoformat(), "tank_id": tank_id, "visit": number, "taps": read_taps(taps)}
    new = json.dumps(line, ensure_ascii=False).encode() + b"\n"
    with book_lock(folder):
        old = read_file(folder, TAPS)
        if new not in (held := old or b""):
            replace_files(
                folder,
                {TAPS: held + new},
                expected={TAPS: hash_of(old)},
                command="taps",
                summary=f"{tank_id} on {day}, what was tapped on its photo",
            )


def keep_picture(folder: Path, tank_id: str, day: date, content: bytes) -> Path:
    """Keep a picture of a tank in the book's ``photos``, under a name of our own; return its path.

    A picture that is there already stays.
    """
    name = f"{day}-{re.sub(r'[^A-Za-z0-9_-]', '-', tank_id)}"
    with book_lock(folder), refusals_in_words(folder / PHOTOS):
        (folder / PHOTOS).mkdir(exist_ok=True)
        names = (f"{name}{f'-{n}' if n > 1 else ''}.jpg" for n in count(1))
        file = next(path for path in map((folder / PHOTOS).joinpath, names) if not path.exists())
        write_whole(file, content)
    return file
