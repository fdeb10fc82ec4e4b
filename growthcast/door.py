"""The Python door: a book or frames in, answers out; everything named by its id.

A fit keeps its book, so that the two cannot part. Every function takes the fit alone.
"""

from __future__ import annotations

import inspect
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta
from functools import cache, wraps
from pathlib import Path
from typing import Any, Literal, ParamSpec, TypeVar

import numpy as np

from growthcast.arrays import IntArray
from growthcast.book.book import Book
from growthcast.book.files import demo_dir
from growthcast.book.names import plant_meant
from growthcast.book.read import read_book
from growthcast.book.supposed import Layout, parse_changes, read_layout
from growthcast.book.words import check_known
from growthcast.errors import UsageError
from growthcast.fit import growth, supposed
from growthcast.fit.result import GrowthFit
from growthcast.forecast import backtest as backtests
from growthcast.forecast import report
from growthcast.forecast.verdict import BacktestResult
from growthcast.frames import Answers, dates_of
from growthcast.service import recommend as interval
from growthcast.service.advice import TankAdvice
from growthcast.service.rescape import layouts, plants, swaps
from growthcast.service.rounds import plan
from growthcast.service.visit import away, cuts, peak
from growthcast.service.watch import watch

Ids = str | Iterable[str] | None
Days = str | date | Iterable[str | date]
P = ParamSpec("P")
T = TypeVar("T")


def _asked(arrow: Callable[P, T]) -> Callable[P, T]:
    """Say in a sentence what a question was asked of, where that is no fit, or no book."""
    name = next(iter(inspect.signature(arrow).parameters))
    kind = GrowthFit if name == "fit" else Book

    @wraps(arrow)
    def checked(*args: P.args, **kwargs: P.kwargs) -> T:
        thing = args[0] if args else kwargs.get(name)
        if thing is not None and not isinstance(thing, kind):
            raise UsageError(
                f"{arrow.__name__} asks a {name}, not a {type(thing).__name__}: "
                + ("fit_growth(book) makes one" if name == "fit" else "read_book(folder) reads one")
            )
        try:
            return arrow(*args, **kwargs)
        except ValueError as error:  # days that do not follow each other
            raise UsageError(f"{arrow.__name__}: {error}") from error

    return checked


@cache
def demo_book() -> Book:
    """Return the invented book that ships with the package."""
    return read_book(demo_dir())


@_asked
def fit_growth(book: Book, on: str | date | None = None) -> GrowthFit:
    """Fit the growth model to what a book knew on a day.

    Parameters
    ----------
    book : Book
        A checked book: ``read_book``, ``Book.from_frames`` or ``demo_book``.
    on : date or str, optional
        The day; rows of the log after it are left out. By default the last logged day.

    Returns
    -------
    GrowthFit
        The fit, which keeps the book it was made from as ``fit.book``.

    Raises
    ------
    UsageError
        The book has no log and no day is given.
    """
    day = growth.last_logged(book) if on is None else dates_of(on)[0]
    if day is None:
        raise UsageError("this book has no log: say on which day it is to be fitted, on=...")
    return growth.fit_growth(book, day)


@_asked
def forecast_growth(
    fit: GrowthFit, at: Days = (), tanks: Ids = None, areas: Ids = None
) -> Answers[report.AreaForecast]:
    """Forecast the height of every living area, with nothing cut.

    Parameters
    ----------
    fit : GrowthFit
        A fitted book.
    at : date, str or several
        The days, none before the day of the fit; by default that day.
    tanks, areas : str or several, optional
        Only these.

    Returns
    -------
    Answers of AreaForecast
        In the order of the book; ``to_frame()`` has a row for each area and day.

    Raises
    ------
    UsageError
        An id is not in the book, or a day lies before the day of the fit.
    """
    today = supposed.day_of(fit)
    days = dates_of(at) or (today,)
    if min(days) < today:
        raise UsageError(
            f"{min(days)} lies before {today}, the day of this fit: fit again with an earlier day, "
            "fit_growth(book, on=...)"
        )
    horizon = max(fit.book.practice.horizon_d, (max(days) - today).days)
    found = report.forecast_growth(fit, days, horizon, _places(fit, tanks))
    if areas is None:
        return Answers(found)
    wanted = _named(fit, "area_id", areas)
    looks = [look for look in found if look.area_id in wanted]
    if missing := sorted(wanted - {look.area_id for look in looks}):
        raise UsageError(f"{', '.join(missing)}: planted no more on that day, or in another tank")
    return Answers(looks)


