"""Sheets to an OpenDocument spreadsheet (OASIS ODF 1.2), as small as the standard allows."""

from __future__ import annotations

import datetime as dt
import io
import re
import zipfile
from collections.abc import Iterator
from xml.sax.saxutils import escape, quoteattr

from growthcast.book.sheets.export import Heading, Sheet
from growthcast.book.sheets.values import Value, canonical, number_text

__all__ = ["ods_bytes"]

_TYPE = "application/vnd.oasis.opendocument.spreadsheet"
_ROOM = "urn:oasis:names:tc:opendocument:xmlns:"
_SPACES = " ".join(
    f'xmlns:{name}="{_ROOM}{where}:1.0"'
    for name, where in {
        "office": "office",
        "table": "table",
        "text": "text",
        "style": "style",
        "number": "datastyle",
        "fo": "xsl-fo-compatible",
        "config": "config",
    }.items()
)
_SPACES += f' xmlns:of="{_ROOM}of:1.2" xmlns:ooo="http://openoffice.org/2004/office"'
_XML = '<?xml version="1.0" encoding="UTF-8"?>\n'
_CM_A_CHARACTER = 0.21
_MADE = (1980, 1, 1, 0, 0, 0)  # the same book gives the same bytes
_MANIFEST = (
    f'{_XML}<manifest:manifest xmlns:manifest="{_ROOM}manifest:1.0" manifest:version="1.2">'
    f'<manifest:file-entry manifest:full-path="/" manifest:version="1.2" '
    f'manifest:media-type="{_TYPE}"/>'
    '<manifest:file-entry manifest:full-path="content.xml" manifest:media-type="text/xml"/>'
    '<manifest:file-entry manifest:full-path="settings.xml" manifest:media-type="text/xml"/>'
    "</manifest:manifest>"
)
_DAY_STYLE = (
    '<number:date-style style:name="day"><number:year number:style="long"/>'
    '<number:text>-</number:text><number:month number:style="long"/>'
    '<number:text>-</number:text><number:day number:style="long"/></number:date-style>'
    '<number:text-style style:name="as-typed"><number:text-content/></number:text-style>'
)
_CELL_STYLES = (
    '<style:style style:name="date" style:family="table-cell" style:data-style-name="day"/>'
    '<style:style style:name="text" style:family="table-cell" style:data-style-name="as-typed"/>'
    '<style:style style:name="head" style:family="table-cell">'
    '<style:table-cell-properties fo:wrap-option="wrap"/>'
    '<style:text-properties fo:font-weight="bold"/></style:style>'
)


def ods_bytes(sheets: list[Sheet]) -> bytes:
    """Return the document of the sheets; nothing in it is protected or run."""
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as packed:
        packed.writestr(_entry("mimetype", zipfile.ZIP_STORED), _TYPE)
        packed.writestr(_entry("META-INF/manifest.xml"), _MANIFEST)
        packed.writestr(_entry("settings.xml"), _frozen(sheets))
        with packed.open(_entry("content.xml"), "w") as content:
            for part in _content(sheets):
                content.write(part.encode())
    return stream.getvalue()


def _entry(name: str, how: int = zipfile.ZIP_DEFLATED) -> zipfile.ZipInfo:
    info = zipfile.ZipInfo(name, _MADE)
    info.compress_type = how
    return info


def _frozen(sheets: list[Sheet]) -> str:
    """Return the settings that freeze the first row of every sheet."""

    def item(name: str, kind: str, value: object) -> str:
        start = f'<config:config-item config:name="{name}" config:type="{kind}">'
        return f"{start}{value}</config:config-item>"

    split = (
        item("VerticalSplitMode", "short", 2)
        + item("VerticalSplitPosition", "int", 1)
        + item("PositionBottom", "int", 1)
        + item("ActiveSplitRange", "short", 2)
    )
    entries = "".join(
        f'<config:config-item-map-entry config:name="{sheet.name}">{split}'
        "</config:config-item-map-entry>"
        for sheet in sheets
    )
    return (
        f'{_XML}<office:document-settings {_SPACES} office:version="1.2"><office:settings>'
        '<config:config-item-set config:name="ooo:view-settings">'
        '<config:config-item-map-indexed config:name="Views"><config:config-item-map-entry>'
        f'<config:config-item-map-named config:name="Tables">{entries}'
        "</config:config-item-map-named></config:config-item-map-entry>"
        "</config:config-item-map-indexed></config:config-item-set></office:settings>"
        "</office:document-settings>"
    )


