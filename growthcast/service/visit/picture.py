"""A photo, read from a file that may be anything, and what of it is kept."""

from __future__ import annotations

import math
import warnings
from collections.abc import Mapping
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from growthcast.book.words import shown
from growthcast.errors import UsageError
from growthcast.growth.photo import focal_length_px, view_of_pane
from growthcast.nouns import dataclass

if TYPE_CHECKING:
    from PIL.Image import Image as PILImage

FORMATS = ("JPEG", "PNG")
MOST_BYTES, MOST_PIXELS = 50_000_000, 120_000_000
"""Files beyond these are no photos of a phone."""
SHOWN_PX = 2400
KEPT_BYTES, KEPT_WIDTHS_PX = 300_000, (1600, 1200, 900, 600, 300)
"""What a picture that is kept may have at most, and the widths that are tried for it."""
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
            with Image.open(path, formats=FORMATS) as opened:
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


def shown_picture(path: Path) -> bytes:
    """Return a photo that ``read_picture`` could read as the page for tapping shows it.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    bytes
        A JPEG, upright, at most ``SHOWN_PX`` wide and high.
    """
    upright = _upright(path)
    upright.thumbnail((SHOWN_PX, SHOWN_PX))
    return _jpeg(upright)


def pane_of(path: Path, told: Mapping[str, Any], size_cm: tuple[float, float, float]) -> bytes:
    """Return the pane of a tank out of a photo, seen straight on, and nothing that is beside it.

    Parameters
    ----------
    path : Path
        A photo that ``read_picture`` could read.
    told : mapping
        What was tapped on it, as ``read_taps`` has it.
    size_cm : tuple of float
        Inner length and width of the tank, and depth of its water [cm].

    Returns
    -------
    bytes
        A JPEG of at most ``KEPT_BYTES``, without anything that the file told beside its pixels.
    """
    from PIL import Image

    upright = _upright(path)
    corners = np.array(told["corners"], np.float64) * upright.width / told["width"]
    length, _, water = size_cm
    for wide in KEPT_WIDTHS_PX:
        finer = max(1, int(np.ptp(corners[:, 0]) / wide))
        to_pane = view_of_pane(corners / finer, length, water, 1.0, np.zeros(2)).to_pane
        high = max(1, round(wide * water / length))
        to_cm = [[length / wide, 0.0, 0.0], [0.0, -water / high, water], [0.0, 0.0, 1.0]]
        seen = np.linalg.solve(to_pane, np.array(to_cm))
        pane = upright.reduce(finer).transform(
            (wide, high),
            Image.Transform.PERSPECTIVE,
            (seen / seen[2, 2]).ravel()[:8].tolist(),
            Image.Resampling.BICUBIC,
        )
        if len(kept := _jpeg(pane)) <= KEPT_BYTES:
            break
    return kept


def _upright(path: Path) -> PILImage:
    from PIL import Image, ImageOps

    with Image.open(path, formats=FORMATS) as opened:
        return ImageOps.exif_transpose(opened).convert("RGB")


def _jpeg(picture: PILImage) -> bytes:
    """Return a picture as JPEG, with nothing that its file told beside the pixels."""
    made = BytesIO()
    picture.save(made, "JPEG", quality=85, comment=b"")
    return made.getvalue()
