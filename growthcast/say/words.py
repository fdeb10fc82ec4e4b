"""What all sentences share: shares, chances, lists, days and dates in words."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import TYPE_CHECKING, Any, NamedTuple, TypeVar

from growthcast.nouns import dataclass
from growthcast.say.filled import filled, read_texts

if TYPE_CHECKING:
    from growthcast.service.effort.hours import Range


MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
YEAR_SETTLED_D = 300
"""A day and month this near to a known date can be of one year only."""
SURELY, HARDLY = 0.995, 0.005


OVERDUE, TIGHT, FINE = "!", "~", "\N{CHECK MARK}"
"""What a cell begins with: something is over or late, below the wanted chance, or as it should be.

A terminal with colours shows the cell in the mark's colour as well."""
RANGES = "(ranges)"
"""Stands among the columns that give way, alone or behind a column: the brackets behind numbers."""


class Table(NamedTuple):
    """A table of an answer; a column whose name ends in ``>`` is aligned to the right.

    A row of one cell is a line across the table. Where a terminal is too narrow the columns of
    ``gives_way`` are left out, one after the other.
    """

    title: str
    columns: Sequence[str]
    rows: Sequence[Sequence[str]]
    gives_way: Sequence[str] = ()


@dataclass(frozen=True, slots=True)
class Answer:
    """An answer as a person reads it: its first line, its table, what is to be known beside them.

    ``details`` are read by who asks for them: with ``--details``, or of one tank. They and
    ``notes`` may be worked out only while they are printed; an answer among them is that to a part
    of the question. Sentences of ``beside`` go to stderr.
    """

    lead: str = ""
    table: Table | None = None
    notes: Words = ()
    details: Words = ()
    beside: Iterable[str] = ()


K = TypeVar("K")
Names = Sequence[str]
Rows = Iterable[Mapping[str, Any] | list[str]]
Words = Iterable[str | Table | Answer]
"""Sentences, tables and answers to parts of a question, in their order."""
RANGES_HOLD = "Ranges hold 8 times in 10."


def sentence(key: str, **blanks: Any) -> str:
    """Return what ``languages/terminal.toml`` says under a key, its blanks filled.

    How a blank is written is a function of this module.
    """
    return filled(read_texts("terminal")[key], blanks, globals().get)


def table(key: str, rows: Rows, without: Names = (), **blanks: Any) -> Table:
    """Return a table as ``languages/terminal.toml`` has it.

    A line is a column: its head, a cell, and what stands there where a blank of it is None. A row
    holds blanks of its cells beside those of all; a row of text stays as it is. Columns of
    ``without`` are left out. Lines of their own say the title, and which columns give way.
    """
    lines = [line.split(" | ") for line in read_texts("terminal")[key].splitlines()]
    beside = dict(line[0].split(": ", 1) for line in lines if len(line) == 1)
    title, leave = (
        filled(beside.get(name, ""), blanks, globals().get) for name in ("title", "gives way")
    )
    columns = [[*line, ""] for line in lines if line[1:] and line[0].rstrip(">") not in without]

    def told(row: Mapping[str, Any]) -> list[str]:
        known = {**blanks, **row}
        return [filled(cell, known, globals().get) or none for _, cell, none, *_ in columns]

    made = [row if isinstance(row, list) else told(row) for row in rows]
    heads = [filled(column[0], blanks, globals().get) for column in columns]
    return Table(title, heads, made, [*filter(None, leave.split(", "))])


def grouped(pairs: Iterable[tuple[K, str]]) -> dict[K, list[str]]:
    """Return what is said of each, by what it is said of, in the order of the first."""
    groups: dict[K, list[str]] = {}
    for key, said in pairs:
        groups.setdefault(key, []).append(said)
    return groups


def percent(share: float, digits: int = 0) -> str:
    """Return a share [0-1] as percent."""
    return f"{100 * share:.{digits}f} %"