def _content(sheets: list[Sheet]) -> Iterator[str]:
    widths = sorted({heading.width for sheet in sheets for heading in sheet.headings})
    yield f'{_XML}<office:document-content {_SPACES} office:version="1.2">'
    yield f"<office:automatic-styles>{_DAY_STYLE}{_CELL_STYLES}"
    for width in widths:
        yield (
            f'<style:style style:name="w{width}" style:family="table-column">'
            f'<style:table-column-properties style:column-width="{width * _CM_A_CHARACTER:.2f}cm"/>'
            "</style:style>"
        )
    yield "</office:automatic-styles><office:body><office:spreadsheet>"
    yield f"<table:content-validations>{''.join(_validations(sheets))}</table:content-validations>"
    for sheet in sheets:
        yield from _table(sheet)
    yield "</office:spreadsheet></office:body></office:document-content>"


def _validations(sheets: list[Sheet]) -> Iterator[str]:
    for sheet in sheets:
        for at, heading in enumerate(sheet.headings):
            if heading.choices_from is not None:
                home, letter, end = heading.choices_from
                offered = f"[${home}.${letter}$2:.${letter}${end}]"
            elif heading.choices:
                offered = ";".join(f'"{word}"' for word in heading.choices)
            else:
                continue
            condition = quoteattr(f"of:cell-content-is-in-list({offered})")
            yield (
                f'<table:content-validation table:name="{_offer(sheet, at)}" '
                f'table:condition={condition} table:base-cell-address="{sheet.name}.A2">'
                '<table:error-message table:message-type="warning" table:display="true"/>'
                "</table:content-validation>"
            )


def _offer(sheet: Sheet, at: int) -> str:
    return f"{sheet.name}-{at}"


def _table(sheet: Sheet) -> Iterator[str]:
    yield f'<table:table table:name="{sheet.name}">'
    for heading in sheet.headings:
        form = f' table:default-cell-style-name="{_form(heading)}"' if _form(heading) else ""
        yield f'<table:table-column table:style-name="w{heading.width}"{form}/>'
    yield "<table:table-header-rows><table:table-row>"
    for heading in sheet.headings:
        yield f'<table:table-cell table:style-name="head"{_string(heading.text)}'
    yield "</table:table-row></table:table-header-rows>"
    opens = [_opening(sheet, at) for at in range(len(sheet.headings))]
    for values in sheet.rows:
        cells = (start + _valued(value) for start, value in zip(opens, values, strict=True))
        yield f"<table:table-row>{''.join(cells)}</table:table-row>"
    if sheet.room and sheet.headings:
        blank = "".join(f"{start}/>" for start in opens)
        yield f'<table:table-row table:number-rows-repeated="{sheet.room}">'
        yield f"{blank}</table:table-row>"
    yield "</table:table>"


def _opening(sheet: Sheet, at: int) -> str:
    heading = sheet.headings[at]
    offered = bool(heading.choices or heading.choices_from)
    offer = f' table:content-validation-name="{_offer(sheet, at)}"' if offered else ""
    form = f' table:style-name="{_form(heading)}"' if _form(heading) else ""
    return f"<table:table-cell{form}{offer}"


def _form(heading: Heading) -> str:
    if heading.kind == "date":
        return "date"
    return "" if heading.kind in {"number", "value"} else "text"


def _valued(value: Value) -> str:
    """Return the rest of a cell: its type, its value and what it shows."""
    if value is None:
        return "/>"
    if isinstance(value, bool):
        word = "true" if value else "false"
        return _typed("boolean", "boolean-value", word)
    if isinstance(value, int | float):
        return _typed("float", "value", number_text(float(value)))
    if isinstance(value, dt.date) and not isinstance(value, dt.datetime):
        return _typed("date", "date-value", value.isoformat())
    return _string(str(value))


def _typed(kind: str, name: str, text: str) -> str:
    shown = f"<text:p>{text}</text:p></table:table-cell>"
    return f' office:value-type="{kind}" office:{name}="{text}">{shown}'


def _string(text: str) -> str:
    """Return a text cell: a paragraph a line; spaces and tabs as the standard writes them."""
    text = canonical(text, tabs=True)
    lines = "".join(f"<text:p>{_line(line)}</text:p>" for line in text.split("\n"))
    return f' office:value-type="string">{lines}</table:table-cell>'


def _line(line: str) -> str:
    escaped = escape(line).replace("\t", "<text:tab/>")
    return re.sub("^ +| {2,}| $", lambda run: f'<text:s text:c="{len(run[0])}"/>', escaped)
