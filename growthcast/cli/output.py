"""What every command prints with: answers, sentences on stderr, and what is done of long work."""

from __future__ import annotations

import contextlib
import json
import os
import sys
from collections.abc import Iterable, Iterator, Mapping
from itertools import chain
from pathlib import Path
from threading import Event, Thread
from time import monotonic
from typing import TYPE_CHECKING, NoReturn, TextIO

from growthcast.cli.tables import print_line, print_table, printable, takes_any_letter
from growthcast.errors import Exit, UsageError
from growthcast.nouns import dataclass
from growthcast.plain import Said, plain
from growthcast.say.words import RANGES_HOLD, Answer, Table, sentence
from growthcast.steps import LISTENER

if TYPE_CHECKING:
    from growthcast.fit.result import GrowthFit
    from growthcast.forecast.verdict import BacktestResult

    Fit = GrowthFit | BacktestResult | None


@contextlib.contextmanager
def answer_that_arrives() -> Iterator[None]:
    """Run a command; raise ``UsageError`` if its answer cannot be written to stdout.

    Where the reader of a pipe has seen enough, leave quietly. Trouble with a named file is left to
    the command.
    """
    try:
        try:
            yield
        finally:
            sys.stdout.flush()
    except BrokenPipeError:
        _leave_quietly()
    except SystemExit as stop:
        if isinstance(stop.__context__, BrokenPipeError):  # so typer leaves a closed pipe
            _leave_quietly()
        raise
    except OSError as error:
        if error.filename is not None:
            raise
        _forget_the_rest(sys.stdout)
        reason = error.strerror or "no reason given"
        raise UsageError(f"the answer cannot be written to where stdout goes: {reason}") from error


def _leave_quietly() -> NoReturn:
    _forget_the_rest(sys.stdout)
    sys.exit(int(Exit.DONE))


def _forget_the_rest(stream: TextIO) -> None:
    """Point a stream to nowhere, so that leaving does not try to write the same text once more."""
    with contextlib.suppress(OSError, ValueError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, stream.fileno())
        os.close(nowhere)


def say(*sentences: str) -> None:
    """Say something beside the answer, on stderr, as long as anybody reads it."""
    try:
        for one in sentences:
            print(printable(one), file=sys.stderr)  # noqa: T201
    except BrokenPipeError:
        _forget_the_rest(sys.stderr)


def refused(key: str, **blanks: object) -> UsageError:
    """Return what ``terminal.toml`` says of arguments that do not fit, to be raised."""
    return UsageError(sentence(key, **blanks))


def refuse_if(key: str, when: object, **blanks: object) -> None:
    """Refuse arguments in the words of ``terminal.toml`` where something holds of them."""
    if when:
        raise refused(key, **blanks)


def text_of(file: Path, option: str = "") -> str:
    """Return the text of a file that an option names; ``UsageError`` where it has none."""
    named = f"{option} {file}".strip()
    try:
        return file.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise UsageError(f"{named} is no text in UTF-8; save it as that") from error
    except OSError as error:
        raise UsageError(f"{named} cannot be read: {error.strerror}") from error


def write_file(file: Path, content: bytes, beside: str = "") -> None:
    """Write a file whole or not at all, and say so."""
    from growthcast.book.writing.replace import write_whole

    write_whole(file, content)
    say(f"Wrote {file}{beside}")


@dataclass(frozen=True, slots=True)
class Form:
    """How an answer is printed: with what it rests on, or as JSON."""

    details: bool = False
    as_json: bool = False

    def print(
        self,
        noun: object,
        answer: Answer,
        fit: Fit = None,
        said: Said | None = None,
        *,
        details: bool = False,
    ) -> None:
        """Print an answer for people, or its noun for programs with what is said of its parts."""
        if self.as_json:
            print_json(noun, fit, said)
        else:
            print_answer(answer, details=self.details or details)


