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


def among(values: NDArray[T], known: NDArray[T]) -> BoolArray:
    """Whether values (n,) are among known ones (m,): ``numpy.isin`` without masked arrays."""
    if not known.size:
        return np.zeros(values.shape, np.bool_)
    ordered = np.sort(known)
    place = np.minimum(np.searchsorted(ordered, values), ordered.size - 1)
    found: BoolArray = ordered[place] == values
    return found


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
