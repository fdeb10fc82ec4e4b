"""Workbooks that stand for more than they weigh are refused before they are opened."""

from __future__ import annotations

import io
import random
import resource
import zipfile
import zlib
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from growthcast.book.sheets.guard import _XLSX_ROW, _pieces, guard_workbook
from growthcast.book.sheets.load import read_workbook
from growthcast.errors import UsageError

SPACES = " ".join(
    f'xmlns:{name}="urn:oasis:names:tc:opendocument:xmlns:{name}:1.0"'
    for name in ("office", "table", "text")
)
TOKENS = st.sampled_from([b"<row>", b"<x:row ", b"<c/>", b"<ro", b"w>", b"<", b"1"])
ONE = '<table:table-cell office:value-type="float" office:value="1"/>'


def packed(parts: dict[str, bytes | str], how: int = zipfile.ZIP_DEFLATED) -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", how) as made:
        for name, content in parts.items():
            made.writestr(name, content)
    return stream.getvalue()


def xlsx(sheet: str, shared: str = "", name: str = "tanks") -> bytes:
    main = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
    kinds = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
    links = "http://schemas.openxmlformats.org/package/2006/relationships"
    parts = {
        "[Content_Types].xml": "<Types/>",
        "xl/workbook.xml": f'<workbook xmlns="{main}" xmlns:r="{kinds}"><sheets>'
        f'<sheet name="{name}" sheetId="1" r:id="rId1"/></sheets></workbook>',
        "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{links}"><Relationship Id="rId1" '
        f'Type="{kinds}/worksheet" Target="worksheets/sheet1.xml"/><Relationship Id="rId2" '
        f'Type="{kinds}/sharedStrings" Target="sharedStrings.xml"/></Relationships>',
        "xl/worksheets/sheet1.xml": f'<worksheet xmlns="{main}"><sheetData>{sheet}</sheetData>'
        "</worksheet>",
        "xl/sharedStrings.xml": f'<sst xmlns="{main}">{shared}</sst>',
    }
    return packed(parts)


def ods(rows: str, name: str = "tanks") -> bytes:
    content = (
        f'<office:document-content {SPACES} office:version="1.2"><office:body><office:spreadsheet>'
        f'<table:table table:name="{name}">{rows}</table:table>'
        "</office:spreadsheet></office:body></office:document-content>"
    )
    kind = "application/vnd.oasis.opendocument.spreadsheet"
    space = "urn:oasis:names:tc:opendocument:xmlns:manifest:1.0"
    manifest = (
        f'<manifest:manifest xmlns:manifest="{space}"><manifest:file-entry '
        f'manifest:full-path="/" manifest:media-type="{kind}"/></manifest:manifest>'
    )
    return packed({"mimetype": kind, "META-INF/manifest.xml": manifest, "content.xml": content})


def refused(data: bytes) -> str:
    with pytest.raises(UsageError) as told:
        guard_workbook(data, "book.xlsx")
    return str(told.value)


def test_a_zip_that_unpacks_to_far_more_is_refused_by_its_own_list():
    bomb = packed({"xl/workbook.xml": b"<x/>", "xl/worksheets/a.xml": bytes(500_000_000)})
    assert len(bomb) < 1_000_000
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    assert "would unpack to 500 MB" in refused(bomb)
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 100_000


def test_a_zip_whose_list_lies_is_refused_where_the_lie_ends():
    honest = packed({"xl/workbook.xml": b"<x/>" + bytes(50_000_000)})
    size = (50_000_004).to_bytes(4, "little")
    lying = honest.replace(size, (1000).to_bytes(4, "little"))
    assert lying != honest
    assert "more than it says" in refused(lying)


@pytest.mark.parametrize(
    "sheet",
    [
        '<row r="1"><c r="A1"/></row><row r="1048576"><c r="XFD1048576"/></row>',
        '<row r="1"><c r="A1"><v>1</v></c></row><c x=">" r="XFD1048576"><v>1</v></c>',
        '<x:row r="1048576"><x:c r="A1"/><x:c r=\'XFD1048576\'><x:v>1</x:v></x:c></x:row>',
        f'<row>{"<c><v>1</v></c>" * 3000}</row><row r="1048576"><c><v>1</v></c></row>',
    ],
)
def test_a_cell_far_away_is_refused(sheet):
    assert "look for a cell far away" in refused(xlsx(sheet))


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (lambda: xlsx("<row>" + "<c/>" * 6_000_000), "a row of more than 4 MB"),
        (lambda: xlsx("<row>" + '<c r="A1"/>' * 6_000_000), "a row of more than 4 MB"),
        (lambda: ods("<table:table-row>" + ONE * 1_000_000), "a row of more than 4 MB"),
        (lambda: xlsx("<row>" + "<c/>" * 20_000 + "</row>"), "a row of 20,000 cells"),
        (lambda: xlsx('<row r="1"><c r="ZZZZ1"/></row>'), "a row of 475,254 cells"),
        (lambda: xlsx(('<row r="1">' + '<c r="A1"/>' * 16_000) * 300), "spans 4,512,000 cells"),
        (lambda: ods(("<table:table-row>" + ONE * 16_000) * 300), "spans 4,512,000 cells"),
    ],
)
def test_very_many_cells_are_refused_with_little_memory(data, said):
    made = data()
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    told = refused(made)
    assert said in told
    assert "look for a cell far away" in told
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 50_000


