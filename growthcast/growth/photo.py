"""Heights from taps on one photo of a tank, through its flat front pane and the water behind it.

Places on the pane are in cm: ``x`` to the right of its left inner edge, ``y`` above the ground
there, depth behind its inner face. Places in the picture are in pixels, to the right and down. The
four *corners* are those of the pane's inner face, from ground to waterline, in the order lower
left, lower right, upper right, upper left. The script of the phone (desk/static/photo.js) reckons
the same by the same steps.

A pinhole camera sees the pane in perspective, so four corners of known distance tell where on the
pane each ray enters. With the focal length they also tell where the camera stood. What is behind
the pane is seen by rays that the water bends: flatter by the refractive index.

Left out: the thickness of the glass and the bending of the lens, which matter less than the taps
(docs/evidence.md: traced rays); leaves that lie along the surface.

References
----------
R. Hartley and A. Zisserman, Multiple View Geometry in Computer Vision, 2003, sections 4.1 and 8.1
(homography, pose of a plane; from memory). P. Heckbert, Fundamentals of Texture Mapping and Image
Warping, Berkeley 1989, section 2.2 (unit square to quadrilateral; from memory). T. Treibitz, Y.
Schechner, C. Kunz and H. Singh, Flat Refractive Geometry, IEEE TPAMI 34(1), 2012, 51-65 (a pinhole
behind flat glass; abstract read).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from growthcast.arrays import FloatArray, TextArray

REFRACTIVE_INDEX = 1.333
"""Of fresh water for yellow light at 20 deg C (textbook knowledge)."""
FILM_DIAGONAL_MM = 43.27
"""Diagonal of the 36 by 24 mm frame that focal lengths of cameras are told for."""
FINGER_SHARE, MAGNIFIED_SHARE, CORNER_SHARE = 0.0029, 0.00145, 0.0011
"""Standard error of taps on plants by finger and under a magnifier, and of corners by finger, as
shares of the picture's width (8 to 15 and 3 to 6 of 4,000 pixels; common practice, no source)."""
FOCAL_ERROR_SHARE = 0.05
"""Error of the focal length that a camera tells (an estimate; autofocus alone moves it by 3 %)."""
WRONG_PLACES = 0.1
"""How often an area stands in the third of its tank next to the one it is said to (an estimate)."""
PLACES = ("front", "middle", "back", "")
DEPTH_SHARE, DEPTH_SD_SHARE = np.array([[0.2, 0.5, 0.8, 0.5], [0.125, 0.116, 0.125, 0.312]])
"""Of the tank's width, by place; "" is anywhere (see ``depth_of_place``)."""
GROUND_RISE_CM, GROUND_LUMPS_CM = (6.0, 6.0), 2.5
"""How far ground rises from the front pane to the back one, with its standard error, and how far it
lies off such a slope (common practice, no source; hills and terraces are lumps here)."""
MEASURED_DEPTH_ERROR_CM, MEASURED_BASE_ERROR_CM = 2.0, 0.7
"""Errors of a depth and a ground measured once by ruler: plants spread, ground is lumpy."""
FOCAL_RANGE, FIRST_FOCALS = (0.3, 6.0), (0.75, 0.9)
"""Focal lengths of cameras, as shares of a picture's width, and those tried first."""
STEPS, CLOSE, AGREES = 25, 1e-8, 1e-6


class Lens(NamedTuple):
    """How a picture was taken.

    ``centre_px`` (2,) is where the axis meets the picture; where ``focal_px`` [px] is nan, the back
    corners tell it.
    """

    centre_px: FloatArray
    focal_px: float = np.nan


class Taps(NamedTuple):
    """What was tapped: pixels to the right and down, as the picture is seen upright.

    ``corners`` (4, 2) of the pane, ``base`` and ``top`` (A, 2) of the areas, nan where hidden;
    ``back`` (2, 2), nan where not asked: the left and the right edge of the back pane, at one
    height.
    """

    corners: FloatArray
    base: FloatArray
    top: FloatArray
    back: FloatArray


class View(NamedTuple):
    """Where a pane stands in a picture.

    ``to_pane`` (3, 3) takes homogeneous pixels to cm on the pane; ``camera_cm`` (3,) is the point
    of the pane in front of the camera and how far it is away; ``stretch`` is by how much the pane
    looks wider against its height than it should (log), ``skew`` how far its edges are from a right
    angle (cosine). Both are 0 where sizes, corners and focal length agree.
    """

    to_pane: FloatArray
    camera_cm: FloatArray
    stretch: float
    skew: float


