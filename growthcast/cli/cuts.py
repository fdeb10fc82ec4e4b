"""growthcast cuts: the sheet for today's visit to a tank."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from growthcast.cli.options import (
    AsJson,
    BookFolder,
    OnDate,
    TankId,
    day_option,
    one_tank,
    open_fit,
)
from growthcast.cli.pages import Form, page_form
from growthcast.errors import UsageError

if TYPE_CHECKING:
    from growthcast.book.book import Book
    from growthcast.fit.result import GrowthFit
    from growthcast.service.effort import Range
    from growthcast.service.visit.cuts import AreaCut, CutSheet

NextDate = Annotated[
    date | None,
    day_option(
        "--next", "Day of the next visit. Default: after the interval recommended for the tank."
    ),
]
SheetFile = Annotated[
    Path | None,
    typer.Option(
        "--out",
        metavar="FILE",
        help="Write the sheet as a page to print: FILE.html or FILE.pdf.",
        show_default=False,
    ),
]


def cuts_command(
    book: BookFolder = None,
    tank: TankId = None,
    on: OnDate = None,
    next_on: NextDate = None,
    out: SheetFile = None,
    as_json: AsJson = False,
) -> None:
    """Print the sheet for a visit: what to cut in which order, so that it lasts to the next visit.

    Example: growthcast cuts my-book --tank lobby --on 2026-03-02 --next 2026-03-16

    Exit status: 0 done, 2 bad arguments or a book with problems, 3 the tool itself failed.
    """
    from growthcast.cli.output import print_json
    from growthcast.plain import plain
    from growthcast.say.visit import cautions, sheet_sentence, watch_list
    from growthcast.service.visit.cuts import cut_sheet

    form = None if out is None else page_form(out)
    opened, day, fit = open_fit(book, on)
    place = one_tank(opened, tank)
    wanted = next_on
    interval_d = None if wanted and wanted > day else recommended_interval(opened, fit, place)
    if wanted is None:
        wanted = day + timedelta(days=interval_d or 0)
    elif wanted <= day:
        raise UsageError(
            f"--next {wanted} is not after {day}, the day of this visit; the nearest next visit is "
            f"{day + timedelta(days=1)}, and this tank's interval would make it "
            f"{day + timedelta(days=interval_d or 0)}"
        )
    sheet = cut_sheet(opened, fit, place, _at_most_a_year(wanted, day))
    if out is not None and form is not None:
        _write(opened, sheet, out, form)
    if as_json:
        words = {
            "sentence": sheet_sentence(sheet),
            "watch": watch_list(sheet),
            "cautions": cautions(sheet),
        }
        print_json(plain(sheet) | words, fit)
        return
    _print(sheet)


def _write(book: Book, sheet: CutSheet, file: Path, form: Form) -> None:
    """Write the sheet as a page."""
    from growthcast.brief.sheet import build_sheet
    from growthcast.cli.output import say
    from growthcast.cli.pages import page_locale, write_page

    page = build_sheet(book, sheet, page_locale(book, file, only="en"))
    write_page(book, page, file, form)
    say(f"Wrote {file}")


def recommended_interval(book: Book, fit: GrowthFit, tank: int) -> int:
    """Days until the next visit that is recommended, the shortest listed where none is feasible."""
    import numpy as np

    from growthcast.cli.output import say
    from growthcast.service.recommend import recommend

    [advice] = recommend(book, fit, np.array([tank]))
    if advice.recommended_interval_d is None:
        shortest = min(advice.longest_interval_d, *book.practice.intervals_d)
        why = f"No listed interval is feasible for {advice.tank_id}"
        if advice.nothing_holds:
            why = f"{advice.tank_id}: {advice.reason}"
        say(f"{why}; the next visit is taken to be in {shortest} days, the shortest listed.")
        return shortest
    return advice.recommended_interval_d


def _at_most_a_year(wanted: date, day: date) -> date:
    if (wanted - day).days > 366:
        raise UsageError(f"--next {wanted} lies more than a year after {day}")
    return wanted


def _print(sheet: CutSheet) -> None:
    from growthcast.cli.output import print_line, print_table
    from growthcast.say.visit import cautions, sheet_sentence, watch_list

    for_whom = ", ".join(part for part in (sheet.client, sheet.site) if part)
    print_line(f"{sheet.tank_id}, visit of {sheet.on}" + (f" ({for_whom})" if for_whom else ""))
    print_line(sheet_sentence(sheet))
    if sheet.areas:
        print_table(
            "In the order of work (heights in cm, or % cover; below it 8 times in 10)",
            ["", "area", "now>", "do", "never below>", "next visit>", "inside>", "min>"],
            [
                [*_row(area), f"{part}"]
                for area, part in zip(sheet.areas, sheet.area_minutes, strict=True)
            ],
        )
    trimming, (on_road, before, trim) = sheet.trimming_min, sheet.whole_minutes
    print_line(
        f"Time: about {on_road + before + trim} min, of it {on_road} on the road, "
        f"{before} at the tank before trimming, {trim} trimming "
        f"({trimming.p10:.0f} to {trimming.p90:.0f})."
    )
    for title, lines in (("Watch", watch_list(sheet)), ("Cautions", cautions(sheet))):
        if lines:
            print_line(f"{title}:")
        for line in lines:
            print_line(f"  - {line}")


def _row(area: AreaCut) -> list[str]:
    from growthcast.say.words import as_chance

    unit = " cm" if area.unit == "cm" else " %"
    do = {
        "cut": f"cut to {area.cut_cm:.1f}{unit}",
        "trim what stands above": f"trim above {area.cut_cm:.1f}{unit}",
    }
    return [
        str(area.order),
        area.label,
        _height(area.height_now_cm, area.unit),
        do.get(area.action, "leave uncut"),
        f"{area.lowest_safe_cut_cm:g}{unit}",
        _height(area.height_next_cm, area.unit),
        as_chance(area.chance_within),
    ]


def _height(height: Range, unit: str) -> str:
    """Return a height above its range."""
    cover = "" if unit == "cm" else " %"
    return f"{height.p50:.1f}{cover}\n{height.p10:.1f}-{height.p90:.1f}"
