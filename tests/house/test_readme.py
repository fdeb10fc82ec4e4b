"""What the README and the pages of docs/ show is what the commands print and the tables declare.

A block between ``<!-- output of: growthcast ... -->`` and ``<!-- end -->`` holds what that command
prints. ``, up to "TEXT"`` after the command cuts it before the first line that begins with TEXT;
the block then ends with a line of three dots. ``<!-- columns of: TABLE -->`` and ``<!-- keys -->``
hold what ``columns.csv`` and ``practice.py`` declare. ``python -m tests.house.test_readme`` writes
all of them anew.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from growthcast.book.tables import KEYS, TABLES
from tests.cli import run

ROOT = Path(__file__).parents[2]
README, BOOK = ROOT / "README.md", ROOT / "docs" / "book.md"
PAGES = [README, ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").rglob("*.md"))]
OUTPUT = re.compile(
    r'(<!-- output of: growthcast ([^\n]+?)(?:, up to "([^\n]+)")? -->\n```text\n)'
    r"(.*?)(```\n<!-- end -->)",
    re.S,
)
DECLARED = re.compile(r"(<!-- (columns of: (\w+)|keys) -->\n)(.*?)(<!-- end -->)", re.S)
CUT = "...\n"


def printed(arguments, until=None):
    """Return what a command prints as far as shown, no blank lines or spaces at line ends."""
    ran = run(*arguments.split())
    assert ran.status == 0
    lines = [line.rstrip() + "\n" for line in ran.out.splitlines() if line.strip()]
    if until is None:
        return "".join(lines)
    [first, *_] = [place for place, line in enumerate(lines) if line.startswith(until)]
    return "".join(lines[:first]) + CUT


def declared(table):
    """Return the columns of a table of the book, or the keys of practice.toml, as a table."""
    if table is not None:
        head = ["column", "what it holds", "cells"]
        rows = [
            [f"`{column.name}`" + " *" * column.required, column.meaning, column.expected]
            for column in TABLES[table]
        ]
    else:
        head = ["section", "key", "what it holds", "value"]
        rows = [
            [f"`[{section}]`", f"`{key.name}`", key.meaning, key.expected]
            for section, keys in KEYS.items()
            for key in keys
        ]
    return "".join(f"| {' | '.join(row)} |\n" for row in [head, ["---"] * len(head), *rows])


def found_on_pages(pattern):
    """Return every match of a pattern with the page it stands on."""
    return [
        pytest.param(
            found,
            id=f"{page.relative_to(ROOT)}: {found[2]}",
            marks=[pytest.mark.slow] * found[2].startswith("backtest"),
        )
        for page in PAGES
        for found in pattern.finditer(page.read_text(encoding="utf-8"))
    ]


@pytest.mark.parametrize("block", found_on_pages(OUTPUT))
def test_pages_show_true_output(block):
    assert printed(block[2], block[3]) == block[4]


@pytest.mark.parametrize("block", found_on_pages(DECLARED))
def test_pages_list_the_columns_and_keys_there_are(block):
    assert declared(block[3]) == block[4]


def test_the_readme_shows_some_output_and_the_book_every_table():
    assert OUTPUT.search(README.read_text(encoding="utf-8"))
    listed = [found[3] for found in DECLARED.finditer(BOOK.read_text(encoding="utf-8"))]
    assert listed == [None, *TABLES]


def marked(kind):
    """Return the marked blocks of a kind in README and docs/book.md as (what it is, text)."""
    found = [
        block
        for page in (README, BOOK)
        for block in re.findall(
            rf"<!-- {kind}(?:: ([^\n]+?))? -->\n```[a-z]+\n(.*?)```\n<!-- end -->",
            page.read_text(encoding="utf-8"),
            re.S,
        )
    ]
    assert found
    return found


def test_the_book_shown_is_one(tmp_path):
    for name, text in marked("file"):
        (tmp_path / name).write_text(text, encoding="utf-8")
    checked = run("check", str(tmp_path))
    assert checked.status == 0, checked.err
    advised = run("interval", str(tmp_path))
    assert advised.status == 0
    assert "lobby" in advised.out


def test_the_finding_shown_is_what_check_says(tmp_path):
    for name, text in marked("file"):
        (tmp_path / name).write_text(text.replace(",18,10,", ",18 cm,10,"), encoding="utf-8")
    [(_, finding)] = marked("finding")
    assert finding in run("check", str(tmp_path)).err + "\n"


if __name__ == "__main__":
    for page in PAGES:
        text = page.read_text(encoding="utf-8")
        text = OUTPUT.sub(lambda old: old[1] + printed(old[2], old[3]) + old[5], text)
        text = DECLARED.sub(lambda old: old[1] + declared(old[3]) + old[5], text)
        page.write_text(text, encoding="utf-8")
