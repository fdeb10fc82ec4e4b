"""growthcast forecast: how high each area will stand, and when it passes its height budget."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from growthcast.cli.options import (
    AsJson,
    BookFolder,
    OnDate,
    TankId,
    chosen_tanks,
    day_option,
    open_fit,
    plot_option,
)
from growthcast.cli.output import print_answer, say
from growthcast.cli.suppose import Suppose, supposed_of
from growthcast.errors import UsageError

if TYPE_CHECKING:
    from growthcast.book.book import Book

AtDates = Annotated[
    list[date] | None,
    day_option(
        "--at",
        "Day to forecast, as YYYY-MM-DD; may be repeated. "
        "Default: the practice's shortest, middle and longest interval from the day on.",
    ),
]
Plot = Annotated[Path | None, plot_option("Draw log and forecast of every area of the tank")]


def forecast_command(
    book: BookFolder = None,
    on: OnDate = None,
    at: AtDates = None,
    tank: TankId = None,
    suppose: Suppose = None,
    plot: Plot = None,
    as_json: AsJson = False,
) -> None:
    """Forecast how high each area will stand, and when it passes its height budget, with no trim.

    Example: growthcast forecast my-book --tank lobby --at 2026-04-01 --plot lobby.svg

    Exit status: 0 done, 2 bad arguments or a book with problems, 3 the tool itself failed.
    """
    from growthcast.forecast.report import forecast_growth
    from growthcast.say.forecast import forecast_words
    from growthcast.say.supposed import hypothetical, supposed_words

    if plot is not None and tank is None:
        raise UsageError("--plot draws one tank; name it with --tank ID")
    opened, day, fit = open_fit(book, on)
    tanks = chosen_tanks(opened, tank)
    days, horizon_d = _days(at, day, opened), opened.practice.horizon_d
    answer = {"on": day, "confidence": opened.practice.confidence}
    areas = forecast_growth(fit, days, horizon_d, tanks)
    as_it_is, mark = None, ""
    supposed = supposed_of(opened, fit, tank, suppose)
    if supposed is not None:
        opened, fit, as_it_is, mark = supposed.book, supposed.fit, areas, ", supposed"
        areas = forecast_growth(fit, days, horizon_d, tanks)
        answer |= {"hypothetical": hypothetical(supposed), "as_it_is": as_it_is}
    if plot is not None:
        from growthcast.figures.forecast import forecast_figure
        from growthcast.figures.save import save_picture

        save_picture(opened, plot, *forecast_figure(opened, fit, int(tanks[0]), mark))
        say(f"Wrote {plot}")
    words = [
        *([] if supposed is None else supposed_words(supposed)),
        *forecast_words(opened, day, areas, as_it_is, mark),
    ]
    print_answer(as_json, answer | {"areas": areas}, words, fit)


def _days(at: list[date] | None, day: date, book: Book) -> tuple[date, ...]:
    if not at:
        intervals = book.practice.intervals_d
        chosen = {intervals[0], intervals[len(intervals) // 2], intervals[-1]}
        return tuple(day + timedelta(days=d) for d in sorted(chosen))
    days = tuple(sorted({*at}))
    if days[0] < day:
        raise UsageError(f"--at {days[0]} lies before {day}, the day the forecast stands on")
    return days
