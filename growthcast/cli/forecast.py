"""growthcast interval, forecast, fit, watch, backtest, species: how often, how high, how sure."""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from growthcast.book.words import did_you_mean, names_that_hold, shown
from growthcast.cli import options
from growthcast.cli.options import Count, Day, Days, File, Text, Texts
from growthcast.cli.output import Form, refuse_if, say
from growthcast.errors import Exit, UsageError
from growthcast.plain import by_quantile, plain
from growthcast.say.words import Answer

if TYPE_CHECKING:
    from growthcast.book.book import Book
    from growthcast.fit.result import GrowthFit
    from growthcast.fit.supposed import Supposed


def supposed_of(
    book: Book, fit: GrowthFit, tank: str | None, texts: list[str] | None
) -> Supposed | None:
    """Return the book and fit under the changes asked for of a tank, None where there are none."""
    if not texts:
        return None
    from growthcast.book.supposed import parse_changes
    from growthcast.fit.supposed import suppose

    place = int(options.chosen_tanks(book, tank)[0])
    return suppose(book, fit, place, parse_changes(texts, book, place))


def interval_command(book: Text, on: Day, tank: Text, suppose: Texts, form: Form) -> None:
    """Recommend how often each tank must be visited so that every area stays inside its height.

    Example: growthcast interval my-book --tank lobby

    Exit status: 0 done, 2 bad arguments or a book with problems, 3 the tool itself failed.
    """
    from growthcast.say import interval as tell
    from growthcast.service.recommend import recommend

    opened, day, fit = options.open_fit(book, on)
    tank = options.one_tank(opened, tank) if suppose else tank
    tanks, currency = options.chosen_tanks(opened, tank), opened.practice.currency
    details = form.details or tank is not None
    full = details and not suppose and (tank is not None or not form.as_json)
    briefly = not (details or form.as_json)
    work = partial(recommend, opened, fit, tanks, full=full, briefly=briefly)
    advice = options.recalled(opened, day, work, "advice", tanks, full, briefly)
    if briefly and (first := [n for n, one in enumerate(advice) if tell.is_pressing(one)]):
        first = first[: tell.SAID_AT_ONCE]  # the only ones whose reasons are told
        for n, one in zip(first, recommend(opened, fit, tanks[first]), strict=True):
            advice[n] = one
    supposed = supposed_of(opened, fit, tank, suppose)
    if supposed is None:
        said = tell.interval_answer(advice, currency, one=tank is not None)
        in_json = (tell.advice_for_programs(one, currency) for one in advice)
        form.print({"tanks": in_json}, said, fit, details=details)
        return
    from growthcast.say.supposed import hypothetical, supposed_answer

    [as_it_is] = advice
    advice = recommend(supposed.book, supposed.fit, tanks)
    answer = {
        "hypothetical": hypothetical(supposed),
        "tanks": [tell.advice_for_programs(one, currency) for one in advice],
        "as_it_is": tell.advice_for_programs(as_it_is, currency),
    }
    was, would_be = tell.rhythm_words(as_it_is), tell.rhythm_words(advice[0])
    parts: list[str | Answer] = [
        supposed_answer(supposed),
        f"As it is: {was}. Supposed: {would_be}.",
        tell.interval_answer(advice, currency, one=True, mark=", supposed"),
    ]
    form.print(answer, Answer(notes=parts), supposed.fit, details=True)


