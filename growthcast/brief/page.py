"""What a page is before it is HTML or PDF: blocks of words, tables and pictures."""

from __future__ import annotations

from typing import TypeAlias

from growthcast.nouns import dataclass
from growthcast.say.locale import Locale


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading; level 2 stands under the page's title. It may begin a new sheet of paper."""

    text: str
    level: int = 2
    new_sheet: bool = False


@dataclass(frozen=True, slots=True)
class Paragraph:
    """A paragraph: the conclusion (lead), plain text, bold, or a note in small letters."""

    text: str
    kind: str = "text"  # lead, text, strong or note


@dataclass(frozen=True, slots=True)
class Items:
    """A list of sentences."""

    items: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Fact:
    """What a reader looks for first; telephone and mail of a ``contact`` can be followed."""

    name: str
    value: str
    note: str = ""
    contact: bool = False


@dataclass(frozen=True, slots=True)
class Facts:
    """Facts side by side."""

    facts: tuple[Fact, ...]


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a table; numbers are set to the right, names a person gave break anywhere."""

    text: str
    numeric: bool = False
    free: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """A table; the first column names its row, the ``marked`` row is set off with ``mark``.

    ``bars`` are shares [0-1] drawn behind the numbers of the second column, one a row.
    """

    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]
    marked: int | None = None
    mark: str = ""
    bars: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Picture:
    """An SVG with a title above it, a line below it and alternative text inside it."""

    svg: bytes
    title: str
    below: str
    alternative: str


@dataclass(frozen=True, slots=True)
class Pictures:
    """Pictures side by side with one caption; ``columns`` on paper."""

    pictures: tuple[Picture, ...]
    caption: str
    columns: int


@dataclass(frozen=True, slots=True)
class WorkRow:
    """What to do at one place: in large letters, where, and what to know."""

    do: str
    where: str
    note: str


@dataclass(frozen=True, slots=True)
class Work:
    """Rows of work, each with an empty box under each of the two heads."""

    heads: tuple[str, str]
    rows: tuple[WorkRow, ...]


@dataclass(frozen=True, slots=True)
class Blanks:
    """Names with a line to write on; the last has a whole line to itself."""

    names: tuple[str, ...]


Block: TypeAlias = Heading | Paragraph | Items | Facts | Table | Pictures | Work | Blanks


@dataclass(frozen=True, slots=True)
class Logo:
    """The practice's picture: the bytes of its file and their kind."""

    content: bytes
    suffix: str  # svg, png or jpg


@dataclass(frozen=True, slots=True)
class Page:
    """A page's content in its reader's language, and who it is from.

    ``day`` is the day it stands on, as ISO date.
    """

    language: str
    title: str
    under_title: str
    day: str
    practice: str
    contact: str
    logo: Logo | None
    blocks: tuple[Block, ...]
    foot: str


def columns(locale: Locale, names: str, numbers: str = "", free: str = "") -> tuple[Column, ...]:
    """Return columns by their names, which of them hold numbers, and which what people name."""
    return tuple(
        Column(locale.say(f"col_{name}"), name in numbers.split(), name in free.split())
        for name in names.split()
    )
