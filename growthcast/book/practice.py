"""``practice.toml``: its keys read strictly, odd ones kept and named."""

from __future__ import annotations

import re
from typing import Any

from growthcast.book.book import Practice
from growthcast.book.cells.text import decode
from growthcast.book.checks.names import odd_key_names
from growthcast.book.keys import read_key
from growthcast.book.not_toml import parse_toml
from growthcast.book.slugs import finding
from growthcast.book.tables import KEYS
from growthcast.errors import Finding

FILE = "practice.toml"
WRITE_ONE = (
    "write a practice.toml of three lines: [practice] and below it "
    'name = "Your practice" and labour_rate_per_h = 58.0, with your own price of an hour'
)


def read_practice(data: bytes) -> tuple[Practice | None, list[Finding]]:
    """Return what ``practice.toml`` says and what was found in it."""
    text, findings = decode(data, FILE)
    if text is None:
        return None, findings
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    content, broken = parse_toml(text, FILE)
    findings += broken
    if broken and not content:
        return None, findings
    lines = _lines_of_keys(text)
    findings += odd_key_names(content, lines)
    values: dict[str, Any] = {}
    for section, key in ((section, key) for section, keys in KEYS.items() for key in keys):
        given = content.get(section)
        if not isinstance(given, dict) or key.name not in given:
            continue
        value, faults = read_key(key, given[key.name])
        line, name = lines.get((section, key.name)), key.name
        for fault in faults:
            slug, found, fix = fault.slug, fault.why, fault.fix
            findings.append(finding(slug, FILE, line, name, name, found, key.expected, fix))
        values |= {} if faults else {name: value}
    problems = any(item.level == "problem" for item in findings)
    if "labour_rate_per_h" not in values and not problems:
        fix = "write labour_rate_per_h under [practice] to see costs; until then it is 0"
        fix = fix if text.strip() else WRITE_ONE
        name = "labour_rate_per_h"
        findings.append(
            finding("no-labour-rate", FILE, None, name, name, "no labour rate", "a rate", fix)
        )
    return None if problems else Practice(**values), findings


def _lines_of_keys(text: str) -> dict[tuple[str, str], int]:
    """Return the line of every section and of every key written in the usual way."""
    lines: dict[tuple[str, str], int] = {}
    section = ""
    for number, line in enumerate(text.split("\n"), start=1):
        if head := re.match(r"""\s*\[+\s*["']?([^\]"']*?)["']?\s*\]""", line):
            section = head[1]
            lines.setdefault((section, ""), number)
        elif key := re.match(r"""\s*["']?([^="']*?)["']?\s*=""", line):
            name = key[1].strip()
            if not section and "." in name:
                part, name = (side.strip() for side in name.split(".", 1))
                lines.setdefault((part, name), number)
            lines.setdefault((section, name), number)
    return lines
