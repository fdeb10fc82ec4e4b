"""Words about cells: spreadsheet letters, quoted cells, near misses."""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence

from growthcast.errors import UsageError

PROPOSED = "proposed:"
"""In the note of an area, before the columns that nobody has agreed on yet."""

_LONGEST_SHOWN = 40
_LONGEST_LINE = 300


def column_letter(index: int) -> str:
    """Return the spreadsheet's letter of a column, counted from 0."""
    letters = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters


def shown(cell: object) -> str:
    """Return a cell in quotes: control characters escaped, long cells shortened."""
    try:
        text = str(cell)
    except ValueError:  # a whole number of more digits than Python writes out
        text = "a very long number"
    if len(text) > _LONGEST_SHOWN:
        text = text[: _LONGEST_SHOWN - 1] + "…"
    return '"' + printable(text.replace("\\", "\\\\").replace('"', '\\"')) + '"'


def plain(number: float, digits: int = 10) -> str:
    """Return a number as people write it: no exponent, no digits that arithmetic left behind."""
    text = f"{number + 0.0:.{digits}g}"  # no minus before 0
    return f"{number:.{digits}f}".rstrip("0").rstrip(".") if "e" in text else text


def as_share(percent: float) -> str:
    """Return a percentage as the share to type in its place."""
    share = percent / 100
    return f"{share:.2f}" if percent == int(percent) else f"{share:.6g}"


def printable(text: str) -> str:
    """Return text on one line, with an escape for each character that does not print."""
    if len(text) > _LONGEST_LINE:
        text = text[: _LONGEST_LINE - 1] + "…"
    if text.isprintable():
        return text
    return "".join(
        char if char.isprintable() else char.encode("unicode_escape").decode() for char in text
    )


def _plain(name: str) -> str:
    return re.sub(r"[\s_\-.()\[\]/]+", "", name.casefold())


def is_one_slip(name: str, known: str) -> bool:
    """Whether a name is one slip of the hand from a known one, spacing and case aside."""
    a, b = _plain(name), _plain(known)
    if a == b:
        return True
    if abs(len(a) - len(b)) > 1 or min(len(a), len(b)) < 2:
        return False
    start = 0
    while start < min(len(a), len(b)) and a[start] == b[start]:
        start += 1
    rest_a, rest_b = a[start:], b[start:]
    if rest_a[1:] == rest_b[1:] or rest_a[1:] == rest_b or rest_a == rest_b[1:]:
        return True
    return rest_a[:2] == rest_b[:2][::-1] and rest_a[2:] == rest_b[2:] and len(rest_a) > 1


def nearest(name: str, known: Iterable[str]) -> str | None:
    """Return the known name that looks most like this one, if any does."""
    name = name[:200]
    candidates = list(known)
    by_fold = {candidate.casefold(): candidate for candidate in reversed(candidates)}
    hit = by_fold.get(name.strip().casefold())
    if hit is not None:
        return hit
    if len(candidates) > 2000:  # difflib compares them all: look among the likely ones
        candidates = [c for c in candidates if c[:2].casefold() == name[:2].casefold()][:2000]
    matches = difflib.get_close_matches(name, candidates, n=1)
    return matches[0] if matches else None


def did_you_mean(name: str, known: Iterable[str], otherwise: str) -> str:
    """Return ``did you mean "X"?`` for a near miss, else another sentence."""
    match = nearest(name, known)
    return otherwise if match is None else f"did you mean {shown(match)}?"


def some_of(names: Sequence[str], most: int = 8) -> str:
    """Return names as a list that stays short."""
    return ", ".join(names[:most]) + (" and others" if len(names) > most else "")


def check_known(name: str, known: Sequence[str], lacking: str, listed: str) -> None:
    """Raise ``UsageError`` for a name that is not known, with the nearest or a list of them."""
    if name not in known:
        hint = did_you_mean(name, known, f"{listed} {some_of(known) or 'none'}")
        raise UsageError(f"{lacking} {shown(name)}; {hint}")


def folded(name: str) -> str:
    """Return a name as it is compared: small letters, one space where there is space or hyphen."""
    return " ".join(name.casefold().replace("-", " ").split())


def slug(name: str) -> str:
    """Return a name as an id that is quickly typed.

    >>> slug("Practice Hall 2"), slug("Büro Süd")
    ('practice-hall-2', 'buro-sud')
    """
    plainer = unicodedata.normalize("NFKD", name.casefold())
    letters = "".join(one for one in plainer if not unicodedata.combining(one))
    return re.sub(r"[^\w]+", "-", letters).strip("-_")


def names_that_hold(text: str, known: Mapping[str, Sequence[str]]) -> list[str]:
    """Return the ids with the text in one of their names; those that begin with it first."""
    words = folded(text)
    hits = []
    for name, spellings in known.items() if words else ():
        plain_ones = [folded(spelling) for spelling in spellings]
        if any(words in spelling for spelling in plain_ones):
            begins = any(spelling.startswith(words) for spelling in plain_ones)
            hits.append((not begins, name))
    return [name for _, name in sorted(hits)]
