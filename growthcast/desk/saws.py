"""The desk's one picture: an area going up with growth and down with each visit, as lines."""

from __future__ import annotations

from growthcast.nouns import dataclass
from growthcast.service.pages.course import Course

WIDTH, HEIGHT, ROOM_ABOVE = 320.0, 84.0, 1.08


@dataclass(frozen=True, slots=True)
class SawLines:
    """A sawtooth in the units of a picture ``WIDTH`` by ``HEIGHT``; the 80 % range as a band."""

    line: str
    band: str
    budget: str
    floor: str


def saw_lines(saw: Course, floor_cm: float, budget_cm: float) -> SawLines:
    """Return the lines of a sawtooth between its floor and its budget."""
    low, middle, high = saw.height_cm
    top = ROOM_ABOVE * max(float(high.max()), budget_cm)

    def y(cm: float) -> str:
        return f"{HEIGHT * (1.0 - cm / top):.1f}"

    def points(heights: list[float]) -> list[str]:
        scale = WIDTH / float(saw.day[-1])
        days = saw.day.tolist()
        return [f"{scale * day:.1f},{y(cm)}" for day, cm in zip(days, heights, strict=True)]

    return SawLines(
        line=" ".join(points(middle.tolist())),
        band=" ".join([*points(high.tolist()), *reversed(points(low.tolist()))]),
        budget=y(budget_cm),
        floor=y(floor_cm),
    )
