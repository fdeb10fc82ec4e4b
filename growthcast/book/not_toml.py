"""Why a text is not TOML, line by line and in plain words, with what to type instead."""

from __future__ import annotations

import re
import tomllib
from typing import Any

from growthcast.book.cells.numbers import as_share
from growthcast.book.findings import finding
from growthcast.book.words import shown
from growthcast.errors import Finding

_MOST_FAULTS = 20
_KEY = r"""\s*(?P<key>[A-Za-z0-9_.-]+|"[^"]*"|'[^']*')\s*"""
_OPEN = re.compile(_KEY + r"=\s*(?:\[|\{|\"\"\"|''').*")


def parse_toml(text: str, file: str) -> tuple[dict[str, Any], list[Finding]]:
    """Return what the text says, without the lines that say nothing, and a problem for each."""
    lines = text.split("\n")
    findings: list[Finding] = []
    while len(findings) < _MOST_FAULTS:
        try:
            return tomllib.loads("\n".join(lines)), findings
        except RecursionError:
            fix = "write it as growthcast start does; no list stands in a list here"
            found = "lists in lists, too deep to read"
            findings.append(finding("toml-form", file, None, None, "line", found=found, fix=fix))
            break
        except ValueError as error:
            place = re.search(r"\(at line ([0-9]+), column ([0-9]+)\)", str(error))
            at = (int(place[1]) if place else len(lines)) - 1
            at = _where_it_began(lines, min(at, len(lines) - 1), str(error))
            line = lines[at]
            found, fix = _why(line, str(error))
            findings.append(finding("toml-form", file, at + 1, None, "line", found=found, fix=fix))
            if _OPEN.fullmatch(line) or not line.strip():
                break  # what follows cannot be told from what is not closed
            head = re.match(r"\s*\[+\s*([A-Za-z0-9_-]+)", line)
            lines[at] = f"[{head[1]}]" if head and f"[{head[1]}]" not in lines else ""
            if lines[at] == line:
                break
    return {}, findings


def _where_it_began(lines: list[str], at: int, message: str) -> int:
    """Return the line that opened what was never closed, else the one that was named."""
    unclosed = "Unclosed" in message or "end of document" in message or not lines[at].strip()
    if unclosed and not re.match(_KEY + "=", lines[at]):
        back = range(at, -1, -1)
    elif "Unclosed" in message:
        back = range(at - 1, -1, -1)
    else:
        return at
    return next((n for n in back if _OPEN.fullmatch(lines[n])), at)


def _why(line: str, message: str) -> tuple[str, str]:
    """Return what is wrong with a line, and what to do."""
    typed = line.strip()
    if "verwrite" in message or "twice" in message or "already" in message:
        return f"{shown(typed)}, which stands there twice", "remove one of the two"
    if typed.startswith("["):
        name = re.sub(r"[^A-Za-z0-9_-]+", "", typed.partition("#")[0])
        return f"{shown(typed)}, a section not closed or not alone", f"write [{name}] on its own"
    if re.search("[“”„‟«»‘’]", typed):
        return f"{shown(typed)}, with curly quotes", 'write straight double quotes: "'
    if not (parts := re.fullmatch(_KEY + r"=\s*(?P<value>.*)", line)):
        return _no_pair(typed)
    return _of_value(parts["key"], parts["value"].strip(), typed)


def _no_pair(typed: str) -> tuple[str, str]:
    if colon := re.fullmatch(_KEY + r":\s*(?P<value>.+)", typed):
        return f"{shown(typed)}, with a colon", f"write {colon['key']} = {colon['value']}"
    if spaced := re.fullmatch(r"([A-Za-z0-9_-]+(?: +[A-Za-z0-9_-]+)+)\s*=\s*(.+)", typed):
        name = "_".join(spaced[1].split())
        return f"{shown(typed)}, a key with a space", f"write {name} = {spaced[2]}"
    if not typed:
        return "a quote or bracket that is never closed", "close it"
    return (
        f"{shown(typed)}, which is no key = value",
        "write key = value, or # in front of a remark",
    )


def _of_value(key: str, value: str, typed: str) -> tuple[str, str]:
    """Return what is wrong with the value of a key."""
    bare = re.sub(r"\s*#.*", "", value)
    if not bare:
        return f"{shown(key)} without a value", "write a value after the = sign, or remove the line"
    if re.fullmatch(r"[0-9]+(?:\s*[,; ]\s*[0-9]+)+", bare) and (
        key == "intervals_d" or re.search(r"[ ;]|,.*,", bare)
    ):
        numbers = ", ".join(re.findall("[0-9]+", bare))
        return f"{shown(bare)}, a list without brackets", f"write {key} = [{numbers}]"
    if comma := re.fullmatch(r"([+-]?[0-9]+),([0-9]+)", bare):
        number = f"{comma[1]}.{comma[2]}"
        fix = f"write {number}"
        if len(comma[2]) == 3 and comma[1].strip("+-0"):
            fix += f" or {comma[1]}{comma[2]}, whichever is meant"
        return f"{shown(bare)}, with a decimal comma", fix
    if re.fullmatch(r"[+-]?(?:\.[0-9]+|[0-9]+\.|0[0-9]+(?:\.[0-9]*)?)", bare):
        return f"{shown(bare)}, a number written short", f"write {float(bare):g}"
    if unit := re.fullmatch(r"([+-]?[0-9]+(?:[.,][0-9]+)?)\s*([^\W\d_]+|[%€$£])", bare):
        number = unit[1].replace(",", ".")
        number = as_share(float(number)) if unit[2] == "%" else number
        return f"{shown(bare)}, a number with its unit", f"write {number}"
    if bare.startswith(("[", "{")):
        return f"{shown(typed)}, a list not closed or not plain", "write [7, 10, 14], as an example"
    words = re.sub("[\"']", "", bare).strip()
    if bare[0] in "\"'":
        if "\\" in bare:
            fix = "write / for each backslash, or put the text in single quotes"
            return f"{shown(typed)}, a text with a backslash", fix
        fix = f'write {key} = "{words}"' if words else "close the text with the same quotes"
        return f"{shown(typed)}, a text not closed or with more behind it", fix
    return f"{shown(bare)}, a text without quotes", f'write {key} = "{words}"'
