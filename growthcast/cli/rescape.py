"""growthcast rescape: plants, layouts and swaps compared before a tank is planted anew."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from growthcast.book.words import check_known, did_you_mean
from growthcast.cli.options import (
    AsJson,
    BookFolder,
    OnDate,
    TankId,
    argument,
    check_plot,
    chosen_tanks,
    open_fit,
    option,
    plot_option,
)
from growthcast.cli.rescaped import answer_layouts, answer_plants, answer_swaps
from growthcast.errors import UsageError

if TYPE_CHECKING:
    from growthcast.book.book import Book
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
    planted_cm: PlantedCm = None,
    layouts: Layouts = None,
    reach: Reach = None,
    keep: Keep = None,
    on: OnDate = None,
    plot: Plot = None,
    as_json: AsJson = False,
) -> None:
    """Compare plants for an area, layouts of a tank, or swaps that reach an interval, by --tank.

    Example: growthcast rescape my-book --tank lobby --area stems --form stem --plot stems.svg

    Exit status: 0 done, 2 bad arguments or a book with problems, 3 the tool itself failed.
    """
    files = _files(layouts, more)
    _check_modes(tank, area, files, reach, plot)
    _check_details(area, reach, files, plants, form, planted_cm, keep)
    opened, _, fit = open_fit(book, on)
    check_plot(opened, plot)
    place = int(chosen_tanks(opened, tank)[0])
    wanted = _plants(opened, plants)
    if area is not None:
        there = _area(fit, place, area)
        answer_plants(opened, fit, there, wanted, form, planted_cm, plot, as_json)
    elif files:
        answer_layouts(opened, fit, place, files, plot, as_json)
    else:
        kept = _names(keep, "--keep names no area; leave it out to let every area change")
        for name in kept:
            _area(fit, place, name)
        answer_swaps(opened, fit, place, reach or 0, kept, wanted, form, as_json)


def _files(layouts: list[str] | None, more: list[Path] | None) -> list[Path]:
    if more and not layouts:
        raise UsageError(
            f'"{more[0]}" is one argument too many; name layouts with --layouts, and one book'
        )
    return [Path(text) for text in layouts or ()] + list(more or ())


def _check_modes(
    tank: str | None, area: str | None, files: list[Path], reach: int | None, plot: Path | None
) -> None:
    """Ask for a tank and exactly one question."""
    if tank is None:
        raise UsageError("rescape looks at one tank; name it with --tank ID")
    asked = [
        name
        for name, given in (
            ("--area", area is not None),
            ("--layouts", bool(files)),
            ("--reach", reach is not None),
        )
        if given
    ]
    if not asked:
        raise UsageError(
            "say what to compare: plants for an area with --area ID, layouts with --layouts FILE, "
            "or swaps that reach an interval with --reach DAYS"
        )
    if len(asked) > 1:
        raise UsageError(f"{' and '.join(asked)} are different questions; ask one at a time")
    if plot is not None and asked == ["--reach"]:
        raise UsageError("--plot draws plants (--area) or layouts (--layouts), not swaps")
    if reach is not None and not 1 <= reach <= 365:
        raise UsageError(
            f"--reach {reach} is outside the limits; expected whole days from 1 to 365"
        )


def _check_details(
    area: str | None,
    reach: int | None,
    files: list[Path],
    plants: list[str] | None,
    form: str | None,
    planted_cm: float | None,
    keep: list[str] | None,
) -> None:
    """Refuse options that would be left unread."""
    if keep and reach is None:
        raise UsageError("--keep goes with --reach: it pins areas while swaps are searched")
    if planted_cm is not None and area is None:
        raise UsageError("--planted-cm goes with --area")
    if planted_cm is not None and not 0.0 < planted_cm <= 300.0:
        raise UsageError(
            f"--planted-cm {planted_cm:g} is outside the limits; expected above 0 to 300"
        )
    if files and (plants or form):
        raise UsageError("a layout names its own plants; leave out --plants and --form")
    if form is not None:
        from growthcast.book.tables import FORMS

        if form not in FORMS:
            hint = did_you_mean(form, FORMS, f"the forms are {', '.join(FORMS)}")
            raise UsageError(f'--form "{form}" is no growth form; {hint}')


def _plants(book: Book, plants: list[str] | None) -> list[str]:
    from growthcast.book.supposed import known_species

    names = _names(plants, "--plants names no plant; leave it out to look at all that fit")
    return [known_species(book, name, "--plants") for name in dict.fromkeys(names)]


def _names(texts: list[str] | None, none: str) -> list[str]:
    """Return names set apart by commas; ``UsageError`` where there are only commas."""
    names = [name.strip() for text in texts or () for name in text.split(",") if name.strip()]
    if texts and not names:
        raise UsageError(none)
    return names


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
