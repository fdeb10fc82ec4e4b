"""Pictures of a tank that somebody chose for its client's page: the first, the last, the best."""

from __future__ import annotations

import base64
import re
from collections.abc import Sequence
from datetime import date
from io import BytesIO

from markupsafe import escape

from growthcast.book.book import Book
from growthcast.book.words import shown
from growthcast.book.writing.visit.lines import PHOTOS
from growthcast.brief.letterhead import picture_of
from growthcast.brief.page import Block, Heading, Picture, Pictures
from growthcast.nouns import dataclass
from growthcast.say.locale import Locale

MOST = 3
OWN_NAME = re.compile(r"(\d{4}-\d\d-\d\d)[\w-]*\.jpg")


@dataclass(frozen=True, slots=True)
class Photo:
    """A picture of a tank, and the day in its name."""

    day: date
    content: bytes


def photos_of(book: Book, tank_ids: Sequence[str]) -> tuple[tuple[Photo, ...], tuple[str, ...]]:
    """Return the pictures that tanks.csv names for tanks, and why the page goes without others."""
    found: list[Photo] = []
    troubles: list[str] = []
    for tank_id in tank_ids:
        [names] = book.tanks.text("photos")[book.tanks.text("tank_id") == tank_id].tolist()
        for number, name in enumerate(re.split(r"[\s;,]+", names.strip()) if names else ()):
            said = f"The page is without the photo {shown(name)} of {tank_id} in tanks.csv"
            own = OWN_NAME.fullmatch(name)
            try:
                day = date.fromisoformat(own[1] if own else "")
            except ValueError:
                troubles.append(f"{said}: names are as {PHOTOS} has them, 2026-03-02-lobby.jpg.")
                continue
            picture, trouble = picture_of(book.folder, f"{PHOTOS}/{name}", said)
            if number >= MOST:
                trouble = f"{said}: a page shows {MOST} of a tank at most."
            if trouble or picture is None:
                troubles.append(str(trouble))
            else:
                found.append(Photo(day, picture.content))
    return tuple(found), tuple(troubles)


def photo_blocks(locale: Locale, photos: Sequence[Photo], level: int) -> list[Block]:
    """Return pictures of a tank side by side, each under its day."""
    if not photos:
        return []
    shown_ones = tuple(_picture(locale, one) for one in sorted(photos, key=lambda one: one.day))
    heading = Heading(locale.say("photos_heading"), level)
    return [heading, Pictures(shown_ones, "", columns=MOST)]


def _picture(locale: Locale, photo: Photo) -> Picture:
    """Return a photo as a drawing that holds it, as pages want their pictures."""
    from PIL import Image

    with Image.open(BytesIO(photo.content)) as opened:
        wide, high = opened.size
    day = locale.long_date(photo.day)
    heard = locale.say("photos_heard", date=day)
    inside = base64.b64encode(photo.content).decode("ascii")
    image = f'<image width="{wide}" height="{high}" href="data:image/jpeg;base64,{inside}"/>'
    svg = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide} {high}" role="img" '
    svg += f'aria-label="{escape(heard)}">{image}</svg>'
    return Picture(svg.encode(), day, "", heard)