def forecast_command(
    book: Text, on: Day, at: Days, tank: Text, suppose: Texts, plot: File, form: Form
) -> None:
    """Forecast how high each area will stand, and when it passes its height budget, with no trim.

    Example: growthcast forecast my-book --tank lobby --at 2026-04-01 --plot lobby.svg

    Exit status: 0 done, 2 bad arguments or a book with problems, 3 the tool itself failed.
    """
    from growthcast.forecast.report import forecast_growth
    from growthcast.say.forecast import MOST_ROWS, forecast_answer
    from growthcast.say.supposed import hypothetical, supposed_answer

    opened, day, fit = options.open_fit(book, on)
    if plot is not None or suppose:
        tank = options.one_tank(opened, tank)
    tanks = options.chosen_tanks(opened, tank)
    days, horizon_d = _days(at, day, opened), opened.practice.horizon_d
    answer = {"on": day, "confidence": opened.practice.confidence}
    details, as_it_is, before = form.details or tank is not None, None, None
    first = None if details or form.as_json else MOST_ROWS  # the only ones that are listed
    areas = forecast_growth(fit, days, horizon_d, tanks, first)
    supposed = supposed_of(opened, fit, tank, suppose)
    if supposed is not None:
        opened, before, fit, as_it_is = supposed.book, fit, supposed.fit, areas
        areas = forecast_growth(fit, days, horizon_d, tanks)
        answer |= {"hypothetical": hypothetical(supposed), "as_it_is": as_it_is}
    said = forecast_answer(opened, day, areas, as_it_is, all_areas=details, heights=bool(at))
    if supposed is not None:
        said = Answer(notes=[supposed_answer(supposed), said])
    if plot is not None:
        from growthcast.figures.forecast import forecast_figure

        drawn = forecast_figure(opened, fit, int(tanks[0]), said, before)
        options.write_plot(opened, plot, drawn)
    form.print(answer | {"areas": map(plain, areas)}, said, fit, details=details)


