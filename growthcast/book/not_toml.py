"""Why a text is not TOML, line by line and in plain words, with what to type instead."""

from __future__ import annotations

import re
import tomllib
from contextlib import suppress
from typing import Any

from growthcast.book.findings import Fault, fault_of, finding
from growthcast.errors import Finding

_MOST_FAULTS = 20
_KEY = r"""\s*(?P<key>[A-Za-z0-9_.-]+|"[^"]*"|'[^']*')\s*"""
_OPEN = _KEY + r"=\s*(?:\[|\{|\"\"\"|''').*"


def parse_toml(text: str, file: str) -> tuple[dict[str, Any], list[Finding]]:
    """Return what the text says, without the lines that say nothing, and a problem for each."""
    lines, findings = text.split("\n"), list[Finding]()
    at: int | None
    while len(findings) < _MOST_FAULTS:
        try:
            return tomllib.loads("\n".join(lines)), findings
        except RecursionError:
            at, line, found = None, "", "lists in lists, too deep to read"
            fix = "write it as growthcast start does; no list stands in a list here"
        except ValueError as error:
            place = re.search(r"\(at line ([0-9]+), column ([0-9]+)\)", str(error))
            last = min(int(place[1]) if place else len(lines), len(lines)) - 1
            at = _where_it_began(lines, last, str(error))
            line = lines[at]
            fault = _why(line, str(error))
            found, fix = fault.why, fault.fix
        row = None if at is None else at + 1
        findings.append(finding("toml-form", file, row, None, "line", found=found, fix=fix))
        if at is None or re.fullmatch(_OPEN, line) or not line.strip():
            break  # what follows cannot be told from what is not closed
        head = re.match(r"\s*\[+\s*([A-Za-z0-9_-]+)", line)
        lines[at] = f"[{head[1]}]" if head and f"[{head[1]}]" not in lines else ""
        if lines[at] == line:
            break
    return {}, findings


def _where_it_began(lines: list[str], at: int, message: str) -> int:
    """Return the line that opened what was never closed, else the one that was named."""
    ended = "end of document" in message or not lines[at].strip()
    if "Unclosed" in message or (ended and not re.match(_KEY + "=", lines[at])):
        return next((n for n in range(at - 1, -1, -1) if re.fullmatch(_OPEN, lines[n])), at)
    return at


def _why(line: str, message: str) -> Fault:
    """Return what is wrong with a line, and what to do."""
    seen = typed = line.strip()
    key = bare = ""
    if pair := re.fullmatch(_KEY + r"=\s*(?P<value>.*)", line):
        key, bare = pair["key"], re.sub(r"\s*#.*", "", pair["value"].strip())
        seen = f"{key} = {bare}"
    said = {"typed": typed, "name": re.sub(r"[^A-Za-z0-9_-]+", "", typed.partition("#")[0])}
    said |= {"underscored": "_".join(typed.split("=")[0].split())}
    said |= {"numbers": ", ".join(re.findall("[0-9]+", bare))}
    said |= {"words": re.sub("[\"']", "", bare).strip()}
    with suppress(ValueError):
        said["short"] = f"{float(bare):g}"
    return fault_of("toml", seen, message, **said)
