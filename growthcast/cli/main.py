"""The command line: collects the commands, turns errors into sentences and exit statuses."""

from __future__ import annotations

import os
import sys
import warnings
from collections.abc import Callable
from typing import NoReturn

import typer

from growthcast.cli.check import backtest_command, check_command, watch_command
from growthcast.cli.cuts import cuts_command, peak_command
from growthcast.cli.forecast import fit_command, forecast_command, interval_command
from growthcast.cli.keep import (
    add_command,
    export_command,
    import_command,
    start_command,
    unlog_command,
)
from growthcast.cli.log import log_command
from growthcast.cli.pages import brief_command, overview_command
from growthcast.cli.rescape import rescape_command
from growthcast.cli.rounds import away_command, rounds_command
from growthcast.cli.species import species_command
from growthcast.errors import BookProblems, Exit, GrowthcastError, UsageError

TRACEBACK = "GROWTHCAST_TRACEBACK"
"""Environment variable that shows where a fault of the tool happened."""

app = typer.Typer(
    name="growthcast",
    help="Forecast how planted aquarium areas grow, and how often each tank must be visited.",
    epilog="Example: growthcast interval my-book. Without a book, the demo that ships is used.",
    rich_markup_mode=None,  # plain help starts in a third of the time
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
)


def _tell_version(asked: bool) -> None:
    if asked:
        from importlib.metadata import version

        print(f"growthcast {version('growthcast')}")  # noqa: T201
        raise typer.Exit


@app.callback()
def _before_any_command(
    version: bool = typer.Option(
        False, "--version", callback=_tell_version, is_eager=True, help="Print the version."
    ),
) -> None:
    """Forecast how planted aquarium areas grow, and how often each tank must be visited."""


COMMANDS: dict[str, Callable[..., None]] = {
    "start": start_command,
    "add": add_command,
    "log": log_command,
    "unlog": unlog_command,
    "check": check_command,
    "interval": interval_command,
    "forecast": forecast_command,
    "cuts": cuts_command,
    "rounds": rounds_command,
    "away": away_command,
    "peak": peak_command,
    "brief": brief_command,
    "overview": overview_command,
    "rescape": rescape_command,
    "watch": watch_command,
    "fit": fit_command,
    "backtest": backtest_command,
    "species": species_command,
    "export": export_command,
    "import": import_command,
}
for _name, _command in COMMANDS.items():
    app.command(_name)(_command)


def main() -> None:
    """Run the command line; every expected trouble ends in a sentence, not a traceback."""
    from growthcast.cli.output import answer_that_arrives, say

    if not os.environ.get(TRACEBACK):  # answers are judged by their numbers (growthcast.finite)
        warnings.filterwarnings("ignore", category=RuntimeWarning, append=True)
    try:
        with answer_that_arrives():
            app()
    except BookProblems as problems:
        from growthcast.book.findings import format_findings

        say(format_findings(problems.findings))
        _stop(problems)
    except GrowthcastError as error:
        _stop(error)
    except Exception as fault:
        if os.environ.get(TRACEBACK):
            raise
        if isinstance(fault, OSError) and fault.filename is not None:  # of a file that was named
            from growthcast.book.words import shown

            reason = (fault.strerror or "no reason given").lower()
            _stop(UsageError(f"{shown(fault.filename)} cannot be opened: {reason}"))
        say(
            f"growthcast: this is a fault of the tool, not of your book: "
            f"{type(fault).__name__}: {fault}\n"
            f"    Nothing but what is said above was written. Set {TRACEBACK}=1 to see more."
        )
        sys.exit(int(Exit.TOOL_FAULT))


def _stop(error: GrowthcastError) -> NoReturn:
    from growthcast.cli.output import say

    say(f"growthcast: {error}")
    sys.exit(int(error.exit_status))
