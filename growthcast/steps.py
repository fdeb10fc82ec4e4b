"""Where long work tells how far it is; it is silent unless somebody listens."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextvars import ContextVar
from typing import TypeVar

T = TypeVar("T")
Listener = Callable[[int, int], None]
"""Called with the number of steps done and their total."""
LISTENER: ContextVar[Listener | None] = ContextVar("listener", default=None)


def steps(items: Sequence[T]) -> Iterator[T]:
    """Yield the items of a long loop and tell how many are done; loops within are not told of.

    Examples
    --------
    >>> LISTENER.set(lambda done, total: print(done, "of", total)) and None
    >>> [item for item in steps("ab")]
    1 of 2
    2 of 2
    ['a', 'b']
    >>> LISTENER.set(None) and None
    """
    listener = LISTENER.get()
    LISTENER.set(None)
    try:
        for number, item in enumerate(items, 1):
            yield item
            if listener is not None:
                listener(number, len(items))
    finally:
        LISTENER.set(listener)
