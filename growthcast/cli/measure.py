"""growthcast measure: heights of a tank's areas off one photo."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from growthcast.book.shipped import find_own_book
from growthcast.cli.options import Day, File, Text, folder_of, open_fit
from growthcast.cli.output import print_answer, say, text_of
from growthcast.errors import UsageError

if TYPE_CHECKING:
    from growthcast.service.visit.picture import Picture


def measure_command(
    photo: Path, book: Text, tank: Text, taps: File, html: File, keep: bool, on: Day, as_json: bool
) -> None:
    """Read the heights of all areas off one photo of a tank, each with its error.

    Example: growthcast measure tank.jpg my-book --tank lobby --html tap.html

    Exit status: 0 done, 2 the photo is refused or bad arguments, 3 the tool itself failed.
    """
    from growthcast.book.read import read_book
    from growthcast.book.writing.visit.places import tank_of_visit
    from growthcast.book.writing.visit.taps import keep_picture, read_taps
    from growthcast.say.photo import photo_words
    from growthcast.service.visit.photo import measure, size_of_tank
    from growthcast.service.visit.picture import pane_of, read_picture

    if (taps is None) == (html is None) or (html is not None and keep):
        raise UsageError(
            "give --html FILE.html for a page to tap on, then --taps FILE with what was tapped "
            "(and --keep where the picture is to stay in the book)"
        )
    picture = read_picture(photo)
    if html is not None:
        _write_page(photo, picture, book, tank, html)
        return
    assert taps is not None
    opened = read_book(find_own_book(book) if keep else folder_of(book))
    tank_id = tank_of_visit(opened, tank, [])
    size = size_of_tank(opened, tank_id)
    told = read_taps(text_of(taps))
    reading = measure(opened, tank_id, picture, told)
    day = [] if on is None else ["--on", on.isoformat()]
    print_answer(as_json, reading, photo_words(reading, *day, "--taps", str(taps)))
    if keep:
        pane = pane_of(photo, told, size)
        file = keep_picture(opened.folder, tank_id, on or date.today(), pane)
        say(f"Kept {file}: the pane alone, {len(pane) / 1000:.0f} kB")


def _write_page(
    photo: Path, picture: Picture, book: str | None, tank: str | None, html: Path
) -> None:
    """Write the page for tapping, with the photo and the heights expected today inside."""
    import base64
    import math

    import numpy as np

    from growthcast.book.writing.replace import write_whole
    from growthcast.book.writing.visit.places import tank_of_visit
    from growthcast.desk.phone_page import tapping_page
    from growthcast.figures.save import check_target
    from growthcast.forecast.heights import LEVELS
    from growthcast.forecast.report import as_date, forecast_growth
    from growthcast.say.words import named
    from growthcast.service.visit.photo import photo_task
    from growthcast.service.visit.picture import shown_picture

    if html.suffix.lower() not in {".html", ".htm"}:
        raise UsageError(f'a page for tapping is written as .html, and "{html.name}" is not')
    opened, _, fit = open_fit(book, None)
    check_target(opened, html)
    tank_id = tank_of_visit(opened, tank, [])
    place = np.flatnonzero(opened.tanks.text("tank_id") == tank_id)
    today = max(date.today(), as_date(fit.design.on_day))
    looks = forecast_growth(fit, (today,), 1, place)
    ids, labels = (opened.areas.text(name).tolist() for name in ("area_id", "label"))
    called = dict(zip(ids, labels, strict=True))
    expected = {
        look.area_id: (
            named(called[look.area_id], look.area_id),
            float(look.height_cm[0, LEVELS.index(0.5)]),
        )
        for look in looks
    }
    task = photo_task(opened, tank_id, expected)
    shown = "data:image/jpeg;base64," + base64.b64encode(shown_picture(photo)).decode()
    focal = picture.focal_px / picture.width
    given = {"task": task, "focal": None if math.isnan(focal) else focal}
    write_whole(html, tapping_page(opened.practice.locale, tank_id, shown, given))
    say(f"Wrote {html}: open it in a browser, tap, and give what it saves to --taps")
