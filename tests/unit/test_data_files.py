"""Data files that are read part by part hold what tomllib finds in the whole."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

import growthcast
from growthcast.parts import BY_KEY, BY_TABLE, Parts

PACKAGE = Path(growthcast.__file__).parent
LANGUAGES = sorted((PACKAGE / "say" / "languages").glob("*.toml"))


@pytest.mark.parametrize("file", LANGUAGES, ids=lambda file: file.name)
def test_the_keys_of_a_language_are_those_of_the_whole_file(file):
    assert dict(Parts(file, BY_KEY)) == tomllib.loads(file.read_text(encoding="utf-8"))


@pytest.mark.parametrize("name", ["book/findings.toml", "cli/options.toml"])
def test_tables_are_those_of_the_whole_file(name):
    whole = tomllib.loads((PACKAGE / name).read_text(encoding="utf-8"))
    tables = {f"{head}.{key}": table for head, told in whole.items() for key, table in told.items()}
    assert dict(Parts(PACKAGE / name, BY_TABLE)) == tables
