"""A page as a tagged PDF with drawings that stay sharp, set by typst."""

from __future__ import annotations

import importlib.util
import re
import tempfile
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import matplotlib

from growthcast.brief.page import (
    Block,
    Heading,
    Items,
    Letterhead,
    Page,
    Paragraph,
    Picture,
    Pictures,
    Table,
)
from growthcast.figures.lettering import drawable
from growthcast.figures.style import FONT

__all__ = ["can_make_pdf", "page_pdf"]

PREAMBLE = """#set page(paper: "a4", margin: (x: 15mm, y: 12mm), numbering: "1 / 1")
#set text(font: FONT, size: 8.7pt, fill: rgb("#1b1b1b"))
#set par(leading: 0.62em, spacing: 0.9em)
#show heading.where(level: 1): set text(size: 16pt)
#show heading.where(level: 2): set text(size: 12.5pt)
#show heading.where(level: 3): set text(size: 10.5pt)
#show heading: set block(above: 1.5em, below: 0.7em, sticky: true)
#let quiet(body) = text(fill: rgb("#4a4a4a"), size: 8pt, body)
#let lead(body) = block(width: 100%, inset: (left: 3.5mm, y: 1.2mm),
  stroke: (left: 1.2mm + rgb("#005a8f")), above: 1.1em, below: 1.1em, text(size: 11.5pt, body))
#let marked(body) = text(weight: "bold", body)
"""
LONG_WORD, LONG_IN_PICTURE = re.compile(r"\S{18}(?=\S)"), re.compile(r"\S{9}(?=\S)")
SHORT_TABLE = 10
"""A table of no more rows is kept on one page."""
TINT = 'rgb("#e9f2f8")'
LINE = 'stroke: (_, y) => (bottom: (if y == 0 { 1pt } else { 0.4pt }) + rgb("#9a9a9a"))'


def can_make_pdf() -> bool:
    """Whether typst is there; it has no wheel for some machines."""
    return importlib.util.find_spec("typst") is not None


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

    source, pictures = _source(page)
    only_ours = drawable(source) == " ".join(source.split())
    day = datetime.fromisoformat(page.day).replace(tzinfo=UTC)
    fonts = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    with tempfile.TemporaryDirectory() as folder:
        for name, content in pictures.items():
            (Path(folder) / name).write_bytes(content)
        main = Path(folder) / "page.typ"
        main.write_text(source, encoding="utf-8")
        made: bytes = typst.compile(
            str(main),
            root=folder,
            font_paths=[str(fonts)],
            ignore_system_fonts=only_ours,  # others are asked for letters that ours lacks
            timestamp=int(day.timestamp()),
        )
    return made


def _source(page: Page) -> tuple[str, dict[str, bytes]]:
    """Return the page in typst's language, and the files it shows by name."""
    pictures: dict[str, bytes] = {}
    day = ", ".join(str(int(part)) for part in page.day.split("-"))
    author = _text(page.letterhead.practice)
    year, month, date = day.split(", ")
    lines = [
        f"#set document(title: {_text(page.title)}, author: {author}, "
        f"date: datetime(year: {year}, month: {month}, day: {date}))",
        PREAMBLE.replace("FONT", _text(FONT)),
        f"#set text(lang: {_text(page.language)})",
        *_letterhead(page.letterhead, pictures),
        f"#heading(level: 1, {_text(page.title)})",
    ]
    if page.under_title:
        lines.append(f"#quiet({_text(page.under_title)})")
    for block in page.blocks:
        lines += _block(block, pictures)
    lines += ["#v(1fr)", f"#quiet({_text(page.foot)})"]
    return "\n".join(lines) + "\n", pictures


def _text(text: str, longest: re.Pattern[str] = LONG_WORD) -> str:
    """Return a text as a string of typst's language, in which nothing is markup."""
    broken = longest.sub("\\g<0>\u200b", text)  # typst breaks a word only where it is told to
    escaped = broken.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(char if char >= " " else " " for char in escaped) + '"'


