"""growthcast rescape: plants, layouts and swaps compared before a tank is planted anew."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from growthcast.book.book import Book
from growthcast.book.findings import format_findings, summary_for_commands
from growthcast.book.names import plant_meant
from growthcast.book.supposed import Layout, read_layout
from growthcast.book.words import check_known
from growthcast.cli import options
from growthcast.cli.output import Form, refuse_if, say, text_of, working
from growthcast.errors import BookProblems, UsageError
from growthcast.fit.result import GrowthFit
from growthcast.fit.supposed import day_of
from growthcast.nouns import dataclass
from growthcast.plain import plain
from growthcast.say.words import Answer

Found = tuple[dict[str, Any], Answer]


@dataclass(frozen=True, slots=True)
class Asked:
    """What the options ask; ``more`` are layouts that stand after ``layouts``."""

    book: options.Text
    more: options.Files
    tank: options.Text
    area: options.Text
    plants: options.Texts
    form: options.Text
    place: options.Text
    stock: options.File
    layouts: options.Texts
    reach: options.Count
    keep: options.Texts
    on: options.Day
    plot: options.File

    @property
    def files(self) -> list[Path]:
        """The layouts to compare."""
        return [Path(text) for text in self.layouts or ()] + list(self.more or ())


def rescape_command(asked: Asked, form: Form) -> None:
    """Compare plants for an area, layouts of a tank, or swaps that reach an interval, by --tank.

    Example: growthcast rescape my-book --tank lobby --area stems --form stem --plot stems.svg

    Exit status: 0 done, 2 bad arguments or a book with problems, 3 the tool itself failed.
    """
    opened, _, fit = options.open_fit(asked.book, asked.on)
    which = int(options.chosen_tanks(opened, options.one_tank(opened, asked.tank))[0])
    if asked.files:
        found, said = _layouts(asked, opened, fit, which)
    elif asked.reach is not None:
        found, said = _swaps(asked, opened, fit, which, asked.reach)
    else:
        found, said = _plants(asked, opened, fit, which, asked.area or _one_area(fit, which))
    form.print(found, said, fit)


def named_plants(book: Book, asked: Asked) -> list[str]:
    """Return the ids of the plants named, each once; ``UsageError`` where one is not known."""
    none = "--plants names no plant; leave it out to look at all that fit"
    names = dict.fromkeys(names_in(asked.plants, none))
    return [plant_meant(book.species, name, "--plants: ") for name in names]


def stock_list(book: Book, file: Path | None) -> set[str] | None:
    """Return the plants of a list that the table knows; those it does not know are said."""
    if file is None:
        return None
    found = set()
    for number, line in enumerate(text_of(file, "--stock").splitlines(), start=1):
        if (name := line.partition("#")[0].strip()) and name != "species_id":
            try:
                found.add(plant_meant(book.species, name, f"{file}, line {number}, left out: "))
            except UsageError as unknown:
                say(str(unknown))
    refuse_if("no_stock", not found, file=file)
    return found


def names_in(texts: list[str] | None, none: str) -> list[str]:
    """Return names set apart by commas; ``UsageError`` where there are only commas."""
    names = [name.strip() for text in texts or () for name in text.split(",") if name.strip()]
    if texts and not names:
        raise UsageError(none)
    return names


def _one_area(fit: GrowthFit, tank: int) -> str:
    """Return the living area chosen, where none is named; what else can be asked is said."""
    living = fit.design.area_id[fit.design.stays & (fit.design.tank == tank)].tolist()
    return options.one_of(
        living, "--area ID (or ask of --layouts FILE, or of --reach DAYS)", "area"
    )


def _area(fit: GrowthFit, tank: int, area_id: str) -> int:
    """Return the place of a living area of the tank."""
    import numpy as np

    design = fit.design
    here = design.tank == tank
    found = np.flatnonzero((design.area_id == area_id) & here)
    if not found.size:
        living = [str(name) for name in design.area_id[design.stays & here]]
        lacking = f"tank {design.tank_id[tank]} has no area"
        check_known(area_id, living, lacking, "its living areas are")
    refuse_if("area_not_planted", not design.stays[found[0]], area=area_id, day=day_of(fit))
    return int(found[0])


def _plants(asked: Asked, book: Book, fit: GrowthFit, tank: int, area_id: str) -> Found:
    """Return how plants would do in an area, the best first."""
    from growthcast.say import plants as tell
    from growthcast.service.rescape.plants import compare_plants, pool_of, usual_choice

    plants, form = named_plants(book, asked), asked.form
    place = _area(fit, tank, area_id)
    priors, mine = fit.design.priors, fit.design.species[place]
    stock = stock_list(book, asked.stock)
    where = asked.place or ""
    if not (plants or form or where):
        form, where = usual_choice(book, fit, place)
    pool = pool_of(fit, place, form, where, stock)
    narrowed = asked.form or asked.place or asked.stock
    wanted = [name for name in plants if name != priors.species_id[mine]] if plants else pool
    if plants and narrowed:
        wanted = [name for name in wanted if name in pool]
    if not wanted:
        given = {"--form": asked.form, "--place": asked.place, "--stock": asked.stock}
        raise UsageError(tell.nothing_to_compare(given, fit, place, plants))
    with working(f"Comparing {len(wanted)} plants"):
        advice = compare_plants(book, fit, place, wanted)
    shown = [a for a in advice if plants or a.fits or a.is_there_now]
    left_out = [a for a in advice if a not in shown]
    area, currency = tell.area_compared(fit, place), book.practice.currency
    unit = "%" if fit.design.is_cover[place] else "cm"
    said = tell.plants_answer(area, unit, currency, shown, left_out)
    if asked.plot is not None:
        from growthcast.figures.rescaped import plants_figure

        options.write_plot(book, asked.plot, plants_figure(fit, place, shown, said))
    return tell.plants_in_json(area, currency, shown, left_out), said


def _layouts(asked: Asked, book: Book, fit: GrowthFit, tank: int) -> Found:
    """Return what each layout of a tank allows beside the tank as it is."""
    from growthcast.say.rescape import SAID, layouts_answer
    from growthcast.service.rescape.layouts import compare_layouts

    tank_id, currency = str(fit.design.tank_id[tank]), book.practice.currency
    layouts = _read_layouts(book, fit, tank_id, asked.files)
    if beside := summary_for_commands(item for one in layouts for item in one.findings):
        say(beside.replace(": see growthcast check", ""))
    with working("Comparing layouts"):
        advice = compare_layouts(book, fit, tank, layouts)
    said = layouts_answer(tank_id, currency, advice)
    if asked.plot is not None:
        from growthcast.figures.rescaped import layouts_figure

        wanted = float(book.of_tanks("confidence")[tank])
        options.write_plot(book, asked.plot, layouts_figure(tank_id, advice, wanted, said))
    told = plain(advice, said=SAID)
    answer = {"tank_id": tank_id, "currency": currency, "layouts": told}
    return answer, said


def _read_layouts(book: Book, fit: GrowthFit, tank_id: str, files: Sequence[Path]) -> list[Layout]:
    """Read all layouts; the problems of all of them are said together."""
    layouts, problems = [], []
    for file in files:
        try:
            layouts.append(read_layout(file, book, tank_id, day_of(fit)))
        except BookProblems as found:
            problems += list(found.findings)
    if problems:
        say(format_findings(problems))
        raise UsageError("a layout has problems, so nothing was compared")
    refuse_if("layouts_alike", len({layout.name for layout in layouts}) < len(layouts))
    return layouts


def _swaps(asked: Asked, book: Book, fit: GrowthFit, tank: int, reach_d: int) -> Found:
    """Return the fewest swaps with which a tank holds an interval."""
    from growthcast.say.rescape import swaps_answer, swaps_in_json
    from growthcast.service.rescape.swaps import swaps_to_reach

    plants, design = named_plants(book, asked), fit.design
    keep = names_in(asked.keep, "--keep names no area; leave it out to let every area change")
    for name in keep:
        _area(fit, tank, name)
    tank_id = str(design.tank_id[tank])
    living = design.stays & (design.tank == tank)
    refuse_if("nothing_to_swap", not living.any(), tank=tank_id, day=day_of(fit))
    cap = float(book.tanks.number("longest_interval_d")[tank])
    refuse_if("reach_beyond", reach_d > cap, reach=reach_d, tank=tank_id, cap=cap)
    stock = stock_list(book, asked.stock)
    with working("Trying swaps"):
        found = swaps_to_reach(
            book, fit, tank, reach_d, keep, plants=plants, form=asked.form, stock=stock
        )
    currency = book.practice.currency
    answer = swaps_in_json(tank_id, currency, found, keep)
    return answer, swaps_answer(tank_id, currency, found, plants, asked.form)
