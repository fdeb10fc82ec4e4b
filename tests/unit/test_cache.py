"""The cache gives back what was kept under the same key, whole, or nothing at all."""

from __future__ import annotations

import errno
import os
import pickle
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from growthcast import cache
from growthcast.coded import coded, decoded
from growthcast.errors import Exit, Finding
from growthcast.fit.model.spreads import prior_lags
from growthcast.fit.rows.chains import Link
from growthcast.frames import Answers
from tests.books import make_book

DAY = date(2026, 11, 20)


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    monkeypatch.setenv(cache.VARIABLE, str(tmp_path / "kept"))
    cache.turn(on=True)
    yield tmp_path / "kept"
    cache.turn(on=False)


def asked(*given: object, answer: object = "new") -> tuple[Any, bool]:
    """Ask the cache; return what it answers and whether that was worked out."""
    worked: list[bool] = []

    def work() -> object:
        worked.append(True)
        return answer

    return cache.recall(work, *given), bool(worked)


def test_nothing_is_kept_until_it_is_turned_on(tmp_path: Path, monkeypatch: Any) -> None:
    monkeypatch.setenv(cache.VARIABLE, str(tmp_path / "kept"))
    cache.turn(on=False)
    assert asked("fit", DAY) == ("new", True)
    assert not (tmp_path / "kept").exists()


def test_what_was_given_before_is_not_worked_out_again(folder: Path) -> None:
    assert asked("fit", DAY, answer="old") == ("old", True)
    assert asked("fit", DAY) == ("old", False)
    assert len(list(folder.iterdir())) == 1


def test_another_day_name_or_number_is_another_key(folder: Path) -> None:
    asked("fit", DAY, np.arange(3.0), answer="old")
    assert asked("fit", date(2026, 11, 21), np.arange(3.0)) == ("new", True)
    assert asked("advice", DAY, np.arange(3.0)) == ("new", True)
    assert asked("fit", DAY, np.array([0.0, 1.0, 2.0 + 1e-15])) == ("new", True)
    assert asked("fit", DAY, np.arange(3)) == ("new", True)
    assert asked("fit", DAY, np.arange(3.0)) == ("old", False)


