"""A page as one HTML file: no script, no network, pictures inside."""

from __future__ import annotations

import base64
import re
from functools import cache
from itertools import count
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup, escape

from growthcast.brief.page import Logo, Page, Picture

MIME = {"svg": "image/svg+xml", "png": "image/png", "jpg": "image/jpeg"}


@cache
def templates(package: str) -> Environment:
    """Return the templates of a package."""
    blocks: Any = {"trim_blocks": True, "lstrip_blocks": True, "keep_trailing_newline": True}
    loader = PackageLoader(package, "templates")
    return Environment(loader=loader, autoescape=True, undefined=StrictUndefined, **blocks)


def page_html(page: Page) -> bytes:
    """Return a page as the bytes of an HTML file; the same for the same page.

    Parameters
    ----------
    page : Page
        The page's content. Its texts are escaped; its pictures are drawings of our own.

    Returns
    -------
    bytes
        UTF-8.
    """
    blocks = [(type(block).__name__, block) for block in page.blocks]
    ours, numbers = templates("growthcast.brief"), count(1)

    def inline(picture: Picture) -> Markup:
        return _inlined(picture.svg.decode("utf-8"), f"p{next(numbers)}-")

    given = {"style": Markup(ours.get_template("page.css").render()), "inline": inline}
    given |= {"linked": _linked, "logo": None if page.logo is None else _data_uri(page.logo)}
    return ours.get_template("page.html").render(page=page, blocks=blocks, **given).encode("utf-8")


def _data_uri(logo: Logo) -> str:
    """Return a logo as an address that an ``<img>`` shows: nothing in it can run."""
    content = base64.b64encode(logo.content).decode("ascii")
    return f"data:{MIME[logo.suffix]};base64,{content}"


CONTACT = re.compile(r"(?P<mail>[\w.+-]+@[\w-]+(\.[\w-]+)+)|\+?\d[\d ()/-]{4,}\d")


def _linked(text: str) -> Markup:
    """Return a line of contact whose telephone numbers and mail addresses can be followed."""

    def link(found: re.Match[str]) -> str:
        said = found[0]
        number = re.sub(r"[^+\d]", "", said.replace("(0)", "") if said[0] == "+" else said)
        target = f"mailto:{said}" if found["mail"] else f"tel:{number}"
        return f'<a href="{target}">{said}</a>'

    return Markup(CONTACT.sub(link, str(escape(text))))


COLOURS = re.compile(r"(fill|stroke): (#([0-9a-f]{6}))\b")
FIXED_SIZE = re.compile(r'(<svg [^>]*?) width="[\d.]+pt" height="[\d.]+pt"')
IDS = re.compile(r'(\bid="|href="#|url\(#)([^")]+)')


def _inlined(svg: str, mine: str) -> Markup:
    """Return a drawing as a part of a page: ids that begin with ``mine``, the page's colours."""
    svg = FIXED_SIZE.sub(r"\1", svg, count=1)
    svg = IDS.sub(rf"\1{mine}\2", svg)
    svg = re.sub(r'aria-labelledby="(\S+) (\S+)"', rf'aria-labelledby="{mine}\1 {mine}\2"', svg)
    return Markup(COLOURS.sub(r"\1: var(--fig-\3, \2)", svg).strip())
