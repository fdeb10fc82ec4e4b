"""growthcast rescape: plants, layouts and swaps compared before a tank is planted anew."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from growthcast.cli.options import AsJson, BookFolder, OnDate, TankId, chosen_tanks, open_fit
from growthcast.errors import UsageError

if TYPE_CHECKING:
    from growthcast.book.book import Book
    from growthcast.fit.result import GrowthFit

MoreLayouts = Annotated[
    list[Path] | None,
    typer.Argument(metavar="[LAYOUT]...", help="More layouts after --layouts.", show_default=False),
]
AreaId = Annotated[
    str | None,
    typer.Option(
        "--area", metavar="ID", help="Compare plants for this area of the tank.", show_default=False
    ),
]
Plants = Annotated[
    list[str] | None,
    typer.Option(
        "--plants",
        metavar="IDS",
        help="Plants to compare or swap to, as species_id,species_id. Default: all that fit.",
        show_default=False,
    ),
]
Form = Annotated[
    str | None,
    typer.Option(
        "--form",
        metavar="FORM",
        help="Only plants of this form: carpet, creeping, rosette, stem, epiphyte, moss, floating.",
        show_default=False,
    ),
]
PlantedCm = Annotated[
    float | None,
    typer.Option(
        "--planted-cm",
        metavar="CM",
        help="Height at planting, for the days to the look. Default: the area's own "
        "planted_height_cm, else half of its floor.",
        show_default=False,
    ),
]
Layouts = Annotated[
    list[str] | None,
    typer.Option(
        "--layouts",
        metavar="FILE",
        help="Compare layouts of the whole tank: .csv files with area_id, species_id, area_cm2, "
        "floor_cm, budget_cm; write --layouts A.csv --layouts B.csv, or --layouts A.csv B.csv.",
        show_default=False,
    ),
]
Reach = Annotated[
    int | None,
    typer.Option(
        "--reach",
        metavar="DAYS",
        help="Search the fewest swaps of plants with which the tank holds this interval.",
        show_default=False,
    ),
]
Keep = Annotated[
    list[str] | None,
    typer.Option(
        "--keep",
        metavar="ID",
        help="With --reach: an area that stays as it is; may be repeated.",
        show_default=False,
    ),
]
PlotFile = Annotated[
    Path | None,
    typer.Option(
        "--plot",
        metavar="FILE",
        help="Draw the intervals with their ranges into FILE.svg or FILE.png.",
        show_default=False,
    ),
]


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
    plot: PlotFile = None,
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
    place = int(chosen_tanks(opened, tank)[0])
    wanted = _plants(opened, plants)
    if area is not None:
        from growthcast.cli.rescaped.plants import answer_plants

        answer_plants(opened, fit, _area(fit, place, area), wanted, form, planted_cm, plot, as_json)
    elif files:
        from growthcast.cli.rescaped.layouts import answer_layouts

        answer_layouts(opened, fit, place, files, plot, as_json=as_json)
    else:
        from growthcast.cli.rescaped.swaps import answer_swaps

        kept = [name.strip() for text in keep or () for name in text.split(",") if name.strip()]
        if keep and not kept:
            raise UsageError("--keep names no area; leave it out to let every area change")
        for name in kept:
            _area(fit, place, name)
        answer_swaps(opened, fit, place, reach or 0, kept, wanted, form, as_json=as_json)


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
        from growthcast.book.words import did_you_mean

        if form not in FORMS:
            hint = did_you_mean(form, FORMS, f"the forms are {', '.join(FORMS)}")
            raise UsageError(f'--form "{form}" is no growth form; {hint}')


def _plants(book: Book, plants: list[str] | None) -> list[str]:
    from growthcast.book.supposed.changes import known_species

    names = [name.strip() for text in plants or () for name in text.split(",") if name.strip()]
    if plants and not names:
        raise UsageError("--plants names no plant; leave it out to look at all that fit")
    return [known_species(book, name, "--plants") for name in dict.fromkeys(names)]


def _area(fit: GrowthFit, tank: int, area_id: str) -> int:
    """Return the place of a living area of the tank."""
    import numpy as np

    from growthcast.book.words import did_you_mean, shown

    design = fit.design
    living = design.alive & (design.tank == tank)
    found = np.flatnonzero((design.area_id == area_id) & (design.tank == tank))
    names = [str(name) for name in design.area_id[living]]
    if not found.size:
        listed = ", ".join(names) or "none"
        hint = did_you_mean(area_id, names, f"its living areas are {listed}")
        raise UsageError(f"tank {design.tank_id[tank]} has no area {shown(area_id)}; {hint}")
    if not design.alive[found[0]]:
        day = np.datetime64(int(design.on_day), "D")
        raise UsageError(f"area {area_id} is not planted on {day}; stand on another day with --on")
    return int(found[0])
