"""The command line: calls the commands, turns errors into sentences and exit statuses."""

from __future__ import annotations

import os
import sys
import warnings
from importlib import import_module
from typing import Any, NoReturn

import typer
from typer.core import TyperGroup

from growthcast import cache
from growthcast.cli.main import COMMANDS, help_text
from growthcast.cli.options import takes_options
from growthcast.errors import BookProblems, Exit, GrowthcastError, UsageError

TRACEBACK = "GROWTHCAST_TRACEBACK"
"""Environment variable that shows where a fault of the tool happened."""


class _Commands(TyperGroup):
    """The commands by their names; one that is called is imported then."""

    def format_help(self, _: Any, formatter: Any) -> None:
        formatter.write(help_text())

    def resolve_command(self, ctx: Any, args: list[str]) -> Any:
        name, named, rest = super().resolve_command(ctx, args)
        if named is None or name is None:
            return name, named, rest
        alone = typer.Typer(**_PLAIN)
        home = import_module(f"growthcast.cli.{COMMANDS[name]}")
        alone.command(name)(takes_options(name, getattr(home, f"{name}_command")))
        return name, typer.main.get_command(alone), rest


_PLAIN: dict[str, Any] = {
    "rich_markup_mode": None,  # plain help starts in a third of the time
    "add_completion": False,
    "pretty_exceptions_enable": False,
}
app = typer.Typer(name="growthcast", cls=_Commands, no_args_is_help=True, **_PLAIN)


def _tell_version(asked: bool) -> None:
    if asked:
        from importlib.metadata import version

        print(f"growthcast {version('growthcast')}")  # noqa: T201
        raise typer.Exit


@app.callback()
def _before_any_command(
    version: bool = typer.Option(False, "--version", callback=_tell_version, is_eager=True),
) -> None:
    """Take the options that stand before any command."""


for _name in COMMANDS:
    app.command(_name)(lambda: None)


def run() -> None:
    """Run the command line; every expected trouble ends in a sentence, not a traceback."""
    from growthcast.cli.output import answer_that_arrives, say

    cache.turn(on=True)
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

    say(f"growthcast: {error.args[0] if isinstance(error, BookProblems) else error}")
    sys.exit(int(error.exit_status))


def cache_command(clear: bool, as_json: bool) -> None:
    """Say what is kept to answer sooner when a book has not changed, and where, or delete it.

    Example: growthcast cache --clear

    Exit status: 0 done, 2 bad arguments or what cannot be deleted, 3 the tool itself failed.
    """
    from growthcast.cli.output import print_answer
    from growthcast.say.words import count_of

    folder, kept = cache.folder(), cache.files()
    if folder is None:
        words = f"Nothing is kept: {cache.VARIABLE} is off."
    elif clear:
        gone = cache.clear()
        if gone < len(kept):
            raise UsageError(f"not all files of {folder} can be deleted")
        words = f"Deleted {count_of(gone, 'answer')} from {folder}."
    else:
        megabytes = sum(size for _, size in kept) / 1e6
        words = (
            f"The cache in {folder} holds {count_of(len(kept), 'answer')} and takes "
            f"{megabytes:.1f} of at most {cache.MOST_BYTES / 1e6:.0f} MB. --clear deletes what it "
            f"holds, {cache.VARIABLE} names another folder or says {cache.OFF}, and a command with "
            "--no-cache does without."
        )
    answer = {"folder": folder and str(folder), "answers": len(kept), "cleared": clear}
    print_answer(as_json, answer, [words])