def decimals(value: float, digits: int) -> str:
    """Return a number with so many digits behind the point."""
    return f"{value:.{digits}f}"


def yes_or_no(holds: bool) -> str:
    """Return whether something holds."""
    return "yes" if holds else "no"


def one_digit(share: float) -> str:
    """Return a share [0-1] as percent with a digit behind the point."""
    return percent(share, 1)


def per_hundred(share: float) -> str:
    """Return a share [0-1] as a whole number of a hundred."""
    return f"{100 * share:.0f}"


def as_chance(chance: float) -> str:
    """Return a chance [0-1] in percent, never claiming certainty."""
    if chance >= SURELY:
        return "over 99 %"
    return "under 1 %" if chance < HARDLY else percent(chance)


def days_ago(days: float) -> str:
    """Return how long ago something was."""
    return f"{days_in_words(days)} ago" if days >= 1.0 else "today"


def count_of(number: int, noun: str) -> str:
    """Return a number of things."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def quantile_words(quantiles: Iterable[float], unit: str, digits: int | None = None) -> str:
    """Return what is most likely, and what it lies between 8 times in 10.

    Without ``digits``, numbers from 10 on are whole ones.
    """
    low, middle, high = quantiles
    if digits is None:
        digits = int(middle < 9.95)
    return f"{middle:.{digits}f} {unit} ({low:.{digits}f}–{high:.{digits}f})"


def with_range(values: Range, unit: str = "") -> str:
    """Return what is most likely with what it lies within 8 times in 10, in whole numbers."""
    middle = f"{values.p50:.0f} {unit}".rstrip()
    return f"{middle} ({values.p10:.0f}–{values.p90:.0f})"


SMALL_H, A_YEAR_D = 10.0, 365


def ends(saved: Range, small: float = SMALL_H) -> str:
    """Return both ends of what is saved; what is below ``small`` has a digit more."""
    digits = 0 if max(abs(saved.p10), abs(saved.p90)) >= small else 1
    joint = "–" if saved.p10 > 0.0 else " to "
    return joint.join(dict.fromkeys(f"{end:z.{digits}f}" for end in (saved.p10, saved.p90)))


def whole_ends(saved: Range) -> str:
    """Return both ends of what is saved, whole where they are one at least."""
    return ends(saved, 1.0)


def days_with_range(days: Iterable[float | None]) -> str:
    """Return days from one thing to another with what they lie within 8 times in 10."""
    low, middle, high = (
        "never" if d is None else f"{d:.0f}" if d < A_YEAR_D else f"{A_YEAR_D}+" for d in days
    )
    return f"{middle} d" if low == high else f"{middle} d ({low}–{high})"


def in_hours(values: Range) -> str:
    """Return hours with their range."""
    return with_range(values, "h")


def in_minutes(values: Range) -> str:
    """Return minutes with their range."""
    return with_range(values, "min")


def range_words(height: Range, unit: str) -> str:
    """Return a height with its range, as in ``12 cm (11–14)``."""
    return quantile_words((height.p10, height.p50, height.p90), unit)


def sign(unit: str) -> str:
    """Return the unit of heights as it stands behind a number: cm, or % where it is of cover."""
    return "cm" if unit == "cm" else "%"


STEP_CM, STEP_COVER = 0.5, 5.0


def hand_cut(cut: float, unit: str, least: float) -> float:
    """Return a height to cut to as a hand can: in half centimetres downwards, not below ``least``.

    Cover goes by 5 %. What is below ``least`` itself stays as it is.
    """
    step = STEP_CM if unit == "cm" else STEP_COVER
    return round(max(cut // step * step, min(least, cut)), 1)


def cut_text(cut: float, unit: str, least: float) -> str:
    """Return a height to cut to with its unit, as a hand can cut it."""
    return f"{hand_cut(cut, unit, least):g} {unit}"


NUMBERS = (
    *("no", "one", "two", "three", "four", "five", "six"),
    *("seven", "eight", "nine", "ten", "eleven", "twelve"),
)


def in_words(number: int) -> str:
    """Return a small number as a word."""
    return NUMBERS[number] if number < len(NUMBERS) else str(number)


def some_names(names: Sequence[str], most: int = 2, noun: str = "tank") -> str:
    """Return names as a sentence does, or how many they are where they are more than ``most``."""
    return and_list(names) if len(names) <= most else f"{in_words(len(names))} {noun}s"


def no_row_words(names: Sequence[str]) -> str:
    """Say which tanks have no row of a table since nothing is left in them to visit."""
    return f"No row for {some_names(names)}: nothing is planted there any more."


def capital(text: str, ids: Sequence[str] = ()) -> str:
    """Return a sentence with a capital at its beginning, unless an id stands there."""
    first = text.split(" ", 1)[0].rstrip(",;")
    return text if first in ids else text[:1].upper() + text[1:]


def and_list(names: Sequence[str]) -> str:
    """Join names as a sentence does."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def days_in_words(days: float) -> str:
    """Return a number of days as a person says it."""
    whole = round(days)
    return "less than a day" if whole < 1 else "1 day" if whole == 1 else f"{whole} days"


