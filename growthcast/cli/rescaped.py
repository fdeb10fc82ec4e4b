"""The three questions of ``growthcast rescape``, each asked and answered."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from growthcast.book.findings import format_findings, summary_for_commands
from growthcast.cli.output import print_answer, say
from growthcast.errors import BookProblems, UsageError

if TYPE_CHECKING:
    from growthcast.book.book import Book
    from growthcast.book.supposed import Layout
    from growthcast.fit.result import GrowthFit


def answer_plants(
    book: Book,
    fit: GrowthFit,
    place: int,
    plants: Sequence[str],
    form: str | None,
    planted_cm: float | None,
    plot: Path | None,
    as_json: bool,
) -> None:
    """Print how plants would do in an area, the best first."""
    from growthcast.say.plants import plants_in_json, plants_words
    from growthcast.service.rescape.plants import compare_plants, pool_of

    pool = pool_of(fit, place, form)
    here = str(fit.design.species_id[fit.design.species[place]])
    wanted = [name for name in plants if name != here] if plants else pool
    if form is not None and plants:
        wanted = [name for name in wanted if name in pool]
    if not wanted:
        raise UsageError(_nothing_to_compare(fit, place, plants, form))
    advice = compare_plants(book, fit, place, wanted, planted_cm)
    shown = [a for a in advice if plants or a.fits or a.is_there_now]
    left_out = [a for a in advice if a not in shown]
    if plot is not None:
        from growthcast.figures.rescaped import plants_figure
        from growthcast.figures.save import save_picture

        save_picture(book, plot, *plants_figure(fit, place, shown))
        say(f"Wrote {plot}")
    answer = (fit, place, book.practice.currency, shown, left_out)
    print_answer(as_json, plants_in_json(*answer), plants_words(*answer), fit)


def _nothing_to_compare(fit: GrowthFit, place: int, plants: Sequence[str], form: str | None) -> str:
    area_id = str(fit.design.area_id[place])
    if plants and form is not None:
        return f"none of the plants named is of the form {form}; leave out --plants or --form"
    if plants:
        return f"{plants[0]} is what stands in {area_id} now; name others with --plants"
    how = "percent cover" if fit.design.is_cover[place] else "height"
    return (
        f"no plant of the form {form} can be compared for {area_id}, which is measured by its "
        f"{how}; name another --form"
    )


def answer_layouts(
    book: Book, fit: GrowthFit, tank: int, files: Sequence[Path], plot: Path | None, as_json: bool
) -> None:
    """Print what each layout of a tank allows beside the tank as it is."""
    from growthcast.say.rescape import layout_in_json, layouts_words
    from growthcast.service.rescape.layouts import compare_layouts

    tank_id, currency = str(fit.design.tank_id[tank]), book.practice.currency
    layouts = _read_layouts(book, fit, tank_id, files)
    if beside := summary_for_commands(item for one in layouts for item in one.findings):
        say(beside.replace(": see growthcast check", ""))
    advice = compare_layouts(book, fit, tank, layouts)
    if plot is not None:
        from growthcast.figures.rescaped import layouts_figure
        from growthcast.figures.save import save_picture

        wanted = float(book.of_tanks("confidence")[tank])
        save_picture(book, plot, *layouts_figure(tank_id, advice, wanted))
        say(f"Wrote {plot}")
    answer = {"tank_id": tank_id, "currency": currency, "layouts": [*map(layout_in_json, advice)]}
    print_answer(as_json, answer, layouts_words(tank_id, currency, advice), fit)


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


def answer_swaps(
    book: Book,
    fit: GrowthFit,
    tank: int,
    reach_d: int,
    keep: list[str],
    plants: list[str],
    form: str | None,
    as_json: bool,
) -> None:
    """Print the fewest swaps with which a tank holds an interval."""
    import numpy as np

    from growthcast.say.rescape import swaps_in_json, swaps_words
    from growthcast.service.rescape.swaps import swaps_to_reach

    design = fit.design
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
    found = swaps_to_reach(book, fit, tank, reach_d, keep, plants=plants, form=form)
    currency = book.practice.currency
    answer = swaps_in_json(tank_id, currency, found, keep)
    print_answer(as_json, answer, swaps_words(tank_id, currency, found, plants, form), fit)
