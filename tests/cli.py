"""Running a command as a person would, inside this process."""

from __future__ import annotations

import contextlib
import io
import sys
from collections.abc import Callable
from contextlib import AbstractContextManager
from datetime import date
from typing import NamedTuple
from unittest import mock

from growthcast import cache
from growthcast.book.book import Book
from growthcast.cli.main import main
from growthcast.fit import growth
from growthcast.fit.model.spreads import Spreads
from growthcast.fit.result import GrowthFit

FitIt = Callable[[Book, date, Spreads | None], GrowthFit]

KNOWN: dict[object, GrowthFit] = {}
"""Fits that commands have made; a test that breaks the fit on purpose empties it first."""
MOST_KNOWN = 60


def known_fit(
    book: Book, on: date, spreads: Spreads | None, fit_it: FitIt = growth._fitted
) -> GrowthFit:
    """Fit tables as they were known on a day, today or in the past, once."""
    key = cache._key((cache.tables_of(book), on, spreads))
    if key not in KNOWN:
        while len(KNOWN) >= MOST_KNOWN:
            del KNOWN[next(iter(KNOWN))]
        KNOWN[key] = fit_it(book, on, spreads)
    return KNOWN[key]


def shared_fits() -> AbstractContextManager[object]:
    """Fit no tables twice while this context is open."""
    return mock.patch.object(growth, "_fitted", known_fit)


class Ran(NamedTuple):
    """Exit status and what went to stdout and stderr."""

    status: int
    out: str
    err: str


def run(*arguments: str) -> Ran:
    """Run ``growthcast`` with arguments."""
    out, err = io.StringIO(), io.StringIO()
    status = 0
    with (
        mock.patch.object(sys, "argv", ["growthcast", *arguments]),
        shared_fits(),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
    ):
        try:
            main()
        except SystemExit as stop:
            status = stop.code if isinstance(stop.code, int) else 0 if stop.code is None else 1
    return Ran(status, out.getvalue(), err.getvalue())
