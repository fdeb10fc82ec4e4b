"""Who a page is from, and what it rests on: name, contact line and logo, and the line below it."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path

from growthcast.book.book import Book, Practice
from growthcast.brief.locale import Locale
from growthcast.brief.page import Letterhead, Logo, named
from growthcast.fit.result import last_logged

__all__ = ["foot_of", "letterhead_of", "logo_of"]

MOST_BYTES = 2_000_000
FORMS = {".svg": "svg", ".png": "png", ".jpg": "jpg", ".jpeg": "jpg"}
BEGINS = {"png": b"\x89PNG\r\n\x1a\n", "jpg": b"\xff\xd8\xff"}


def foot_of(book: Book, locale: Locale, on: date) -> str:
    """Return the line below a page: its day, and the day on which the log ends."""
    last, day = last_logged(book), locale.long_date(on)
    said = locale.say("stands_on_no_log", date=day)
    if last is not None:
        said = locale.say("stands_on", date=day, last=locale.long_date(last))
    return f"{said} {locale.say('made_with')}"


def letterhead_of(practice: Practice, folder: Path) -> Letterhead:
    """Return the letterhead; without a logo where its file cannot be used."""
    logo, _ = logo_of(practice, folder)
    return Letterhead(named(practice.name), named(practice.contact), logo)


def logo_of(practice: Practice, folder: Path) -> tuple[Logo | None, str | None]:
    """Return the logo of ``practice.toml``, or why the page goes without it."""
    if not practice.logo:
        return None, None
    file = folder / practice.logo.replace("\\", "/")
    said = f"The page is without the logo {practice.logo} of practice.toml"
    try:
        inside = file.resolve().is_relative_to(folder.resolve())
        if not inside:
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
    if form == "svg":
        is_svg = re.search(rb"<(\w+:)?svg[\s>]", content[:100_000]) is not None
        return (Logo(content, form), None) if is_svg else (None, f"{said}: it holds no SVG.")
    if not content.startswith(BEGINS[form]):
        return None, f"{said}: it is no {form.upper()} file."
    return Logo(content, form), None
