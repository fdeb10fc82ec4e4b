"""Running a command as a person would, inside this process."""

from __future__ import annotations

import contextlib
import io
import sys
from collections.abc import Callable
from datetime import date
from typing import Any, NamedTuple
from unittest import mock

from growthcast.book.book import Book
from growthcast.cli.main import main
from growthcast.fit.growth import fit_growth
from growthcast.fit.result import GrowthFit
from growthcast.service.pages.record import past_records

KNOWN: dict[object, Any] = {}
"""What commands have worked out from a book; a test that asks anew on purpose empties it first."""


def once(function: Callable[..., Any]) -> Callable[..., Any]:
    """Return a function of a book that works nothing out twice while its files are as they were."""

    def known(book: Book, *given: object) -> Any:
        files = tuple((file, file.read_bytes()) for file in sorted(book.folder.glob("*.*")))
        key = (function.__qualname__, files, len(book.trims), repr(given))
        if key not in KNOWN:
            KNOWN[key] = function(book, *given)
        return KNOWN[key]

    return known


FITTED, RECORDS = "growthcast.cli.options.fitted", "growthcast.brief.client.past_records"


def fitted(book: Book, day: date, *_: object) -> GrowthFit:
    """Fit a book, with all that any command prints of it."""
    return fit_growth(book, day)


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
        mock.patch(FITTED, once(fitted)),
        mock.patch(RECORDS, once(past_records)),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
    ):
        try:
            main()
        except SystemExit as stop:
            status = stop.code if isinstance(stop.code, int) else 0 if stop.code is None else 1
    return Ran(status, out.getvalue(), err.getvalue())
