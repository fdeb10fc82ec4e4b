"""Arguments and options that several commands share, and how a command opens its book."""

from __future__ import annotations

import shlex
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import field, fields
from datetime import date
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar, get_type_hints

from growthcast import cache
from growthcast.book.files import find_book
from growthcast.book.findings import summary_for_commands
from growthcast.book.tables import column_of
from growthcast.book.words import check_known, did_you_mean, printable, some_of
from growthcast.cli import again
from growthcast.cli.main import function_of
from growthcast.cli.output import refuse_if, say, working
from growthcast.errors import UsageError
from growthcast.nouns import dataclass
from growthcast.parts import BY_TABLE, Parts
from growthcast.say.words import sentence

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from growthcast.arrays import IntArray
    from growthcast.book.book import Book
    from growthcast.fit.result import GrowthFit
    from growthcast.say.figures import Caption

T = TypeVar("T")
FIRST_YEAR, LAST_YEAR = 1970, 2200

Text = str | None
Texts = list[str] | None
Day = date | None
Days = list[date] | None
File = Path | None
Files = list[Path] | None
Count = int | None
"""What commands take; ``options.toml`` says what each is for."""


KINDS: dict[str, Any] = {
    "text": str,
    "path": Path,
    "number": int,
    "share": float,
    "date": date,
    "flag": bool,
}


@dataclass(frozen=True, slots=True)
class Taken:
    """What a command takes under a name, as ``options.toml`` says."""

    name: str
    help: str
    kind: str = "text"
    many: bool = False
    required: bool = False
    argument: str = ""
    flags: Sequence[str] = ()
    takes: str | None = None
    default: Any = None
    one_of: Sequence[str] | str = ()
    min: float | None = None
    max: float | None = None
    lacking: str = ""
    needs: Mapping[str, str] = field(default_factory=dict)
    not_with: Mapping[str, str] = field(default_factory=dict)
    ends: Sequence[str] = ()

    @property
    def unsaid(self) -> tuple[Any, ...]:
        """What it is where a person says nothing of it."""
        return None, [], self.default

    @property
    def names(self) -> Sequence[str]:
        """The names of an option."""
        return self.flags or [f"--{self.name.replace('_', '-')}"]

    def value_of(self, text: str) -> Any:
        """Read what is typed for it; what may be many is typed one by one."""
        if self.kind == "date":
            return parse_date(text, self.names[0])
        if self.one_of:  # of which a text says which column knows them
            known = self.one_of
            known = column_of(*known.split(".")).choices if isinstance(known, str) else known
            if text not in known:
                hint = did_you_mean(text, known, f"write one of {', '.join(known)}")
                raise UsageError(f'{self.names[0]} "{text}" is not known; {hint}')
        return KINDS[self.kind](text)


class Command:
    """A command with what it takes, some of it as the fields of a noun."""

    def __init__(self, name: str) -> None:
        said = Parts(Path(__file__).with_name("options.toml"), BY_TABLE)
        self.name = name
        self.takes = [
            Taken(one, **(said.get(f"{name}.{one}") or said[f"every.{one}"]))
            for one in said["command.takes"][name].split()
        ]

    def __call__(self, *, no_cache: bool = False, **given: Any) -> None:
        """Do what is asked."""
        if no_cache:
            cache.turn(on=False)
        if any(isinstance(value, Path) for value in given.values()):
            again.not_kept()
        self.check(given)
        function = function_of(self.name)
        for name, noun in get_type_hints(function).items():
            if hasattr(noun, "__dataclass_fields__"):
                parts = [part.name for part in fields(noun) if part.name in given]
                given[name] = noun(**{part: given.pop(part) for part in parts})
        function(**given)

    def check(self, given: Mapping[str, Any]) -> None:
        """Refuse what ``options.toml`` rules out, before any work."""
        for one in self.takes:
            refuse_if(one.lacking, one.lacking and given[one.name] is None)
        told = {one.name: one for one in self.takes if given.get(one.name) not in one.unsaid}
        for name, one in told.items():
            value = given[name]
            said = {"option": one.names[0], "value": value}
            if one.min is not None:
                limits = {"low": one.min, "high": one.max, "usual": one.default}
                refuse_if("outside", not one.min <= value <= (one.max or value), **said, **limits)
            for other, key in one.needs.items():
                refuse_if(key, other not in told, **said)
            for other, key in one.not_with.items():
                refuse_if(key, other in told, other=f"--{other}", **said)
            if one.ends:
                check_file(find_book(given["book"])[0], value, one.ends)

    def read(self, words: Sequence[str]) -> dict[str, Any] | None:
        """Return what plain words give; None where typer is to read them, or say what is wrong.

        To build what typer needs takes longer than to read a book.
        """
        given = {one.name: one.default for one in self.takes if not one.required}
        named = {name: one for one in self.takes if not one.argument for name in one.names}
        places, rest = [one for one in self.takes if one.argument], iter(words)
        for word in rest:
            one = named.get(word) if word[:1] == "-" else places[0] if places else None
            if one is None:
                return None
            if one.kind == "flag":
                given[one.name] = True
                continue
            text = word if one.argument else next(rest, "")
            if text[:1] in ("", "-"):
                return None
            try:
                value = one.value_of(text)
            except (ValueError, UsageError):
                return None
            given[one.name] = [*(given.get(one.name) or ()), value] if one.many else value
            if one.argument and not one.many:
                places.pop(0)
        return given if len(given) == len(self.takes) else None


