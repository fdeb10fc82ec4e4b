"""A page as PDF: tagged, with its text and alternative texts, the same bytes every time."""

from __future__ import annotations

import io

import pytest

from growthcast.brief.pdf import page_pdf
from tests.unit.brief.test_page_html import page

pytest.importorskip("typst")
pypdf = pytest.importorskip("pypdf")

NASTY = '#panic("no") $x$ *b* \\ "quoted" <label> // @ref `raw` {{7*7}} [c]'


def read(content: bytes):
    return pypdf.PdfReader(io.BytesIO(content))


def test_a_persons_text_is_never_typst():
    made = read(page_pdf(page(NASTY)))
    text = " ".join(made.pages[0].extract_text().replace("\u200b", "").split())
    assert '#panic("no") $x$ *b*' in text
    assert "`raw` {{7*7}}" in text
    assert made.metadata.title.replace("\u200b", "") == NASTY


def test_it_is_tagged_and_says_its_language():
    root = read(page_pdf(page("plain"))).trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "en"
    assert "/StructTreeRoot" in root
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert b"pdfuaid:part" in root["/Metadata"].get_data()


def tags(node, found):
    node = node.get_object()
    if isinstance(node, list):
        for child in node:
            tags(child, found)
    elif isinstance(node, dict):
        scopes = [part["/Scope"] for part in node.get("/A", []) if "/Scope" in part]
        found += [(node.get("/S"), *scopes)]
        tags(node.get("/K", []), found)
    return found


def test_a_row_has_its_header_and_words_stay_whole():
    made = read(page_pdf(page("recommended presentable")))
    found = tags(made.trailer["/Root"]["/StructTreeRoot"], [])
    assert found.count(("/TH", "/Column")) == 2
    assert found.count(("/TH", "/Row")) == 1
    assert found.count(("/TD",)) == 1
    assert "\u200b" not in made.pages[0].extract_text()


def test_telephone_and_mail_can_be_followed():
    made = read(page_pdf(page("Ada, +49 (0)30 123456, ada@example.com")))
    notes = [note.get_object() for note in made.pages[0]["/Annots"]]
    found = {note["/A"]["/URI"] for note in notes if note["/Subtype"] == "/Link"}
    assert "mailto:ada@example.com" in found
    assert any(uri.startswith("tel:+49") for uri in found)


def test_the_same_page_is_the_same_bytes():
    assert page_pdf(page("plain")) == page_pdf(page("plain"))


@pytest.mark.parametrize("text", ["x" * 80, "נבטים גבעול", "🌿 plant 🐟", "草"])
def test_names_of_any_kind(text):
    assert page_pdf(page(text)).startswith(b"%PDF")
