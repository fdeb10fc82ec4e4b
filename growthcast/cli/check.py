"""``growthcast check``: what is wrong or odd in a book, all at once."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from growthcast.cli.options import AsJson, BookFolder, parse_date

if TYPE_CHECKING:
    from collections.abc import Iterator

    from growthcast.book.book import Book
    from growthcast.errors import Finding


UpTo = Annotated[
    str | None,
    typer.Option(
        "--on",
        metavar="DATE",
        help="Leave out log rows after this day, as YYYY-MM-DD. Default: none.",
        show_default=False,
    ),
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
    from datetime import date

    from growthcast.book import find_book, inspect_book
    from growthcast.cli.output import print_line
    from growthcast.errors import Exit
    from growthcast.service.assumed import co2_assumed

    day = None if on is None else parse_date(on, "--on")
    folder, fell_back = find_book(book)
    if fell_back:
        typer.echo(fell_back, err=True)
    read, findings = inspect_book(folder, today=date.today(), on=day)
    if read is not None:
        findings = (*findings, *(_of_fit(read) if deep else _on_grams(read)))
    problems = sum(item.level == "problem" for item in findings)
    notes = sum(item.level == "note" for item in findings)
    assumed = [] if read is None else co2_assumed(read)
    if as_json:
        _print_json(findings, problems, notes, assumed)
    else:
        _print_text(read, findings)
        for sentence in assumed:
            print_line(sentence)
    raise typer.Exit(Exit.BAD_INPUT if problems else Exit.ATTENTION if notes else Exit.DONE)


def _on_grams(book: Book) -> Iterator[Finding]:
    """Say how weights of whole tanks are read, as far as it is known without a fit."""
    from growthcast.book.checks.readings import remark_on_grams

    said = book.practice.whole_tank_grams
    why = "growthcast check --deep says how" if said is None else "as [log] whole_tank_grams says"
    return remark_on_grams(book.trims, said, why)


def _of_fit(book: Book) -> list[Finding]:
    """Notes on the log rows that a fit set aside, and how it read the weights of whole tanks."""
    from datetime import date

    from growthcast.book.checks.readings import remark_on_grams
    from growthcast.book.slugs import finding
    from growthcast.fit.growth import fit_growth, last_logged

    fit = fit_growth(book, last_logged(book) or date.today())
    suspects = [
        finding(
            "suspect-reading",
            suspect.file,
            suspect.row,
            None,
            "row",
            suspect.why,
            "a reading that growth since the last visit can explain",
            "look for a slipped decimal, another area's row or an unlogged cut, else leave it",
        )
        for suspect in fit.suspects
    ]
    return [*remark_on_grams(book.trims, *fit.whole_tank_grams), *suspects]


def _print_json(
    findings: tuple[Finding, ...], problems: int, notes: int, assumed: list[str]
) -> None:
    import json

    from growthcast.plain import plain

    whole = {"findings": plain(findings), "problems": problems, "notes": notes, "assumed": assumed}
    typer.echo(json.dumps(whole, indent=1))


def _print_text(read: Book | None, findings: tuple[Finding, ...]) -> None:
    from growthcast.book.report import count_of, format_findings

    if findings:
        typer.echo(format_findings(findings), err=True)
    size = ""
    if read is not None:
        counts = (len(read.tanks), "tank"), (len(read.areas), "area"), (len(read.trims), "log row")
        size = ", ".join(f"{n} {noun if n == 1 else noun + 's'}" for n, noun in counts) + ": "
    typer.echo(size + count_of(findings))