def parse_date(text: str, flag: str) -> date:
    """Read a date option."""
    try:
        if len(text) == 10:  # only YYYY-MM-DD, not the compact and week forms
            day = date.fromisoformat(text)
            if FIRST_YEAR <= day.year <= LAST_YEAR:
                return day
            raise UsageError(f"{flag} {text} lies outside {FIRST_YEAR} to {LAST_YEAR}")
    except ValueError:
        pass
    raise UsageError(f'{flag} "{text}" is not a date; write it as YYYY-MM-DD, as in 2026-03-02')


def folder_of(named: str | None) -> Path:
    """Return the folder of the book a command is called with; that it is the demo is said."""
    folder, fell_back = find_book(named)
    if fell_back:
        say(fell_back)
    return folder


def read_aloud(folder: Path, on: date | None = None) -> Book:
    """Read a book, and say what was noted while it was read."""
    from growthcast.book.read import read_book

    again.rests_on(folder)
    book = read_book(folder, on=on)
    if beside := summary_for_commands(book.findings):
        say(beside)
    return book


def open_book(named: str | None, on: date | None) -> tuple[Book, date]:
    """Read the book a command is called with, say its notes, and settle the day to stand on."""
    from growthcast.fit.growth import last_logged
    from growthcast.say.supposed import left_out_words

    book = read_aloud(folder_of(named), on)
    day = on or last_logged(book)
    if day is None:
        day = date.today()
        say(f"The log holds no rows, so the day to stand on is today, {day}.")
    say(*left_out_words(book, day))
    return book, day


def fitted(book: Book, day: date) -> GrowthFit:
    """Fit a book as every command does."""
    from growthcast.fit.growth import recalled_fit

    with working("Fitting the log"):
        return recalled_fit(book, day)


def recalled(book: Book, day: date, work: Callable[[], T], *asked: object) -> T:
    """Work out an answer that follows from the book, the day and what is asked, or recall it."""
    from growthcast.cache import recall, tables_of

    with working(sentence(f"work_{asked[0]}")):
        return recall(work, *asked, tables_of(book), day)


def open_fit(named: str | None, on: date | None) -> tuple[Book, date, GrowthFit]:
    """Read and fit the book; areas whose fit did not settle are named on stderr."""
    from growthcast.say.supposed import beside_fit

    book, day = open_book(named, on)
    fit = fitted(book, day)
    say(*beside_fit(book, day, fit))
    return book, day, fit


def check_file(folder: Path, file: Path, ends: Sequence[str]) -> None:
    """Refuse a file of another form, one that cannot be made here, and files of the book."""
    from growthcast.book.writing.replace import check_place

    suffix = file.suffix.lower()
    if suffix not in ends and (suffix, ends[0]) != (".htm", ".html"):
        said = f"does not end in {' or '.join(ends)}; name it {file.stem or 'answer'}{ends[0]}"
        raise UsageError(f'"{printable(file.name or str(file))}" {printable(said)}')
    without = suffix == ".pdf" and find_spec("typst") is None  # no wheel for some
    refuse_if("no_pdf", without, stem=printable(file.stem))
    check_place(folder, file)


def write_plot(book: Book, file: Path, drawn: tuple[Figure, Caption]) -> None:
    """Write a figure with its caption, and say so."""
    from growthcast.figures.style import save_picture

    save_picture(book, file, *drawn)
    say(f"Wrote {file}")


def chosen_tanks(book: Book, tank_id: str | None) -> IntArray:
    """Places of the tanks a command is asked for."""
    import numpy as np

    tanks = book.tanks.text("tank_id")
    if tank_id is None:
        return np.arange(tanks.size)
    check_known(tank_id, tanks.tolist(), "tanks.csv has no tank", "the tanks are")
    return np.flatnonzero(tanks == tank_id)


def one_of(names: Sequence[str], flag: str, noun: str) -> str:
    """Return the one of several that a person at a terminal chooses; elsewhere list them all."""
    if len(names) == 1:
        return names[0]
    if not (names and sys.stdin.isatty() and sys.stderr.isatty()):
        there_are = f"the {noun}s are {some_of(list(names))}" if names else f"there is no {noun}"
        typed = shlex.join(["growthcast", *sys.argv[1:], flag.split()[0], *names[:1]])
        raise UsageError(f"name one {noun} with {flag}; {there_are}\n    {typed}")
    again.not_kept()
    for number, name in enumerate(names, 1):
        say(f"  {number}. {name}")
    while True:
        print(f"Which {noun}? [1 to {len(names)}] ", end="", file=sys.stderr, flush=True)  # noqa: T201
        line = sys.stdin.readline()
        typed = line.strip()
        if typed in names:
            return typed
        if typed.isdecimal() and 1 <= int(typed) <= len(names):
            return names[int(typed) - 1]
        if not line:
            raise UsageError(f"no {noun} was chosen; name one with {flag}")


def one_tank(book: Book, tank_id: str | None) -> str:
    """Return the id of the tank a command is about: as named, else as chosen."""
    return tank_id or one_of(book.tanks.text("tank_id").tolist(), "--tank ID", "tank")
