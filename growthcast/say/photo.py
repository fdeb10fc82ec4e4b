"""Heights that a photo tells, in words."""

from __future__ import annotations

import shlex

from growthcast.say.words import Beside, Table, Words, and_list, named
from growthcast.service.visit.photo import LEAST_FILL, LOW_CM, PhotoReading


def photo_words(reading: PhotoReading, *options: str) -> Words:
    """Yield the heights with their errors, what is to be mistrusted, and the line to log.

    ``options`` are those of the line beside its tank.
    """
    measured = [area for area in reading.areas if area.height_cm is not None]
    yield Table(
        f"Heights of {reading.tank_id} by a photo from {reading.distance_cm:.0f} cm away "
        f"(by its {reading.method}); errors are standard errors",
        ["area", "stood at>", "error>"],
        [
            [named(a.label, a.area_id), f"{a.height_cm:.1f} cm", f"± {a.height_sd_cm:.1f} cm"]
            for a in measured
        ],
    )
    if reading.fill_share < LEAST_FILL:
        yield Beside(
            f"The pane fills {100 * reading.fill_share:.0f} % of the picture's width: from nearer, "
            "so that it fills more than half, heights come out sharper."
        )
    if low := [area.area_id for area in measured if area.low]:
        yield Beside(
            f"Lower than {LOW_CM:g} cm a look says more than a photo, so {and_list(low)} "
            f"{'is' if len(low) == 1 else 'are'} left out of the line; add a look, as "
            f"{low[0]}=right."
        )
    if skipped := [area.area_id for area in reading.areas if area.height_cm is None]:
        yield Beside(f"Not tapped: {and_list(skipped)}.")
    if reading.items:
        line = ["growthcast", "log", "--tank", reading.tank_id, *options, *reading.items]
        yield " ".join(word if _is_plain(word) else shlex.quote(word) for word in line)


def _is_plain(word: str) -> bool:
    """Whether a word needs no quotes in a line; a tilde inside it needs none."""
    bare = word[:1] + word[1:].replace("~", "")
    return shlex.quote(bare) == bare
