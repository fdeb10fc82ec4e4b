"""Nouns as bytes, and back: JSON that names classes of this package, and plain numbers after it.

A noun is written part by part, each part once: a part names others by their place, those before
it. Numbers of arrays stand end to end behind the JSON. Read back are only nouns, choices and tuples
of this package: there is nothing in it that could be run.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import fields, is_dataclass
from datetime import date
from enum import Enum
from importlib import import_module
from math import prod
from typing import Any, Literal

import numpy as np

_PLAIN = (str, int, float, bool, type(None))
_ALIGNED = 8
"""Numbers begin at a multiple of so many bytes, as numpy wants them."""


def coded(noun: object) -> bytes:
    """Return a noun as a line of JSON and numbers; ``TypeError`` for what cannot be written so.

    A noun that says what is ``stored`` of it is made ``again`` from that when it is read.
    """
    coder = _Coder()
    whole = coder.of(noun)
    text = json.dumps([coder.parts, whole], separators=(",", ":"))
    return b"".join([text.encode(), b"\n", *coder.numbers])


class _Coder:
    def __init__(self) -> None:
        self.parts: list[list[Any]] = []
        self.numbers: list[bytes] = []
        self._end = 0
        self._places: dict[int, tuple[int, object]] = {}  # what is held keeps its identity

    def of(self, value: Any) -> Any:
        """Return a plain value as it is, the place of any other in a list of its own."""
        if type(value) in _PLAIN:
            return value
        if id(value) not in self._places:
            part = self._part(value)
            self._places[id(value)] = len(self.parts), value
            self.parts.append(part)
        return [self._places[id(value)][0]]

    def _part(self, value: Any) -> list[Any]:
        kind = type(value)
        if kind is np.ndarray and value.dtype.kind == "O":
            texts = value.ravel().tolist()
            if not all(isinstance(text, str) for text in texts):
                raise TypeError("an array of objects cannot be kept")
            return ["texts", texts, value.shape]
        if kind is np.ndarray or isinstance(value, np.generic):
            return ["array" if kind is np.ndarray else "number", *self._numbers(value)]
        if kind is bytes:
            return ["bytes", *self._numbers(np.frombuffer(value, np.uint8))]
        if isinstance(value, Enum):
            return ["choice", _name_of(kind), value.name]
        if is_dataclass(value):
            names = getattr(kind, "stored", None) or [one.name for one in fields(value)]
            return ["noun", _name_of(kind), {name: self.of(getattr(value, name)) for name in names}]
        if isinstance(value, Mapping):
            return ["mapping", [[self.of(key), self.of(part)] for key, part in value.items()]]
        if isinstance(value, tuple) and kind is not tuple:
            return ["tuple of", _name_of(kind), [self.of(part) for part in value]]
        if kind in (tuple, list):
            return [kind.__name__, [self.of(part) for part in value]]
        if kind is date:
            return ["date", value.isoformat()]
        raise TypeError(f"{kind.__name__} cannot be kept")

    def _numbers(self, values: Any) -> list[Any]:
        """Write the numbers of an array, or the one that it is; return where and how they stand."""
        # Sums run along the memory, so that its order decides their last digits.
        by_columns = values.flags.f_contiguous and not values.flags.c_contiguous
        order: Literal["C", "F"] = "F" if by_columns else "C"
        data, begin = values.tobytes(order), self._end
        self.numbers += [data, bytes(-len(data) % _ALIGNED)]
        self._end += len(data) + len(self.numbers[-1])
        return [values.dtype.str, begin, values.shape, order]


def decoded(body: bytes) -> Any:
    """Return the noun that ``coded`` wrote."""
    text, _, after = body.partition(b"\n")
    parts, whole = json.loads(text)
    made: list[Any] = []
    numbers = bytearray(after)

    def known(value: Any) -> Any:
        return made[value[0]] if isinstance(value, list) else value

    def array(kind: str, begin: int, shape: list[int], order: Literal["C", "F"]) -> Any:
        return np.frombuffer(numbers, kind, prod(shape), begin).reshape(shape, order=order)

    makers: Mapping[str, Callable[..., Any]] = {
        "array": array,
        "number": lambda *its: array(*its)[()],
        "bytes": lambda *its: array(*its).tobytes(),
        "texts": lambda texts, shape: np.array(texts, dtype=object).reshape(shape),
        "choice": lambda kind, name: _class_named(kind)[name],
        "noun": lambda kind, its: _noun(_class_named(kind), {n: known(v) for n, v in its.items()}),
        "mapping": lambda pairs: {known(key): known(value) for key, value in pairs},
        "tuple of": lambda kind, items: tuple.__new__(_class_named(kind), map(known, items)),
        "tuple": lambda items: tuple(map(known, items)),
        "list": lambda items: [*map(known, items)],
        "date": date.fromisoformat,
    }
    for what, *part in parts:  # a KeyError tells that nothing is kept as that
        made.append(makers[what](*part))
    return known(whole)


def _noun(kind: Any, values: dict[str, Any]) -> Any:
    if hasattr(kind, "stored"):
        return kind.again(**values)
    if set(values) != {one.name for one in fields(kind)}:
        raise ValueError(f"{kind.__name__} has other fields")
    noun = object.__new__(kind)
    for name, value in values.items():
        object.__setattr__(noun, name, value)
    return noun


def _name_of(kind: type) -> str:
    return f"{kind.__module__}:{kind.__qualname__}"


def _class_named(name: str) -> Any:
    """Return a noun, choice or tuple of this package; nothing else is ever made."""
    module, _, qualname = name.partition(":")
    if not module.startswith(f"{__package__}."):
        raise ValueError(f"{name} is none of ours")
    kind = getattr(import_module(module), qualname)
    if not (isinstance(kind, type) and (is_dataclass(kind) or issubclass(kind, Enum | tuple))):
        raise ValueError(f"{name} is no noun")
    return kind
