"""Heights of a tank's areas from taps on a photo, and which photos are refused, with what to do."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import field
from typing import Any, Literal

import numpy as np

from growthcast.arrays import FloatArray
from growthcast.book.book import Book
from growthcast.book.words import check_known, plain
from growthcast.errors import UsageError
from growthcast.finite import finite_answer
from growthcast.growth import photo as optics
from growthcast.nouns import dataclass
from growthcast.plain import HIDDEN
from growthcast.service.visit.picture import Picture

DISAGREES, OTHER_TANK = 0.05, 0.2
"""How far proportions of the pane may be from those of the tank [log], and beyond which it is
rather another tank."""
LEAST_FILL, TOO_SMALL = 0.5, 0.2
"""A pane that fills less of the picture's width is measured badly, and below the other not."""
LOW_CM = 5.0
"""Below this a look says more than a photo."""
LOW_FORMS = {"carpet", "floating"}
ABOVE_WATER = 1.05
LEAST_SD_CM = 0.1
Method = Literal["focal length", "back edges"]


@dataclass(frozen=True, slots=True)
class AreaOnPhoto:
    """What a photo tells of an area; ``height_cm`` is None where it was not tapped.

    ``low`` tells that it is so low that a look says more: it stays out of the line.
    """

    area_id: str
    label: str = field(metadata=HIDDEN)
    height_cm: float | None
    height_sd_cm: float | None
    low: bool


@dataclass(frozen=True, slots=True)
class PhotoReading:
    """Heights that a photo tells of a tank, and how it was taken.

    ``fill_share`` is how much of the picture's width the pane fills; ``items`` are the heights as
    the line of a visit has them.
    """

    tank_id: str
    method: Method
    distance_cm: float
    fill_share: float
    areas: tuple[AreaOnPhoto, ...]
    items: tuple[str, ...]


@finite_answer
def size_of_tank(book: Book, tank_id: str) -> tuple[float, float, float]:
    """Return the sizes of a tank that a photo is held against.

    Parameters
    ----------
    book : Book
        A checked book.
    tank_id : str
        The tank.

    Returns
    -------
    tuple of float
        Inner length and width, and depth of the water [cm].

    Raises
    ------
    UsageError
        One of them is blank, or the front is curved.
    """
    ids = book.tanks.text("tank_id").tolist()
    check_known(tank_id, ids, "tanks.csv has no tank", "the tanks are")
    k = ids.index(tank_id)
    if is_curved(book, tank_id):
        raise UsageError(
            f"the front pane of {tank_id} is curved (tanks.csv), and heights are measured through "
            "a flat one only: measure by ruler, or give looks"
        )
    names = ("length_cm", "width_cm", "water_depth_cm")
    size = tuple(float(book.tanks.number(name)[k]) for name in names)
    if blank := [name for name, value in zip(names, size, strict=True) if math.isnan(value)]:
        raise UsageError(
            f"tanks.csv does not say {' and '.join(blank)} of {tank_id}; a photo is held against "
            "the inner length and width of the tank: measure them once and write them there"
        )
    return size[0], size[1], size[2]


def is_curved(book: Book, tank_id: str) -> bool:
    """Whether the front pane of a tank is curved.

    Parameters
    ----------
    book : Book
        A checked book.
    tank_id : str
        One of its tanks.

    Returns
    -------
    bool
        As tanks.csv says.
    """
    return bool((book.tanks.text("front")[book.tanks.text("tank_id") == tank_id] == "curved").any())


@finite_answer
def photo_task(
    book: Book, tank_id: str, expected: Mapping[str, tuple[str, float]]
) -> dict[str, Any]:
    """Return what tapping on a photo of a tank needs, as plain data for the script.

    Parameters
    ----------
    book : Book
        A checked book.
    tank_id : str
        The tank.
    expected : mapping
        The areas' names, and the heights that are expected of them [cm], by their ids.

    Returns
    -------
    dict
        The sizes of the tank, and its areas in the book's order: where they stand, and which are
        too low.

    Raises
    ------
    UsageError
        As ``size_of_tank``.
    """
    size = size_of_tank(book, tank_id)
    ids = book.areas.text("area_id").tolist()
    expected = {area: expected[area] for area in sorted(expected, key=ids.index)}
    standing = standing_of(book, [*expected], size[1])
    rows = [ids.index(area) for area in expected]
    plants = book.species.text("species_id").tolist()
    species = [plants.index(one) for one in book.areas.text("species_id")[rows]]
    forms = book.species.text("form")[species].tolist()
    areas = [
        {
            "id": area,
            "label": label,
            "depth": round(float(depth), 2),
            "sd": round(float(sd), 2),
            "ground": None if math.isnan(ground) else float(ground),
            "expected": round(height, 1),
            "low": form in LOW_FORMS or height < LOW_CM,
        }
        for (area, (label, height)), depth, sd, ground, form in zip(
            expected.items(), *standing, forms, strict=True
        )
    ]
    return {"size": size, "areas": areas}


def standing_of(book: Book, area_ids: Sequence[str], width_cm: float) -> optics.Standing:
    """Return where areas of a tank stand behind its front pane.

    Parameters
    ----------
    book : Book
        A checked book.
    area_ids : sequence of str
        The areas (A,).
    width_cm : float
        Inner width of the tank [cm].

    Returns
    -------
    Standing
        By ``depth_cm`` and ``base_cm`` of areas.csv, else by ``place``.
    """
    areas = book.areas
    rows = [areas.text("area_id").tolist().index(area) for area in area_ids]
    depth, sd = optics.depth_of_place(areas.text("place")[rows], width_cm)
    own = np.minimum(areas.number("depth_cm")[rows], width_cm)
    known = np.isfinite(own)
    return optics.Standing(
        np.where(known, own, depth),
        np.where(known, optics.MEASURED_DEPTH_ERROR_CM, sd),
        areas.number("base_cm")[rows],
    )


