"""growthcast backtest: how often the forecasts would have been right on this book."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from growthcast.cli.options import AsJson, BookFolder, OnDate, open_book
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
NAMES = {
    "last_rate": "rate of the last span",
    "line": "straight line through three spans",
    "unpooled": "curve of each area alone",
    "table_only": "species table alone",
}


WORTH_WIDENING = 0.05
"""A factor nearer to 1 than this is not worth a word."""


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

    if splits is not None and splits < 1:
        raise UsageError(f"--splits {splits} is too few; give 1 or more days")
    opened, _ = open_book(book, on)
    _check_plot(opened, plot)
    with _progress() as progress:
        result = backtest(opened, splits or DEFAULT_SPLITS, progress=progress)
    if plot is not None:
        _draw(opened, result, plot)
    if as_json:
        if not result.enough:
            say(_too_few(result))
        print_json(result)
        return
    _tell(result)


def _check_plot(book: Book, file: Path | None) -> None:
    """Refuse a file that cannot be written before the work is done."""
    if file is not None:
        from growthcast.figures.save import check_picture

        check_picture(book, file)


def _draw(book: Book, result: BacktestResult, file: Path) -> None:
    from growthcast.cli.output import say
    from growthcast.figures.calibration import calibration_figure
    from growthcast.figures.save import save_picture

    if not result.enough:
        say("Nothing was drawn.")
        return
    save_picture(book, file, *calibration_figure(result))
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

    if not result.enough:
        print_line(_too_few(result))
        return
    cover = result.readings.is_cover
    for unit, rows in (("cm", ~cover), ("points", cover)):
        if rows.any():
            _table(result, unit, rows)
    for sentence in _sentences(result):
        print_line(sentence)


def _too_few(result: BacktestResult) -> str:
    from growthcast.forecast.verdict import LEAST_READINGS

    forecast = int(result.model.made.sum())
    return (
        f"Too few visits to say how often forecasts are right: "
        f"{_count(forecast, 'reading')} could be forecast from earlier visits, and "
        f"{LEAST_READINGS} are needed. Log heights before cutting (before_cm): with "
        f"{_count(result.visit_days, 'visit day')} in the log, the first third is only learnt from."
    )


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def _days(number: float) -> str:
    return "1 day" if abs(number) == 1 else f"{abs(number):g} days"


def _table(result: BacktestResult, unit: str, rows: Any) -> None:
    from growthcast.cli.output import print_table

    digits = 2 if unit == "cm" else 1
    lines = []
    for name in (None, *NAMES):
        if name is not None and name not in result.baselines:
            continue
        scores = result.scores(name, rows)
        told = scores.n > 0
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


def _sentences(result: BacktestResult) -> Iterator[str]:
    from growthcast.forecast.report import as_date

    scores, readings = result.scores(), result.readings
    first, last = as_date(result.split_days[0]), as_date(result.split_days[-1])
    yield (
        f"{_count(scores.n, 'reading')} on {_count(readings.visits, 'tank visit')}, each forecast "
        f"from the book as it was before one of {_count(len(result.split_days), 'day')} between "
        f"{first} and {last}."
    )
    yield (
        f"8 of 10 ranges held {100 * scores.coverage_80:.0f} of 100 times; "
        f"5 of 10 ranges {100 * scores.coverage_50:.0f}, "
        f"9 of 10 ranges {100 * scores.coverage_90:.0f}. "
        "A range is that of a reading: the forecast height and the error of reading it."
    )
    yield _bias(scores.bias_share)
    yield from _against(result)
    yield from _crossing(result)
    yield _widening(result)
    yield (
        "CRPS is the error of a whole forecast, middle and range together: the smaller the better."
    )


def _widening(result: BacktestResult) -> str:
    """Say by how much forecasts should be widened, and what that would have done so far."""
    from growthcast.forecast.verdict import LEAST_READINGS

    factor, trial = result.recalibration().factor, result.trial()
    if abs(factor - result.applied_widening) < WORTH_WIDENING and result.applied_widening != 1.0:
        return (
            "By these readings the spread of forecast heights should be "
            f"{factor:.2f} times what it is; widening = {result.applied_widening:g} in "
            "practice.toml does that (the ranges judged here are without it)."
        )
    if abs(factor - 1.0) < WORTH_WIDENING:
        return "By these readings the spread of forecast heights is about right."
    said = (
        f"By these readings the spread of forecast heights is too "
        f"{'narrow' if factor > 1.0 else 'wide'}: it should be {factor:.2f} times what it is. "
        f"Write widening = {factor:.2f} under [fit] in practice.toml, and every forecast, chance "
        "and interval will be so"
    )
    if trial is None or trial.n < LEAST_READINGS:
        return said + "."
    return (
        f"{said}. Learnt and applied as the log grew, 8 of 10 ranges would have held "
        f"{100 * trial.coverage_80_widened:.0f} of 100 times instead of "
        f"{100 * trial.coverage_80:.0f} ({_count(trial.n, 'reading')})."
    )


def _bias(share: float) -> str:
    if abs(share) < 0.01:
        return "Forecasts ran neither high nor low."
    side = "high" if share > 0 else "low"
    return f"Forecasts ran {side} by {100 * abs(share):.0f} % of the height budget on average."


def _against(result: BacktestResult) -> Iterator[str]:
    """Say which baselines forecast better or worse than the model, by how much and how surely."""
    beaten = []
    for name in result.baselines:
        against = result.compare(name)
        if against is None:
            continue
        what = "a straight line" if name == "line" else f"the {NAMES[name]}"
        if against.is_better:
            doubt = "" if against.is_clear else "; the difference may be chance"
            yield (
                f"{what[0].upper()}{what[1:]} forecast this book better than growthcast: CRPS "
                f"{100 * against.baseline:.1f} % of the budget against {100 * against.model:.1f} % "
                f"on {_count(against.n, 'reading')}{doubt}."
            )
            continue
        less = 100 * (1.0 - against.model / against.baseline)
        doubt = "" if against.is_clear else ", which may be chance"
        beaten.append(f"{less:.0f} % smaller than by {what}{doubt}")
    if beaten:
        yield f"On the same readings the error (CRPS) was {'; '.join(beaten)}."


def _crossing(result: BacktestResult) -> Iterator[str]:
    found = result.crossings.as_dict()
    if found is None:
        yield "No area passed its budget between two readings, so no crossing date was tested."
        return
    missed = found["not_foreseen"]
    if found["median_d"] is None:
        yield f"None of {_count(found['n'], 'crossing')} of a budget was foreseen."
        return
    late = found["median_d"]
    side = f"{_days(late)} too {'late' if late > 0 else 'early'}" if late else "the right day"
    yield (
        f"Budgets were passed between two readings {_count(found['n'], 'time')}: the forecast date "
        f"was {side} in the middle case and {_days(found['median_abs_d'])} off"
        + (f" ({missed} not foreseen)" if missed else "")
        + ". The true day is taken from the growth curve through both readings; only areas found "
        "over count, which shows late dates more than early ones."
    )