def test_a_large_picture_is_no_row():
    picture = random.Random(1).randbytes(9_000_000)
    sheet = '<worksheet><sheetData><row r="1"><c r="A1"/></row></sheetData></worksheet>'
    parts = {"xl/workbook.xml": "<x/>", "xl/media/a.png": picture, "xl/worksheets/a.xml": sheet}
    assert guard_workbook(packed(parts), "book.xlsx") == "xlsx"


@given(st.lists(TOKENS, max_size=12), st.data())
def test_rows_are_cut_alike_however_the_text_arrives(tokens, data):
    text = b"".join(tokens)
    edges = sorted(data.draw(st.lists(st.integers(0, len(text)), max_size=4)))
    chunks = [text[a:b] for a, b in pairwise([0, *edges, len(text)])]
    cut = list(_pieces(iter(chunks), _XLSX_ROW, "book.xlsx"))
    starts = [found.start() for found in _XLSX_ROW.finditer(text)]
    assert cut == [text[a:b] for a, b in pairwise([*starts, len(text)])]


@pytest.mark.parametrize(
    "rows",
    [
        '<table:table-row><table:table-cell x="<table:table-row " '
        'table:number-columns-repeated="9000000" office:value="1"/></table:table-row>',
        f'<table:table-row table:number-rows-repeated="1048576">{ONE * 9}</table:table-row>',
        "<table:table-row>"
        + ONE.replace(" ", ' table:number-columns-repeated="9000000" ', 1)
        + "</table:table-row>",
        f'<table:table-row table:number-rows-repeated="1000000"><table:table-cell/>'
        f"</table:table-row><table:table-row>{ONE * 9}</table:table-row>",
    ],
)
def test_repeated_cells_are_counted_in_full(rows):
    assert "look for a cell far away" in refused(ods(rows))


def test_blank_rows_down_to_the_end_of_a_sheet_are_nothing():
    rows = f"<table:table-row>{ONE}</table:table-row>"
    rows += (
        '<table:table-row table:number-rows-repeated="1048575"><table:table-cell '
        'table:number-columns-repeated="16384"/></table:table-row>'
    )
    assert guard_workbook(ods(rows), "book.ods") == "ods"


def test_one_long_text_in_many_cells_is_refused():
    shared = f"<si><t>{'x' * 30_000}</t></si><si><t>short</t></si>"
    cells = "".join(f'<row r="{n}"><c r="A{n}" t="s"><v>0</v></c></row>' for n in range(1, 20_000))
    assert "long texts" in refused(xlsx(cells, shared))
    many_short = cells.replace("<v>0</v>", "<v>1</v>")
    assert guard_workbook(xlsx(many_short, shared), "book.xlsx") == "xlsx"
    text = f"<text:p>{'x' * 30_000}</text:p></table:table-cell>"
    cell = f'<table:table-cell office:value-type="string">{text}'
    rows = f'<table:table-row table:number-rows-repeated="20000">{cell}</table:table-row>'
    assert "long texts" in refused(ods(rows))


def test_other_files_are_told_what_to_do():
    assert "save the sheets" in refused(b"date,tank_id\n")
    assert "older or a protected one" in refused(b"\xd0\xcf\x11\xe0" + bytes(99))
    assert "holds no sheets" in refused(packed({"a.txt": "x"}))
    assert "damaged" in refused(b"PK\x03\x04" + bytes(40))
    assert "two parts" in refused(packed({"content.xml": "x", "CONTENT.xml": "y"}))
    assert "parts" in refused(packed({f"{n}": "" for n in range(2001)} | {"content.xml": ""}))
    assert "packed in a way" in refused(packed({"content.xml": "x"}, zipfile.ZIP_LZMA))
    utf16 = packed({"content.xml": '<?xml version="1.0"?><a/>'.encode("utf-16")})
    assert "encoding" in refused(utf16)
    assert zlib.crc32(b"") == 0


@pytest.mark.parametrize("name", ["../../etc/tanks", "/tmp/tanks.csv", "..\\tanks", "x/tanks"])
def test_names_of_sheets_never_become_names_of_files(name, tmp_path):
    file = tmp_path / "book.ods"
    row = f"<table:table-row>{ONE}</table:table-row>"
    file.write_bytes(ods(row, name))
    with pytest.raises(UsageError, match="none of the sheets of a book"):
        read_workbook(file)
    assert [path.name for path in tmp_path.iterdir()] == ["book.ods"]


def test_parts_of_the_zip_are_never_unpacked_to_disk(tmp_path):
    data = ods(f"<table:table-row>{ONE}</table:table-row>")
    stream = io.BytesIO(data)
    with zipfile.ZipFile(stream, "a") as made:
        made.writestr("../../evil.csv", "x")
        made.writestr("/tmp/evil.csv", "x")
    file = tmp_path / "in" / "book.ods"
    file.parent.mkdir()
    file.write_bytes(stream.getvalue())
    assert read_workbook(file).tables[0].headings == ("1",)
    assert sorted(path.name for path in tmp_path.rglob("*")) == ["book.ods", "in"]
