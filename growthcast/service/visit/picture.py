"""A photo and what was tapped on it, read from files that may be anything."""

from __future__ import annotations

import json
import math
import warnings
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from growthcast.book.words import shown
from growthcast.errors import UsageError
from growthcast.growth.photo import focal_length_px
from growthcast.nouns import dataclass

MOST_BYTES, MOST_PIXELS = 50_000_000, 120_000_000
"""Files beyond these are no photos of a phone."""
MOST_TAPS_BYTES = 1_000_000
_EXIF, _FOCAL_35MM, _EXIF_SIZE = 0x8769, 0xA405, (0xA002, 0xA003)


@dataclass(frozen=True, slots=True)
class Picture:
    """A photo as it is seen upright: its size and focal length [px], nan where the file has none.

    ``cropped`` tells that the file says it was larger, or of another shape.
    """

    width: int
    height: int
    focal_px: float
    cropped: bool


def read_picture(path: Path) -> Picture:
    """Read the size and the focal length of a photo.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    Picture
        As it is seen upright.

    Raises
    ------
    UsageError
        It is no picture, torn, or too large for one.
    """
    from PIL import Image, ImageOps

    name = shown(path.name)
    try:
        size = path.stat().st_size
    except OSError as error:
        raise UsageError(f"{name} cannot be read: {error.strerror}") from error
    if size > MOST_BYTES:
        raise UsageError(
            f"{name} has {size / 1e6:.0f} MB, more than any photo of a phone (50 MB at most): give "
            "the photo as the camera made it"
        )
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)
            with Image.open(path) as opened:
                width, height = opened.size
                if width * height > MOST_PIXELS:
                    raise UsageError(
                        f"{name} has {width} by {height} pixels, more than any photo of a phone: "
                        "give the photo as the camera made it"
                    )
                opened.load()
                exif = opened.getexif().get_ifd(_EXIF)
                upright = ImageOps.exif_transpose(opened).size
    except UsageError:
        raise
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError) as error:
        raise UsageError(
            f"{name} is no picture that can be read, or only part of one: copy it from the phone "
            "once more, as .jpg or .png"
        ) from error
    told = [float(exif.get(tag) or 0) for tag in _EXIF_SIZE]
    cropped = all(told) and abs(math.log(max(told) / min(told) * min(width, height)
                                         / max(width, height))) > 0.01  # fmt: skip
    focal = float(exif.get(_FOCAL_35MM) or 0)
    focal_px = focal_length_px(focal, *upright) if focal > 0 and not cropped else math.nan
    return Picture(*upright, focal_px, bool(cropped))


def read_taps(text: str) -> Mapping[str, Any]:
    """Read what was tapped, as the page for tapping writes it.

    Parameters
    ----------
    text : str
        A JSON object: ``width`` and ``height`` of the picture that was tapped on, ``corners``,
        ``areas`` by id with ``base`` and ``top`` or "skip", and where asked ``back`` or
        ``distance_cm``; pairs of pixels.

    Returns
    -------
    mapping
        Checked: all taps are pairs of finite numbers.

    Raises
    ------
    UsageError
        It is no such object.
    """
    try:
        return _checked_taps(text)
    except (ValueError, TypeError, KeyError, AttributeError) as error:
        raise UsageError(
            "the taps are not as the page for tapping writes them; make the file with growthcast "
            "measure PHOTO --tank ID --html FILE.html"
        ) from error


def _checked_taps(text: str) -> dict[str, Any]:
    if len(text) > MOST_TAPS_BYTES:
        raise ValueError("too long")
    told = json.loads(text)
    size, back, distance = (
        [told["width"], told["height"]],
        told.get("back"),
        told.get("distance_cm"),
    )
    taps = [tapped for tapped in told["areas"].values() if tapped != "skip"]
    pairs = [size, *told["corners"], *(back or ())]
    pairs += [tapped[name] for tapped in taps for name in ("base", "top") if tapped.get(name)]
    good = all(len(p) == 2 and all(math.isfinite(float(one)) for one in p) for p in pairs)
    counted = len(told["corners"]) == 4 and (not back or len(back) == 2)
    apart = distance is None or 0.0 < float(distance) < math.inf
    topped = all(tapped.get("top") for tapped in taps)
    if not (good and counted and apart and topped and min(size) > 0):
        raise ValueError("not taps")
    return dict(told)