def test_another_version_is_another_key(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    asked("fit", DAY, answer="old")
    monkeypatch.setattr(cache, "code", lambda: "an edited checkout, or another numpy")
    assert asked("fit", DAY) == ("new", True)


def test_the_key_knows_every_source_file_and_the_packages() -> None:
    code = cache.code.__wrapped__()
    packages = Path(np.__file__).parent.parent
    assert f"{packages} {packages.stat().st_mtime_ns}" in code.splitlines()
    for name in ("findings.toml", "species.csv", "forms.toml"):
        assert name in code
    file = Path(cache.__file__).parent / "fit" / "solver" / "kalman.py"
    state = file.stat()  # whoever edits it is answered anew
    assert f"{file} {state.st_size} {state.st_mtime_ns}" in code.splitlines()


def corrupt(data: bytes) -> bytes:
    return data[:38] + bytes([data[38] ^ 1]) + data[39:]


@pytest.mark.parametrize(
    "spoil",
    [
        corrupt,
        lambda data: data[:-1],
        lambda data: data[:40],
        lambda _: b"",
        lambda _: b"PK\x03\x04 something else",
        lambda data: data + b"more",
    ],
)
def test_a_broken_file_is_as_if_it_were_not_there(
    folder: Path, spoil: Callable[[bytes], bytes]
) -> None:
    asked("fit", DAY, answer="old")
    [file] = folder.iterdir()
    file.write_bytes(spoil(file.read_bytes()))
    assert asked("fit", DAY) == ("new", True)
    assert asked("fit", DAY) == ("new", False)  # it was written anew


def test_a_file_under_anothers_name_is_foreign(folder: Path) -> None:
    asked("fit", DAY, answer="old")
    [file] = folder.iterdir()
    asked("fit", date(2026, 1, 1), answer="other")
    [other] = [one for one in folder.iterdir() if one != file]
    file.write_bytes(other.read_bytes())
    assert asked("fit", DAY) == ("new", True)


class Bomb:
    """What runs a program when it is unpickled."""

    def __reduce__(self) -> tuple[Any, ...]:
        return os.mkdir, ("exploded",)


@pytest.mark.parametrize(
    "text",
    [
        '[[["noun","pathlib:Path",{}]],[0]]',
        '[[["noun","growthcast.cache:turn",{}]],[0]]',
        '[[["tuple of","growthcast.errors:Finding",[]]],[0]]',
        '[[["choice","growthcast.os:system","name"]],[0]]',
        '[[["program","ls"]],[0]]',
        "[[],[7]]",
        "{}",
        '[[["array","|O",0,[1],"C"]],[0]]',
        '[[["array","<f8",0,[999],"C"]],[0]]',
        '[[["array","<f8",-8,[1],"C"]],[0]]',
    ],
)
def test_what_a_stranger_wrote_with_the_right_digest_makes_nothing_else(
    folder: Path, text: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(folder.parent)
    asked("fit", DAY, answer="old")
    [file] = folder.iterdir()
    for after in (pickle.dumps(Bomb()), b""):
        body = f"{text}\n".encode() + after
        file.write_bytes(cache.digest_of([file.stem.encode(), body]) + body)
        assert asked("fit", DAY) == ("new", True)
    assert not (folder.parent / "exploded").exists()


def test_a_folder_that_cannot_be_made_or_written_keeps_nothing(
    tmp_path: Path, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").write_text("")
    monkeypatch.setenv(cache.VARIABLE, str(tmp_path / "file" / "kept"))
    assert asked("fit", DAY) == ("new", True)
    assert asked("fit", DAY) == ("new", True)
    monkeypatch.setenv(cache.VARIABLE, "/proc/kept")  # root may write to any folder but this
    assert asked("fit", DAY) == ("new", True)


def test_a_full_disk_keeps_nothing_and_leaves_nothing(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: Any) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as during:
        during.setattr(Path, "replace", full)
        assert asked("fit", DAY) == ("new", True)
    assert list(folder.iterdir()) == []
    assert asked("fit", DAY) == ("new", True)
    assert asked("fit", DAY) == ("new", False)


def test_the_folder_is_bounded_and_what_was_not_used_for_longest_goes(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cache, "MOST_BYTES", 40_000)
    for number in range(4):
        asked("fit", number, answer=np.zeros(1_000))  # 8 kB each
        [newest] = [f for f in folder.iterdir() if f.stat().st_mtime > 1e9]
        os.utime(newest, (1000 + number, 1000 + number))
    assert asked("fit", 0)[1] is False  # used last
    for file in folder.iterdir():
        if file.stat().st_mtime > 1e9:
            os.utime(file, (1010, 1010))
    asked("fit", 4, answer=np.zeros(1_000))
    assert sum(file.stat().st_size for file in folder.iterdir()) <= 40_000
    assert asked("fit", 0)[1] is False
    assert asked("fit", 1)[1] is True


def test_an_answer_too_large_is_not_kept(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cache, "MOST_OF_ONE", 1_000)
    asked("fit", DAY, answer=np.zeros(1_000))
    assert not folder.exists()


RACE = """
import sys
from growthcast import cache
cache.turn(on=True)
for number in range(60):
    got = cache.recall(lambda: ("answer", number % 3) * 4000, number % 3)
    assert got == ("answer", number % 3) * 4000
    if number % 7 == int(sys.argv[1]):
        cache.clear()
"""


def test_processes_at_once_do_each_other_no_harm(folder: Path) -> None:
    environment = os.environ | {cache.VARIABLE: str(folder)}
    racing = [
        subprocess.Popen([sys.executable, "-c", RACE, str(n)], env=environment) for n in range(3)
    ]
    assert [process.wait() for process in racing] == [0, 0, 0]


def test_nouns_come_back_as_they_were() -> None:
    shared = np.arange(6.0).reshape(2, 3).T  # in the order of Fortran
    finding = Finding("a.csv", 3, None, "b", "c", "d", "e", "f", "note")
    noun = {
        "numbers": (1, 2.5, float("inf"), True, None, np.float64(0.1), np.bool_(True)),
        "texts": [np.array(["a", "b"]), np.array(["long", ""], dtype=object), np.str_("c")],
        "dates": (DAY, np.datetime64("2026-01-01"), np.array(["2026-01-01", "NaT"], "M8[D]")),
        "arrays": [shared, shared, np.zeros((0, 2), dtype=bool), np.float32([1.5]), np.array(2)],
        "nouns": (finding, prior_lags(), Link.GREW, Exit.DONE, Answers([finding]), b"bytes"),
        3: {},
    }
    body = coded(noun)
    back = decoded(body)
    assert coded(back) == body
    assert repr(back) == repr(noun)
    first, second, *_ = back["arrays"]
    assert first is second
    assert first.flags.f_contiguous


@pytest.mark.parametrize("value", [object(), {1, 2}, np.array([object()]), Path("book")])
def test_what_cannot_come_back_is_refused(value: object) -> None:
    with pytest.raises(TypeError, match="cannot be kept"):
        coded(value)


def test_the_key_of_a_book_holds_all_but_its_place_and_what_was_found(tmp_path: Path) -> None:
    book = make_book(tmp_path / "one")
    moved = replace(book, folder=tmp_path / "two", findings=())
    assert cache._key(cache.tables_of(moved)) == cache._key(cache.tables_of(book))
    for name in (
        "practice",
        "tanks",
        "areas",
        "bounds",
        "trims",
        "conditions",
        "closed",
        "species",
    ):
        other = replace(getattr(book, name), name="another")
        changed = replace(book, **{name: other})
        assert cache._key(cache.tables_of(changed)) != cache._key(cache.tables_of(book)), name
