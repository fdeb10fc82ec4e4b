"""An answer as plain data: what every command prints as JSON, rounded by the unit in a name."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import fields, is_dataclass
from datetime import date
from functools import cache
from types import NoneType
from typing import Any

DIGITS = {
    "per_day": 5,
    "cm": 2,
    "chance": 4,
    "coverage": 4,
    "factor": 4,
    "share": 4,
    "loss": 4,
    "area_days": 3,
    "days": 1,
    "minutes": 1,
    "min": 1,
    "hours": 1,
    "cost": 2,
    "visits_per_year": 2,
}
"""Decimals by the first of these that is in a name; a number of another name stays as it is."""


def in_json(
    name: str | None = None,
    *,
    into: Callable[[Any], Any] | None = None,
    digits: int | None = None,
    flat: bool = False,
    hidden: bool = False,
) -> Mapping[str, Any]:
    """Return the metadata of a field that is not printed as it is called and is.

    Parameters
    ----------
    name : str, optional
        What it is called in JSON.
    into : callable, optional
        What turns the value into what is printed.
    digits : int, optional
        Decimals, where the name does not tell them.
    flat : bool
        Whether the fields of the value stand among those of the noun.
    hidden : bool
        Whether it is not printed.
    """
    return {"name": name, "into": into, "digits": digits, "flat": flat, "hidden": hidden}


def by_quantile(values: Iterable[Any]) -> dict[str, Any]:
    """Return a low, a middle and a high value by their quantiles."""
    return dict(zip(("p10", "p50", "p90"), values, strict=True))


_AS_THEY_ARE = {False: {str, int, bool, NoneType}, True: {str, int, bool, NoneType, float}}
"""Kinds of values that JSON takes as they are: numbers with decimals where those are not said."""

HIDDEN, FLAT = in_json(hidden=True), in_json(flat=True)
BY_QUANTILE = in_json(into=by_quantile)
NULL_IF_BLANK = in_json(into=lambda text: text or None)


Said = Mapping[type, Callable[[Any], Mapping[str, Any]]]
"""What else is told of nouns: by the kind of noun, what makes plain values by their keys of one."""


def plain(value: Any, digits: int | None = None, said: Said | None = None) -> Any:
    """Return an answer as mappings, lists, texts and numbers that JSON knows.

    Parameters
    ----------
    value : object
        A noun (a dataclass), mapping, sequence, array, date, number or text. A noun gives its
        fields, each as ``in_json`` declares it, and the properties that its ``json_with`` names;
        a fit or a backtest, which must be worked out, what its ``as_dict`` says.
    digits : int, optional
        Decimals of numbers in it whose own names tell none.
    said : mapping of type to callable, optional
        What is told of nouns of these kinds beside their fields, wherever they stand.

    Examples
    --------
    >>> plain({"on": date(2026, 3, 2), "heights": (1.234, None)}, digits=1)
    {'on': '2026-03-02', 'heights': [1.2, None]}
    """
    if value is None or isinstance(value, str | int):
        return value
    if isinstance(value, float):
        return float(value) if digits is None else round(float(value), digits)
    if isinstance(value, date):
        return value.isoformat()
    if hasattr(value, "as_dict"):
        return value.as_dict()
    if is_dataclass(value):
        return _row(value, digits, said)
    as_it_is = _AS_THEY_ARE[digits is None]
    if isinstance(value, Mapping):
        return dict(zip(map(str, value), plain([*value.values()], digits, said), strict=True))
    if isinstance(value, tuple | list):
        return [part if type(part) in as_it_is else plain(part, digits, said) for part in value]
    return plain(value.tolist(), digits)  # an array, or one of its numbers


def _row(noun: Any, digits: int | None, said: Said | None) -> dict[str, Any]:
    row: dict[str, Any] = {}
    for attribute, name, own_digits, into, flat in _columns(noun.__class__):
        value = getattr(noun, attribute)
        if into:
            value = into(value)
        kind, to = type(value), digits if own_digits is None else own_digits
        if kind is float and to is not None:
            row[name] = round(value, to)
        elif kind in _AS_THEY_ARE[True]:
            row[name] = value
        elif flat:
            row |= plain(value, to, said)
        else:
            row[name] = plain(value, to, said)
    if said and (told := said.get(noun.__class__)):
        row |= told(noun)
    return row


@cache
def _columns(kind: Any) -> list[tuple[str, str, int | None, Callable[[Any], Any] | None, bool]]:
    """What of a noun is printed: attribute, name, decimals, what it is turned by, if it is flat."""
    columns = []
    declared: list[tuple[str, Mapping[str, Any]]] = [(f.name, f.metadata) for f in fields(kind)]
    for attribute, meta in [*declared, *((also, {}) for also in getattr(kind, "json_with", ()))]:
        name = meta.get("name") or attribute
        digits = meta.get("digits")
        if digits is None:
            digits = next((n for words, n in DIGITS.items() if f"_{words}_" in f"_{name}_"), None)
        if not meta.get("hidden"):
            columns.append((attribute, name, digits, meta.get("into"), bool(meta.get("flat"))))
    return columns
