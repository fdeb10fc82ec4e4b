"""growthcast rescape: plants, layouts and swaps compared before a tank is planted anew."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from growthcast.book.findings import format_findings, summary_for_commands
from growthcast.book.words import check_known
from growthcast.cli.options import (
    AsJson,
    BookFolder,
    Details,
    OnDate,
    TankId,
    argument,
    check_plot,
    chosen_tanks,
    one_of,
    one_tank,
    open_fit,
    option,
    plot_option,
    write_plot,
)
from growthcast.cli.output import say
from growthcast.cli.rescape_asked import Asked, check_asked, named_plants, names_in, stock_list
from growthcast.cli.waiting import working
from growthcast.errors import BookProblems, UsageError

if TYPE_CHECKING:
    from growthcast.book.book import Book
    from growthcast.book.supposed import Layout
    from growthcast.fit.result import GrowthFit

MoreLayouts = Annotated[list[Path] | None, argument("[LAYOUT]...", "More layouts after --layouts.")]
AreaId = Annotated[str | None, option("--area", "ID", "Compare plants for this area of the tank.")]
Plants = Annotated[
    list[str] | None,
    option(
        "--plants",
        "IDS",
        "Plants to compare or swap to, as species_id,species_id. Default: all that fit.",
    ),
]
Form = Annotated[
    str | None,
    option(
        "--form",
        "FORM",
        "Only plants of this form: carpet, creeping, rosette, stem, epiphyte, moss, floating.",
    ),
]
Place = Annotated[
    str | None,
    option(
        "--place",
        "PLACE",
        "Plants for the front, middle, back, wood or surface, by height and form. Default: the "
        "area's place in areas.csv, else the form that stands there.",
    ),
]
Stock = Annotated[
    Path | None,
    option("--stock", "FILE", "Only plants of this list: one a line, by id or any name."),
]
Layouts = Annotated[list[Path] | None, argument("[LAYOUT]...", "More layouts after --layouts.")]
AreaId = Annotated[str | None, option("--area", "ID", "Compare plants for this area of the tank.")]
Plants = Annotated[
    list[str] | None,
    option(
        "--plants",
        "IDS",
        "Plants to compare or swap to, as species_id,species_id. Default: all that fit.",
    ),
]
Form = Annotated[
    str | None,
    option(
        "--form",
        "FORM",
        "Only plants of this form: carpet, creeping, rosette, stem, epiphyte, moss, floating.",
    ),
]
Place = Annotated[
    str | None,
    option(
        "--place",
        "PLACE",
        "Plants for the front, middle, back, wood or surface, by height and form. Default: the "
        "area's place in areas.csv, else the form that stands there.",
    ),
]
Stock = Annotated[
    Path | None,
    option("--stock", "FILE", "Only plants of this list: one a line, by id or any name."),
]
PlantedCm = Annotated[
    float | None,
    option(
        "--planted-cm",
        "CM",
        "Height at planting, for the days to the look. Default: the area's own "
        "planted_height_cm, else half of its floor.",
    ),
]
Layouts = Annotated[
    list[str] | None,
    option(
        "--layouts",
        "FILE",
        "Compare layouts of the whole tank: .csv files with area_id, species_id, area_cm2, "
        "floor_cm, budget_cm; write --layouts A.csv --layouts B.csv, or --layouts A.csv B.csv.",
    ),
]
Reach = Annotated[
    int | None,
    option(
        "--reach",
        "DAYS",
        "Search the fewest swaps of plants with which the tank holds this interval.",
    ),
]
Keep = Annotated[
    list[str] | None,
    option("--keep", "ID", "With --reach: an area that stays as it is; may be repeated."),
]
Plot = Annotated[Path | None, plot_option("Draw the intervals with their ranges")]


def rescape_command(
    book: BookFolder = None,
    more: MoreLayouts = None,
    tank: TankId = None,
    area: AreaId = None,
    plants: Plants = None,
    form: Form = None,
    place: Place = None,
    stock: Stock = None,
    layouts: Layouts = None,
    reach: Reach = None,
    keep: Keep = None,
    on: OnDate = None,
    plot: Plot = None,
    details: Details = False,
    as_json: AsJson = False,
) -> None:
    """Compare plants for an area, layouts of a tank, or swaps that reach an interval, by --tank.

    Example: growthcast rescape my-book --tank lobby --area stems --form stem --plot stems.svg

    Exit status: 0 done, 2 bad arguments or a book with problems, 3 the tool itself failed.
    """
    if more and not layouts:
        raise UsageError(
            f'"{more[0]}" is one argument too many; name layouts with --layouts, and one book'
        )
    files = [Path(text) for text in layouts or ()] + list(more or ())
    narrowed = (plants, form, place, stock, keep)
    asked = Asked(tank, area, files, reach, *narrowed, plot, details, as_json)
    check_asked(asked)
    opened, _, fit = open_fit(book, on)
    check_plot(opened, plot)
    which = int(chosen_tanks(opened, one_tank(opened, tank))[0])
    if files:
        _answer_layouts(asked, opened, fit, which)
    elif reach is not None:
        _answer_swaps(asked, opened, fit, which, reach)
    else:
        _answer_plants(asked, opened, fit, which, area or _one_area(fit, which))


def _one_area(fit: GrowthFit, tank: int) -> str:
    """Return the living area chosen, where none is named; what else can be asked is said."""
    living = fit.design.area_id[fit.design.alive & (fit.design.tank == tank)].tolist()
    return one_of(living, "--area ID (or ask of --layouts FILE, or of --reach DAYS)", "area")


def _area(fit: GrowthFit, tank: int, area_id: str) -> int:
    """Return the place of a living area of the tank."""
    import numpy as np

    design = fit.design
    here = design.tank == tank
    found = np.flatnonzero((design.area_id == area_id) & here)
    if not found.size:
        living = [str(name) for name in design.area_id[design.alive & here]]
        lacking = f"tank {design.tank_id[tank]} has no area"
        check_known(area_id, living, lacking, "its living areas are")
    if not design.alive[found[0]]:
        day = np.datetime64(int(design.on_day), "D")
        raise UsageError(f"area {area_id} is not planted on {day}; stand on another day with --on")
    return int(found[0])


def _answer_plants(asked: Asked, book: Book, fit: GrowthFit, tank: int, area_id: str) -> None:
    """Print how plants would do in an area, the best first."""
    from growthcast.say.plants import plants_in_json, plants_words
    from growthcast.service.rescape.plants import compare_plants, likely_pool, pool_of

    plants, form = named_plants(book, asked), asked.form
    place = _area(fit, tank, area_id)
    priors, mine = fit.design.priors, fit.design.species[place]
    stock = stock_list(book, asked.stock)
    pick = pool_of if plants else partial(likely_pool, book)
    pool = pick(fit, place, form, asked.place or "", stock)
    narrowed = asked.form or asked.place or asked.stock
    wanted = [name for name in plants if name != priors.species_id[mine]] if plants else pool
    if plants and narrowed:
        wanted = [name for name in wanted if name in pool]
    if not wanted:
        raise UsageError(_nothing_to_compare(asked, fit, place, plants))
    with working(f"Comparing {len(wanted)} plants"):
        advice = compare_plants(book, fit, place, wanted)
    shown = [a for a in advice if plants or a.fits or a.is_there_now]
    left_out = [a for a in advice if a not in shown]
    if asked.plot is not None:
        from growthcast.figures.rescaped import plants_figure

        write_plot(book, asked.plot, plants_figure(fit, place, shown))
    answer = (fit, place, book.practice.currency, shown, left_out)
    asked.print(plants_in_json(*answer), plants_words(*answer), fit)


def _nothing_to_compare(asked: Asked, fit: GrowthFit, place: int, plants: Sequence[str]) -> str:
    area_id = str(fit.design.area_id[place])
    given = {"--form": asked.form, "--place": asked.place, "--stock": asked.stock}
    narrowed = " or ".join(name for name, value in given.items() if value is not None)
    if plants and narrowed:
        return f"none of the plants named is left by {narrowed}; leave that out, or --plants"
    if plants:
        return f"{plants[0]} is what stands in {area_id} now; name others with --plants"
    how = "percent cover" if fit.design.is_cover[place] else "height"
    return (
        f"no other plant can be compared for {area_id}, which is measured by its {how}; ask for "
        f"others with {narrowed or '--place'}"
    )


def _answer_layouts(asked: Asked, book: Book, fit: GrowthFit, tank: int) -> None:
    """Print what each layout of a tank allows beside the tank as it is."""
    from growthcast.say.rescape import layout_in_json, layouts_words
    from growthcast.service.rescape.layouts import compare_layouts

    tank_id, currency = str(fit.design.tank_id[tank]), book.practice.currency
    layouts = _read_layouts(book, fit, tank_id, asked.files)
    if beside := summary_for_commands(item for one in layouts for item in one.findings):
        say(beside.replace(": see growthcast check", ""))
    with working("Comparing layouts"):
        advice = compare_layouts(book, fit, tank, layouts)
    if asked.plot is not None:
        from growthcast.figures.rescaped import layouts_figure

        wanted = float(book.of_tanks("confidence")[tank])
        write_plot(book, asked.plot, layouts_figure(tank_id, advice, wanted))
    answer = {"tank_id": tank_id, "currency": currency, "layouts": [*map(layout_in_json, advice)]}
    asked.print(answer, layouts_words(tank_id, currency, advice), fit)


def _read_layouts(book: Book, fit: GrowthFit, tank_id: str, files: Sequence[Path]) -> list[Layout]:
    """Read all layouts; the problems of all of them are said together."""
    from growthcast.book.supposed import read_layout
    from growthcast.fit.supposed import day_of

    layouts, problems = [], []
    for file in files:
        try:
            layouts.append(read_layout(file, book, tank_id, day_of(fit)))
        except BookProblems as found:
            problems += list(found.findings)
    if problems:
        say(format_findings(problems))
        raise UsageError("a layout has problems, so nothing was compared")
    if len({layout.name for layout in layouts}) < len(layouts):
        raise UsageError("two layouts have the same file name; rename one to tell them apart")
    return layouts


def _answer_swaps(asked: Asked, book: Book, fit: GrowthFit, tank: int, reach_d: int) -> None:
    """Print the fewest swaps with which a tank holds an interval."""
    import numpy as np

    from growthcast.say.rescape import swaps_in_json, swaps_words
    from growthcast.service.rescape.swaps import swaps_to_reach

    plants, design = named_plants(book, asked), fit.design
    keep = names_in(asked.keep, "--keep names no area; leave it out to let every area change")
    for name in keep:
        _area(fit, tank, name)
    tank_id = str(design.tank_id[tank])
    living = design.alive & (design.tank == tank)
    if not living.any():
        day = np.datetime64(int(design.on_day), "D")
        raise UsageError(f"nothing is planted in {tank_id} on {day}, so there is nothing to swap")
    cap = float(book.tanks.number("longest_interval_d")[tank])
    if reach_d > cap:
        raise UsageError(
            f"--reach {reach_d}: tank {tank_id} is visited every {cap:g} days at the longest "
            "(longest_interval_d), whatever grows in it"
        )
    stock = stock_list(book, asked.stock)
    with working("Trying swaps"):
        found = swaps_to_reach(
            book, fit, tank, reach_d, keep, plants=plants, form=asked.form, stock=stock
        )
    currency = book.practice.currency
    answer = swaps_in_json(tank_id, currency, found, keep)
    asked.print(answer, swaps_words(tank_id, currency, found, plants, asked.form), fit)
