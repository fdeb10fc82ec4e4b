"""The entry point: prints the help of all commands itself, and hands all else to typer."""

from __future__ import annotations

import atexit
import contextlib
import os
import shutil
import sys
import textwrap
import threading

USAGE = "Usage: growthcast [OPTIONS] COMMAND [ARGS]..."
ABOUT = "Forecast how planted aquarium areas grow, and how often each tank must be visited."
EXAMPLE = "Example: growthcast interval my-book. Without a book, the demo that ships is used."
HEADINGS = {
    "Keep the book": {
        "start": "changes",
        "add": "keep",
        "unlog": "changes",
        "replace": "changes",
        "retire": "changes",
        "move": "changes",
        "journal": "changes",
        "check": "keep",
        "export": "keep",
        "import": "keep",
    },
    "At the tank": {"log": "log", "measure": "log", "open": "log", "cuts": "cuts"},
    "Advice": {
        "interval": "forecast",
        "forecast": "forecast",
        "rounds": "rounds",
        "away": "rounds",
        "peak": "cuts",
    },
    "Pages": {"brief": "pages", "quote": "pages", "overview": "pages", "hours": "rounds"},
    "Plants": {"rescape": "rescape", "species": "forecast"},
    "What the log tells, and how sure": {
        "watch": "forecast",
        "fit": "forecast",
        "backtest": "forecast",
    },
    "The tool itself": {"cache": "commands"},
}
"""The commands by their headings in the order of ``--help``, each with the module that holds it."""
COMMANDS = {name: home for commands in HEADINGS.values() for name, home in commands.items()}
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
    asked = sys.argv[1:]
    stream = sys.stdout if asked else sys.stderr
    if asked in ([], ["--help"]) and stream is not None:
        try:
            print(help_text(), file=stream, flush=True)
            sys.exit(0 if asked else 2)  # of growthcast.errors.Exit, whose import takes a while
        except OSError:  # nobody reads it, or it cannot be written: told as of any other answer
            pass
    from growthcast.cli.commands import run

    run()


def help_text() -> str:
    """Return the help of all commands, as wide as the screen."""
    wide = min(shutil.get_terminal_size().columns, WIDEST)

    def entry(name: str, sentence: str) -> str:
        lead = f"  {name}".ljust(BEHIND_NAMES)
        return textwrap.fill(
            sentence, wide, initial_indent=lead, subsequent_indent=" " * BEHIND_NAMES
        )

    parts = [[textwrap.fill(said, wide)] for said in (USAGE, ABOUT)]
    for heading, commands in HEADINGS.items():
        listed = [entry(name, _first_line(name, home)) for name, home in commands.items()]
        parts.append([f"{heading}:", *listed])
    parts.append(["Options:", *(entry(*option) for option in OPTIONS.items())])
    parts.append([textwrap.fill(EXAMPLE, wide)])
    return "\n\n".join("\n".join(part) for part in parts)


def _first_line(name: str, home: str) -> str:
    """Return the first line of a command's help, from its source: quicker than importing it."""
    file = f"{__file__.removesuffix('main.py')}{home}.py"
    with open(file, encoding="utf-8") as source:  # noqa: PTH123 - pathlib takes as long as the rest
        _, _, command = source.read().partition(f"\ndef {name}_command(")
    return command.split('"""', 2)[1].split("\n", 1)[0]