class Standing(NamedTuple):
    """Where areas stand, all (A,): behind the pane, and their ground [cm], with errors.

    ``base_cm`` is nan where nobody has measured it; it is asked where the base is hidden.
    """

    depth_cm: FloatArray
    depth_sd_cm: FloatArray
    base_cm: FloatArray


def depth_of_place(place: TextArray, width_cm: float) -> tuple[FloatArray, FloatArray]:
    """Return how deep areas stand by the third of the tank they are said to be in.

    Parameters
    ----------
    place : array of str (A,)
        "front", "middle" or "back"; anything else may be anywhere.
    width_cm : float
        Inner width of the tank, front to back [cm].

    Returns
    -------
    pair of arrays (A,)
        Expected depth behind the front pane, and its standard error [cm]: 8 of 10 areas stand
        within 1.28 of these.

    Notes
    -----
    Areas stand anywhere in their third, but for one in ten that stands in the next one
    (``WRONG_PLACES``): a front area that is not at the front stands deeper, on average at 0.9 / 6 +
    0.1 / 2 = 0.2 of the width. There 0.16 of the width to either side hold 0.9 (2 / 15 + 0.16) / (1
    / 3) + 0.1 (0.16 - 2 / 15) / (1 / 3) = 0.8 of all: a standard error of 0.16 / 1.28 = 0.125.

    Examples
    --------
    >>> depth, sd = depth_of_place(np.array(["front", "middle", ""]), 45.0)
    >>> depth.round(1).tolist(), sd.round(1).tolist()
    ([9.0, 22.5, 22.5], [5.6, 5.2, 14.0])
    """
    third = [PLACES.index(name if name in PLACES else "") for name in place.tolist()]
    return DEPTH_SHARE[third] * width_cm, DEPTH_SD_SHARE[third] * width_cm


def focal_length_px(focal_35mm: float, width_px: float, height_px: float) -> float:
    """Return a focal length in pixels from the one that a camera tells for 35 mm film.

    Parameters
    ----------
    focal_35mm : float
        Focal length for a frame of 36 by 24 mm, the same along the diagonal [mm].
    width_px, height_px : float
        Size of the picture, not cropped [px].

    Returns
    -------
    float
        Focal length [px].

    Examples
    --------
    >>> round(focal_length_px(26.0, 4000.0, 3000.0))
    3004
    """
    return focal_35mm / FILM_DIAGONAL_MM * float(np.hypot(width_px, height_px))


def _square_to(corners: FloatArray) -> FloatArray:
    """Homography (3, 3) from the unit square to a quadrilateral (4, 2), after Heckbert."""
    a, b, c, d = corners
    across, up, rest = b - c, d - c, a - b + c - d
    whole = across[0] * up[1] - up[0] * across[1]
    g = (rest[0] * up[1] - up[0] * rest[1]) / whole
    h = (across[0] * rest[1] - rest[0] * across[1]) / whole
    columns = [[*(b - a + g * b), g], [*(d - a + h * d), h], [*a, 1.0]]
    return np.array(columns, dtype=np.float64).T


def view_of_pane(
    corners: FloatArray, length_cm: float, height_cm: float, focal_px: float, centre_px: FloatArray
) -> View:
    """Return where a pane stands in a picture that was taken with a known focal length.

    Parameters
    ----------
    corners : array (4, 2)
        Corners of the pane [px].
    length_cm, height_cm : float
        Inner length of the pane, and its height up to the water [cm].
    focal_px : float
        Focal length [px].
    centre_px : array (2,)
        Where the axis meets the picture [px].

    Returns
    -------
    View
        Homography, camera and how well they agree.

    Examples
    --------
    A pane of 90 by 45 cm seen straight on: 3,000 pixels at 1 m with a focal length of 3,333:

    >>> corners = np.array([[500.0, 2250], [3500, 2250], [3500, 750], [500, 750]])
    >>> view = view_of_pane(corners, 90.0, 45.0, 3333.3, np.array([2000.0, 1500.0]))
    >>> view.camera_cm.round(1).tolist()
    [45.0, 22.5, 100.0]
    """
    to_picture = _square_to(corners) / np.array([length_cm, height_cm, 1.0])
    seen = to_picture.copy()
    seen[:2] = (seen[:2] - centre_px[:, None] * seen[2]) / focal_px
    across, up, corner = seen.T
    sizes = np.linalg.norm(across), np.linalg.norm(up)
    out = np.cross(across, up) / np.sqrt(sizes[0] * sizes[1])
    camera = -np.linalg.solve(np.stack([across, up, out], axis=1), corner)
    skew = float(across @ up / (sizes[0] * sizes[1]))
    return View(np.linalg.inv(to_picture), camera, float(np.log(sizes[0] / sizes[1])), skew)


