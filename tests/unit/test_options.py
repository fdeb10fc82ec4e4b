"""What is plain is read without typer, to the same values; typer has all else."""

from __future__ import annotations

import os
import shlex
from collections.abc import Callable
from dataclasses import MISSING, fields, is_dataclass
from pathlib import Path
from typing import Any, get_type_hints
from unittest import mock

import pytest
import typer
from typer.testing import CliRunner

from growthcast.cli.commands import takes_options
from growthcast.cli.main import COMMANDS, function_of
from growthcast.cli.options import KINDS, Command, check_file
from growthcast.errors import UsageError
from tests.books import write_book

EXAMPLES = [
    line.split("growthcast ", 1)[1]
    for name in COMMANDS
    for line in (function_of(name).__doc__ or "").splitlines()
    if line.strip().startswith("Example: growthcast ") and "--last" not in line
]
PLAIN = [
    "interval",
    "forecast --at 2026-01-01 book --at 2026-02-01",
    "rescape book --tank lobby --layouts a.csv b.csv c.csv",
    "species --light low --sort name",
    "peak --target 0.5 --target 0.6 --visits 2026-03-01",
    "import sheet.xlsx",
    "journal --last 5",
]


def by_typer(name: str, words: list[str]) -> dict[str, Any] | None:
    app, given = typer.Typer(rich_markup_mode=None), list[dict[str, Any]]()
    app.command(name)(takes_options(name))
    with mock.patch.object(Command, "__call__", lambda _, **values: given.append(values)):
        CliRunner().invoke(app, words)
    return given[0] if given else None


@pytest.mark.parametrize("line", [*EXAMPLES, *PLAIN])
def test_plain_words_are_read_as_typer_reads_them(line: str) -> None:
    name, *words = shlex.split(line)
    read = Command(name).read(words)
    assert read is not None
    assert read == by_typer(name, words)


@pytest.mark.parametrize(
    "line",
    [
        "interval --details=1",
        "interval one two",
        "interval --on 2026-13-01",
        "interval --tank",
        "interval --tank --json",
        "interval --help",
        "rounds --weeks many",
        "species --light dim",
        "log -tlobby stems=24",
        "import",
        "peak --within -1",
        "interval -- book",
        "interval ''",
    ],
)
def test_what_is_not_plain_is_left_to_typer(line: str) -> None:
    name, *words = shlex.split(line)
    assert Command(name).read(words) is None


@pytest.mark.parametrize("name", COMMANDS)
def test_a_function_takes_what_is_declared_in_that_order_and_of_that_kind(name: str) -> None:
    declared = {one.name: one for one in Command(name).takes if one.name != "no_cache"}
    taken: dict[str, Any] = {}
    for one, kind in get_type_hints(function_of(name)).items():
        if is_dataclass(kind):
            by_itself = {part.name for part in fields(kind) if part.default is not MISSING}
            kinds = get_type_hints(kind).items()
            taken |= {part: of for part, of in kinds if part in declared or part not in by_itself}
        else:
            taken[one] = kind
    del taken["return"]
    assert [*declared] == [*taken]
    for one, kind in taken.items():
        said = declared[one]
        of = list[KINDS[said.kind]] if said.many else KINDS[said.kind]
        may_be_none = said.default is None and not said.required and not said.lacking
        assert kind == (of | None if may_be_none else of)


@pytest.mark.parametrize("name", ["a.pdf", "a", "a.svgz", ".png"])
def test_files_of_other_forms_are_refused(tmp_path: Path, name: str) -> None:
    with pytest.raises(UsageError, match=r"does not end in \.svg or \.png; name it .+\.svg"):
        check_file(tmp_path, tmp_path / name, (".svg", ".png"))
    with pytest.raises(UsageError, match=r'"\." does not end in .+; name it answer\.svg'):
        check_file(tmp_path, Path(), (".svg", ".png"))


