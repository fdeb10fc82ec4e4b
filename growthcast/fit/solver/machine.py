"""What a fit asks of the process it runs in: one BLAS thread."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from threading import Lock

from threadpoolctl import threadpool_limits

_lock = Lock()
_running: list[threadpool_limits] = []
"""One entry for each fit that runs; the first holds what the process's BLAS was set to."""


@contextmanager
def one_blas_thread() -> Iterator[None]:
    """Run on one BLAS thread; when the last of several that run at once ends, all is as before.

    Many tiny products: a second thread costs more than it brings, and it may change last digits.

    Returns
    -------
    context manager
        Inside it the whole process has one BLAS thread.
    """
    with _lock:
        _running.append(_running[0] if _running else threadpool_limits(1, user_api="blas"))
    try:
        yield
    finally:
        with _lock:
            limits = _running.pop()
            if not _running:
                limits.restore_original_limits()
