"""Heights that a photo tells, in words."""

from __future__ import annotations

import shlex

from growthcast.say.words import Beside, Words, and_list, named, sentence, table
from growthcast.service.visit.photo import LEAST_FILL, LOW_CM, PhotoReading


def photo_words(reading: PhotoReading, *options: str) -> Words:
    """Yield the heights with their errors, what is to be mistrusted, and the line to log.

    ``options`` are those of the line beside its tank.
    """
    measured = [area for area in reading.areas if area.height_cm is not None]
    rows = [{"area": area, "label": named(area.label, area.area_id)} for area in measured]
    yield table("photo_heights", rows, sentence("photo_title", reading=reading))
    if reading.fill_share < LEAST_FILL:
        yield Beside(sentence("photo_far", reading=reading))
    if low := [area.area_id for area in measured if area.low]:
        key = "photo_low_one" if len(low) == 1 else "photo_low_many"
        yield Beside(sentence(key, least=LOW_CM, areas=low))
    if skipped := [area.area_id for area in reading.areas if area.height_cm is None]:
        yield Beside(f"Not tapped: {and_list(skipped)}.")
    if reading.items:
        line = ["growthcast", "log", "--tank", reading.tank_id, *options, *reading.items]
        yield " ".join(word if _is_plain(word) else shlex.quote(word) for word in line)


def _is_plain(word: str) -> bool:
    """Whether a word needs no quotes in a line; a tilde inside it needs none."""
    bare = word[:1] + word[1:].replace("~", "")
    return shlex.quote(bare) == bare
