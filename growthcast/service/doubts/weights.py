"""Weights that the areas cannot have given, or that do not fit the cuts typed beside them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from growthcast.book.book import WholeTank
from growthcast.book.words import plain
from growthcast.service.doubts.expected import Weight
from growthcast.service.doubts.typed import Doubt, Typed

__all__ = ["weight_of_area", "weight_of_tank"]

TOO_HEAVY, TOO_FAR = 2.33, 2.58
"""Deviations beyond which a weight is questioned: 1 in 100 above all that stands, or either side of
what a known cut weighs."""
SLIP = 5.0
"""A slipped decimal is named from so many times the weight expected; below, it may be water."""

LARGE_G = 999.5
"""Heavier weights are told to ten grams."""


def weight_of_area(typed: Typed, area: int) -> Iterator[Doubt]:
    """Judge the weight of one area's trimmings."""
    grams = typed.number(area, "removed_g")
    lengths, told = typed.removed_cm(area)
    weight = typed.expected.weight_of({area: lengths})
    if not grams or weight is None or not _is_odd(grams, weight, told):
        return
    what = "what was cut" if told else "everything that stands there"
    yield _doubt(typed.expected.area_id[area], grams, weight, what, _cause(grams, weight, told))


def weight_of_tank(
    typed: Typed, grams: float, reading: WholeTank, *, said: bool
) -> Iterator[Doubt]:
    """Judge a weight of the whole tank, read so; ``said`` where the line says how to read it."""
    weight, told = _of_tank(typed, reading)
    if weight is None and reading == "all" and typed.expected.area_id:
        sentence = f"{plain(grams)} g, while every area was left uncut"
        yield Doubt(None, "removed_g", grams, (0.0, 0.0, 0.0), "g", sentence)
    if weight is None or not _is_odd(grams, weight, told):
        return
    what = "what was cut" if told else "everything that stands there"
    if reading == "rest":
        what = "everything that stands on the areas without amounts of their own"
    cause = _cause(grams, weight, told)
    if reading == "rest" and not said:
        everything, cut = _of_tank(typed, "all")
        if everything is not None and not _is_odd(grams, everything, cut):
            cause = f"everything that came out of the tank? Write bucket={plain(grams)}g then"
    yield _doubt(None, grams, weight, what, cause)


def _of_tank(typed: Typed, reading: WholeTank) -> tuple[Weight | None, bool]:
    """Return what is expected to have come out of a tank, and whether the day's rows tell it."""
    known = typed.expected
    areas: Iterable[int] = range(len(known.area_id))
    own = [area for area in areas if _has_amounts(typed, area)]
    if reading == "rest":
        return known.weight_of({a: known.heights_cm[a] for a in areas if a not in own}), False
    weighed = {area: typed.number(area, "removed_g") or 0.0 for area in own}
    lengths = {a: typed.removed_cm(a) for a in areas if not weighed.get(a)}
    told = all(of_row for _, of_row in lengths.values())
    return known.weight_of({a: cm for a, (cm, _) in lengths.items()}, sum(weighed.values())), told


def _has_amounts(typed: Typed, area: int) -> bool:
    columns = ("before_cm", "after_cm", "removed_cm", "removed_g")
    return any(typed.number(area, column) is not None for column in columns)


def _is_odd(grams: float, weight: Weight, told: bool) -> bool:
    if told:
        return not weight.at(-TOO_FAR) <= grams <= weight.at(TOO_FAR)
    return grams > weight.at(TOO_HEAVY)


def _cause(grams: float, weight: Weight, told: bool) -> str:
    low, middle, high = weight.range_g
    if middle < grams <= SLIP * middle:
        return "weighed with its water?"
    low = low if told else middle / SLIP
    for factor, slip in (
        (10.0, "a slipped decimal"),
        (0.1, "a slipped decimal"),
        (1000.0, "kilograms"),
    ):
        if low <= factor * grams <= high:
            return f"{slip}? {plain(factor * grams)} g fits"
    return ""


def _doubt(area_id: str | None, grams: float, weight: Weight, what: str, cause: str) -> Doubt:
    low, middle, high = weight.range_g
    sentence = (
        f"{plain(grams)} g; {what} is expected to weigh {_grams(middle)} g "
        f"({_grams(low)} to {_grams(high)} g, 8 times of 10)"
    )
    return Doubt(area_id, "removed_g", grams, weight.range_g, "g", sentence, cause)


def _grams(grams: float) -> str:
    """Return a weight to three digits."""
    return f"{grams:.3g}" if grams < LARGE_G else f"{round(grams, -1):.0f}"
