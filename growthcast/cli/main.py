"""The entry point: prints help and kept answers at once, runs commands, turns errors into words.

What is no plain command typer reads, and says what is wrong with it.
"""

from __future__ import annotations

import atexit
import contextlib
import os
import sys
import threading
from collections.abc import Sequence
from importlib import import_module
from typing import TYPE_CHECKING, Any, NoReturn

if TYPE_CHECKING:
    from growthcast.errors import GrowthcastError

USAGE = "Usage: growthcast [OPTIONS] COMMAND [ARGS]..."
ABOUT = "Forecast how planted aquarium areas grow, and how often each tank must be visited."
EXAMPLE = "Example: growthcast interval my-book. Without a book, the demo that ships is used."
HEADINGS = {
    "Keep the book": "changes.start keep.add changes.unlog changes.replace changes.retire "
    "changes.move changes.journal keep.check keep.export keep.import",
    "At the tank": "log.log log.measure log.open cuts.cuts",
    "Advice": "forecast.interval forecast.forecast rounds.rounds rounds.away cuts.peak",
    "Pages": "pages.brief pages.quote pages.overview rounds.hours",
    "Plants": "rescape.rescape forecast.species",
    "What the log tells, and how sure": "forecast.watch forecast.fit forecast.backtest",
    "The tool itself": "commands.cache",
}
"""The commands, after the module that holds each, by their headings in the order of ``--help``."""
HOMES = [one.split(".") for listed in HEADINGS.values() for one in listed.split()]
COMMANDS = {name: home for home, name in HOMES}
OPTIONS = {
    "--version": "Print the version.",
    "--help": "Print this. growthcast COMMAND --help has the options of a command.",
}
WIDEST, BEHIND_NAMES = 100, 13
"""Columns of a line at most, and those before the sentence of a command."""


def program() -> None:
    """Run the command line as a process, and end it without taking apart what it holds.

    Python would free every module and array one by one: a tenth of a second. What else it does at
    the end of a process is done; where anything still runs, or cannot be written, it does all.
    """
    try:
        main()
    except SystemExit as stop:
        if threading.active_count() == 1 and isinstance(stop.code, int | None):
            with contextlib.suppress(OSError):
                atexit._run_exitfuncs()
                for stream in filter(None, (sys.stdout, sys.stderr)):
                    stream.flush()
                os._exit(stop.code or 0)
        raise


def main() -> None:
    """Run the command line; the help of all commands comes first, for it needs nothing else."""
    words = sys.argv[1:]
    _open_streams()
    if words in ([], ["--help"]):
        try:
            print(help_text(), file=sys.stdout if words else sys.stderr, flush=True)
            sys.exit(0 if words else 2)  # of growthcast.errors.Exit, whose import takes a while
        except OSError:  # nobody reads it, or it cannot be written: told as of any other answer
            pass
    from growthcast.cli.again import printed_again

    if (status := printed_again(words)) is not None:
        sys.exit(status)
    _keep_freed_memory()
    run(words)


def _keep_freed_memory() -> None:
    """Let glibc keep up to 64 MB of what is freed, and use it for arrays of up to 8 MB.

    A fit would give them back and get them anew, a page at a time, at every step: a tenth of it.
    The options are numbered as in glibc's header: when to trim, how much to ask for, what to map.
    """
    if sys.platform == "linux":
        from ctypes import CDLL

        if mallopt := getattr(CDLL(None), "mallopt", None):
            for option, size in ((-1, 1 << 26), (-2, 1 << 24), (-3, 1 << 23)):
                mallopt(option, size)


def _open_streams() -> None:
    """Open what is closed, lest a file takes its place, and let the outputs take any letter."""
    for name, mode in (("stdout", os.O_RDONLY), ("stderr", os.O_WRONLY)):
        stream: Any = getattr(sys, name)
        if stream is None:  # no answer can be written to it, so that this is told
            setattr(sys, name, os.fdopen(os.open(os.devnull, mode), "w", encoding="utf-8"))
        elif hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")


