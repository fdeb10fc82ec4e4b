"""``growthcast forecast --plot`` on the demo."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

import pytest

ROOT = Path(__file__).parents[2]


def run(*arguments: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "growthcast", "forecast", str(ROOT / "data" / "demo")]
    return subprocess.run(
        [*command, *arguments], cwd=ROOT, capture_output=True, encoding="utf-8", check=False
    )


@pytest.mark.slow
def test_plot_writes_the_figure_and_says_so_on_stderr(tmp_path: Path) -> None:
    file = tmp_path / "reception.svg"
    done = run("--tank", "reception", "--plot", str(file), "--json")
    assert done.returncode == 0, done.stderr
    assert f"Wrote {file}" in done.stderr
    answer = json.loads(done.stdout)
    described = ElementTree.parse(file).getroot().find("{http://www.w3.org/2000/svg}desc").text
    for area in answer["areas"]:
        assert f"budget {area['budget_cm']:g} " in described


@pytest.mark.slow
def test_plot_refuses_in_a_sentence(tmp_path: Path) -> None:
    for arguments, said in (
        (("--plot", "a.svg"), "--tank"),
        (("--tank", "reception", "--plot", str(tmp_path / "a.pdf")), ".svg or .png"),
    ):
        done = run(*arguments)
        assert done.returncode == 2
        assert said in done.stderr
        assert "Traceback" not in done.stderr
        assert done.stdout == ""
