"""The notebooks run from top to bottom on the demo book, as a reader would run them."""

from __future__ import annotations

import re
from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

NOTEBOOKS = sorted((Path(__file__).parents[2] / "notebooks").glob("*.ipynb"))


NUMBER = re.compile(r"\d+(?:\.\d+)?(?:e[+-]\d+)?")


def _told(notebook: nbformat.NotebookNode) -> list[str]:
    """What each cell of a notebook prints and shows in words, in however many parts it came."""
    return [
        "".join(
            output.get("text") or output.get("data", {}).get("text/plain", "")
            for output in cell.get("outputs", ())
        )
        for cell in notebook.cells
    ]


@pytest.mark.slow
@pytest.mark.parametrize("path", NOTEBOOKS, ids=[path.stem for path in NOTEBOOKS])
def test_a_notebook_runs_and_draws_its_pictures(path: Path) -> None:
    notebook = nbformat.read(path, as_version=4)
    stored = _told(notebook)
    NotebookClient(notebook, timeout=300, kernel_name="python3").execute(cwd=str(path.parent))
    shown = [
        output for cell in notebook.cells if cell.cell_type == "code" for output in cell.outputs
    ]
    assert any("image/png" in output.get("data", {}) for output in shown)
    for was, now in zip(stored, _told(notebook), strict=True):
        assert NUMBER.sub("#", was) == NUMBER.sub("#", now)
        numbers = [[float(number) for number in NUMBER.findall(text)] for text in (was, now)]
        assert numbers[0] == pytest.approx(numbers[1], rel=1e-3, abs=1e-3)
    assert not any(output.output_type == "error" for output in shown)
    assert not any(output.get("name") == "stderr" for output in shown)


def test_there_are_notebooks() -> None:
    assert len(NOTEBOOKS) >= 2
