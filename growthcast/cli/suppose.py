"""The option ``--suppose`` of the commands that answer what if."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from growthcast.cli.options import chosen_tanks, option
from growthcast.errors import UsageError

if TYPE_CHECKING:
    from growthcast.book.book import Book
    from growthcast.fit.result import GrowthFit
    from growthcast.fit.supposed import Supposed


Suppose = Annotated[
    list[str] | None,
    option(
        "--suppose",
        "NAME=VALUE",
        "Answer as if this held from the day on, with --tank; may be repeated. NAME is a "
        "column of conditions.csv with its amount, as in ppfd_umol=60, or an area_id with the "
        "plant to stand there, as in stems=hygrophila-corymbosa. The book is not changed.",
    ),
]


def supposed_of(
    book: Book, fit: GrowthFit, tank: str | None, texts: list[str] | None
) -> Supposed | None:
    """Return the book and fit under the changes asked for, None where there are none."""
    if not texts:
        return None
    from growthcast.book.supposed.changes import parse_changes
    from growthcast.fit.supposed import suppose

    if tank is None:
        raise UsageError("--suppose changes one tank; name it with --tank ID")
    place = int(chosen_tanks(book, tank)[0])
    return suppose(book, fit, place, parse_changes(texts, book, place))