def print_answer(answer: Answer, *, details: bool = False) -> None:
    """Print the first line of an answer, its table and its notes for people, else its details."""
    without_ranges = False
    for part in _parts(answer, details):
        if isinstance(part, Table):
            without_ranges = print_table(part)
        else:
            print_line(part.replace(RANGES_HOLD, "") if without_ranges else part)
    if answer.details and not details and sys.stdout.isatty():
        print_line("More with --details.")


def _parts(answer: Answer, details: bool) -> Iterator[str | Table]:
    """Yield what is printed of an answer; what stands beside it is said after its notes."""
    yield from _each(chain([answer.lead, answer.table], answer.notes), details)
    say(*answer.beside)
    if details:
        yield from _each(answer.details, details)


def _each(words: Iterable[str | Table | Answer | None], details: bool) -> Iterator[str | Table]:
    """Yield sentences and tables, and those of answers among them."""
    for part in words:
        if isinstance(part, Answer):
            yield from _parts(part, details)
        elif part:
            yield part


def print_json(noun: object, fit: Fit = None, said: Said | None = None) -> None:
    """Print an answer as one JSON object; a number that is not finite is a fault of ours.

    With the fit, or the fits, that it rests on, tanks whose log could not be fitted are named. Of
    plain data that an iterator yields, as that of all tanks of a large book, each is written as it
    comes: never are all of them there at once.
    """
    answer = dict(noun) if isinstance(noun, Mapping) else plain(noun, said=said)
    if fit is not None:
        answer["not_fitted"] = [{"tank_id": t, "why": why} for t, why in fit.not_fitted.items()]
    parts = _json(answer, said)
    if not any(isinstance(value, Iterator) for value in answer.values()):
        parts = iter(["".join(parts)])
    sys.stdout.writelines(parts)


def _json(answer: Mapping[str, object], said: Said | None) -> Iterator[str]:
    encoder = json.JSONEncoder(allow_nan=False, ensure_ascii=not takes_any_letter())

    def written(value: object) -> str:
        try:
            return encoder.encode(value)
        except ValueError:
            from growthcast.finite import finite

            finite(value, "JSON")  # names the number
            raise

    yield "{"
    for place, (key, value) in enumerate(answer.items()):
        yield f"{', ' if place else ''}{written(key)}: "
        if isinstance(value, Iterator):
            yield "["
            yield from (f"{', ' if n else ''}{written(part)}" for n, part in enumerate(value))
            yield "]"
        else:
            yield written(plain(value, said=said))
    yield "}\n"


PATIENCE_S, EVERY_S = 1.0, 0.1
WAITING = "Writing, or waiting for another growthcast that writes in this book"


@contextlib.contextmanager
def working(what: str) -> Iterator[None]:
    """Show a bar on stderr while work lasts longer than a second, on a terminal only."""
    if LISTENER.get() is not None or not sys.stderr.isatty():
        yield
        return
    far, done = [0, 0], Event()
    bar = Thread(target=_show, args=(what, far, done), daemon=True)

    def listen(number: int, total: int) -> None:
        far[:] = number, total

    heard = LISTENER.set(listen)
    bar.start()
    try:
        yield
    finally:
        done.set()
        bar.join()
        LISTENER.reset(heard)


def _show(what: str, far: list[int], done: Event) -> None:
    """Draw what is done, how long it has taken and how long it will take, until it is done."""
    began = monotonic()
    if done.wait(PATIENCE_S):
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn

    parts = (TextColumn("{task.description}"), BarColumn())
    console = Console(file=getattr(sys.stderr, "stream", sys.stderr))  # which is not kept
    with Progress(*parts, console=console, transient=True, redirect_stdout=False) as bar:
        task = bar.add_task(what, total=None)
        while not done.wait(EVERY_S):
            number, total = far
            spent = monotonic() - began
            left = f", about {spent / number * (total - number):.0f} s left" if number else ""
            said = f"{what}, {spent:.0f} s{left}"
            bar.update(task, description=said, completed=number, total=total or None)
