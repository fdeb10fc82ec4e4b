"""Where answers go: pipes that close, streams that are closed, letters that a stream lacks."""

from __future__ import annotations

import json
import os
import subprocess
import sys

import pytest

from tests.books import TANKS, write_book

pytestmark = pytest.mark.slow


def growthcast(*arguments, redirect="", encoding="utf-8"):
    """Run a command in a shell, with its streams turned elsewhere."""
    shell = ["/bin/bash", "-c", f'set -o pipefail; "$@" {redirect}', "sh"]
    return subprocess.run(
        [*shell, sys.executable, "-m", "growthcast", *map(str, arguments)],
        env={**os.environ, "PYTHONIOENCODING": encoding},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        encoding=encoding,
        check=False,
    )


@pytest.fixture(scope="module")
def polish(tmp_path_factory):
    folder = tmp_path_factory.mktemp("streams")
    return write_book(folder, tanks=TANKS.replace("Client A", "Łódź Órgano"))


@pytest.mark.parametrize("encoding", ["cp1252", "ascii"])
def test_letters_that_stdout_lacks_are_escaped(polish, encoding):
    told = growthcast("interval", polish, encoding=encoding)
    assert told.returncode == 0, told.stderr
    assert "\\u0141" in told.stdout
    assert ("Órgano" in told.stdout) == (encoding == "cp1252")
    told = growthcast("interval", polish, "--json", encoding=encoding)
    assert told.returncode == 0, told.stderr
    assert told.stdout.isascii()
    assert json.loads(told.stdout)["tanks"][0]["client"] == "Łódź Órgano"


def test_letters_of_utf_8_stay_as_they_are(polish):
    assert "Łódź Órgano" in growthcast("interval", polish).stdout
    assert '"Łódź Órgano"' in growthcast("interval", polish, "--json").stdout


def test_letters_that_stderr_lacks_are_escaped(polish):
    told = growthcast("interval", polish, "--tank", "Łódź", encoding="cp1252")
    assert told.returncode == 2
    assert 'no tank "\\u0141ód\\u017a"' in told.stderr


@pytest.mark.parametrize("command", ["species", "check", "--help"])
def test_a_pipe_that_is_closed_ends_a_command_quietly(polish, command):
    book = [polish] if command == "check" else []
    told = growthcast(command, *book, redirect="| true")
    assert (told.returncode, told.stderr.count("Traceback")) == (0, 0)
    assert "Broken" not in told.stderr


def test_a_fault_keeps_its_status_when_nobody_reads_of_it():
    assert growthcast("check", "nowhere", redirect="2>&1 | true").returncode == 2


def test_an_answer_arrives_when_nobody_reads_what_is_said_beside_it(polish):
    told = growthcast("forecast", polish, "--json", redirect="2>&-")
    assert told.returncode == 0
    assert json.loads(told.stdout)["areas"]


@pytest.mark.parametrize("redirect", [">&-", "<&- >&-"])
@pytest.mark.parametrize("command", ["forecast --json", "species", "--version"])
def test_an_answer_with_nowhere_to_go_is_said(polish, command, redirect):
    name, *options = command.split()
    told = growthcast(name, *([polish] if "json" in command else []), *options, redirect=redirect)
    assert told.returncode == 2
    assert "the answer cannot be written to where stdout goes: Bad file descriptor" in told.stderr


def test_a_page_is_written_with_stdout_closed(polish, tmp_path):
    told = growthcast("overview", polish, "--out", tmp_path / "a.html", redirect=">&-")
    assert (told.returncode, "Wrote" in told.stderr) == (0, True)
    assert "stdout" not in (tmp_path / "a.html").read_text(encoding="utf-8")


ENDS = """import atexit, sys
class Held:
    def __del__(self):
        print("taken apart")
held = Held()
atexit.register(print, "the end")
sys.argv[1:] = sys.argv[1:2]
from growthcast.cli.main import program
program()"""


@pytest.mark.parametrize(("asked", "status"), [("--help", 0), ("nonsense", 2)])
def test_a_process_ends_in_order_and_takes_nothing_apart(asked, status):
    told = subprocess.run(
        [sys.executable, "-c", ENDS, asked], capture_output=True, text=True, check=False
    )
    assert told.returncode == status
    assert told.stdout.endswith("the end\n")
    assert bool(told.stderr) == bool(status)
