"""What a fit asks of the process it runs in: one BLAS thread, and memory that is kept."""

from __future__ import annotations

import ctypes
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from threading import Lock

from threadpoolctl import threadpool_limits

_lock = Lock()
_running: list[threadpool_limits] = []
"""One entry for each fit that runs; the first holds what the process's BLAS was set to."""


@cache
def _keep_freed_memory() -> None:
    """Let glibc keep up to 64 MB that a fit has freed, and use it for arrays of up to 8 MB.

    It would give them back and get them anew, a page at a time, at every step: a tenth of a fit.
    The options are numbered as in its header: when to trim, how much to ask for, what to map.
    """
    library = ctypes.CDLL(None) if sys.platform == "linux" else None
    if mallopt := getattr(library, "mallopt", None):
        for option, size in ((-1, 1 << 26), (-2, 1 << 24), (-3, 1 << 23)):
            mallopt(option, size)


@contextmanager
def one_blas_thread() -> Iterator[None]:
    """Run on one BLAS thread; when the last of several that run at once ends, all is as before.

    Many tiny products: a second thread costs more than it brings, and it may change last digits.

    Returns
    -------
    context manager
        Inside it the whole process has one BLAS thread.
    """
    _keep_freed_memory()
    with _lock:
        _running.append(_running[0] if _running else threadpool_limits(1, user_api="blas"))
    try:
        yield
    finally:
        with _lock:
            limits = _running.pop()
            if not _running:
                limits.restore_original_limits()
