"""A camera before a tank: rays traced through air, glass and water, and a hand that taps.

Its own code: it shares nothing with what measures (growthcast/growth/photo.py). Rays are found from
the plant to the camera by the condition that they meet, at each of the two faces Snell's law; the
glass has its thickness, the lens bends, the ground rises and is lumpy, plants lean. Lengths in cm:
``x`` along the pane, ``y`` up from its lower inner edge, ``z`` into the tank from its inner face.
All of it is invented.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw

GLASS, WATER = 1.52, 1.333
PICTURE = 4000, 3000
PLACES = ("front", "middle", "back")


@dataclass(frozen=True)
class Camera:
    """Where a camera stands [cm], how it is turned (3, 3), focal length [px], bending of its lens.

    The rows of ``turned`` are the picture's right, down and forward.
    """

    at: np.ndarray
    turned: np.ndarray
    focal_px: float
    bending: float = 0.0
    glass_cm: float = 0.8
    picture: tuple[int, int] = PICTURE

    def sees(self, points: np.ndarray) -> np.ndarray:
        """Pixels (n, 2) at which points (n, 3) behind the pane appear."""
        beside = points[:, :2] - self.at[:2]
        far = np.hypot(*beside.T)
        sine = self._sine(far, np.maximum(points[:, 2], 0.0))
        reach = np.divide(sine, far, out=np.zeros_like(far), where=far > 0)
        ray = np.column_stack([beside * reach[:, None], np.sqrt(1.0 - sine**2)])
        right, down, forward = (ray @ self.turned.T).T
        flat = np.column_stack([right, down]) / forward[:, None]
        bent = flat * (1.0 + self.bending * (flat**2).sum(axis=1))[:, None]
        return bent * self.focal_px + np.array(self.picture) / 2.0

    def _sine(self, far: np.ndarray, depth: np.ndarray) -> np.ndarray:
        """Sine in air of the rays that travel so ``far`` sideways; by Newton's method."""
        air = -self.at[2] - self.glass_cm
        ways = (air, 1.0), (self.glass_cm, GLASS), (depth, WATER)
        sine = far / np.hypot(far, air + self.glass_cm + depth)
        for _ in range(30):
            bent = [(way / n, 1.0 - (sine / n) ** 2) for way, n in ways]
            off = sum(way * sine / np.sqrt(left) for way, left in bent) - far
            if np.abs(off).max() < 1e-9:
                return sine
            sine = np.clip(sine - off / sum(way / left**1.5 for way, left in bent), 0.0, 0.999)
        raise ArithmeticError("no ray meets the camera")


@dataclass(frozen=True)
class Scene:
    """One photo: the tank [cm], the camera, where areas stand (A, 3), their tops, what is said.

    ``place`` is what the book says of the areas, which one in ten times is wrong.
    """

    size_cm: tuple[float, float, float]
    camera: Camera
    base: np.ndarray
    top: np.ndarray
    height_cm: np.ndarray
    place: np.ndarray
    focal_told_px: float = field(default=np.nan)

    @property
    def corners(self) -> np.ndarray:
        """Pixels of the pane's corners: lower left, lower right, upper right, upper left."""
        length, _, water = self.size_cm
        at = [[0, 0, 0], [length, 0, 0], [length, water, 0], [0, water, 0]]
        return self.camera.sees(np.array(at, dtype=float))

    def back(self, share: float = 0.9) -> np.ndarray:
        """Pixels of the left and right edge of the back pane, at a share of the water's depth."""
        length, width, water = self.size_cm
        at = [[0, share * water, width], [length, share * water, width]]
        return self.camera.sees(np.array(at, dtype=float))


