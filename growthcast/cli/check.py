"""``growthcast check``: what is wrong or odd in a book, all at once."""

from __future__ import annotations

from collections import Counter
from datetime import date
from typing import TYPE_CHECKING, Annotated

import typer

from growthcast.book.report import count_of, format_findings
from growthcast.cli.options import AsJson, BookFolder, day_option, fitted, folder_of
from growthcast.cli.output import print_answer, say
from growthcast.errors import Exit
from growthcast.say import words

if TYPE_CHECKING:
    from collections.abc import Iterator

    from growthcast.book.book import Book
    from growthcast.errors import Finding

UpTo = Annotated[
    date | None,
    day_option("--on", "Leave out log rows after this day, as YYYY-MM-DD. Default: none."),
]
Deep = Annotated[
    bool,
    typer.Option(
        "--deep", help="Also fit the book and name readings that do not belong to its growth."
    ),
]


def check_command(
    book: BookFolder = None, as_json: AsJson = False, on: UpTo = None, deep: Deep = False
) -> None:
    """Check a book and say what is wrong or odd in it, with the place and the fix.

    Example: growthcast check my-book

    Exit status: 0 nothing or remarks only, 1 notes, 2 problems or bad arguments, 3 tool fault.
    """
    from growthcast.book.read import inspect_book
    from growthcast.say.supposed import co2_words

    read, findings = inspect_book(folder_of(book), today=date.today(), on=on)
    summary, assumed = "", []
    if read is not None:
        findings = (*findings, *(_of_fit(read) if deep else _on_grams(read)))
        assumed = co2_words(read)
        sizes = (len(read.tanks), "tank"), (len(read.areas), "area"), (len(read.trims), "log row")
        summary = ", ".join(words.count_of(*size) for size in sizes) + ": "
    if findings and not as_json:
        say(format_findings(findings))
    levels = Counter(item.level for item in findings)
    counts = {"problems": levels["problem"], "notes": levels["note"]}
    whole = {"findings": findings, **counts, "assumed": assumed}
    print_answer(as_json, whole, [summary + count_of(findings), *assumed])
    raise typer.Exit(
        Exit.BAD_INPUT if levels["problem"] else Exit.ATTENTION if levels["note"] else Exit.DONE
    )


def _on_grams(book: Book) -> Iterator[Finding]:
    """Say how weights of whole tanks are read, as far as it is known without a fit."""
    from growthcast.book.checks.readings import remark_on_grams

    said = book.practice.whole_tank_grams
    why = "growthcast check --deep says how" if said is None else "as [log] whole_tank_grams says"
    return remark_on_grams(book.trims, said, why)


def _of_fit(book: Book) -> list[Finding]:
    """Notes on the log rows that a fit set aside, and how it read the weights of whole tanks."""
    from growthcast.book.checks.readings import remark_on_grams
    from growthcast.book.slugs import finding
    from growthcast.fit.growth import last_logged

    fit = fitted(book, last_logged(book) or date.today())
    expected = "a reading that growth since the last visit can explain"
    fix = "look for a slipped decimal, another area's row or an unlogged cut, else leave it"
    suspects = [
        finding("suspect-reading", one.file, one.row, None, "row", one.why, expected, fix)
        for one in fit.suspects
    ]
    return [*remark_on_grams(book.trims, *fit.whole_tank_grams), *suspects]
