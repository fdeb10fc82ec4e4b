"""Running a command as a person would, inside this process."""

from __future__ import annotations

import contextlib
import io
import sys
from typing import NamedTuple
from unittest import mock

from growthcast.cli.main import main


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
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
    ):
        try:
            main()
        except SystemExit as stop:
            status = stop.code if isinstance(stop.code, int) else 0 if stop.code is None else 1
    return Ran(status, out.getvalue(), err.getvalue())
