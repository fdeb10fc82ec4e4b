"""Bytes to text: one encoding a file, and a person is told where it is another."""

from __future__ import annotations

import pytest

from growthcast.book.cells.text import decode


def lines(*texts: tuple[str, str]) -> bytes:
    return b"\r\n".join(text.encode(codec) for text, codec in texts) + b"\r\n"


@pytest.mark.parametrize(
    ("data", "row", "found"),
    [
        (lines(("a,Łódź", "utf8"), ("b,Zürich", "cp1252")), 2, '"Zürich" in Windows-1252'),
        (lines(("ü,x", "cp1252"), ("Köln,x", "cp1252"), ("a;ü;b", "utf8")), 3, '"ü" in UTF-8'),
        (lines(("Köln,ü", "utf-8-sig"), ("größer", "cp1252")), 2, '"größer" in Windows-1252'),
        (lines(("ü", "utf-8-sig"), ("ä", "cp1252"), ("ä", "cp1252")), 2, '"ä" in Windows-1252'),
        (lines(("茶 ü ö ä", "utf8"), ("été", "cp1252")) + b"\x81", 2, '"été" in Windows-1252'),
        (b'id,note\n1,"' + "ü".encode() + b" " + "ü".encode("cp1252") + b'"\n', 2, "in Windows"),
    ],
)
def test_two_encodings_in_one_file_are_a_problem_with_its_row(data, row, found):
    text, [finding] = decode(data, "tanks.csv")
    assert text is None
    assert (finding.slug, finding.row, finding.level) == ("mixed-encoding", row, "problem")
    assert found in finding.found


@pytest.mark.parametrize(
    "text",
    ["„Spaß“, größer, Köln", "ü µ ß é", "„CAFÉ“ É’ Ê“ ü", "10 °C – 12 °C"],
)
def test_windows_1252_alone_is_read_with_a_remark(text):
    read, [finding] = decode(text.encode("cp1252"), "tanks.csv")
    assert (read, finding.slug) == (text, "encoding")


@pytest.mark.parametrize("text", ["Łódź, 茶, я, µ, ß“", "ü"])
def test_utf_8_alone_is_read_without_a_remark(text):
    assert decode(text.encode(), "tanks.csv") == (text, [])
