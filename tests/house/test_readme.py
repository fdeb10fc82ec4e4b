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


def marked(kind):
    """Return the README's marked blocks of a kind as (what it is, text)."""
    found = re.findall(
        rf"<!-- {kind}(?:: ([^\n]+?))? -->\n```[a-z]+\n(.*?)```\n<!-- end -->",
        README.read_text(encoding="utf-8"),
        re.S,
    )
    assert found
    return found


def test_the_readmes_book_is_one(tmp_path):
    for name, text in marked("file"):
        (tmp_path / name).write_text(text, encoding="utf-8")
    checked = run("check", str(tmp_path))
    assert checked.status == 0, checked.err
    advised = run("interval", str(tmp_path))
    assert advised.status == 0
    assert "lobby" in advised.out


def test_the_readmes_finding_is_what_check_says(tmp_path):
    for name, text in marked("file"):
        (tmp_path / name).write_text(text.replace(",18,10,", ",18 cm,10,"), encoding="utf-8")
    [(_, finding)] = marked("finding")
    assert finding in run("check", str(tmp_path)).err + "\n"


if __name__ == "__main__":
    README.write_text(
        BLOCK.sub(
            lambda found: found[1] + printed(found[2]) + found[4],
            README.read_text(encoding="utf-8"),
        ),
        encoding="utf-8",
    )
