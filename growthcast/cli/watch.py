"""growthcast watch: what has begun to grow otherwise than usual."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from growthcast.cli.options import (
    AsJson,
    BookFolder,
    OnDate,
    TankId,
    check_plot,
    chosen_tanks,
    open_book,
    plot_option,
    say_not_fitted,
)
from growthcast.cli.output import print_answer, say
from growthcast.errors import Exit

Plot = Annotated[Path | None, plot_option("Draw growth against usual, visit by visit,")]


def watch_command(
    book: BookFolder = None,
    on: OnDate = None,
    tank: TankId = None,
    plot: Plot = None,
    as_json: AsJson = False,
) -> None:
    """Say which tanks, areas or species have begun to grow otherwise than usual, and what to check.

    Example: growthcast watch my-book --plot growth.svg

    Exit status: 0 all as usual, 1 something needs attention, 2 bad arguments or a book with
    problems, 3 the tool itself failed.
    """
    from growthcast.say.watch import watch_in_json, watch_words
    from growthcast.service.watch.watch import watch_growth

    opened, day = open_book(book, on)
    tanks = chosen_tanks(opened, tank)
    check_plot(opened, plot)
    report = watch_growth(opened, day, tanks)
    say_not_fitted(report.not_fitted)
    if plot is not None and not any(watched.course for watched in report.tanks):
        say("Nothing was drawn: no tank has visits enough to judge.")
    elif plot is not None:
        from growthcast.figures.save import save_picture
        from growthcast.figures.watch import growth_index_figure

        save_picture(opened, plot, *growth_index_figure(report))
        say(f"Wrote {plot}")
    print_answer(as_json, watch_in_json(report), watch_words(report, by_area=tank is not None))
    if report.needs_attention:
        raise typer.Exit(Exit.ATTENTION)
