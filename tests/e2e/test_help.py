"""The help of all commands: the same text by both ways, with the whole sentence of each."""

from __future__ import annotations

import importlib

import pytest
from typer.testing import CliRunner

from growthcast.cli.commands import app
from growthcast.cli.main import COMMANDS, HEADINGS, help_text
from tests.cli import run


@pytest.mark.parametrize("columns", ["40", "80", "200"])
def test_help_is_the_same_text_by_both_ways_and_fits_the_screen(columns, monkeypatch):
    monkeypatch.setenv("COLUMNS", columns)
    asked, by_typer = run("--help"), CliRunner().invoke(app, ["--help"])
    assert asked == (0, help_text() + "\n", "")
    assert (by_typer.exit_code, by_typer.output) == (0, asked.out)
    assert run("--help", "interval") == asked  # typer takes what is more than --help alone
    assert max(map(len, asked.out.splitlines())) <= min(int(columns), 100)
    assert asked.out.isascii()  # any terminal can write it


def test_nothing_asked_is_answered_by_the_help_beside_the_answer():
    assert run() == (2, "", run("--help").out)


@pytest.mark.parametrize("command", COMMANDS)
def test_a_command_is_listed_with_its_whole_first_sentence(command):
    function = getattr(
        importlib.import_module(f"growthcast.cli.{COMMANDS[command]}"), f"{command}_command"
    )
    sentence = function.__doc__.splitlines()[0]
    assert sentence.endswith(".")
    assert f" {command} {sentence} " in " ".join(run("--help").out.split())


def test_the_commands_stand_under_their_headings():
    lines = run("--help").out.splitlines()
    told = [line.split()[0] for line in lines if line[:2] == "  " and line[2] not in " -"]
    assert told == list(COMMANDS)
    assert [line[:-1] for line in lines if line.endswith(":") and line[:-1] in HEADINGS] == [
        *HEADINGS
    ]
