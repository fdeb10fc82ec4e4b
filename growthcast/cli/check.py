"""growthcast check, watch and backtest: what is odd, what has changed, how often it was right."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from functools import partial
from typing import TYPE_CHECKING, Literal

import typer

from growthcast.book.findings import count_of, format_findings
from growthcast.cli.options import (
    Count,
    Day,
    File,
    Text,
    check_plot,
    chosen_tanks,
    fitted,
    folder_of,
    open_book,
    recalled,
    say_not_fitted,
    write_plot,
)
from growthcast.cli.output import print_answer, say
from growthcast.errors import Exit, UsageError
from growthcast.say import words

if TYPE_CHECKING:
    from growthcast.book.book import Book
    from growthcast.errors import Finding


def check_command(book: Text, as_json: bool, on: Day, deep: bool) -> None:
    """Check a book and say what is wrong or odd in it, with the place and the fix.

    Example: growthcast check my-book

    Exit status: 0 nothing or remarks only, 1 notes, 2 problems or bad arguments, 3 tool fault.
    """
    from growthcast.book.read import inspect_book
    from growthcast.say.supposed import co2_words

    read, findings = inspect_book(folder_of(book), today=date.today(), on=on)
    where, assumed = "", []
    if read is not None:
        findings = (*findings, *(_of_fit(read) if deep else _on_grams(read)))
        assumed = co2_words(read)
        sizes = (len(read.tanks), "tank"), (len(read.areas), "area"), (len(read.trims), "log row")
        where = " in " + words.and_list([words.count_of(*size) for size in sizes])
    if findings and not as_json:
        say(format_findings(findings))
    levels = Counter(item.level for item in findings)
    counts = {"problems": levels["problem"], "notes": levels["note"]}
    whole = {"findings": findings, **counts, "assumed": assumed}
    found = words.capital(count_of(findings)) if findings else "Nothing is wrong or odd"
    print_answer(as_json, whole, [f"{found}{where}.", *assumed])
    raise typer.Exit(
        Exit.BAD_INPUT if levels["problem"] else Exit.ATTENTION if levels["note"] else Exit.DONE
    )


def _on_grams(book: Book) -> Iterator[Finding]:
    """Say how weights of whole tanks are read, as far as it is known without a fit."""
    from growthcast.book.checks.checks import remark_on_grams

    said = book.practice.whole_tank_grams
    why = "growthcast check --deep says how" if said is None else "as [log] whole_tank_grams says"
    return remark_on_grams(book.trims, said, why)


def _of_fit(book: Book) -> list[Finding]:
    """Notes on the log rows that a fit set aside, and how it read the weights of whole tanks."""
    from growthcast.book.checks.checks import remark_on_grams
    from growthcast.book.findings import finding
    from growthcast.fit.growth import last_logged
    from growthcast.say.fit import suspect_words

    fit = fitted(book, last_logged(book) or date.today())
    suspects = [
        finding("suspect-reading", one.file, one.row, None, "row", why=suspect_words(one))
        for one in fit.suspects
    ]
    return [*remark_on_grams(book.trims, *fit.whole_tank_grams), *suspects]


def watch_command(
    book: Text, on: Day, tank: Text, plot: File, details: bool, as_json: bool
) -> None:
    """Say which tanks, areas or species have begun to grow otherwise than usual, and what to check.

    Example: growthcast watch my-book --plot growth.svg

    Exit status: 0 all as usual, 1 something needs attention, 2 bad arguments or a book with
    problems, 3 the tool itself failed.
    """
    from growthcast.say.watch import watch_in_json, watch_words
    from growthcast.service.watch.watch import watch_growth

    opened, day = open_book(book, on)
    tanks = chosen_tanks(opened, tank)
    check_plot(opened, plot)
    work = partial(watch_growth, opened, day, tanks)
    report = recalled(opened, day, work, "watch", tanks)
    say_not_fitted(report.not_fitted)
    one, ended = tank is not None, opened.ended_tanks(day)
    drawn = [watched for watched in report.tanks if one or watched.tank_id not in ended]
    if plot is not None and not any(watched.course for watched in drawn):
        say("Nothing was drawn: no tank has visits enough to judge.")
    elif plot is not None:
        from growthcast.figures.watch import growth_index_figure

        write_plot(opened, plot, growth_index_figure(replace(report, tanks=tuple(drawn))))
    words = watch_words(report, ended, by_area=one)
    print_answer(as_json, watch_in_json(report), words, details=details or one)
    if report.needs_attention:
        raise typer.Exit(Exit.ATTENTION)


def backtest_command(
    book: Text, splits: Count, on: Day, new_tanks: bool, plot: File, details: bool, as_json: bool
) -> None:
    """Forecast each visit of the log from the visits before it, and say how often that was right.

    Example: growthcast backtest my-book --plot right.svg

    Exit status: 0 done, 2 bad arguments or a book with problems, 3 the tool itself failed.
    """
    from growthcast.forecast.backtest import DEFAULT_SPLITS, backtest
    from growthcast.say.backtest import backtest_words, too_few_words

    if splits is not None and splits < 1:
        raise UsageError(f"--splits {splits} is too few; give 1 or more days")
    opened, day = open_book(book, on)
    check_plot(opened, plot)
    splits = splits or DEFAULT_SPLITS
    leave_out: Literal["tank"] | None = "tank" if new_tanks else None
    work = partial(backtest, opened, splits, leave_out=leave_out)
    result = recalled(opened, day, work, "backtest", splits, leave_out)
    say_not_fitted(result.not_fitted)
    if plot is not None and not result.enough:
        say("Nothing was drawn.")
    elif plot is not None:
        from growthcast.figures.calibration import calibration_figure

        write_plot(opened, plot, calibration_figure(result))
    if as_json and not result.enough:
        say(too_few_words(result))
    print_answer(as_json, result, backtest_words(result), result, details=details)
