"""``growthcast forecast --plot`` on the demo."""

from __future__ import annotations

import json
from pathlib import Path
from xml.etree import ElementTree

import pytest

from tests.cli import run

FORECAST = ("forecast", str(Path(__file__).parents[2] / "data" / "demo"))


@pytest.mark.slow
def test_plot_writes_the_figure_and_says_so_on_stderr(tmp_path: Path) -> None:
    file = tmp_path / "reception.svg"
    done = run(*FORECAST, "--tank", "reception", "--plot", str(file), "--json")
    assert done.status == 0, done.err
    assert f"Wrote {file}" in done.err
    answer = json.loads(done.out)
    described = ElementTree.parse(file).getroot().find("{http://www.w3.org/2000/svg}desc").text
    for area in answer["areas"]:
        assert f"height {area['budget_cm']:g} " in described


@pytest.mark.slow
def test_plot_refuses_in_a_sentence(tmp_path: Path) -> None:
    for arguments, said in (
        (("--plot", "a.svg"), "--tank"),
        (("--tank", "reception", "--plot", str(tmp_path / "a.pdf")), ".svg or .png"),
    ):
        done = run(*FORECAST, *arguments)
        assert done.status == 2
        assert said in done.err
        assert "Traceback" not in done.err
        assert done.out == ""
