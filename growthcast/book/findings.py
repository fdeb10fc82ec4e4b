"""Findings of the kinds that ``findings.toml`` lists: made, put in order, and in words."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from functools import cache
from itertools import groupby
from pathlib import Path
from string import Formatter
from typing import Any, cast

from growthcast.book.tables import TABLES
from growthcast.book.words import as_share, plain, printable, shown, some_of
from growthcast.errors import LEVELS, Finding, Level, in_groups
from growthcast.nouns import dataclass
from growthcast.parts import BY_KEY, BY_TABLE, Parts

_FILES = ("", "practice.toml", *(f"{name}.csv" for name in TABLES if name != "species"))


@cache
def slugs() -> Mapping[str, Level]:
    """Return the level of every kind of finding."""
    kinds = (name.split(".", 1) for name in _kinds())
    return {slug: cast("Level", level) for level, slug in kinds}


@cache
def words_of(slug: str) -> Mapping[str, str]:
    """Return the words of a kind of finding."""
    words: Mapping[str, str] = _kinds()[f"{slugs()[slug]}.{slug}"]
    return words


@cache
def _kinds() -> Parts:
    return Parts(Path(__file__).with_name("findings.toml"), BY_TABLE)


_SAID: Mapping[str, Callable[[str], str]] = {
    "q": shown,
    "d": lambda text: re.sub("[^0-9+-]", "", text),
    "p": lambda text: text.replace(",", "."),
    "c": lambda text: text.replace(".", ","),
    "h": lambda text: as_share(float(text.replace(",", "."))),
}
"""How a value stands in words: in quotes as typed, its digits, with a decimal point, or comma, as a
share of a hundred."""


class _Words(Formatter):
    """Fills in words: ``{cell!q}`` stands in quotes as typed, a number as people write it."""

    def convert_field(self, value: Any, conversion: Any) -> Any:
        way = _SAID.get(conversion)
        return way(value) if way else super().convert_field(value, conversion)

    def format_field(self, value: Any, format_spec: str) -> Any:
        is_bare = isinstance(value, float) and not format_spec
        return plain(value) if is_bare else super().format_field(value, format_spec)


def finding(
    slug: str,
    file: str,
    row: int | None = None,
    column: str | None = None,
    heading: str = "file",
    /,
    **values: Any,
) -> Finding:
    """Return a finding of a listed kind in the words listed for it.

    ``values`` fill in those words; ``found``, ``expected`` and ``fix`` among them stand in their
    place.
    """
    return worded(slug, (file, row, column, heading), values)


def worded(
    slug: str, place: tuple[str, int | None, str | None, str], values: dict[str, Any]
) -> Finding:
    """Return a finding whose words any mapping fills in, as of ``finding``."""
    level, words = slugs()[slug], words_of(slug)
    file, row, column, heading = place
    values.setdefault("file", file)
    for part in ("expected", "found", "fix"):
        if part not in values:
            values[part] = filled(words[part], values)
    column = None if column is None else printable(column)
    found, expected, fix = (printable(values[part]) for part in ("found", "expected", "fix"))
    return Finding(
        printable(file), row, column, printable(heading), found, expected, fix, slug, level
    )


def filled(words: str, values: Mapping[str, Any]) -> str:
    """Return words with values in place of their names in braces."""
    return _Words().vformat(words, (), values)


@cache
def _refusals() -> Parts:
    return Parts(Path(__file__).with_name("refusals.toml"), BY_KEY)


def refusal(name: str, /, **values: Any) -> str:
    """Return the sentence in which ``refusals.toml`` refuses something, with values filled in."""
    return filled(_refusals()[name], values)


@dataclass(frozen=True, slots=True)
class Fault:
    """Why a cell is not what its column holds, and how to mend it."""

    slug: str
    why: str
    fix: str


@cache
def _rules() -> Mapping[str, Sequence[Mapping[str, str]]]:
    return tomllib.loads(Path(__file__).with_name("why.toml").read_text(encoding="utf-8"))


def fault_of(kind: str, text: str, says: str = "", /, **values: Any) -> Fault:
    """Return why a text is none of a kind, by ``why.toml``; ``says`` are a parser's words."""
    for rule in _rules()[kind]:
        fits = re.fullmatch(rule.get("text", "(?s:.*)"), text)
        if fits and re.search(rule.get("says", ""), says):
            said = {**values, "text": text, **fits.groupdict()}
            return Fault(rule["slug"], filled(rule["why"], said), filled(rule["fix"], said))
    raise AssertionError(f"the last rule for {kind} takes any text")


