"""What the commands that write pages share: the form of the file, its language, the writing."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Literal

from growthcast.errors import UsageError

if TYPE_CHECKING:
    from growthcast.book.book import Book
    from growthcast.brief.page import Page
    from growthcast.say.locale import Locale

__all__ = ["Form", "page_form", "page_locale", "write_page"]

Form = Literal["html", "pdf"]


def page_form(file: Path) -> Form:
    """Return the form that a file's name asks for; refuse PDF where it cannot be made."""
    from growthcast.book.words import printable

    suffix = file.suffix.lower()
    if suffix in {".html", ".htm"}:
        return "html"
    if suffix != ".pdf":
        raise UsageError(
            f'a page is written as .html or .pdf, and "{printable(file.name)}" ends in neither'
        )
    from growthcast.brief.pdf import can_make_pdf

    if not can_make_pdf():
        raise UsageError(
            "PDF pages need the typst module, which is not installed here. Write "
            f'"{printable(file.stem)}.html" instead, open it in a browser and print it to a PDF '
            "(paper A4, background graphics on)"
        )
    return "pdf"


def page_locale(book: Book, file: Path, only: str | None = None) -> Locale:
    """Refuse a file that cannot be written, say what the page goes without, return its locale.

    ``only`` is the language of a page that is written in no other.
    """
    from growthcast.brief.letterhead import logo_of
    from growthcast.cli.output import say
    from growthcast.figures.save import check_target
    from growthcast.say.locale import open_locale

    check_target(book, file)
    practice = book.practice
    locale = open_locale(practice.locale, only)
    if locale.language != locale.place.language:
        say(
            f"There is no text for this page in {practice.locale} yet: it is in English, with the "
            f"numbers and dates of {practice.locale}."
        )
    _, without = logo_of(practice, book.folder)
    if without:
        say(without)
    return locale


def _pdf(page: Page) -> bytes:
    """Return a page as PDF, without a logo that typst cannot decode although it looks sound."""
    from dataclasses import replace

    from typst import TypstError

    from growthcast.brief.pdf import page_pdf
    from growthcast.cli.output import say

    try:
        return page_pdf(page)
    except TypstError as error:
        if page.letterhead.logo is None:
            raise
        bare = page_pdf(replace(page, letterhead=replace(page.letterhead, logo=None)))
        say(f"The page is without the logo of practice.toml: PDF cannot show it ({error}).")
        return bare


def write_page(book: Book, page: Page, file: Path, form: Form) -> None:
    """Write a page, whole or not at all."""
    from growthcast.book.writing.whole import write_whole
    from growthcast.figures.save import check_target

    if form == "html":
        from growthcast.brief.html import page_html

        content = page_html(page)
    else:
        content = _pdf(page)
    check_target(book, file)
    write_whole(file, content)
