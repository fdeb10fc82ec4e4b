"""Findings about a person's files, the exception tree and the exit statuses.

Exception tree::

    GrowthcastError            anything the tool can say about a call that cannot be done
    ├── UsageError             bad arguments (exit status 2)
    │   ├── MissingBook        no book at the given place
    │   └── HeldAlready        a table holds these rows already
    ├── NotWritten             a file could not be written; nothing was changed (exit status 2)
    │   └── FileChanged        another program changed it meanwhile
    ├── BookProblems           a book with problems: carries its findings (exit status 2)
    │   └── RowsRefused        rows that would bring problems into a book, not written
    └── NotFinite              an answer holds a number that is not finite (exit status 3)
"""

from __future__ import annotations

from collections.abc import Sequence
from enum import IntEnum
from typing import Literal, get_args

from growthcast.nouns import dataclass

Level = Literal["problem", "note", "remark"]
LEVELS: tuple[Level, ...] = get_args(Level)


class Exit(IntEnum):
    """Exit statuses of every command."""

    DONE = 0
    ATTENTION = 1  # done, and something needs attention: only check and watch
    BAD_INPUT = 2
    TOOL_FAULT = 3


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing found in a book, where a person can see it.

    ``row`` and ``column`` are as a spreadsheet shows them: the header is row 1 and columns are
    letters; both are ``None`` where a whole file is meant. In ``practice.toml`` ``row`` is the
    line number and ``column`` the key.
    """

    file: str
    row: int | None
    column: str | None
    heading: str
    found: str
    expected: str
    fix: str
    slug: str
    level: Level


LIKE_ROWS = 6
"""Rows with the same fault, each with a value of its own, from which on they are told together."""


def in_groups(findings: Sequence[Finding]) -> list[tuple[Finding, ...]]:
    """Return findings that are one fault in several rows together, in the order of the first.

    So are those that found the same, and many of one kind that each found something else.
    """
    alike: dict[tuple[object, ...], list[Finding]] = {}
    for item in findings:
        same = (item.file, item.column, item.heading, item.expected, item.fix, item.slug)
        alike.setdefault(same, []).append(item)
    groups: dict[tuple[object, ...], list[Finding]] = {}
    for kind, items in alike.items():
        together = len(items) >= LIKE_ROWS
        for item in items:
            apart = item.row is None or not together
            one = (kind, item.found if apart else None, item.row is None)
            groups.setdefault(one, []).append(item)
    order = {id(item): place for place, item in enumerate(findings)}
    return sorted(map(tuple, groups.values()), key=lambda group: order[id(group[0])])


class GrowthcastError(Exception):
    """Anything the tool can say in a sentence about why it did not do what was asked."""

    exit_status: Exit = Exit.TOOL_FAULT


class UsageError(GrowthcastError):
    """The arguments of a call do not fit the book or each other."""

    exit_status = Exit.BAD_INPUT


class MissingBook(UsageError):
    """There is no book at the place named."""


class HeldAlready(UsageError):
    """A table holds every one of the rows already; nothing was written."""


class BookProblems(GrowthcastError):
    """A book has problems and is neither fitted nor written to; ``findings`` lists all of them."""

    exit_status = Exit.BAD_INPUT

    sentence = "the book has {}, so nothing was fitted or written"

    def __init__(self, findings: tuple[Finding, ...]) -> None:
        self.findings = findings
        problems = sum(group[0].level == "problem" for group in in_groups(findings))
        noun = "problem" if problems == 1 else "problems"
        super().__init__(self.sentence.format(f"{problems} {noun}"))

    def __str__(self) -> str:
        """The sentence and the first three problems; the command line prints them all itself."""
        groups = in_groups(self.findings)
        problems = [group[0] for group in groups if group[0].level == "problem"][:3]
        lines = [
            f"{':'.join(str(p) for p in (i.file, i.row, i.column) if p is not None)}: {i.heading}: "
            f"found {i.found}; {i.fix}"
            for i in problems
        ]
        return "\n".join([str(self.args[0]), *lines])


class RowsRefused(BookProblems):
    """Rows would bring problems into a book; ``findings`` name them, and nothing was written."""

    sentence = "nothing was written: the lines above say what to change"


class NotWritten(GrowthcastError):
    """A file could not be written; the sentence says why, and the files are as they were."""

    exit_status = Exit.BAD_INPUT


class FileChanged(NotWritten):
    """A file is no longer as it was read: another program changed it meanwhile."""


class NotFinite(GrowthcastError):
    """An answer holds a number that is not finite, so it is withheld: a fault of the tool."""
