"""A page as a tagged PDF with drawings that stay sharp, set by typst."""

from __future__ import annotations

import json
import re
import tempfile
from dataclasses import asdict
from datetime import UTC, datetime
from importlib.resources import files
from pathlib import Path

import matplotlib

from growthcast.brief.page import Page
from growthcast.figures.lettering import drawable

ROW_HEADER = re.compile(rb"/S/TD(/P \d+ 0 R/A\[<</O/Table)(/Headers\[\(U\w+x0y0\)\])")


def page_pdf(page: Page) -> bytes:
    """Return a page as the bytes of a PDF; the same for the same page and fonts.

    Parameters
    ----------
    page : Page
        The page's content. Every text of it is set as a string, none as markup.

    Returns
    -------
    bytes
        A tagged PDF on A4.
    """
    import typst

    pictures: list[bytes] = []

    def named(picture: bytes) -> str:
        pictures.append(picture)
        return f"picture-{len(pictures)}"

    blocks = [(type(block).__name__, asdict(block)) for block in page.blocks]
    content = json.dumps(asdict(page) | {"blocks": blocks}, default=named, ensure_ascii=False)
    day = datetime.fromisoformat(page.day).replace(tzinfo=UTC)
    with tempfile.TemporaryDirectory() as folder:
        for number, picture in enumerate(pictures, start=1):
            (Path(folder) / f"picture-{number}").write_bytes(picture)
        (Path(folder) / "page.json").write_text(content, encoding="utf-8")
        for name in ("page.typ", "card.typ"):
            template = files("growthcast.brief") / "templates" / name
            (Path(folder) / name).write_bytes(template.read_bytes())

        def compiled(*, accessible: bool) -> bytes:
            made: bytes = typst.compile(
                str(Path(folder) / "page.typ"),
                root=folder,
                font_paths=[str(Path(matplotlib.get_data_path()) / "fonts" / "ttf")],
                # others are asked for letters that ours lacks
                ignore_system_fonts=drawable(content) == " ".join(content.split()),
                timestamp=int(day.timestamp()),
                pdf_standards=["ua-1"] if accessible else [],
            )
            return made

        try:
            made = compiled(accessible=True)
        except typst.TypstError:  # PDF/UA wants a glyph for every letter
            made = compiled(accessible=False)
    return ROW_HEADER.sub(_row_header, made)


def _row_header(cell: re.Match[bytes]) -> bytes:
    """Make a data cell of a first column the header of its row, in as many bytes.

    typst tags the first row as headers, not yet the first column (it can behind a feature that its
    Python module does not switch on). Of the same length, so that the file's offsets stay right.
    """
    scope = b"/Scope/Row".ljust(len(cell[2]))
    return b"/S/TH" + cell[1] + scope
