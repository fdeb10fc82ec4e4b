"""Nouns as bytes, and back: a pickle that names nothing but what may be named here.

A pickle calls what it names. So only nouns, choices and tuples of this package, dates and arrays
are named, in reading as in writing: there is nothing in it that could be run.
"""

from __future__ import annotations

import io
import pickle
from dataclasses import is_dataclass
from enum import Enum
from importlib import import_module
from types import BuiltinFunctionType, FunctionType
from typing import Any

_OF_NUMPY = {"dtype", "ndarray", "scalar", "_frombuffer", "_reconstruct"}
_OTHERS = {("datetime", "date"), ("growthcast.fit.solver.view", "view_of")}
PROTOCOL = 5


def coded(noun: object, *, each: bool = False) -> bytes:
    """Return a noun as bytes; raise ``TypeError`` for what cannot be written so.

    With ``each`` a part that stands in several places is written at each of them, so that nouns
    which are equal are written alike.
    """
    file = io.BytesIO()
    writer = _Writer(file, PROTOCOL)
    writer.fast = each
    writer.dump(noun)
    return file.getvalue()


def decoded(data: bytes) -> Any:
    """Return the noun that ``coded`` wrote; ``ValueError`` and the like for anything else."""
    try:
        return _Reader(io.BytesIO(data)).load()
    except pickle.UnpicklingError as error:
        raise ValueError("not as it was written") from error


class _Writer(pickle.Pickler):
    def reducer_override(self, value: Any) -> Any:
        if isinstance(value, type | FunctionType | BuiltinFunctionType):
            _named(value.__module__, value.__qualname__)
        return NotImplemented


class _Reader(pickle.Unpickler):
    def find_class(self, module: str, name: str) -> Any:
        return _named(module, name)


def _named(module: str, name: str) -> Any:
    """Return what may be named: a noun, choice or tuple of this package, or data beside them."""
    other = (module, name) in _OTHERS or (module.startswith("numpy") and name in _OF_NUMPY)
    package, _, inside = module.partition(".")
    if other or (package == __package__ and inside != "__main__"):
        found: Any = getattr(import_module(module), name, None)
        ours = isinstance(found, type) and found.__module__ == module
        if other or (ours and (is_dataclass(found) or issubclass(found, Enum | tuple))):
            return found
    raise TypeError(f"{module}.{name} cannot be kept")
