"""How people type their logs: what they write of an area, and what they weigh."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

__all__ = ["STYLES", "TIDY", "Style"]


@dataclass(frozen=True, slots=True)
class Style:
    """One person's way to log a visit.

    ``cut`` and ``uncut`` are the shares of the kinds of rows written of areas that were cut and of
    those that were not: ``both`` heights, ``before``, ``after``, ``removed_cm``, ``removed_g``,
    ``all`` of them, ``zero`` (nothing taken off), ``look`` or ``nothing``. A whole tank's trimmings
    are weighed with the chance ``weighed_share``: ``bucket`` "all" holds everything that came out,
    "rest" what areas without amounts of their own gave. ``look_share`` is how often a look stands
    beside an amount, ``timed_share`` how often the whole visit is timed.
    """

    cut: Mapping[str, float]
    uncut: Mapping[str, float]
    bucket: str = "rest"
    weighed_share: float = 0.0
    look_share: float = 0.0
    timed_share: float = 0.35


TIDY = Style(
    cut={"both": 0.86, "removed_cm": 0.04, "removed_g": 0.03, "after": 0.03, "all": 0.04},
    uncut={"before": 0.62, "look": 0.13, "nothing": 0.25},
    weighed_share=0.5,
    look_share=0.12,
)
"""Heights of nearly every area: the log of the practices that were simulated first."""

HEIGHTS = Style(cut={"both": 0.9, "after": 0.1}, uncut={"before": 0.7, "nothing": 0.3})
LENGTHS = Style(
    cut={"removed_cm": 0.9, "nothing": 0.1}, uncut={"zero": 0.1, "look": 0.2, "nothing": 0.7}
)
LOOKS = Style(cut={"look": 0.9, "nothing": 0.1}, uncut={"look": 0.8, "nothing": 0.2})
BUSY = Style(
    cut={"both": 0.1, "look": 0.2, "nothing": 0.7},
    uncut={"look": 0.2, "nothing": 0.8},
    bucket="all",
    weighed_share=0.9,
)
THOROUGH = Style(
    cut={"both": 0.7, "removed_cm": 0.1, "removed_g": 0.05, "look": 0.05, "nothing": 0.1},
    uncut={"before": 0.3, "look": 0.4, "nothing": 0.3},
    bucket="all",
    weighed_share=0.9,
)
WEIGHED = replace(HEIGHTS, bucket="all", weighed_share=0.9)
BUCKET = (BUSY, THOROUGH)
REST = (replace(BUSY, bucket="rest"), replace(THOROUGH, bucket="rest"))

STYLES: Mapping[str, tuple[Style, ...]] = {
    "heights": (HEIGHTS,),
    "lengths": (LENGTHS,),
    "looks": (LOOKS,),
    "weighed": (WEIGHED,),
    "bucket": BUCKET,
    "rest": REST,
    "mixed": (HEIGHTS, LENGTHS, LOOKS, *BUCKET),
}
"""How the people of typed books write, by name; where there are several, each visit another.

``weighed`` has the heights of nearly all that was cut beside a bucket of everything: a weight that
is charged to the few areas without a row bends them. ``bucket`` and ``rest`` have heights of some.
"""