TRACEBACK = "GROWTHCAST_TRACEBACK"
"""Environment variable that shows where a fault of the tool happened."""


def run(words: Sequence[str]) -> None:
    """Run a command; every expected trouble ends in a sentence, not a traceback."""
    import warnings

    from growthcast import cache
    from growthcast.cli.again import heard
    from growthcast.cli.output import answer_that_arrives, say
    from growthcast.errors import BookProblems, Exit, GrowthcastError, UsageError

    cache.turn(on=True)
    if not os.environ.get(TRACEBACK):  # answers are judged by their numbers (growthcast.finite)
        warnings.filterwarnings("ignore", category=RuntimeWarning, append=True)
    try:
        with answer_that_arrives(), heard(words):
            _call(words)
    except BookProblems as problems:
        from growthcast.book.findings import format_findings

        say(format_findings(problems.findings))
        _stop(problems)
    except GrowthcastError as error:
        _stop(error)
    except KeyboardInterrupt:
        sys.exit(130)  # as typer leaves
    except Exception as fault:
        if os.environ.get(TRACEBACK):
            raise
        if isinstance(fault, OSError) and fault.filename is not None:  # of a file that was named
            from growthcast.book.words import shown

            reason = (fault.strerror or "no reason given").lower()
            _stop(UsageError(f"{shown(fault.filename)} cannot be opened: {reason}"))
        what = f"{type(fault).__name__}: {fault}"
        say(f"growthcast: this is a fault of the tool, not of your book: {what}")
        say(f"    Nothing but what is said above was written. Set {TRACEBACK}=1 to see more.")
        sys.exit(int(Exit.TOOL_FAULT))


def _call(words: Sequence[str]) -> None:
    """Call the command that is asked for; typer reads what is no plain words."""
    patterns = os.name == "nt" and set("*?[~$%").intersection(*words)
    if words and words[0] in COMMANDS and not patterns:
        from growthcast.cli.options import Command

        command = Command(words[0])
        if (given := command.read(words[1:])) is not None:
            command(**given)
            return
    from growthcast.cli.commands import app

    app()


def function_of(name: str) -> Any:
    """Return the function of a command."""
    return getattr(import_module(f"growthcast.cli.{COMMANDS[name]}"), f"{name}_command")


def _stop(error: GrowthcastError) -> NoReturn:
    from growthcast.cli.output import say

    say(f"growthcast: {error.args[0] if hasattr(error, 'findings') else error}")
    sys.exit(int(error.exit_status))


def help_text() -> str:
    """Return the help of all commands, as wide as the screen."""
    import shutil
    import textwrap

    wide = min(shutil.get_terminal_size().columns, WIDEST)

    def entry(name: str, sentence: str) -> str:
        lead = f"  {name}".ljust(BEHIND_NAMES)
        return textwrap.fill(
            sentence, wide, initial_indent=lead, subsequent_indent=" " * BEHIND_NAMES
        )

    parts = [[textwrap.fill(said, wide)] for said in (USAGE, ABOUT)]
    for heading, listed in HEADINGS.items():
        names = [one.partition(".")[2] for one in listed.split()]
        lines = [entry(name, help_of(name).split("\n")[0]) for name in names]
        parts.append([f"{heading}:", *lines])
    parts.append(["Options:", *(entry(*option) for option in OPTIONS.items())])
    parts.append([textwrap.fill(EXAMPLE, wide)])
    return "\n\n".join("\n".join(part) for part in parts)


def help_of(name: str) -> str:
    """Return a command's help, from its source: quicker than importing it."""
    file = f"{__file__.removesuffix('main.py')}{COMMANDS[name]}.py"
    with open(file, encoding="utf-8") as source:  # noqa: PTH123 - pathlib takes as long as the rest
        _, _, command = source.read().partition(f"\ndef {name}_command(")
    return command.split('"""', 2)[1]