@_asked
def recommend(
    fit: GrowthFit, tanks: Ids = None, intervals_d: Iterable[int] | None = None
) -> Answers[TankAdvice]:
    """Recommend a visit interval for each tank, with what every interval asks and costs.

    Parameters
    ----------
    fit : GrowthFit
        A fitted book.
    tanks : str or several, optional
        Only these.
    intervals_d : int, several, optional
        Intervals to choose from [d], 1 to 365; by default those of ``practice.toml``.

    Returns
    -------
    Answers of TankAdvice
        In the order of the book; ``to_frame()`` has a row for each tank and interval,
        ``to_frame(details=False)`` one for each tank. ``chance_all_within`` is the chance that
        every area is within its budget at the next visit for the cuts given with it, the highest
        that reach the wanted chance, so that it stays at the wanted one while an interval holds;
        ``chance_at_least_cut`` is the chance when every area is cut as low as still looks right.

    Raises
    ------
    UsageError
        A tank is not in the book, or an interval is not a whole number of days from 1 to 365.
    """
    book = fit.book
    if intervals_d is not None:
        asked = set(intervals_d if isinstance(intervals_d, Iterable) else [intervals_d])
        if not asked or not all(isinstance(d, int | np.integer) and 1 <= d <= 365 for d in asked):
            raise UsageError("intervals_d are whole days from 1 to 365, as in range(3, 43)")
        days = tuple(sorted(int(d) for d in asked))
        book = replace(book, practice=replace(book.practice, intervals_d=days))
    return Answers(interval.recommend(book, fit, _places(fit, tanks)))


@_asked
def suppose(
    fit: GrowthFit, tank_id: str, plants: Mapping[str, str] | None = None, **conditions: float
) -> GrowthFit:
    """Return the fit as it would be if a tank had other conditions or other plants.

    Parameters
    ----------
    fit : GrowthFit
        A fitted book.
    tank_id : str
        The tank.
    plants : mapping of str to str, optional
        New plants by area, under any of their names.
    **conditions : float
        Conditions by column name, such as ``ppfd_umol=60`` [unit in the name].

    Returns
    -------
    GrowthFit
        A fit that answers every question like any other; the log and what it taught are as they
        are. A changed area is called ``AREA=PLANT``.

    Raises
    ------
    UsageError
        A tank, area, plant or condition is not known, or a value is out of its range.
    """
    tank = _place(fit, tank_id)
    if not plants and not conditions:
        raise UsageError("suppose what? Give a condition, as ppfd_umol=60, or plants={area: plant}")
    texts = [f"{name}={value!r}" for name, value in conditions.items()]
    texts += [f"{area}={plant}" for area, plant in (plants or {}).items()]
    try:
        changes = parse_changes(texts, fit.book, tank)
    except UsageError as fault:
        raise UsageError(str(fault).removeprefix("--suppose ")) from fault
    made = supposed.suppose(fit.book, fit, tank, changes)
    return replace(made.fit, made_from=made.book)


