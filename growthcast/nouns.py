"""Frozen dataclasses whose ``__init__`` is written when the first of them is made.

The standard library writes and compiles six methods of every class as its module is imported: a
millisecond a noun, a tenth of a second of every command, most of whose nouns are never made.
"""

from __future__ import annotations

from dataclasses import MISSING, FrozenInstanceError, fields
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from dataclasses import dataclass as dataclass
else:
    from dataclasses import dataclass as _standard

    def dataclass(*, frozen: bool, slots: bool = False, eq: bool = True, repr: bool = True) -> Any:
        """Return a decorator that makes what ``dataclasses.dataclass`` would of a frozen class."""
        if not frozen:
            raise TypeError("a noun is frozen; dataclasses has the others")
        methods = {"__setattr__": _refuse, "__delattr__": _refuse}
        methods |= {"__getstate__": _values, "__setstate__": _fill}
        methods |= {"__eq__": _is_alike, "__hash__": _hash} if eq else {}
        methods |= {"__repr__": _shown} if repr else {}

        def made(kind: type) -> type:
            own = set(vars(kind))
            kind = _standard(kind, init=False, eq=False, repr=False, slots=slots)
            for name, method in methods.items():
                if name not in own:
                    setattr(kind, name, method)
            kind.__init__ = _write_when_called(kind)
            return kind

        return made


def _write_when_called(kind: Any) -> Any:
    def write(self: Any, *values: Any, **named: Any) -> None:
        kind.__init__ = _written(kind)
        kind.__init__(self, *values, **named)

    return write


def _written(kind: Any) -> Any:
    """Write ``__init__`` of a noun: its fields in order, with their defaults."""
    known: dict[str, Any] = {"fill": object.__setattr__, "MISSING": MISSING}
    head, body = ["self"], []
    for one in fields(kind):
        name = value = one.name
        if one.default_factory is not MISSING:
            known[f"new_{name}"], known[f"default_{name}"] = one.default_factory, MISSING
            value = f"new_{name}() if {name} is MISSING else {name}"
        elif one.default is not MISSING:
            known[f"default_{name}"] = one.default
        head.append(f"{name}=default_{name}" if f"default_{name}" in known else name)
        body.append(f"    fill(self, {name!r}, {value})")
    exec("\n".join([f"def __init__({', '.join(head)}):", *body]), known)  # as the library does
    known["__init__"].__qualname__ = f"{kind.__qualname__}.__init__"
    return known["__init__"]


def _refuse(self: Any, name: str, *value: Any) -> None:
    done = "assign to" if value else "delete"
    raise FrozenInstanceError(f"cannot {done} field {name!r} of {type(self).__name__}")


def _values(self: Any) -> list[Any]:
    return [getattr(self, one.name) for one in fields(self)]


def _fill(self: Any, values: list[Any]) -> None:
    for one, value in zip(fields(self), values, strict=True):
        object.__setattr__(self, one.name, value)


def _compared(self: Any) -> tuple[Any, ...]:
    return tuple(getattr(self, one.name) for one in fields(self) if one.compare)


def _is_alike(self: Any, other: object) -> Any:
    if other.__class__ is not self.__class__:
        return NotImplemented
    return all(map(_same, _compared(self), _compared(other)))


def _same(mine: Any, theirs: Any) -> bool:
    """Whether two values are equal, arrays element by element."""
    shapes = [getattr(value, "shape", None) for value in (mine, theirs)]
    if shapes == [None, None]:
        return bool(mine == theirs)
    return shapes[0] == shapes[1] and bool((mine == theirs).all())


def _hash(self: Any) -> int:
    return hash(_compared(self))


def _shown(self: Any) -> str:
    shown = ", ".join(f"{one.name}={getattr(self, one.name)!r}" for one in fields(self) if one.repr)
    return f"{self.__class__.__qualname__}({shown})"
