"""The page of phones: one page without a client's data, with scripts and style of its own."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from collections.abc import Callable
from functools import lru_cache, partial
from importlib.resources import files
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from growthcast.say.locale import open_locale

SCRIPTS = ("seal.js", "taps.js", "phone.js")
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
    "bucket",
    "rest",
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
    locale = open_locale(tag)
    comma = "," in locale.number(0.5, 1)
    style = static("desk.css").decode()
    scripts = [static(name).decode() for name in SCRIPTS]
    said = {*re.findall(r'"(\w+)"', scripts[-1]), *SAID_BY_NAME}
    words = {key: text for key in said if (text := locale.text.get(f"desk_{key}")) is not None}
    hashes = " ".join(
        f"'sha256-{base64.b64encode(hashlib.sha256(one.encode()).digest()).decode()}'"
        for one in (*scripts, style)
    )
    text = (
        templates()
        .get_template("phone.html")
        .render(
            t=lambda key, **values: locale.say(f"desk_{key}", **values),
            lang=locale.language,
            given=_data({"words": words, "comma": comma, "day": day}),
            scripts=[Markup(one) for one in scripts] if day else None,
            names=SCRIPTS,
            noop=lambda value: value,
            style=Markup(style),
            hashes=hashes,
        )
    )
    return text.encode()


def _data(value: object) -> Markup:
    """Return data as JSON that cannot end the element it stands in."""
    text = json.dumps(value, ensure_ascii=True, allow_nan=False)
    return Markup(text.replace("<", "\\u003c").replace("&", "\\u0026"))