@_asked
def cut_sheet(fit: GrowthFit, tank_id: str, next_on: str | date | None = None) -> cuts.CutSheet:
    """Return to what height to cut each area of a tank today, so that it lasts.

    Parameters
    ----------
    fit : GrowthFit
        A fitted book; today is its day.
    tank_id : str
        The tank.
    next_on : date or str, optional
        The next visit; by default the recommended interval from today, else the shortest listed,
        or the tank's own limit where that is shorter.

    Returns
    -------
    CutSheet
        Of every living area: its height, the cut, and how long that lasts.

    Raises
    ------
    UsageError
        The tank is not in the book.
    """
    if next_on is None:
        days = recommend(fit, tank_id)[0].next_in_d
        next_on = supposed.day_of(fit) + timedelta(days=days)
    return cuts.cut_sheet(fit.book, fit, _place(fit, tank_id), dates_of(next_on)[0])


@_asked
def peak_plan(fit: GrowthFit, tank_id: str, day: str | date, visits: Days = ()) -> peak.PeakPlan:
    """Plan the visits so that a tank looks its best on a day.

    Parameters
    ----------
    fit : GrowthFit
        A fitted book.
    tank_id : str
        The tank.
    day : date or str
        The day to shine.
    visits : date, str or several
        The visits before it.

    Returns
    -------
    PeakPlan
        Of every area: when and to what height to cut, and the chance that it looks its best.

    Raises
    ------
    UsageError
        The tank is not in the book, or the days do not follow each other.
    """
    place, [shine] = _place(fit, tank_id), dates_of(day)
    return peak.peak_plan(fit.book, fit, place, shine, list(dates_of(visits)))


@_asked
def weeks_away(
    fit: GrowthFit, last_visit: str | date, next_visit: str | date, tanks: Ids = None
) -> Answers[away.AwayTank]:
    """Say what a time without visits does to each tank.

    Parameters
    ----------
    fit : GrowthFit
        A fitted book.
    last_visit, next_visit : date or str
        The visits before and after it.
    tanks : str or several, optional
        Only these.

    Returns
    -------
    Answers of AwayTank
        In the order of the book.

    Raises
    ------
    UsageError
        A tank is not in the book, or the days do not follow each other.
    """
    first, last = dates_of([last_visit, next_visit])
    return Answers(away.weeks_away(fit.book, fit, first, last, _places(fit, tanks)))


@_asked
def plan_rounds(fit: GrowthFit, start: str | date, weeks: int) -> plan.RoundsPlan:
    """Plan the visits of all tanks over some weeks.

    Parameters
    ----------
    fit : GrowthFit
        A fitted book.
    start : date or str
        The first day.
    weeks : int
        How many weeks, 1 to 26.

    Returns
    -------
    RoundsPlan
        Every visit with its day, tanks and minutes.

    Raises
    ------
    UsageError
        The number of weeks is none of these.
    """
    most = plan.LONGEST_WEEKS
    if not isinstance(weeks, int) or not 1 <= weeks <= most:
        raise UsageError(f"weeks={weeks!r}: rounds are planned for 1 to {most} whole weeks")
    advice = interval.recommend(fit.book, fit, briefly=True)
    return plan.plan_rounds(fit.book, fit, advice, dates_of(start)[0], weeks)


@_asked
def watch_growth(fit: GrowthFit, tanks: Ids = None) -> watch.WatchReport:
    """Tell whether growth has changed against what the log led one to expect.

    Parameters
    ----------
    fit : GrowthFit
        A fitted book; the watch stands on its day.
    tanks : str or several, optional
        Only these.

    Returns
    -------
    WatchReport
        Each tank, area and species with its growth against usual.
    """
    return watch.watch_growth(fit.book, supposed.day_of(fit), _places(fit, tanks))


@_asked
def backtest(
    book: Book, splits: int = 24, leave_out: Literal["tank"] | None = None
) -> BacktestResult:
    """Forecast each visit of a log from the visits before it, and keep what was forecast.

    Parameters
    ----------
    book : Book
        A checked book.
    splits : int
        Days on which the book, as known the day before, is fitted, 1 or more.
    leave_out : "tank", optional
        Forecast each tank as a new client's, of whose log nothing is known but where its areas last
        stood: how good are forecasts for the next client?

    Returns
    -------
    BacktestResult
        Errors, ranges and baselines; ``by("form")`` scores by group, ``to_frame()`` has a row for
        each reading.

    Raises
    ------
    UsageError
        ``splits`` is no number of days, or something else is to be left out.
    """
    if not isinstance(splits, int) or splits < 1:
        raise UsageError(f"splits={splits!r}: give a whole number of days, 1 or more")
    return backtests.backtest(book, splits=splits, leave_out=leave_out)


