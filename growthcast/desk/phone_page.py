"""The page of phones: one page without a client's data, with scripts and style of its own."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from collections.abc import Callable, Sequence
from functools import lru_cache, partial
from importlib.resources import files
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from growthcast.say.locale import open_locale

SCRIPTS = ("seal.js", "taps.js", "photo.js", "phone.js")
KINDS = {".css": "text/css", ".js": "text/javascript"}


@lru_cache(maxsize=1)
def templates() -> Environment:
    """Return the templates of the desk."""
    return Environment(
        loader=PackageLoader("growthcast.desk", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def static(name: str) -> bytes:
    """Return one of our own files."""
    return (files("growthcast.desk") / "static" / name).read_bytes()


def kind(name: str) -> str:
    """Return the media type of one of our own files."""
    return KINDS[name[name.rindex(".") :]]


SAID_BY_NAME = (
    *("photo_tank", "photo_lens", "photo_tiny"),
    *(f"state_{state}" for state in ("here", "book", "other", "refused")),
)
"""Words of the page whose keys its script puts together."""
STATIC = ("desk.css", *SCRIPTS)
"""Files that are served as they are, and nothing else: no name from a request becomes a path."""
PARTS: dict[str, tuple[Callable[[], bytes], str]] = {
    name: (partial(static, name), kind(name)) for name in STATIC
}


def phone_page(tag: str, day: dict[str, Any] | None = None) -> bytes:
    """Return the page in the language of a place; with a day's visits it is one file by itself."""
    comma = "," in open_locale(tag).number(0.5, 1)
    more = {"names": SCRIPTS, "noop": lambda value: value, "alone": day is not None}
    return _page("phone.html", tag, SCRIPTS, {"comma": comma, "day": day}, more)


def tapping_page(tag: str, name: str, picture: str, given: dict[str, Any]) -> bytes:
    """Return the page for tapping on one photo, a file by itself; the picture is a data URL."""
    more = {"name": name, "picture": Markup(picture)}
    return _page("measure.html", tag, ("photo.js", "measure.js"), given, more)


def _page(
    template: str, tag: str, names: Sequence[str], given: dict[str, Any], more: dict[str, Any]
) -> bytes:
    """Return a page with the words that its scripts say, and its scripts and style by hash."""
    locale = open_locale(tag)
    style = static("desk.css").decode()
    scripts = [static(name).decode() for name in names]
    said = {*re.findall(r'"(\w+)"', "".join(scripts)), *SAID_BY_NAME}
    words = {key: text for key in said if (text := locale.text.get(f"desk_{key}")) is not None}
    hashes = " ".join(
        f"'sha256-{base64.b64encode(hashlib.sha256(one.encode()).digest()).decode()}'"
        for one in (*scripts, style)
    )
    rendered = (
        templates()
        .get_template(template)
        .render(
            t=lambda key, **values: locale.say(f"desk_{key}", **values),
            lang=locale.language,
            given=_data({"words": words, **given}),
            scripts=[Markup(one) for one in scripts],
            style=Markup(style),
            hashes=hashes,
            **more,
        )
    )
    return rendered.encode()


def _data(value: object) -> Markup:
    """Return data as JSON that cannot end the element it stands in."""
    text = json.dumps(value, ensure_ascii=True, allow_nan=False)
    return Markup(text.replace("<", "\\u003c").replace("&", "\\u0026"))
