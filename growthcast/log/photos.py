"""Heights read off photos beside a ruler's: what each is worth, and the offset between the two."""

from __future__ import annotations

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray, among
from growthcast.book.book import Book
from growthcast.nouns import dataclass

PHOTO_ERROR_CM, PHOTO_ERROR_SHARE = 1.0, 0.03
"""Error of a height read off a photo that does not bring its own: taps by finger on traced rays
(docs/evidence.md)."""
OFFSET_SPREAD = 0.05
"""How far photos may lie from the ruler before any day has both, as a share (an estimate)."""
FAR_APART = 4.0
"""Pairs so many standard deviations apart are a slip, not an offset."""


@dataclass(frozen=True, slots=True)
class PhotoOffset:
    """How far heights read off photos lie above a ruler's [share], how sure, from how many pairs.

    ``pairs`` counts the areas and days that have both. Photos are brought to the ruler by ``log``.
    """

    log: float
    sd: float
    pairs: int

    def as_dict(self) -> dict[str, float]:
        """Return the offset as JSON holds it."""
        share, sd = round(float(np.expm1(self.log)), 4), round(self.sd, 4)
        return {"share": share, "share_sd": sd, "pairs": self.pairs}


@dataclass(frozen=True, slots=True)
class Heights:
    """Heights before any cut as the fit reads them, with the errors that are not a ruler's.

    ``before_cm`` and ``sd_cm`` are by row (N,), nan where there is none, ``sd_cm`` also where a
    ruler read the height. ``kept`` (N,) tells which rows stand for themselves: a photo beside a
    ruler's row of the same area and day has gone into that one, from the row ``other`` (N,).
    """

    before_cm: FloatArray
    sd_cm: FloatArray
    kept: BoolArray
    other: IntArray
    offset: PhotoOffset | None


def read_heights(book: Book, pair: IntArray) -> Heights:
    """Read the heights of a log's rows (N,), those of photos brought to the ruler.

    ``pair`` (N,) is one number for the area and day of a row, negative where it is of no area.
    Where both stand on one day the height is their mean, each by its precision.
    """
    trims = book.trims
    before, sd = trims.number("before_cm").copy(), trims.number("before_sd_cm").copy()
    sd[np.isnan(before)] = np.nan
    photo = (trims.text("measured_by") == "photo") & np.isfinite(before) & (pair >= 0)
    kept, other = np.ones(pair.size, dtype=bool), np.arange(pair.size)
    if not photo.any():
        return Heights(before, sd, kept, other, None)
    blank = photo & np.isnan(sd)
    sd[blank] = np.hypot(PHOTO_ERROR_CM, PHOTO_ERROR_SHARE * before[blank])
    own = np.flatnonzero(~photo & (pair >= 0))
    beside = np.flatnonzero(photo & among(pair, pair[own]))
    order = own[np.argsort(pair[own], kind="stable")]
    ruler = order[np.searchsorted(pair[order], pair[beside])]
    kept[beside], other[ruler] = False, beside
    practice = book.practice
    ruler_sd = np.hypot(practice.height_error_cm, practice.height_error_share * before[ruler])
    ruler_sd = np.where(np.isfinite(sd[ruler]), sd[ruler], ruler_sd)
    offset = learn_offset(before[beside], sd[beside], before[ruler], ruler_sd)
    before[photo] *= np.exp(-offset.log)
    sd[photo] *= np.exp(-offset.log)
    weight = np.where(np.isfinite(before[ruler]), ruler_sd**-2.0, 0.0)
    both = weight + sd[beside] ** -2.0
    mean = weight * np.nan_to_num(before[ruler]) + before[beside] / sd[beside] ** 2
    before[ruler], sd[ruler] = mean / both, both**-0.5
    return Heights(before, sd, kept, other, offset)


def learn_offset(
    photo_cm: FloatArray, photo_sd_cm: FloatArray, ruler_cm: FloatArray, ruler_sd_cm: FloatArray
) -> PhotoOffset:
    """Learn how far photos lie above the ruler from areas (n,) that both read on one day.

    A normal mean with a normal prior around none. What makes a photo read high or low, a pane or a
    depth that is not as the book says, does so by a share of the height.
    """
    middle = 0.5 * (photo_cm + ruler_cm)
    apart = (photo_cm - ruler_cm) / middle
    variance = (photo_sd_cm**2 + ruler_sd_cm**2) / middle**2
    sound = np.isfinite(apart) & (apart**2 < FAR_APART**2 * (variance + OFFSET_SPREAD**2))
    precision = OFFSET_SPREAD**-2 + float((1.0 / variance[sound]).sum())
    mean = float((apart[sound] / variance[sound]).sum()) / precision
    return PhotoOffset(mean, precision**-0.5, int(sound.sum()))
