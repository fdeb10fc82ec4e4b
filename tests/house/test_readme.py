"""What the README shows is what the commands print."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.cli import run

README = Path(__file__).parents[2] / "README.md"
BLOCK = re.compile(
    r"(<!-- output of: growthcast ([^\n]+?) -->\n```text\n)(.*?)(```\n<!-- end -->)", re.S
)


def printed(arguments):
    """Return what a command prints, without the spaces at line ends."""
    ran = run(*arguments.split())
    assert ran.status == 0
    return "".join(line.rstrip() + "\n" for line in ran.out.splitlines() if line.strip())


def blocks():
    """Return the README's outputs as (arguments, text)."""
    return [(found[2], found[3]) for found in BLOCK.finditer(README.read_text(encoding="utf-8"))]


@pytest.mark.parametrize(("arguments", "text"), blocks())
def test_the_readme_shows_true_output(arguments, text):
    assert printed(arguments) == text


def test_the_readme_shows_some_output():
    assert blocks()


if __name__ == "__main__":
    README.write_text(
        BLOCK.sub(
            lambda found: found[1] + printed(found[2]) + found[4],
            README.read_text(encoding="utf-8"),
        ),
        encoding="utf-8",
    )
