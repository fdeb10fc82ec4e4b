"""Data files of the package in TOML, read part by part: a command asks for few of hundreds."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any


class Parts(Mapping[str, Any]):
    """The tables of a file by their whole names, or its keys; each is read when it is asked for."""

    def __init__(self, file: Path, begins: str) -> None:
        """Cut the text before each line that ``begins`` so, with a name in a group."""
        found = [*re.finditer(f"^{begins}", text := file.read_text(encoding="utf-8"), re.MULTILINE)]
        ends = [one.start() for one in found[1:]] + [len(text)]
        self._text = {one[1]: text[one.start() : end] for one, end in zip(found, ends, strict=True)}
        self._read: dict[str, Any] = {}

    def __getitem__(self, name: str) -> Any:
        if name not in self._read:
            value: Any = tomllib.loads(self._text[name])
            for key in name.split("."):
                value = value[key]
            self._read[name] = value
        return self._read[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._text)

    def __len__(self) -> int:
        return len(self._text)


BY_TABLE, BY_KEY = r"\[([\w.-]+)\]$", r"([\w-]+) = "
"""How tables and keys begin."""
