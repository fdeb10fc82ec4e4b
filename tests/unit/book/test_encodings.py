"""Bytes to text: one encoding a file, and a person is told where it is another."""

from __future__ import annotations

import os

import pytest

from growthcast.book.cells import text as reading
from growthcast.book.cells.text import decode, line_ends, read_bytes


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


@pytest.mark.parametrize(
    ("data", "slug", "encoding"),
    [
        (b"\xff\xfea\0b", "unknown-encoding", "UTF-16"),  # half a letter
        (b"\x81", "unknown-encoding", "UTF-8 or Windows-1252"),
        (b"a\nb\nc\0d\n\0", "nul-bytes", "row 3"),
        (b"\xfe\xff\0a", "encoding", "UTF-16"),
        (b"\xef\xbb\xbfa", "encoding", "UTF-8 with a mark"),
    ],
)
def test_what_cannot_be_read_or_was_read_in_another_way_is_said(data, slug, encoding):
    text, [finding] = decode(data, "tanks.csv")
    assert (finding.slug, text) == (slug, "a" if slug == "encoding" else None)
    assert encoding in f"{finding.found}, row {finding.row}"


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("a\nb\n", None),
        ("a\r\nb\n", "Windows line ends"),
        ("a\rb\r", "line ends of an old system"),
        ("a\r\nb\r", "line ends of an old system"),
    ],
)
def test_line_ends_are_told_apart(text, kind):
    assert [item.found for item in line_ends(text, "a.csv")] == ([kind] if kind else [])


def test_files_up_to_their_most_bytes_are_read(tmp_path, monkeypatch):
    """Settings have a limit of their own; packed files are let pass where they are asked for."""
    monkeypatch.setattr(reading, "MOST_BYTES", 2_000_000)
    monkeypatch.setattr(reading, "MOST_SETTINGS_BYTES", 8)
    table, settings = tmp_path / "a.csv", tmp_path / "practice.toml"
    for file, most in ((table, 2_000_000), (settings, 8)):
        file.write_bytes(b"x" * most)
        assert read_bytes(file) == b"x" * most
        file.write_bytes(b"x" * (most + 1))
        assert read_bytes(file).slug == "too-large"
    assert read_bytes(table).expected == "at most 2 MB"
    assert read_bytes(table).found.startswith("2.0 MB, which")
    table.write_bytes(b"PK\x03\x04")
    assert read_bytes(table).slug == "workbook"
    assert read_bytes(table, workbooks=True) == b"PK\x03\x04"
    os.mkfifo(tmp_path / "pipe")  # nobody ever writes to it
    assert read_bytes(tmp_path / "pipe").found == (
        "a file the system does not open (not an ordinary file)"
    )
    assert "No such file" in read_bytes(tmp_path / "none.csv").found
