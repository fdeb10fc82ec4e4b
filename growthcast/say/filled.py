"""The texts of a language, and how their blanks are filled."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from functools import lru_cache
from pathlib import Path
from string import Formatter
from typing import Any

from growthcast.parts import BY_KEY, Parts

FORMATTER = Formatter()

LANGUAGES = Path(__file__).with_name("languages")


@lru_cache(maxsize=4)
def read_texts(language: str) -> Mapping[str, str]:
    """Return every text of a language; those of the terminal stand by themselves."""
    return Parts(LANGUAGES / f"{language}.toml", BY_KEY)


@lru_cache(maxsize=1024)
def _parts_of(text: str) -> list[tuple[str, str, str, str | None, str, str]]:
    """Return each text before a blank, whose it is, the whole blank, its test, and its two ways."""
    parts = []
    for before, blank, way, _ in FORMATTER.parse(text):
        noun = re.split(r"[.[]", blank or "")[0]
        test, choice, words = (way or "").partition("?")
        one, *rest = words.split("||") if choice else test.split("|")
        while one.count("{") > one.count("}"):  # those in a blank of the first belong to it
            one = f"{one}||{rest.pop(0)}"
        parts.append((before, noun, blank or "", test if choice else None, one, "||".join(rest)))
    return parts


def filled(text: str, blanks: Mapping[str, Any], ways: Callable[[str], Any]) -> str:
    """Return a text with its blanks filled, "" where one of them is None.

    A blank names a value or a field of one and, behind a colon, how it is written: by the function
    that ``ways`` has of that name, which finds what it asks for beside the value among the blanks;
    as so many things, as ``{n:visit|visits}``; as one of two texts with blanks of their own, as
    ``{late:?by {late}||in time}`` where something holds and ``{n:1?is||are}`` where it reads so; or
    as Python formats it.

    Examples
    --------
    >>> ways = {"loud": lambda text: text.upper()}.get
    >>> filled("{found:area|areas} in {unit:loud}", {"found": 1, "unit": "cm"}, ways)
    '1 area in CM'
    >>> filled("{found:1?is||are}{unit:? in {unit}||}", {"found": 2, "unit": None}, ways)
    'are'
    """
    said = []
    for before, noun, blank, test, way, many in _parts_of(text):
        said.append(before)
        if not blank:
            continue
        value = blanks[noun]
        if value is not None and noun != blank:
            value, _ = FORMATTER.get_field(blank, (), blanks)
        if test is not None:
            holds = str(value) == test if test else value
            said.append(filled(way if holds else many, blanks, ways))
        elif value is None:
            return ""
        elif many:
            said.append(f"{value} {way if value == 1 else many}")
        elif write := ways(way):
            first = 2 if hasattr(write, "__self__") else 1  # the value, behind whose method it is
            asked = write.__code__.co_varnames[first : write.__code__.co_argcount]
            said.append(write(value, **{name: blanks[name] for name in asked if name in blanks}))
        else:
            said.append(format(value, way))
    return "".join(said)