def _letterhead(head: Letterhead, pictures: dict[str, bytes]) -> Iterator[str]:
    words = [f"strong({_text(head.practice)})"] if head.practice else []
    words += [f"quiet({_text(head.contact)})"] if head.contact else []
    parts = [f"stack(spacing: 1.6mm, {', '.join(words)})"] if words else []
    if head.logo is not None:
        name = f"logo.{head.logo.suffix}"
        pictures[name] = head.logo.content
        alt = _text(head.practice or "logo")
        parts.insert(0, f"image({_text(name)}, height: 13mm, alt: {alt})")
    if parts:
        yield f"#stack(dir: ltr, spacing: 4mm, {', '.join(parts)})"


def _block(block: Block, pictures: dict[str, bytes]) -> Iterator[str]:
    if isinstance(block, Heading):
        yield f"#heading(level: {block.level}, {_text(block.text)})"
    elif isinstance(block, Paragraph):
        said = _text(block.text)
        yield {"lead": f"#lead({said})", "note": f"#quiet({said})"}.get(
            block.kind, f"#par(text({said}))"
        )
    elif isinstance(block, Items):
        yield f"#list({', '.join(f'text({_text(item)})' for item in block.items)})"
    elif isinstance(block, Table):
        yield from _table(block)
    else:
        yield from _pictures(block, pictures)


def _table(table: Table) -> Iterator[str]:
    align = ", ".join("right" if column.numeric else "left" for column in table.columns)
    wide = ", ".join(f"{share:g}fr" for share in _widths(table))
    head = ", ".join(f"strong({_text(column.text)})" for column in table.columns)
    marked = "" if table.marked is None else f" if y == {table.marked + 1} {{ {TINT} }}"
    yield f"#block(sticky: true, quiet({_text(table.caption)}))"
    whole = "false" if len(table.rows) <= SHORT_TABLE else "true"
    yield (
        f"#block(above: 0.5em, breakable: {whole}, text(size: 8pt, table("
        f"columns: ({wide},), align: ({align},), "
        f"{LINE}, inset: (x: 1.5mm, y: 1.3mm), fill: (_, y) => {{{marked} }},"
    )
    yield f"  table.header({head}),"
    for number, row in enumerate(table.rows):
        cells = list(row)
        if number == table.marked:
            cells[0] = f"{cells[0]} – {table.mark}"
        wrap = "marked" if number == table.marked else "text"
        yield "  " + ", ".join(f"{wrap}({_text(cell)})" for cell in cells) + ","
    yield ")))"


def _widths(table: Table) -> list[float]:
    """Return the columns' shares of the width: room for the longest word, and for long texts."""
    shares = []
    for number, column in enumerate(table.columns):
        texts = [column.text, *(row[number] for row in table.rows)]
        word = max(len(part) for text in texts for part in text.split(" "))
        longest = max(len(text) for text in texts)
        lengthy = 0.95 if number == 0 else 0.45
        shares.append(min(max(word, lengthy * longest, 5), 26) + 3.0)
    return shares


def _pictures(block: Pictures, pictures: dict[str, bytes]) -> Iterator[str]:
    wide = ", ".join(["1fr"] * block.columns)
    yield "#figure(kind: image, supplement: none, numbering: none,"
    yield f"  caption: figure.caption(position: bottom, align(left, {_text(block.caption)})),"
    yield f"  grid(columns: ({wide},), gutter: 2.5mm, align: left,"
    for picture in block.pictures:
        yield "    " + _picture(picture, pictures) + ","
    yield "))"


def _picture(picture: Picture, pictures: dict[str, bytes]) -> str:
    name = f"picture-{len(pictures)}.svg"
    pictures[name] = picture.svg
    title = f"text(size: 8pt, weight: {_text('bold')}, {_text(picture.title, LONG_IN_PICTURE)})"
    image = f"image({_text(name)}, width: 100%, alt: {_text(picture.alternative)})"
    parts = [title, image]
    parts += [f"quiet({_text(picture.below)})"] if picture.below else []
    stroke = '1pt + rgb("#005a8f")' if picture.marked else '0.4pt + rgb("#c9c9c9")'
    frame = f"stroke: {stroke}, inset: 1.6mm"
    return f"block(width: 100%, radius: 1mm, {frame}, stack(spacing: 1.6mm, {', '.join(parts)}))"