def on_pane(to_pane: FloatArray, taps: FloatArray) -> FloatArray:
    """Return where on the pane taps lie.

    Parameters
    ----------
    to_pane : array (3, 3)
        Homography of a ``View`` [pixels to cm].
    taps : array (..., 2)
        Taps [px].

    Returns
    -------
    array (..., 2)
        To the right and up from the lower left corner [cm].
    """
    seen = taps @ to_pane[:, :2].T + to_pane[:, 2]
    found: FloatArray = seen[..., :2] / seen[..., 2:]
    return found


def behind_pane(entry_cm: FloatArray, depth_cm: FloatArray, camera_cm: FloatArray) -> FloatArray:
    """Return where rays that enter through a pane reach a depth in the water.

    Parameters
    ----------
    entry_cm : array (..., 2)
        Where they enter [cm].
    depth_cm : array (...)
        Depth behind the pane [cm].
    camera_cm : array (3,)
        Point of the pane in front of the camera, and its distance [cm].

    Returns
    -------
    array (..., 2)
        To the right and up from the lower left corner of the pane [cm].

    Notes
    -----
    Snell's law: with ``t`` the tangent of a ray in air, that in water is ``t / sqrt(n^2 + (n^2 - 1)
    t^2)``. Near the axis this is the rule ``h = h_pane (1 + depth / (1.33 distance))``.

    Examples
    --------
    10 cm beside the axis at 1 m, 40 cm deep: 10 (1 + 40 / 133.3), a little less for the angle:

    >>> camera = np.array([0.0, 0.0, 100.0])
    >>> behind_pane(np.array([[0.0, 10.0]]), np.array([40.0]), camera).round(3).tolist()
    [[0.0, 12.994]]
    """
    foot, distance = camera_cm[:2], camera_cm[2]
    beside = entry_cm - foot
    square = (beside**2).sum(axis=-1) / distance**2
    index = REFRACTIVE_INDEX**2
    flatter = 1.0 / np.sqrt(index + (index - 1.0) * square)
    found: FloatArray = foot + beside * (1.0 + depth_cm * flatter / distance)[..., None]
    return found


def view_of(taps: Taps, size_cm: tuple[float, float, float], lens: Lens) -> View:
    """Return where the pane stands, by focal length or by the edges of the back pane.

    Parameters
    ----------
    taps : Taps
        Of the corners, and of the back where the focal length is not known.
    size_cm : tuple of float
        Inner length and width of the tank, and depth of its water above the lower edge [cm].
    lens : Lens
        How the picture was taken.

    Returns
    -------
    View
        Its numbers are nan where no camera can have seen it so.

    Notes
    -----
    Without a focal length it is that at which the back pane is as long as the front one: a secant
    in the logarithms, along which distances are nearly straight.
    """
    length, width, height = size_cm

    def view_with(log_focal: float) -> View:
        focal_px = float(np.exp(log_focal))
        return view_of_pane(taps.corners, length, height, focal_px, lens.centre_px)

    def too_wide(log_focal: float) -> float:
        view = view_with(log_focal)
        entry = on_pane(view.to_pane, taps.back)
        left, right = behind_pane(entry, np.full(2, width), view.camera_cm)[:, 0]
        return float(np.log(np.maximum(right - left, 1e-9) / length))

    if np.isfinite(lens.focal_px):
        return view_with(np.log(lens.focal_px))
    low, high, at, was = np.log(np.array([*FOCAL_RANGE, *FIRST_FOCALS]) * 2.0 * lens.centre_px[0])
    off, off_was = too_wide(at), too_wide(was)
    for _ in range(STEPS):
        if abs(off) < CLOSE or off == off_was:
            break
        step = off * (at - was) / (off - off_was)
        was, off_was, at = at, off, float(np.clip(at - step, low, high))
        off = too_wide(at)
    return view_with(at if abs(off) < AGREES else np.nan)


