"""Commands answer from the cache what they answer without it, to the last letter."""

from __future__ import annotations

import contextlib
import io
import os
import sys
from pathlib import Path
from unittest import mock

import pytest

from growthcast import cache
from growthcast.book.files import demo_dir
from growthcast.cli.main import main
from tests.books import stem_log, write_book
from tests.cli import Ran, run

DEMO = str(demo_dir())
FROM_A_FIT = [
    ("interval", DEMO),
    ("interval", DEMO, "--tank", "lobby-stems", "--json"),
    ("interval", DEMO, "--tank", "lobby-stems", "--suppose", "ppfd_umol=60"),
    ("forecast", DEMO, "--json"),
    ("cuts", DEMO, "--tank", "lobby-stems"),
    ("fit", DEMO, "--json"),
    ("check", DEMO, "--deep"),
    ("rounds", DEMO, "--weeks", "2"),
    ("away", DEMO, "--from", "2026-12-20", "--to", "2027-01-03"),
    ("peak", DEMO, "--tank", "lobby-stems", "--shine", "2026-12-12"),
    ("watch", DEMO),
    ("backtest", DEMO, "--splits", "2", "--json"),
]


def kept_run(*arguments: str) -> Ran:
    """Run ``growthcast`` with nothing of it replaced."""
    out, err, status = io.StringIO(), io.StringIO(), 0
    with (
        mock.patch.object(sys, "argv", ["growthcast", *arguments]),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
    ):
        try:
            main()
        except SystemExit as stop:
            status = int(stop.code or 0)
    return Ran(status, out.getvalue(), err.getvalue())


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("kept")


@pytest.fixture
def small_book(tmp_path: Path) -> Path:
    write_book(tmp_path / "book", trims=stem_log())
    return tmp_path / "book"


@pytest.fixture(autouse=True)
def on(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(cache.VARIABLE, str(folder))


@pytest.mark.slow
@pytest.mark.parametrize("arguments", FROM_A_FIT, ids=" ".join)
def test_an_answer_from_the_cache_is_the_fresh_one(
    arguments: tuple[str, ...], folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = kept_run(*arguments)
    with monkeypatch.context() as anew:
        anew.setattr("growthcast.fit.growth._fitted", None)  # nobody fits again
        assert kept_run(*arguments) == first
        anew.setattr("growthcast.cli.again.printed_again", lambda _: None)
        assert kept_run(*arguments) == first  # from the fit that was kept
    monkeypatch.setenv(cache.VARIABLE, cache.OFF)
    assert first == run(*arguments)
    assert first.status in (0, 1)


@pytest.mark.slow
def test_a_page_from_the_cache_is_the_fresh_one(small_book: Path, tmp_path: Path) -> None:
    made = []
    for name, option in (("a", ()), ("b", ()), ("c", ("--no-cache",))):
        file = tmp_path / f"{name}.html"
        assert kept_run("overview", str(small_book), "--out", str(file), *option).status == 0
        made.append(file.read_bytes())
    assert made[0] == made[1] == made[2]


def test_a_changed_book_is_answered_anew(folder: Path, small_book: Path) -> None:
    before = kept_run("interval", str(small_book), "--json")
    count = len(cache.files())
    kept_run("interval", str(small_book), "--json")
    assert len(cache.files()) == count
    write_book(small_book, trims=stem_log(before=18.1))
    after = kept_run("interval", str(small_book), "--json")
    assert len(cache.files()) == count + 2  # fit and advice; what is printed is in its place
    assert before != after


def test_no_cache_reads_and_writes_nothing(
    folder: Path, small_book: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv(cache.VARIABLE, str(tmp_path / "mine"))
    kept_run("interval", str(small_book), "--no-cache")
    assert not (tmp_path / "mine").exists()


def test_what_is_kept_is_told_and_deleted(
    small_book: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv(cache.VARIABLE, str(tmp_path / "mine"))
    kept_run("interval", str(small_book))
    assert "holds 3 answers and takes" in " ".join(kept_run("cache").out.split())
    assert "Deleted 3 answers" in kept_run("cache", "--clear").out
    assert list((tmp_path / "mine").iterdir()) == []
    assert '"answers": 0' in kept_run("cache", "--json").out
    monkeypatch.setenv(cache.VARIABLE, "off")
    assert "Nothing is kept" in kept_run("cache").out


def test_the_same_question_is_answered_without_reading_the_book(
    small_book: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = ("interval", str(small_book))
    write_book(small_book, trims=stem_log().replace("note", "remark"))
    first = kept_run(*asked)
    assert (first.status, "unknown-column" in first.err) == (0, True)
    monkeypatch.setattr("growthcast.book.read.read_book", None)  # who needs it fails
    assert kept_run(*asked) == first
    trims = small_book / "trims.csv"
    was = trims.read_bytes()
    for other in (was + b"\n", was.replace(b"18.5", b"18.6", 1)):
        trims.write_bytes(other)
        assert kept_run(*asked).status == 3
    trims.write_bytes(was)
    beside = small_book / "trims (copy).csv"  # which reading remarks on
    beside.write_bytes(was)
    assert kept_run(*asked).status == 3
    beside.unlink()
    for name, value in (
        ("growthcast.cli.again.time.strftime", lambda _: "2030-01-01"),
        ("growthcast.cache.code", lambda: "an edited checkout"),
        ("os.environ", {**os.environ, "NO_COLOR": "1"}),
        ("pathlib.Path.cwd", lambda: tmp_path),
    ):
        with monkeypatch.context() as changed:
            changed.setattr(name, value)
            assert kept_run(*asked).status == 3, name
    assert kept_run(*asked, "--details").status == 3
    assert kept_run(*asked, "--no-cache").status == 3
    assert kept_run(*asked) == first


def test_what_was_printed_is_kept_whole_or_not_at_all(
    folder: Path, small_book: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = ("cuts", str(small_book), "--tank", "lobby")
    first = kept_run(*asked)
    [printed] = [one for one, _ in cache.files() if str(small_book).encode() in one.read_bytes()]
    printed.write_bytes(printed.read_bytes().replace(b"cm", b"mm"))
    assert kept_run(*asked) == first
    page = tmp_path / "a.html"
    for _ in range(2):  # who asks for a file gets it
        page.unlink(missing_ok=True)
        assert kept_run(*asked, "--phone", str(page)).status == 0
        assert page.exists()
    monkeypatch.setattr(cache, "MOST_OF_ONE", 10)
    count = len(cache.files())
    assert kept_run(*asked, "--json").status == 0
    assert len(cache.files()) == count
