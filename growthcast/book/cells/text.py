"""Files to text, whatever wrote them; how they were read is remarked."""

from __future__ import annotations

import codecs
import os
import re
from pathlib import Path

from growthcast.book.findings import fault_of, finding
from growthcast.errors import Finding

MOST_BYTES = 100_000_000
"""Bytes of a table at most: two million visits in plain text."""
MOST_SETTINGS_BYTES = 200_000
_NAMES = {"utf-8": "UTF-8", "utf-16-le": "UTF-16", "utf-16-be": "UTF-16", "cp1252": "Windows-1252"}
_MARKS_16 = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
_LETTERS = rb"[\x80-\xff]+"
_CELL = rb'[^,;\t"\r\n]+'
_LAST_LATIN = "\N{LATIN SMALL LETTER LONG S}"
_WORKBOOKS = (b"PK\x03\x04", b"\xd0\xcf\x11\xe0")  # how packed and older workbooks begin


def read_bytes(path: Path, *, workbooks: bool = False) -> bytes | Finding:
    """Return a file's bytes, read once more if it changed meanwhile, or why they are not there.

    ``workbooks`` are let pass where they are asked for.
    """
    most = MOST_SETTINGS_BYTES if path.suffix == ".toml" else MOST_BYTES
    try:
        if path.exists() and not path.is_dir() and not path.is_file():
            return _unreadable(path, OSError(0, "not an ordinary file"))
        for _ in range(2):
            with path.open("rb") as stream:
                before = os.fstat(stream.fileno())
                if before.st_size > most:
                    said = {"megabytes": before.st_size / 1e6, "most": most / 1e6}
                    return finding("too-large", path.name, **said)
                data = stream.read()
            after = path.stat()
            unchanged = (before.st_mtime_ns, before.st_ino) == (after.st_mtime_ns, after.st_ino)
            if unchanged and after.st_size == len(data):
                break
        else:
            return finding("unsteady-file", path.name)
    except (OSError, ValueError) as error:
        return _unreadable(path, error)
    if not data:
        return finding("empty-file", path.name)
    if data.startswith(_WORKBOOKS) and not workbooks:
        return finding("workbook", path.name)
    return data


def _unreadable(path: Path, error: Exception) -> Finding:
    trouble = "closed" if isinstance(error, PermissionError) else "trouble"
    if os.path.isdir(path):  # noqa: PTH112 - never raise
        trouble = "folder"
    elif os.path.islink(path) and not os.path.exists(path):  # noqa: PTH110, PTH114
        trouble = "link"
    reason = getattr(error, "strerror", None) or "no reason given"
    fault = fault_of("file", trouble, reason=reason)
    return finding(fault.slug, path.name, found=fault.why, fix=fault.fix)


def decode(data: bytes, file: str) -> tuple[str | None, list[Finding]]:
    """Return the text of a file's bytes and a remark on any encoding but plain UTF-8."""
    text: str | None = None
    try:
        mark, codec, text = decoded(data)
        name = _NAMES[codec] + (" with a mark" if mark == codecs.BOM_UTF8 else "")
    except UnicodeDecodeError:
        name = "UTF-16" if data.startswith(_MARKS_16) else "UTF-8 or Windows-1252"
    if name not in {"UTF-8", "UTF-16"} and (odd := _mixed(data, file)) is not None:
        return None, [odd]
    if text is None:
        return None, [finding("unknown-encoding", file, encoding=name)]
    if "\0" in text:
        row = text.count("\n", 0, text.index("\0")) + 1
        return None, [finding("nul-bytes", file, row)]
    return text, [] if name == "UTF-8" else [finding("encoding", file, encoding=name)]


def decoded(data: bytes) -> tuple[bytes, str, str]:
    """Return a file's byte order mark, its encoding and its text, or ``UnicodeDecodeError``."""
    for mark, codec in zip((codecs.BOM_UTF8, *_MARKS_16), _NAMES, strict=False):
        if data.startswith(mark):
            return mark, codec, data[len(mark) :].decode(codec)
    try:
        return b"", "utf-8", data.decode("utf-8")
    except UnicodeDecodeError:
        return b"", "cp1252", data.decode("cp1252")


def _mixed(data: bytes, file: str) -> Finding | None:
    """Return the first place in the rarer of two encodings, none where all are in one."""
    kinds = {letters: _is_utf_8(letters) for letters in set(re.findall(_LETTERS, data))}
    if not {True, False} <= set(kinds.values()):
        return None
    places: dict[bool | None, list[int]] = {True: [], False: [], None: []}
    for found in re.finditer(_LETTERS, data):
        places[kinds[found[0]]].append(found.start())
    utf_8 = len(places[True]) < len(places[False]) and not data.startswith(codecs.BOM_UTF8)
    at = places[utf_8][0]
    cell = next(c[0] for c in re.compile(_CELL).finditer(data, max(at - 200, 0)) if c.end() > at)
    codec, other = ("UTF-8", "Windows-1252") if utf_8 else ("Windows-1252", "UTF-8")
    row = len((data[:at] + b".").splitlines())
    text = cell.decode(codec, "replace")
    return finding("mixed-encoding", file, row, cell=text, encoding=codec, other=other)


def _is_utf_8(letters: bytes) -> bool | None:
    """Whether letters beyond ASCII that stand together are UTF-8; none where they may be either."""
    try:
        text = letters.decode("utf-8")
    except UnicodeDecodeError:
        return False
    # A sharp s before a quotation mark in Windows-1252 is a letter of another script in UTF-8.
    return True if len(letters) > 2 or text <= _LAST_LATIN else None


def line_ends(text: str, file: str) -> list[Finding]:
    """Return a remark on line ends other than a plain newline."""
    if "\r" not in text:
        return []
    windows = text.count("\r\n")
    kind = "Windows line ends" if windows == text.count("\r") else "line ends of an old system"
    return [finding("line-ends", file, kind=kind)]
