"""How every figure looks: a role's colour, mark and dash, the sizes, the bytes and the file.

Nothing here touches matplotlib's global settings or its figure windows: figures are plain
``Figure`` objects, made and saved inside ``house_style()``.
"""

from __future__ import annotations

import hashlib
import io
from collections.abc import Iterator
from contextlib import contextmanager
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from growthcast.book.book import Book
from growthcast.book.writing.replace import check_place, write_whole
from growthcast.nouns import dataclass
from growthcast.say.words import tidy

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from growthcast.say.figures import Caption


FONT = "DejaVu Sans"
"""The font that ships with matplotlib: the same letters on every machine."""
TITLE_PT, LABEL_PT, SMALL_PT = 8.5, 7.5, 7.0
MM_PER_INCH = 25.4
PNG_DPI = 220

BAND_50_ALPHA, BAND_80_ALPHA = 0.38, 0.17


@dataclass(frozen=True, slots=True)
class Role:
    """What one kind of thing looks like in every figure; no two share a mark and a dash."""

    colour: str
    dash: Literal["-", "--", ":", ""]
    marker: str
    width_pt: float
    text: str
    """Colour of words about it: 4.5 to 1 against white at least (WCAG 2.2, 1.4.3)."""

    @property
    def line(self) -> dict[str, Any]:
        """How matplotlib draws it as a line."""
        return {"color": self.colour, "ls": self.dash, "lw": self.width_pt}

    def band(self, alpha: float) -> dict[str, Any]:
        """How matplotlib fills a range of it."""
        return {"color": self.colour, "alpha": alpha, "lw": 0}

    @property
    def marks(self) -> dict[str, Any]:
        """How matplotlib draws it as marks without a line."""
        return {"color": self.colour, "ls": "", "marker": self.marker, "mew": 0.8}


MEASURED = Role("black", "-", "o", 0.7, "#000000")
FORECAST = Role("#0072B2", "-", "", 1.8, "#0072B2")
BUDGET = Role("#D55E00", "--", "D", 1.3, "#A84A00")
FLOOR = Role("#009E73", ":", "", 1.6, "#00734F")
VISITS = Role("#595959", "", "|", 0.8, "#595959")

SETTINGS = Path(__file__).with_name("house.mplstyle")


@contextmanager
def house_style() -> Iterator[None]:
    """Draw and save in the house's style, whatever the user's own, and leave no setting behind."""
    import matplotlib.style

    beside: Any = {"timezone": "UTC"}  # which matplotlib leaves out of files
    with matplotlib.style.context("default"), matplotlib.rc_context(beside, SETTINGS):
        yield


def with_alternative_text(svg: str, title: str, description: str) -> str:
    """Name and describe a drawing for those who hear it, by ids that hold among many drawings."""
    key = hashlib.sha256(f"{title}\n{description}".encode()).hexdigest()[:10]
    opening = svg.index("<svg ")
    after = svg.index(">", opening) + 1
    ids, beside = f"title-{key} desc-{key}", svg[opening + len("<svg ") : after]
    named = f'<svg role="img" aria-labelledby="{ids}" {beside}\n <title id="title-{key}">'
    named += f'{escape(title, quote=False)}</title>\n <desc id="desc-{key}">'
    return f"{svg[:opening]}{named}{escape(description, quote=False)}</desc>{svg[after:]}"


def save_picture(book: Book, file: Path, figure: Figure, caption: Caption) -> None:
    """Write a figure, the same bytes for the same figure; an earlier file is replaced.

    Its alternative text are ``<title>`` and ``<desc>`` of an SVG, text entries of a PNG.

    Raises
    ------
    UsageError
        The file cannot be written, or is a file of the book.
    """
    check_place(book.folder, file)
    form, kept = file.suffix.lower().removeprefix("."), io.BytesIO()
    title, said = tidy(caption.title), tidy(caption.description)
    entries: dict[str, Any] = {"Date": None, "Creator": "growthcast"}
    if form == "png":
        entries = {"Title": title, "Description": said, "Software": "growthcast"}
    with house_style():
        figure.savefig(kept, format=form, dpi=PNG_DPI, metadata=entries)
    content = kept.getvalue()
    if form == "svg":
        content = with_alternative_text(content.decode("utf-8"), title, said).encode()
    write_whole(file, content)