@_asked
def compare_plants(
    fit: GrowthFit, area_id: str, names: Sequence[str]
) -> Answers[plants.PlantAdvice]:
    """Compare plants that might be put in an area's place.

    Parameters
    ----------
    fit : GrowthFit
        A fitted book.
    area_id : str
        The area.
    names : sequence of str
        Plants, under any of their names.

    Returns
    -------
    Answers of PlantAdvice
        What each would ask and cost.

    Raises
    ------
    UsageError
        The area or a plant is not known.
    """
    place = fit.design.area_id.tolist().index(next(iter(_named(fit, "area_id", area_id))))
    found = [plant_meant(fit.book.species, name, "compare_plants: ") for name in names]
    return Answers(plants.compare_plants(fit.book, fit, place, found))


@_asked
def compare_layouts(
    fit: GrowthFit, tank_id: str, files: Sequence[str | Path]
) -> Answers[layouts.LayoutAdvice]:
    """Compare layouts of a whole tank, each a table of areas in a file.

    Parameters
    ----------
    fit : GrowthFit
        A fitted book.
    tank_id : str
        The tank.
    files : sequence of path
        Tables with the columns of ``areas.csv``.

    Returns
    -------
    Answers of LayoutAdvice
        The tank as it is, then each layout.

    Raises
    ------
    UsageError, BookProblems
        The tank is not in the book, or a file has problems.
    """
    tank, on = _place(fit, tank_id), supposed.day_of(fit)
    read: list[Layout] = [read_layout(Path(file), fit.book, tank_id, on) for file in files]
    return Answers(layouts.compare_layouts(fit.book, fit, tank, read))


@_asked
def swaps_to_reach(
    fit: GrowthFit, tank_id: str, interval_d: int, keep: Sequence[str] = ()
) -> swaps.SwapSearch:
    """Find the fewest swaps of plants with which a tank holds an interval.

    Parameters
    ----------
    fit : GrowthFit
        A fitted book.
    tank_id : str
        The tank.
    interval_d : int
        The interval [d].
    keep : sequence of str
        Areas that stay as they are.

    Returns
    -------
    SwapSearch
        The swaps, and what they cost and give.

    Raises
    ------
    UsageError
        The tank or an area is not known.
    """
    if not isinstance(interval_d, int | np.integer) or not 1 <= interval_d <= 365:
        raise UsageError(f"interval_d={interval_d!r}: an interval is of 1 to 365 whole days")
    kept = sorted(_named(fit, "area_id", keep))
    return swaps.swaps_to_reach(fit.book, fit, _place(fit, tank_id), interval_d, kept)


def _named(fit: GrowthFit, column: str, names: Any) -> set[str]:
    """Return ids as a set, after checking that the book has them."""
    table = fit.book.tanks if column == "tank_id" else fit.book.areas
    known = table.text(column).tolist()
    noun = column.removesuffix("_id")
    wanted = list(names) if isinstance(names, Iterable) and not isinstance(names, str) else [names]
    for name in wanted:
        check_known(str(name), known, f"the book has no {noun}", f"its {noun}s are")
    return {str(name) for name in wanted}


def _places(fit: GrowthFit, tanks: Ids) -> IntArray:
    """Return the places of tanks in the book, in its order."""
    if tanks is None:
        return np.arange(len(fit.book.tanks))
    wanted = _named(fit, "tank_id", tanks)
    ids = fit.book.tanks.text("tank_id").tolist()
    return np.array([i for i, name in enumerate(ids) if name in wanted], np.int64)


def _place(fit: GrowthFit, tank_id: str) -> int:
    return int(_places(fit, tank_id)[0])