def about_days(days: float) -> str:
    """Return a number of days that is not known for sure as a person says it."""
    said = days_in_words(days)
    return said if days < 0.5 else f"about {said}"


def bare_for(days: float) -> str:
    """Return how long an area looks bare after a cut below its floor."""
    return f"bare for {about_days(days)}" if days > 0.0 else "hardly bare to the eye"


def full_date_words(day: date) -> str:
    """Return a date with its year."""
    return f"{day.day} {MONTHS[day.month - 1]} {day.year}"


def day_words(day: date, on: date) -> str:
    """Return a date as people say it; the year only where ``on`` does not settle it."""
    short = f"{day.day} {MONTHS[day.month - 1]}"
    return short if abs((day - on).days) < YEAR_SETTLED_D else full_date_words(day)


def passing(days: Sequence[date | None], on: date) -> str:
    """Return how a height is passed that is passed on these days with 10, 50 and 90 %."""
    early, middle, late = days
    if early is None:
        return "never"
    if late is not None and late <= on:
        return "over"
    if middle is None:
        return "from"
    return "probably" if middle <= on else "about"


def passes_words(
    days: Sequence[date | None], on: date, horizon: str = "the horizon", *, over: bool | None = None
) -> str:
    """Return when a height is passed, with its range, or that it is passed already.

    ``days`` are those of 10, 50 and 90 %; ``over`` tells whether it stands over the height now,
    where that is known otherwise than by the middle day.
    """
    early, middle, late = days
    if early is None:
        return f"not within {horizon}"
    if (middle is not None and middle <= on) if over is None else over:
        return f"{OVERDUE} stands over it already"
    beyond = "later" if over is None else f"after {horizon}"
    usual = day_words(middle, on) if middle else beyond
    return f"{usual} ({day_words(early, on)}–{day_words(late, on) if late else 'later'})"


def week_day_words(day: date, on: date) -> str:
    """Return a date with its day of the week."""
    return f"{DAYS[day.weekday()]} {day_words(day, on)}"


def tidy(text: str) -> str:
    """Return a person's text on one line, without characters that do not print."""
    one_line = " ".join(unicodedata.normalize("NFC", text).split())
    return "".join(char for char in one_line if char.isprintable())


FIRST_STRONG, END_ISOLATE = "\N{FIRST STRONG ISOLATE}", "\N{POP DIRECTIONAL ISOLATE}"


def named(text: str, otherwise: str = "") -> str:
    """Return a person's text on one line, kept from turning the text around it."""
    clean = tidy(text).strip() or tidy(otherwise).strip()
    if any("\u0590" <= char <= "\u08ff" or "\ufb1d" <= char <= "\ufefc" for char in clean):
        return f"{FIRST_STRONG}{clean}{END_ISOLATE}"
    return clean