def depth_by_base(view: View, base: FloatArray, standing: Standing, width_cm: float) -> Standing:
    """Return where areas stand once their bases are seen: what stands deeper is seen higher up.

    Parameters
    ----------
    view : View
        Where the pane stands.
    base : array (A, 2)
        Taps on the bases [px], nan where hidden; such areas stay where they are said to be.
    standing : Standing
        Where areas are said to stand [cm].
    width_cm : float
        Inner width of the tank [cm].

    Returns
    -------
    Standing
        With depths and their errors by place and base together.

    Notes
    -----
    Ground rises from the front pane as a line, ``k z``, and lies off it by lumps. The base of an
    area at ``z + d`` instead of ``z`` is at ``y + s d`` instead of ``y``, so that ``y - k z = (k -
    s) d + lump``. First ``k`` is learnt from all bases, then each ``d`` from its own: normal
    distributions throughout, ``d`` by the error of the depth. On traced rays this takes a fifth off
    errors at 20 cm, since an area in another third than the book says shows (docs/evidence.md).
    """
    depth, sd = standing.depth_cm, standing.depth_sd_cm
    y, deeper = (behind_pane(on_pane(view.to_pane, base), z, view.camera_cm)[:, 1]
                 for z in (depth, depth + 1.0))  # fmt: skip
    slope, seen = deeper - y, np.isfinite(y)
    usual, doubt = np.array(GROUND_RISE_CM) / width_cm
    weight = 1.0 / (GROUND_LUMPS_CM**2 + ((usual - slope) * sd) ** 2)
    known = doubt**-2 + (weight * depth**2)[seen].sum()
    rise = (usual * doubt**-2 + (weight * depth * y)[seen].sum()) / known
    by = rise - slope
    gain = sd**2 * by / ((sd * by) ** 2 + GROUND_LUMPS_CM**2 + depth**2 / known)
    found = np.clip(depth + gain * (y - rise * depth), 0.0, width_cm)
    surer = sd * np.sqrt(1.0 - gain * by)
    return Standing(np.where(seen, found, depth), np.where(seen, surer, sd), standing.base_cm)


def _heights(view: View, taps: Taps, standing: Standing) -> FloatArray:
    top, base = (
        behind_pane(on_pane(view.to_pane, tapped), standing.depth_cm, view.camera_cm)[:, 1]
        for tapped in (taps.top, taps.base)
    )
    return top - np.where(np.isnan(base), standing.base_cm, base)


def photo_heights(
    taps: Taps,
    size_cm: tuple[float, float, float],
    lens: Lens,
    standing: Standing,
    *,
    magnified: bool = False,
) -> tuple[FloatArray, FloatArray]:
    """Return the heights that taps on a photo tell, with the error of each.

    Parameters
    ----------
    taps : Taps
        Of corners and areas [px].
    size_cm : tuple of float
        Inner length and width of the tank, and depth of its water above the lower edge [cm].
    lens : Lens
        How the picture was taken.
    standing : Standing
        Where the areas are said to stand [cm]; the bases tell more (``depth_by_base``).
    magnified : bool
        Whether the taps were made under a magnifier, or with a mouse.

    Returns
    -------
    pair of arrays (A,)
        Heights above the areas' own ground and their standard errors [cm]; nan where neither a base
        was tapped nor the ground measured.

    Notes
    -----
    The errors of all that goes in are carried on to first order, each by moving it by its own
    standard error: the taps of plants and corners, the focal length or the back corners, the depth,
    and a ground measured once. So each photo knows its own error: a pane that is small in the
    picture gives a large one.
    """
    width = 2.0 * float(lens.centre_px[0])
    plant_px = (MAGNIFIED_SHARE if magnified else FINGER_SHARE) * width
    corner_px = CORNER_SHARE * width * (0.5 if magnified else 1.0)
    view = view_of(taps, size_cm, lens)
    standing = depth_by_base(view, taps.base, standing, size_cm[1])
    moved: list[FloatArray] = []
    for name in ("base", "top"):
        for step in plant_px * np.eye(2):
            there = taps._replace(**{name: getattr(taps, name) + step})
            moved.append(_heights(view, there, standing))
    for name in ("corners", "back"):
        for step in corner_px * np.eye(getattr(taps, name).size):
            tapped = getattr(taps, name)
            there = taps._replace(**{name: tapped + step.reshape(tapped.shape)})
            moved.append(_heights(view_of(there, size_cm, lens), there, standing))
    if np.isfinite(lens.focal_px):
        other = lens._replace(focal_px=lens.focal_px * (1.0 + FOCAL_ERROR_SHARE))
        moved.append(_heights(view_of(taps, size_cm, other), taps, standing))
    deeper = standing._replace(depth_cm=standing.depth_cm + standing.depth_sd_cm)
    raised = standing._replace(base_cm=standing.base_cm + MEASURED_BASE_ERROR_CM)
    moved += [_heights(view, taps, there) for there in (deeper, raised)]
    height = _heights(view, taps, standing)
    return height, np.sqrt(np.square(np.array(moved) - height).sum(axis=0))
