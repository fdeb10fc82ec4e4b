"""Workbooks that stand for more than they weigh are refused before they are opened."""

from __future__ import annotations

import io
import random
import resource
import zipfile

import openpyxl
import pytest

from growthcast.book.sheets import load
from growthcast.book.sheets.load import guard_workbook, read_workbook
from growthcast.errors import UsageError

BOOK = "xl/workbook.xml"


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


def refused(data: bytes) -> str:
    with pytest.raises(UsageError) as told:
        guard_workbook(data, "book.xlsx")
    return str(told.value)


@pytest.mark.slow
def test_a_zip_that_unpacks_to_far_more_is_refused_by_its_own_list():
    bomb = packed({"xl/workbook.xml": b"<x/>", "xl/worksheets/a.xml": bytes(500_000_000)})
    assert len(bomb) < 1_000_000
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    assert "would unpack to 500 MB" in refused(bomb)
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 100_000


def test_a_zip_whose_list_lies_is_refused_where_the_lie_ends():
    honest = packed({BOOK: b"<x>" + b" " * 50_000_000 + b"</x>"})
    size = (50_000_007).to_bytes(4, "little")
    lying = honest.replace(size, (1000).to_bytes(4, "little"))
    assert lying != honest
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    assert "is damaged" in refused(lying)
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 50_000


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
        (lambda: xlsx("<row>" + "<c/>" * 6_000_000), "a row of 16,385 cells"),
        (lambda: xlsx("<row>" + '<c r="A1"/>' * 900_000), "spans 300,001 cells"),
        (lambda: xlsx('<row r="1"><c r="ZZZZ1"/></row>'), "a row of 475,254 cells"),
        (lambda: xlsx(('<row r="1">' + '<c r="A1"/>' * 16_000) * 40), "spans 300,001 cells"),
    ],
)
@pytest.mark.slow
def test_very_many_cells_are_refused_with_little_memory(data, said, monkeypatch):
    """A tree of 300,000 cells takes some 100 MB; the limit is 15 times higher."""
    monkeypatch.setattr("growthcast.book.sheets.values.MOST_CELLS", 300_000)
    made = data()
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    told = refused(made)
    assert said in told
    assert "look for a cell far away" in told
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 50_000


@pytest.mark.parametrize(
    ("cells", "sheet"),
    [
        (12, '<row r="3"><c r="B3"/></row><row r="2"><c r="D2"/></row>'),  # 3 rows, 4 columns
        (12, '<row r="2"/><row><c/><c/><c r="c3"/><c/></row>'),  # the row after the second, to D
        (5, "<row>" + '<c r="A1"/>' * 5 + "</row>"),
        (54, '<row><c r="BA1"/></row><row><c r="BB1"/></row>'),  # 2 times 26, and 2
        (16_384, '<row r="1"><c r="XFD1"/></row>'),
    ],
)
def test_a_sheet_may_span_as_many_cells_as_are_read(cells, sheet, monkeypatch):
    monkeypatch.setattr(load.values, "MOST_CELLS", cells)
    guard_workbook(xlsx(sheet), "book.xlsx")
    monkeypatch.setattr(load.values, "MOST_CELLS", cells - 1)
    assert f"spans {cells:,} cells" in refused(xlsx(sheet))


def test_a_row_may_have_as_many_cells_as_a_spreadsheet():
    assert "a row of 16,385 cells" in refused(xlsx('<row r="1"><c r="XFE1"/></row>'))


@pytest.mark.parametrize(
    ("letters", "sheet"),
    [
        (8, '<row><c t="s"><v>1</v></c><c t="s"><v>0</v></c><c t="s"><v>1</v></c></row>'),
        (5, '<row><c t="s"><v>0</v></c><c t="n"><v>123</v></c><c t="s"><v>7</v></c><c/></row>'),
        (6, '<row><c t="s"><v>1</v></c><c t="inlineStr"><is><t>abc</t></is></c></row>'),
        (7, '<row><c t="s"><f>A1</f><v>many</v></c><c><f>A1+A2</f></c></row>'),
    ],
)
def test_texts_count_in_each_cell_that_names_them(letters, sheet, monkeypatch):
    """Texts of two and of three letters; a number that names none counts for nothing."""
    shared = "<si><t>ab</t></si><si><t>c</t><t>de</t></si>"
    monkeypatch.setattr(load, "MOST_TEXT", letters)
    guard_workbook(xlsx(sheet, shared), "book.xlsx")
    monkeypatch.setattr(load, "MOST_TEXT", letters - 1)
    assert "long texts" in refused(xlsx(sheet, shared))