@finite_answer
def measure(book: Book, tank_id: str, picture: Picture, told: Mapping[str, Any]) -> PhotoReading:
    """Read heights off a photo of a tank.

    Parameters
    ----------
    book : Book
        A checked book.
    tank_id : str
        The tank.
    picture : Picture
        The photo, as ``read_picture`` has it.
    told : mapping
        What was tapped, as ``read_taps`` has it.

    Returns
    -------
    PhotoReading
        The heights of what was tapped.

    Raises
    ------
    UsageError
        The photo is refused: its taps do not fit the tank, or it does not say how it was taken.
    """
    size = size_of_tank(book, tank_id)
    wanted = _areas_of(book, tank_id, told)
    scale = picture.width / float(told["width"])
    if abs(math.log(scale * float(told["height"]) / picture.height)) > 0.01:
        raise UsageError(
            "the taps were made on a picture of another shape; tap on this one, as it is"
        )
    nothing, tapped = [math.nan, math.nan], [told["areas"][area] for area in wanted]
    ends = ([one.get(name) or nothing for one in tapped] for name in ("base", "top"))
    pixels = (told["corners"], *ends, told.get("back") or [nothing, nothing])
    taps = optics.Taps(*(scale * np.array(p, np.float64).reshape(-1, 2) for p in pixels))
    lens, method = _lens(picture, told)
    corners = taps.corners
    fill = float(corners[:, 0].max() - corners[:, 0].min()) / picture.width
    if fill < TOO_SMALL:
        raise UsageError(
            f"the pane fills {100 * fill:.0f} % of the picture's width, too little to tell heights:"
            " take the picture from nearer, so that it fills more than half"
        )
    view = optics.view_of(taps, size, lens)
    _check_view(view, tank_id, size)
    standing = standing_of(book, wanted, size[1])
    height, sd = optics.photo_heights(
        taps, size, lens, standing, magnified=bool(told.get("magnified"))
    )
    _check_heights(wanted, height, optics.on_pane(view.to_pane, taps.top), size[2])
    labels = dict(zip(book.areas.text("area_id"), book.areas.text("label"), strict=True))
    columns = (height, np.maximum(sd, LEAST_SD_CM), height < LOW_CM)
    measured = dict(zip(wanted, zip(*(c.tolist() for c in columns), strict=True), strict=True))
    areas = tuple(
        AreaOnPhoto(area, str(labels[area]), *measured.get(area, (None, None, False)))
        for area in told["areas"]
    )
    items = tuple(
        f"{area}=photo:{high:.1f}~{off:.1f}"
        for area, (high, off, low) in measured.items()
        if not low
    )
    return PhotoReading(tank_id, method, float(view.camera_cm[2]), fill, areas, items)


def _areas_of(book: Book, tank_id: str, told: Mapping[str, Any]) -> list[str]:
    """Return the areas that were tapped; ``UsageError`` for one that the tank does not have."""
    here = book.areas.text("area_id")[book.areas.text("tank_id") == tank_id].tolist()
    for area in told["areas"]:
        check_known(area, here, f"tank {tank_id} has no area", "its areas are")
    return [area for area, tapped in told["areas"].items() if tapped != "skip"]


def _lens(picture: Picture, told: Mapping[str, Any]) -> tuple[optics.Lens, Method]:
    """How the picture was taken: by its focal length, or the back pane."""
    centre = np.array([picture.width, picture.height], np.float64) / 2.0
    if told.get("back"):
        return optics.Lens(centre), "back edges"
    if math.isfinite(picture.focal_px):
        return optics.Lens(centre, picture.focal_px), "focal length"
    why = "was cropped or turned by another program" if picture.cropped else (
        "does not say its focal length: it was sent, edited or is no photo of a phone"
    )  # fmt: skip
    raise UsageError(
        f"the picture {why}. Tap the left and the right edge of the back pane as well, or take the "
        "picture as the camera made it"
    )


def _check_view(view: optics.View, tank_id: str, size: tuple[float, float, float]) -> None:
    """Refuse a pane that the tank's sizes and the camera do not explain."""
    sizes = f"{plain(size[0])} by {plain(size[2])} cm of water"
    again = (
        "Tap the corners again: lower left, lower right, upper right, upper left, where ground and "
        "waterline meet the front pane"
    )
    off = max(abs(view.stretch), abs(view.skew))
    if not math.isfinite(off) or not view.camera_cm[2] > 0.0 or off > OTHER_TANK:
        raise UsageError(
            f"this is no picture of {tank_id}: its corners do not fit {sizes} seen from anywhere. "
            f"Is it another tank, or is the front curved? {again}"
        )
    if off > DISAGREES:
        raise UsageError(
            f"pane and camera disagree by {100 * off:.0f} % (5 at most): the corners fit {sizes} "
            "only with another lens. Was the picture cropped or sent, is the water lower than "
            f"tanks.csv says, or the front curved? {again}"
        )


def _check_heights(
    wanted: Sequence[str], height: FloatArray, top_cm: FloatArray, water_cm: float
) -> None:
    for n, area in enumerate(wanted):
        if math.isnan(height[n]):
            raise UsageError(
                f"the base of {area} is hidden, and areas.csv has no base_cm of it: measure its "
                "ground above that at the front pane once, or skip it"
            )
        if height[n] <= 0.0:
            raise UsageError(f"the top of {area} lies below its base: tap both again")
        if top_cm[n, 1] > ABOVE_WATER * water_cm:
            raise UsageError(f"the top of {area} lies above the water: tap it again")