def _days(at: list[date] | None, day: date, book: Book) -> tuple[date, ...]:
    if not at:
        intervals = book.practice.intervals_d
        chosen = {intervals[0], intervals[len(intervals) // 2], intervals[-1]}
        return tuple(day + timedelta(days=d) for d in sorted(chosen))
    days = tuple(sorted({*at}))
    refuse_if("at_early", days[0] < day, at=days[0], day=day)
    return days


def fit_command(book: Text, on: Day, form: Form) -> None:
    """Fit growth rates and ceilings to the log and say how sure they are.

    Example: growthcast fit my-book --json

    Exit status: 0 done, 2 bad arguments or a book with problems, 3 the tool itself failed.
    """
    import numpy as np

    from growthcast.fit.growth import last_logged
    from growthcast.forecast.heights import growth_a_week
    from growthcast.say.forecast import fit_answer, rows_left_out_in_json

    opened, _, fit = options.open_fit(book, on)
    answer = fit.as_dict() | {"rows_left_out": rows_left_out_in_json(fit)}
    weekly = growth_a_week(fit, np.arange(len(answer["areas"])))
    for area, speeds in zip(answer["areas"], weekly.tolist(), strict=True):
        area["cm_per_week"] = plain(by_quantile(speeds), 2)
    form.print(answer, fit_answer(answer, fit.design.is_cover, last_logged(opened)), fit)


def watch_command(book: Text, on: Day, tank: Text, plot: File, form: Form) -> None:
    """Say which tanks, areas or species have begun to grow otherwise than usual, and what to check.

    Example: growthcast watch my-book --plot growth.svg

    Exit status: 0 all as usual, 1 something needs attention, 2 bad arguments or a book with
    problems, 3 the tool itself failed.
    """
    from growthcast.say.supposed import not_fitted_words
    from growthcast.say.watch import SAID, watch_answer
    from growthcast.service.watch.watch import watch_growth

    opened, day = options.open_book(book, on)
    tanks = options.chosen_tanks(opened, tank)
    work = partial(watch_growth, opened, day, tanks)
    report = options.recalled(opened, day, work, "watch", tanks)
    say(*not_fitted_words(report.not_fitted))
    one, ended = tank is not None, opened.ended_tanks(day)
    said = watch_answer(report, ended, by_area=one)
    drawn = [watched for watched in report.tanks if one or watched.tank_id not in ended]
    if plot is not None and not any(watched.course for watched in drawn):
        say("Nothing was drawn: no tank has visits enough to judge.")
    elif plot is not None:
        from growthcast.figures.readings import growth_index_figure

        shown = replace(report, tanks=tuple(drawn))
        options.write_plot(opened, plot, growth_index_figure(shown, said))
    form.print(report, said, said=SAID, details=one)
    if report.needs_attention:
        sys.exit(int(Exit.ATTENTION))


def backtest_command(
    book: Text, splits: Count, on: Day, new_tanks: bool, plot: File, form: Form
) -> None:
    """Forecast each visit of the log from the visits before it, and say how often that was right.

    Example: growthcast backtest my-book --plot right.svg

    Exit status: 0 done, 2 bad arguments or a book with problems, 3 the tool itself failed.
    """
    from growthcast.forecast.backtest import DEFAULT_SPLITS, backtest
    from growthcast.say.backtest import backtest_answer, too_few_words
    from growthcast.say.supposed import not_fitted_words

    opened, day = options.open_book(book, on)
    splits = splits or DEFAULT_SPLITS
    leave_out: Literal["tank"] | None = "tank" if new_tanks else None
    work = partial(backtest, opened, splits, leave_out=leave_out)
    result = options.recalled(opened, day, work, "backtest", splits, leave_out)
    say(*not_fitted_words(result.not_fitted))
    said = backtest_answer(result)
    if plot is not None and not result.enough:
        say("Nothing was drawn.")
    elif plot is not None:
        from growthcast.figures.readings import calibration_figure

        options.write_plot(opened, plot, calibration_figure(result, said))
    if form.as_json and not result.enough:
        say(too_few_words(result))
    form.print(result, said, result)


def species_command(
    species_id: Text,
    form: Text,
    light: Text,
    needs_co2: Text,
    sort: str,
    book: Text,
    all_of_them: bool,
    how: Form,
) -> None:
    """List the species the forecasts start from, slow to fast, or show one with its sources.

    Example: growthcast species rotala-rotundifolia

    Exit status: 0 done, 2 an unknown species or bad arguments.
    """
    from growthcast.book.names import names_of_plants
    from growthcast.book.read import read_shipped_species
    from growthcast.say.species import list_answer, species_answer, species_for_programs

    shipped = read_shipped_species()
    own = None if book is None else options.read_aloud(Path(book))
    table = own.species if own else shipped
    known = species_for_programs(table, shipped, own.practice if own else None)
    wanted = {"form": form, "light": light, "needs_co2": needs_co2}
    chosen = [p for p in known if all(word in (None, p[name]) for name, word in wanted.items())]
    holding = ""
    if species_id is not None:
        wanted_ones = _ids_named(names_of_plants(table), species_id)
        found = [plant for plant in known if plant["species_id"] in wanted_ones]
        if len(found) == 1:
            how.print({"species": found}, species_answer(found[0]))
            return
        chosen = [plant for plant in found if plant in chosen]
        holding = f' with "{species_id}" in a name'
    key = "species_id" if sort == "name" else "rate_per_day"
    chosen.sort(key=lambda plant: plant[key], reverse=sort == "fast")
    order = {"slow": "slowest first", "fast": "fastest first", "name": "by name"}[sort]
    said = list_answer(chosen, f"{holding}, {order}", all_of_them=all_of_them or how.details)
    how.print({"species": chosen}, said)


def _ids_named(names: Mapping[str, Sequence[str]], text: str) -> list[str]:
    """Return the species with that id or name, else all with the text in one of their names."""
    from growthcast.book.names import alike

    exact = alike(asked := text.strip(), names)
    if found := exact if len(exact) == 1 else names_that_hold(asked, names):
        return found
    otherwise = '"growthcast species --all" lists all of them'
    hint = did_you_mean(asked.replace(" ", "-"), names, otherwise)
    raise UsageError(f"there is no species {shown(text)}; {hint}")