def note_order(item: Finding) -> tuple[int, str, int, int, str, str]:
    """Sort key: file by file as a book lists them, then by place."""
    rank = _FILES.index(item.file) if item.file in _FILES else len(_FILES)
    column = item.column or ""
    return (rank, item.file, item.row or 0, len(column), column, item.slug)


MOST_PER_FILE = 20
MOST_NOTES, MOST_RUNS = 5, 12
_WAYS_OF_READING = ("encoding", "line-ends", "delimiter", "decimal-comma-file")
_SEE = "see growthcast check"


def format_finding(item: Finding) -> str:
    """Return a finding as its line and its indented hints."""
    place = item.file
    if item.row is not None:
        place += f":{item.row}"
        if item.column is not None and item.column != item.heading:
            place += f":{item.column}"
    first = f"{place}: {item.heading}: found {item.found} [{item.slug}]"
    if item.level == "remark":
        return first
    return f"{first}\n    expected: {item.expected}\n    fix:      {item.fix}"


def format_findings(findings: Iterable[Finding]) -> str:
    """Return findings as lines, at most 20 a file and then a count."""
    return "\n".join(_lines(findings))


def _lines(findings: Iterable[Finding]) -> Iterator[str]:
    for file, items in groupby(findings, key=lambda item: item.file):
        listed = in_groups(list(items))
        # what stops the fit is shown first when not everything can be
        if len(listed) > MOST_PER_FILE:
            listed.sort(key=lambda group: LEVELS.index(group[0].level))
        yield from map(_format_group, listed[:MOST_PER_FILE])
        rest = [item for group in listed[MOST_PER_FILE:] for item in group]
        if rest:
            yield f"{file}: and {len(listed) - MOST_PER_FILE} more ({count_of(rest)})"


def _format_group(group: Sequence[Finding]) -> str:
    """Return a fault that stands in several rows as the finding of its first, with all of them."""
    first, rows = format_finding(group[0]), sorted({item.row for item in group if item.row})
    if len(rows) < 2:
        return first
    runs: list[list[int]] = []
    for row in rows:
        if runs and row == runs[-1][-1] + 1:
            runs[-1][1:] = [row]
        else:
            runs.append([row])
    said = some_of([" to ".join(map(str, run)) for run in runs], MOST_RUNS)
    each = "" if len({item.found for item in group}) == 1 else ", each with a value of its own"
    return f"{first}\n    rows:     {said} ({len(rows)} rows{each})"


def count_of(findings: Iterable[Finding]) -> str:
    """Return how many problems, notes and remarks there are, in words; one in many rows is one."""
    levels = [group[0].level for group in in_groups(list(findings))]
    counted = [(levels.count(level), level) for level in LEVELS]
    return ", ".join(
        f"{number or 'no'} {level}{'' if number == 1 else 's'}"
        for number, level in counted
        if number or level == "problem"
    )


def summary_for_commands(findings: Iterable[Finding]) -> str:
    """Return findings as a command says them beside its answer, ``''`` where there are none.

    Notes stand in full, at most five and then a count; all remarks together are one line. Rows that
    end early are left to ``check``: so do all older ones once ``log`` has added a column.
    """
    listed = [item for item in findings if item.slug != "short-rows"]
    remarks = [item for item in listed if item.level == "remark"]
    others = in_groups([item for item in listed if item.level != "remark"])
    lines = [_format_group(group) for group in others[:MOST_NOTES]]
    if rest := others[MOST_NOTES:]:
        noun = "note" if len(rest) == 1 else "notes"
        lines.append(f"And {len(rest)} more {noun}: {_SEE}")
    if remarks:
        lines.append(_in_one_line(remarks))
    return "\n".join(lines)


def _in_one_line(remarks: list[Finding]) -> str:
    """Return remarks as one sentence: how the files were read, then everything else."""
    found = {slug: [i.found for i in remarks if i.slug == slug] for slug in _WAYS_OF_READING}
    ways = [
        re.sub("^(text in|cells separated by|numbers with) ", "", one)
        for slug in _WAYS_OF_READING
        for one in dict.fromkeys(found[slug])
    ]
    rest = dict.fromkeys(item.found for item in remarks if item.slug not in _WAYS_OF_READING)
    sentence = "; ".join([*([f"read as {', '.join(ways)}"] if ways else []), *rest])
    return f"{sentence[:1].upper()}{sentence[1:]}: {_SEE}"
