"""The guard at the door: no number that is not finite leaves the package in an answer."""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Mapping
from datetime import date
from operator import attrgetter
from types import NoneType
from typing import Any, ParamSpec, TypeVar

import numpy as np

from growthcast.errors import NotFinite

T = TypeVar("T")
P = ParamSpec("P")
_PLAIN = {str, int, bool, NoneType, date, type}
"""What holds no number that might not be finite, nearly all of an answer: passed by at once."""


def finite_answer(arrow: Callable[P, T]) -> Callable[P, T]:
    """Let what a function answers pass only where every number in it is finite."""

    @functools.wraps(arrow)
    def guarded(*args: P.args, **kwargs: P.kwargs) -> T:
        return finite(arrow(*args, **kwargs), arrow.__qualname__)

    return guarded


def finite(answer: T, name: str) -> T:
    """Return an answer as it is; raise ``NotFinite`` where a number in it is nan or endless.

    Looked through are dataclasses, mappings, sequences and arrays. What may be absent is ``None``.

    Examples
    --------
    >>> finite({"height_cm": [1.0, float("nan")]}, "heights")
    Traceback (most recent call last):
        ...
    growthcast.errors.NotFinite: this is a fault of the tool, not of your book: a number of the \
answer is not finite (heights/height_cm/1 is nan), so the answer is withheld
    """
    if (lost := _lost(answer)) is not None:
        raise NotFinite(
            "this is a fault of the tool, not of your book: a number of the answer is not finite "
            f"({name}{lost}), so the answer is withheld"
        )
    return answer


def _lost(value: object) -> str | None:
    """Where in an answer the first number is that is not finite, None where all are."""
    if isinstance(value, float | np.floating):
        return None if math.isfinite(value) else f" is {value}"
    if isinstance(value, np.ndarray):
        sound = value.dtype.kind != "f" or np.isfinite(value).all()
        return None if sound else _lost(value.tolist())
    names, parts = _parts(value)
    for place, part in enumerate(parts):
        kind = type(part)
        if kind in _PLAIN or (kind is float and math.isfinite(part)):
            continue
        if (rest := _lost(part)) is not None:
            return f"/{names[place] if names else _called(part, place)}{rest}"
    return None


def _parts(value: Any) -> tuple[list[str], Any]:
    """Return what an answer is made of, with its names where there are any."""
    if hasattr(value, "__dataclass_fields__"):
        names, parts_of = _fields(value.__class__)
        return names, parts_of(value)
    if isinstance(value, tuple | list):
        return [], value
    if isinstance(value, Mapping):
        return [*map(str, value)], [*value.values()]
    return [], ()


@functools.cache
def _fields(kind: type) -> tuple[list[str], Callable[[object], Any]]:
    """Return the names of a noun's fields and what takes their values; two more make a tuple."""
    names = [*vars(kind)["__dataclass_fields__"]]
    return names, attrgetter(*names, "__class__", "__class__")


def _called(part: object, place: int) -> str:
    """Return the id of what an item of a sequence is about, else its place."""
    said = part if isinstance(part, Mapping) else {}
    for name in ("area_id", "tank_id", "species_id"):
        if called := said.get(name) or getattr(part, name, None):
            return str(called)
    return str(place)
