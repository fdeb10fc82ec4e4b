"""Who a page is from, and what it rests on: name, contact line and logo, and the line below it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date
from io import BytesIO
from pathlib import Path
from xml.etree import ElementTree

from growthcast.book.book import Book, Practice
from growthcast.book.words import shown
from growthcast.brief.page import Block, Logo, Page
from growthcast.fit.growth import last_logged
from growthcast.say.locale import Locale
from growthcast.say.words import named

MOST_BYTES = 2_000_000
FORMS = {".svg": "svg", ".png": "png", ".jpg": "jpg", ".jpeg": "jpg"}
FORMATS = {"png": "PNG", "jpg": "JPEG"}
SVG, LINK = "{http://www.w3.org/2000/svg}", "{http://www.w3.org/1999/xlink}href"
LENGTH = re.compile(r"\+?(\d+\.?\d*|\.\d+)(?:px|pt|pc|mm|cm|in|em|ex)?")


def page_of(
    book: Book, locale: Locale, on: date, title: str, under_title: str, blocks: Sequence[Block]
) -> Page:
    """Return a page with its letterhead, without a logo where its file cannot be used.

    The line below it tells its day, and the day on which the log ends.
    """
    last, day = last_logged(book), locale.long_date(on)
    said = locale.say("stands_on_no_log", date=day)
    if last is not None:
        said = locale.say("stands_on", date=day, last=locale.long_date(last))
    logo, _ = logo_of(book.practice, book.folder)
    whose = named(book.practice.name), named(book.practice.contact), logo
    foot = f"{said} {locale.say('made_with')}"
    return Page(locale.language, title, under_title, on.isoformat(), *whose, tuple(blocks), foot)


def logo_of(practice: Practice, folder: Path) -> tuple[Logo | None, str | None]:
    """Return the logo of ``practice.toml``, or why the page goes without it."""
    if not practice.logo:
        return None, None
    said = f"The page is without the logo {practice.logo} of practice.toml"
    return picture_of(folder, practice.logo, said)


def picture_of(folder: Path, name: str, said: str) -> tuple[Logo | None, str | None]:
    """Return a picture in the book's folder, or why the page goes without it, begun as ``said``."""
    file = folder / name.replace("\\", "/")
    try:
        if not file.resolve().is_relative_to(folder.resolve()):
            return None, f"{said}: it lies outside the book's folder."
        if not file.is_file():
            return None, f"{said}: the book's folder has no such file."
        if file.stat().st_size > MOST_BYTES:
            return None, f"{said}: it is larger than 2 MB; save a smaller one."
        content = file.read_bytes()
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        return None, f"{said}: it cannot be read ({reason})."
    form = FORMS[file.suffix.lower()]
    if fault := _svg_fault(content) if form == "svg" else _raster_fault(content, form):
        return None, f"{said}: {fault}."
    return Logo(content, form), None


def _svg_fault(content: bytes) -> str | None:
    """Say why a drawing cannot be shown by itself, None where it can."""
    try:
        root = ElementTree.fromstring(content)
    except (ElementTree.ParseError, LookupError, ValueError) as error:  # an encoding unknown
        program = "in a text & is written &amp;. Save it anew from a drawing program"
        return f"it is no well-formed SVG ({error}); {program}"
    if root.tag != f"{SVG}svg":
        return f"it holds no SVG (its first element is no svg of {SVG[1:-1]})"
    if not _has_size(root):
        return "it has no size; give its svg element a viewBox, or width and height"
    for image in root.iter(f"{SVG}image"):
        link = image.get("href") or image.get(LINK) or ""
        if not link.startswith("data:"):
            return f"it links to another picture ({shown(link)}); embed that one in it"
    return None


def _has_size(root: ElementTree.Element) -> bool:
    """Whether a drawing has a viewBox or a size that are not zero."""
    box = root.get("viewBox", "").replace(",", " ").split()
    lengths = box[2:] if len(box) == 4 else [root.get("width", ""), root.get("height", "")]
    found = [LENGTH.fullmatch(length.strip()) for length in lengths]
    return all(length is not None and float(length[1]) > 0.0 for length in found)


def _raster_fault(content: bytes, form: str) -> str | None:
    """Say why a picture of pixels cannot be shown, None where it can."""
    from PIL import Image, UnidentifiedImageError

    try:
        for decode in ("verify", "load"):  # its parts to the last, then its pixels
            with Image.open(BytesIO(content), formats=[FORMATS[form]]) as picture:
                getattr(picture, decode)()
    except UnidentifiedImageError:
        return f"it is no {form.upper()} file, or is cut off"
    except Image.DecompressionBombError:
        return "it has too many pixels; save a smaller one"
    except (OSError, SyntaxError, ValueError) as error:
        return f"it is damaged or cut off ({error}); save it anew"
    return None