def test_as_much_is_unpacked_as_may_be_and_of_as_many_parts(monkeypatch):
    parts = {BOOK: "<x/>", "a.bin": "abcdef"}
    monkeypatch.setattr(load, "MOST_EXPANDED", 10)
    monkeypatch.setattr(load, "MOST_PARTS", 2)
    guard_workbook(packed(parts), "book.xlsx")
    assert "would unpack to 0 MB" in refused(packed(parts | {"a.bin": "abcdefg"}))
    assert "has 3 parts" in refused(packed(parts | {"b": ""}))
    monkeypatch.undo()
    locked = bytearray(packed(parts))
    for mark, flags in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        locked[locked.index(mark) + flags] |= 1
    assert "is protected by a password" in refused(bytes(locked))


def test_a_large_picture_is_no_row():
    picture = random.Random(1).randbytes(9_000_000)
    sheet = '<worksheet><sheetData><row r="1"><c r="A1"/></row></sheetData></worksheet>'
    guard_workbook(packed({BOOK: "<x/>", "xl/media/a.png": picture, "xl/a.xml": sheet}), "a.xlsx")


def test_a_sheet_that_hides_under_another_name_is_refused():
    link = '<Relationships><Relationship Id="rId1" Target="media/a.png"/></Relationships>'
    far = '<worksheet><sheetData><row r="1048576"><c r="XFD1048576"/>'
    parts = {BOOK: "<x/>", "xl/_rels/workbook.xml.rels": link, "xl/media/a.png": far}
    assert "more than sheets" in refused(packed(parts))


def test_what_is_no_xml_is_refused_whatever_another_reader_makes_of_it():
    assert "is damaged" in refused(packed({BOOK: "<x/>", "xl/a.xml": "<a/><row/>"}))
    laughs = "".join(f'<!ENTITY e{n} "{f"&e{n - 1};" * 10}">' for n in range(1, 10))
    bomb = f'<!DOCTYPE a [<!ENTITY e0 "{"ha" * 50}">{laughs}]><a>&e9;</a>'
    assert "is damaged" in refused(packed({BOOK: bomb}))


def test_one_long_text_in_many_cells_is_refused():
    shared = f"<si><t>{'x' * 30_000}</t></si><si><t>short</t></si>"
    cells = "".join(f'<row r="{n}"><c r="A{n}" t="s"><v>0</v></c></row>' for n in range(1, 20_000))
    assert "long texts" in refused(xlsx(cells, shared))
    many_short = cells.replace("<v>0</v>", "<v>1</v>")
    guard_workbook(xlsx(many_short, shared), "book.xlsx")


def test_other_files_are_told_what_to_do():
    assert "save the sheets" in refused(b"date,tank_id\n")
    assert "older workbook or a protected one" in refused(b"\xd0\xcf\x11\xe0" + bytes(99))
    assert "damaged" in refused(b"PK\x03\x04" + bytes(40))
    assert "another kind" in refused(packed({"a.txt": "x"}))
    assert "another kind" in refused(packed({BOOK: "<x/>", "content.xml": "<y/>"}))
    assert "two parts" in refused(packed({BOOK: "<x/>", BOOK.upper(): "<y/>"}))
    assert "parts" in refused(packed({f"{n}": "" for n in range(2001)} | {BOOK: "<x/>"}))
    assert "packed in a way" in refused(packed({BOOK: "<x/>"}, zipfile.ZIP_LZMA))


def saved(name: str) -> dict[str, bytes | str]:
    """The parts of a workbook as another program writes it, its one sheet under another name."""
    stream, made = io.BytesIO(), openpyxl.Workbook()
    made.active.append([1])
    made.active.title = "tanks"
    made.save(stream)
    with zipfile.ZipFile(stream) as parts:
        whole: dict[str, bytes | str] = {part: parts.read(part) for part in parts.namelist()}
    return whole | {BOOK: bytes(whole[BOOK]).replace(b'"tanks"', f'"{name}"'.encode())}


@pytest.mark.parametrize("name", ["../../etc/tanks", "/tmp/tanks.csv", "..\\tanks", "x/tanks"])
def test_names_of_sheets_never_become_names_of_files(name, tmp_path):
    file = tmp_path / "book.xlsx"
    file.write_bytes(packed(saved(name)))
    with pytest.raises(UsageError, match="none of the sheets of a book"):
        read_workbook(file)
    assert [path.name for path in tmp_path.iterdir()] == ["book.xlsx"]


def test_parts_of_the_zip_are_never_unpacked_to_disk(tmp_path):
    file = tmp_path / "in" / "book.xlsx"
    file.parent.mkdir()
    file.write_bytes(packed(saved("tanks") | {"../../evil.csv": "x", "/tmp/evil.csv": "x"}))
    assert read_workbook(file).tables[0].headings == ("1",)
    assert sorted(path.name for path in tmp_path.rglob("*")) == ["book.xlsx", "in"]
