"""growthcast forecast: how high each area will stand, and when it passes its height budget."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from growthcast.cli.options import (
    AsJson,
    BookFolder,
    OnDate,
    TankId,
    chosen_tanks,
    day_option,
    open_fit,
)
from growthcast.cli.suppose import Suppose, hypothetical, say_what_is_supposed, supposed_of
from growthcast.errors import UsageError

if TYPE_CHECKING:
    from growthcast.arrays import FloatArray
    from growthcast.book.book import Book
    from growthcast.fit.result import GrowthFit
    from growthcast.fit.supposed import Supposed
    from growthcast.forecast.report import AreaForecast

AtDates = Annotated[
    list[date] | None,
    day_option(
        "--at",
        "Day to forecast, as YYYY-MM-DD; may be repeated. "
        "Default: the practice's shortest, middle and longest interval from the day on.",
    ),
]
PlotFile = Annotated[
    Path | None,
    typer.Option(
        "--plot",
        metavar="FILE",
        help="Draw log and forecast of every area of the tank into FILE.svg or FILE.png.",
        show_default=False,
    ),
]


def forecast_command(
    book: BookFolder = None,
    on: OnDate = None,
    at: AtDates = None,
    tank: TankId = None,
    suppose: Suppose = None,
    plot: PlotFile = None,
    as_json: AsJson = False,
) -> None:
    """Forecast how high each area will stand, and when it passes its height budget, with no trim.

    Example: growthcast forecast my-book --tank lobby --at 2026-04-01 --plot lobby.svg

    Exit status: 0 done, 2 bad arguments or a book with problems, 3 the tool itself failed.
    """
    from growthcast.cli.output import print_json
    from growthcast.forecast.report import forecast_growth

    if plot is not None and tank is None:
        raise UsageError("--plot draws one tank; name it with --tank ID")
    opened, day, fit = open_fit(book, on)
    tanks = chosen_tanks(opened, tank)
    days = _days(at, day, opened)
    areas = forecast_growth(fit, days, opened.practice.horizon_d, tanks)
    as_it_is, mark = None, ""
    supposed = supposed_of(opened, fit, tank, suppose)
    if supposed is not None:
        opened, fit, as_it_is, mark = supposed.book, supposed.fit, areas, ", supposed"
        areas = forecast_growth(fit, days, opened.practice.horizon_d, tanks)
    if plot is not None:
        _draw(opened, fit, int(tanks[0]), plot, mark)
    if as_json:
        answer = {"on": day, "confidence": opened.practice.confidence}
        beside = {} if supposed is None else _beside(supposed, as_it_is or [])
        print_json({**answer, **beside, "areas": areas}, fit)
        return
    if supposed is not None:
        say_what_is_supposed(supposed)
    _tables(opened, day, areas, as_it_is, mark)


def _beside(supposed: Supposed, as_it_is: list[AreaForecast]) -> dict[str, Any]:
    return {
        "hypothetical": hypothetical(supposed),
        "as_it_is": as_it_is,
    }


def _days(at: list[date] | None, day: date, book: Book) -> tuple[date, ...]:
    if not at:
        intervals = book.practice.intervals_d
        chosen = {intervals[0], intervals[len(intervals) // 2], intervals[-1]}
        return tuple(day + timedelta(days=d) for d in sorted(chosen))
    days = tuple(sorted({*at}))
    if days[0] < day:
        raise UsageError(f"--at {days[0]} lies before {day}, the day the forecast stands on")
    return days


def _draw(book: Book, fit: GrowthFit, tank: int, file: Path, mark: str) -> None:
    from growthcast.cli.output import say
    from growthcast.figures.forecast import save_forecast_figure

    save_forecast_figure(book, fit, tank, file, mark)
    say(f"Wrote {file}")


def _tables(
    book: Book,
    day: date,
    areas: list[AreaForecast],
    as_it_is: list[AreaForecast] | None = None,
    mark: str = "",
) -> None:
    from growthcast.cli.output import print_table, say

    if not areas:
        say(f"No area is planted on {day}.")
        return
    labels = dict(zip(book.areas.text("area_id"), book.areas.text("label"), strict=True))
    named = [(labels[area.area_id] or area.area_id, area) for area in areas]
    horizon = book.practice.horizon_d
    today = {area.area_id: _passes(area, horizon) for area in as_it_is or ()}
    beside = ["passes it, as things are"] if as_it_is is not None else []
    for tank_id in dict.fromkeys(area.tank_id for area in areas):
        here = [(name, area) for name, area in named if area.tank_id == tank_id]
        print_table(
            f"{tank_id} on {day}{mark} (ranges hold 8 times of 10)",
            [
                "area",
                "height now>",
                "budget>",
                "passes it, if nothing more is cut",
                "rests on",
                *beside,
            ],
            [
                [
                    *_outlook_row(name, area, horizon),
                    *(today.get(area.area_id, "not planted") for _ in beside),
                ]
                for name, area in here
            ],
        )
        print_table(
            f"{tank_id}{mark}: heights ahead, if nothing more is cut",
            ["area", "on", "height>", "chance over budget>"],
            [row for name, area in here for row in _height_rows(name, area)],
        )


def _outlook_row(name: str, area: AreaForecast, horizon_d: int) -> list[str]:
    rests = {"log": "own log", "tank": "tank, species", "table": "table"}
    unit = "%" if area.is_cover else "cm"
    now, budget = _range(area.height_cm_now, unit), f"{area.budget_cm:g} {unit}"
    return [name, now, budget, _passes(area, horizon_d), rests[area.basis]]


def _height_rows(name: str, area: AreaForecast) -> list[list[str]]:
    unit = "%" if area.is_cover else "cm"
    return [
        [name, day.isoformat(), _range(heights[[1, 3, 5]], unit), f"{100 * chance:.0f} %"]
        for day, heights, chance in zip(
            area.at, area.height_cm, area.chance_over_budget, strict=True
        )
    ]


def _range(quantiles: FloatArray, unit: str) -> str:
    low, middle, high = quantiles
    return f"{middle:.1f} {unit} ({low:.1f} to {high:.1f})"


def _passes(area: AreaForecast, horizon_d: int) -> str:
    early, middle, late = area.passes_budget_on
    if early is None:
        return f"not within {horizon_d} days"
    if area.height_cm_now[1] > area.budget_cm:
        return "stands over it already"
    usual = middle.isoformat() if middle else f"after {horizon_d} days"
    end = late.isoformat() if late else f"more than {horizon_d} days"
    return f"{usual} ({early} to {end})"
