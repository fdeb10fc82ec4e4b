"""growthcast backtest: how often the forecasts would have been right on this book."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from growthcast.cli.options import AsJson, BookFolder, OnDate, open_book, say_not_fitted
from growthcast.errors import UsageError

if TYPE_CHECKING:
    from growthcast.book.book import Book
    from growthcast.forecast.verdict import BacktestResult

Splits = Annotated[
    int | None,
    typer.Option(
        "--splits",
        metavar="N",
        help="Days on which the earlier book is fitted anew, spread over the log. Default: 24.",
        show_default=False,
    ),
]
PlotFile = Annotated[
    Path | None,
    typer.Option(
        "--plot",
        metavar="FILE",
        help="Draw how often the stated ranges held into FILE.svg or FILE.png.",
        show_default=False,
    ),
]


def backtest_command(
    book: BookFolder = None,
    splits: Splits = None,
    on: OnDate = None,
    plot: PlotFile = None,
    as_json: AsJson = False,
) -> None:
    """Forecast each visit of the log from the visits before it, and say how often that was right.

    Example: growthcast backtest my-book --plot right.svg

    Exit status: 0 done, 2 bad arguments or a book with problems, 3 the tool itself failed.
    """
    from growthcast.cli.output import print_json, say
    from growthcast.forecast.backtest import DEFAULT_SPLITS, backtest
    from growthcast.say.backtest import too_few_readings

    if splits is not None and splits < 1:
        raise UsageError(f"--splits {splits} is too few; give 1 or more days")
    opened, _ = open_book(book, on)
    _check_plot(opened, plot)
    with _progress() as progress:
        result = backtest(opened, splits or DEFAULT_SPLITS, progress=progress)
    say_not_fitted(result.not_fitted)
    if plot is not None:
        _draw(opened, result, plot)
    if as_json:
        if not result.enough:
            say(too_few_readings(result))
        print_json(result, result)
        return
    _tell(result)


def _check_plot(book: Book, file: Path | None) -> None:
    """Refuse a file that cannot be written before the work is done."""
    if file is not None:
        from growthcast.figures.save import check_target, figure_form

        figure_form(file)
        check_target(book, file)


def _draw(book: Book, result: BacktestResult, file: Path) -> None:
    from growthcast.cli.output import say
    from growthcast.figures.calibration import save_calibration_figure

    if not result.enough:
        say("Nothing was drawn.")
        return
    save_calibration_figure(book, result, file)
    say(f"Wrote {file}")


@contextmanager
def _progress() -> Iterator[Callable[[int, int], None] | None]:
    """Show how far the fits are, on a terminal only."""
    if not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("Fitting the earlier books", total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)


def _tell(result: BacktestResult) -> None:
    """Print the scores for people: tables, then what they say."""
    from growthcast.cli.output import print_line
    from growthcast.say.backtest import backtest_sentences, too_few_readings

    if not result.enough:
        print_line(too_few_readings(result))
        return
    cover = result.readings.is_cover
    for unit, rows in (("cm", ~cover), ("points", cover)):
        if rows.any():
            _table(result, unit, rows)
    for sentence in backtest_sentences(result):
        print_line(sentence)


def _table(result: BacktestResult, unit: str, rows: Any) -> None:
    from growthcast.cli.output import print_table
    from growthcast.say.backtest import NAMES

    digits = 2 if unit == "cm" else 1
    lines = []
    for name in (None, *result.baselines):
        scores = result.scores(name, rows)
        told = scores.crps_cm == scores.crps_cm  # NaN where nothing is compared
        lines.append(
            [
                "growthcast" if name is None else NAMES[name],
                str(scores.n),
                f"{scores.mae_cm:.{digits}f}" if told else "-",
                f"{scores.crps_cm:.{digits}f}" if told else "-",
                f"{100 * scores.crps_share:.1f} %" if told else "-",
                f"{100 * scores.coverage_80:.0f} of 100" if told else "-",
            ]
        )
    print_table(
        f"Readings forecast from the visits before them: {'height' if unit == 'cm' else 'cover'}",
        [
            "forecast by",
            "readings>",
            f"off by ({unit})>",
            f"CRPS ({unit})>",
            "CRPS of budget>",
            "8 of 10 ranges held>",
        ],
        lines,
    )
