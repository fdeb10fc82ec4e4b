"""The arrays of the package by what they hold."""

from collections.abc import Mapping
from math import prod
from typing import Any, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]
TextArray = NDArray[np.object_]
DateArray = NDArray[np.datetime64]
T = TypeVar("T", bound=np.generic)


def distinct(values: NDArray[T]) -> NDArray[T]:
    """Return the distinct values (n,) of an array in rising order.

    So does numpy's own function, but it imports masked arrays first: each command would pay for it.
    """
    ordered = np.sort(values, axis=None)
    first = np.ones(ordered.size, dtype=np.bool_)
    first[1:] = ordered[1:] != ordered[:-1]
    return ordered[first]


def numbered(places: IntArray) -> tuple[IntArray, IntArray]:
    """Distinct places (m,) from 0 on, in rising order, and which of them each place is (n,)."""
    held = np.bincount(places) > 0
    return np.flatnonzero(held), (np.cumsum(held) - 1)[places]


def among(values: NDArray[T], known: NDArray[T]) -> BoolArray:
    """Whether values (n,) are among known ones (m,): ``numpy.isin`` without masked arrays."""
    if not known.size:
        return np.zeros(values.shape, np.bool_)
    ordered = np.sort(known)
    place = np.minimum(np.searchsorted(ordered, values), ordered.size - 1)
    found: BoolArray = ordered[place] == values
    return found


DAYS_APART = 10_000_000
"""One number stands for an area or tank and a day: its place times this, plus the day."""


def day_numbers(dates: DateArray) -> FloatArray:
    """Days since 1970-01-01, nan for a blank date."""
    days = dates.astype("datetime64[D]").astype(np.int64).astype(np.float64)
    days[np.isnat(dates)] = np.nan
    return days


def pair_of(place: IntArray, day: FloatArray | float) -> IntArray:
    """One number for a place (n,) and a day (n,); a day that is not known is before any other."""
    most = DAYS_APART // 2 - 1
    known = np.nan_to_num(day, nan=-most, posinf=most, neginf=-most)
    return place * DAYS_APART + known.astype(np.int64)


def as_of(
    owner: IntArray,
    since: FloatArray,
    values: FloatArray,
    place: IntArray,
    day: FloatArray | float,
) -> FloatArray:
    """Return what was told last of places (n,) by days (n,), nan where nothing was.

    A value (m,) holds from its day for its owner (m,) until the owner's next; a blank one tells
    nothing, and the earlier one holds on.
    """
    told = np.flatnonzero(np.isfinite(values) & ~np.isnan(since) & (owner >= 0))
    key, asked = pair_of(owner[told], since[told]), pair_of(place, day)
    order = np.argsort(key, kind="stable")
    last = np.append(told[order], -1)[np.searchsorted(key[order], asked, side="right") - 1]
    held: FloatArray = np.append(values, np.nan)[last]
    return np.where(np.append(owner, -1)[last] == place, held, np.nan)


def summed(values: FloatArray, place: IntArray, size: int) -> FloatArray:
    """Sum (size, ...) of the values (n, ...) of all that have the same place (n,)."""
    width = prod(values.shape[1:])
    cell = place[:, None] * width + np.arange(width)
    total = np.bincount(cell.ravel(), values.ravel(), size * width)
    return total.astype(np.float64, copy=False).reshape(size, *values.shape[1:])


def checked(name: str, values: ArrayLike, *, above_zero: bool = False) -> FloatArray:
    """Return values (...) as an array, after checking that none is below 0, or not above it."""
    array = np.asarray(values, dtype=np.float64)
    if above_zero and np.any(array <= 0.0):
        raise ValueError(f"{name} must be above 0")
    if np.any(array < 0.0):
        raise ValueError(f"{name} must be 0 or more")
    return array


def median(values: NDArray[T]) -> FloatArray:
    """Return medians (...) along the last axis: ``numpy.median`` without masked arrays."""
    ordered: FloatArray = np.sort(values, axis=-1)
    count = values.shape[-1]
    middle: FloatArray = 0.5 * (ordered[..., (count - 1) // 2] + ordered[..., count // 2])
    return middle


def or_none(values: FloatArray) -> list[float | None]:
    """Return values (n,) with None where they are NaN."""
    return [None if value != value else value for value in values.tolist()]


def rows_of(columns: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Return columns, arrays or lists (n,), as rows of plain values (n,).

    To read values off arrays one by one is slow.

    Examples
    --------
    >>> rows_of({"name": ["a", "b"], "cut_cm": or_none(np.array([1.5, np.nan]))})
    [{'name': 'a', 'cut_cm': 1.5}, {'name': 'b', 'cut_cm': None}]
    """
    told = [c.tolist() if isinstance(c, np.ndarray) else c for c in columns.values()]
    return [dict(zip(columns, row, strict=True)) for row in zip(*told, strict=True)]
