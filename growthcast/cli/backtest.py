"""growthcast backtest: how often the forecasts would have been right on this book."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated

from growthcast.cli.options import (
    AsJson,
    BookFolder,
    OnDate,
    check_plot,
    open_book,
    option,
    plot_option,
    say_not_fitted,
)
from growthcast.cli.output import print_answer, say
from growthcast.errors import UsageError

Splits = Annotated[
    int | None,
    option(
        "--splits",
        "N",
        "Days on which the earlier book is fitted anew, spread over the log. Default: 24.",
    ),
]
Plot = Annotated[Path | None, plot_option("Draw how often the stated ranges held")]


def backtest_command(
    book: BookFolder = None,
    splits: Splits = None,
    on: OnDate = None,
    plot: Plot = None,
    as_json: AsJson = False,
) -> None:
    """Forecast each visit of the log from the visits before it, and say how often that was right.

    Example: growthcast backtest my-book --plot right.svg

    Exit status: 0 done, 2 bad arguments or a book with problems, 3 the tool itself failed.
    """
    from growthcast.forecast.backtest import DEFAULT_SPLITS, backtest
    from growthcast.say.backtest import backtest_words, too_few_words

    if splits is not None and splits < 1:
        raise UsageError(f"--splits {splits} is too few; give 1 or more days")
    opened, _ = open_book(book, on)
    check_plot(opened, plot)
    with _progress() as progress:
        result = backtest(opened, splits or DEFAULT_SPLITS, progress=progress)
    say_not_fitted(result.not_fitted)
    if plot is not None and not result.enough:
        say("Nothing was drawn.")
    elif plot is not None:
        from growthcast.figures.calibration import calibration_figure
        from growthcast.figures.save import save_picture

        save_picture(opened, plot, *calibration_figure(result))
        say(f"Wrote {plot}")
    if as_json and not result.enough:
        say(too_few_words(result))
    print_answer(as_json, result, backtest_words(result), result)


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
