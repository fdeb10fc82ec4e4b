"""The arrays of the package by what they hold."""

from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

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


def median(values: NDArray[T]) -> FloatArray:
    """Return medians (...) along the last axis: ``numpy.median`` without masked arrays."""
    ordered: FloatArray = np.sort(values, axis=-1)
    count = values.shape[-1]
    middle: FloatArray = 0.5 * (ordered[..., (count - 1) // 2] + ordered[..., count // 2])
    return middle