def test_places_that_cannot_be_written_are_sentences(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="no folder"):
        check_file(tmp_path, tmp_path / "missing" / "a.svg", (".svg",))
    assert not (tmp_path / "missing").exists()
    (tmp_path / "folder.svg").mkdir()
    with pytest.raises(UsageError, match="is a folder"):
        check_file(tmp_path, tmp_path / "folder.svg", (".svg",))
    with pytest.raises(UsageError, match="cannot be written"):
        check_file(tmp_path, tmp_path / ("n" * 300 + ".svg"), (".svg",))


@pytest.mark.parametrize("link", [os.symlink, os.link])
def test_a_file_of_the_book_is_never_written_over(
    tmp_path: Path, link: Callable[[Path, Path], None]
) -> None:
    book = write_book(tmp_path / "book")
    link(book / "trims.csv", tmp_path / "log.csv")
    with pytest.raises(UsageError, match=r"is trims\.csv of the book"):
        check_file(book, tmp_path / "log.csv", (".csv",))


@pytest.mark.parametrize(
    "asked",
    [
        "cuts --out log.pdf.csv",
        "cuts --phone log.csv",
        "forecast --plot log.csv",
        "rescape --plot log.csv",
        "watch --plot log.csv",
        "backtest --plot log.csv",
        "rounds --csv log.csv",
        "rounds --ics log.csv",
        "hours --csv log.csv",
        "export --xlsx log.csv",
        "measure photo.jpg --html log.csv",
        "brief --out page.html --data log.csv",
        "quote --out log.csv",
        "overview --out page.html --data log.csv",
        "import diary.csv --as log.csv",
    ],
)
def test_files_to_write_are_refused_before_any_work(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, asked: str
) -> None:
    """The link is the log: of another form, or of the book."""
    book = write_book(tmp_path / "book")
    (tmp_path / "log.csv").symlink_to(book / "trims.csv")
    monkeypatch.chdir(tmp_path)
    name, *words = shlex.split(asked)
    words.insert(1 if name in ("measure", "import") else 0, str(book))
    given = Command(name).read(words)
    assert given is not None
    with (
        mock.patch("growthcast.cli.options.function_of", side_effect=AssertionError),
        pytest.raises(UsageError, match=r"does not end in|is trims\.csv of the book"),
    ):
        Command(name)(**given)


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ("brief --out a.html --tank lobby --every 0", "--every 0 lies outside 1 to 365"),
        ("brief --out a.html --every 9", "--every is asked of one tank"),
        ("brief --out a.html --tank lobby --client A", "or one client"),
        ("quote --out a.html --tank lobby --client A", "or one client"),
        ("journal --last 0", "--last 0 is less than 1; write 20, say"),
        ("backtest --splits 0", "--splits 0 is less than 1"),
        ("peak --shine 2026-03-01 --within 0", "--within 0 lies outside 0.02 to 0.5; write 0.15"),
        ("rescape --layouts a.csv --reach 9", "--layouts and --reach are different questions"),
        ("rescape --layouts a.csv --stock b.txt", "a layout names its own plants"),
        ("rescape --layouts a.csv --keep stems", "--keep goes with --reach"),
        ("unlog --tank lobby", "a visit is named by both"),
        ("unlog --on 2026-03-02", "a visit is named by both"),
        ("unlog --on 2026-03-02 --tank lobby --change 5f0c", "and nothing else"),
        ("log --from visits.txt --tank lobby", "--from FILE has the visits"),
        ("log --from visits.txt --again", "--from FILE has the visits"),
    ],
)
def test_options_that_cannot_be_are_refused_before_any_work(asked: str, said: str) -> None:
    name, *words = shlex.split(asked)
    given = Command(name).read(words)
    assert given is not None
    with (
        mock.patch("growthcast.cli.options.function_of", side_effect=AssertionError),
        pytest.raises(UsageError, match=said),
    ):
        Command(name)(**given)