def camera_before(
    rng: np.random.Generator, size_cm: tuple[float, float, float], fill: float
) -> Camera:
    """A phone held before a tank so that the pane fills a share of the picture's width."""
    length, _, water = size_cm
    focal = PICTURE[0] * rng.uniform(0.68, 0.82)
    away = focal * length / (fill * PICTURE[0])
    aside, above = rng.uniform(-0.15, 0.15), rng.uniform(-0.1, 0.5)
    at = np.array([(0.5 + aside) * length, (0.5 + above) * water, -away])
    aim = np.array([*(np.array([length, water]) / 2 + rng.normal(0, 0.03 * length, 2)), 0.0])
    forward = (aim - at) / np.linalg.norm(aim - at)
    right = np.cross([0.0, 1.0, 0.0], forward)
    right /= np.linalg.norm(right)
    down = -np.cross(forward, right)
    roll = np.radians(rng.normal(0, 2))
    turned = np.array(
        [
            np.cos(roll) * right + np.sin(roll) * down,
            np.cos(roll) * down - np.sin(roll) * right,
            forward,
        ]
    )
    return Camera(at, turned, focal, rng.normal(0, 0.01), rng.uniform(0.5, 1.2))


def draw_scene(
    rng: np.random.Generator,
    areas: int = 9,
    *,
    wrong: float = 0.1,
    heights: tuple[float, float] = (4.0, 28.0),
    fill: tuple[float, float] = (0.5, 0.9),
) -> Scene:
    """Draw a tank with areas, as evenly over the places as they go, and a photo of it."""
    length, width = rng.uniform(60, 120), rng.uniform(30, 60)
    water = rng.uniform(max(0.35 * length, 32), min(0.55 * length, 60))
    size = length, width, water
    camera = camera_before(rng, size, rng.uniform(*fill))
    said = np.arange(areas) % 3
    beside = np.where(said == 1, 1 + rng.choice([-1, 1], areas), 1)
    third = np.where(rng.random(areas) < wrong, beside, said)
    depth = (third + rng.random(areas)) / 3 * width
    rise = rng.uniform(0, 12)
    ground = np.maximum(rise * depth / width + rng.normal(0, 1, areas), 0.0)
    base = np.column_stack([rng.uniform(0.08, 0.92, areas) * length, ground, depth])
    height = rng.uniform(heights[0], np.minimum(heights[1], 0.95 * water - ground))
    turn, lean = rng.uniform(0, 2 * np.pi, areas), np.tan(np.radians(8)) * height
    top = base + np.column_stack([lean * np.cos(turn), height, lean * np.sin(turn)])
    top[:, 2] = np.clip(top[:, 2], 0.2, width - 0.2)
    told = camera.focal_px * np.exp(rng.normal(0, 0.03))
    return Scene(size, camera, base, top, height, np.array(PLACES, object)[said], told)


def tap(rng: np.random.Generator, scene: Scene, *, magnified: bool) -> dict[str, np.ndarray]:
    """Pixels that a finger taps: corners, back edges, bases and tops, each a little off."""
    finer = 0.5 if magnified else 1.0
    corner, plant = finer * rng.uniform(3, 6), finer * rng.uniform(8, 15)
    seen = {
        "corners": (scene.corners, corner),
        "back": (scene.back(), corner),
        "base": (scene.camera.sees(scene.base), plant),
        "top": (scene.camera.sees(scene.top), plant),
    }
    return {name: at + rng.normal(0, sd, at.shape) for name, (at, sd) in seen.items()}


def render(scene: Scene, file: Path, *, scale: float = 0.25, focal_35mm: int | None = None) -> None:
    """Draw a scene as a photo: pane, back edges and a stem an area; with EXIF where asked."""
    wide, high = (round(one * scale) for one in scene.camera.picture)
    picture = Image.new("RGB", (wide, high), "#8a8a80")
    pen = ImageDraw.Draw(picture)

    def line(points: np.ndarray, colour: str, width: int) -> None:
        pen.line([tuple(p) for p in scale * points], colour, width)

    corners = scene.corners
    pen.polygon([tuple(p) for p in scale * corners], fill="#9fc7c2")
    line(np.vstack([corners, corners[:1]]), "#202020", 2)
    for side in (0, 1):
        line(np.array([scene.back(0.1)[side], scene.back(1.0)[side]]), "#406060", 1)
    seen = zip(scene.camera.sees(scene.base), scene.camera.sees(scene.top), strict=True)
    for base, top in seen:
        line(np.array([base, top]), "#1c7a2c", 3)
    exif = Image.Exif()
    if focal_35mm is not None:
        exif.get_ifd(0x8769).update({0xA405: focal_35mm, 0xA002: wide, 0xA003: high})
    picture.save(file, "JPEG", quality=90, exif=exif)
