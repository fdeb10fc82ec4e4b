"""The book as it would be, read and checked before anything is written."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path

from growthcast.book.checks.names import FILES
from growthcast.book.read import inspect_book
from growthcast.book.sheets.merge import Merge
from growthcast.errors import BookProblems, Finding

__all__ = ["WouldNotCheck", "check_merge"]


class WouldNotCheck(BookProblems):
    """A book that would have problems with the changes asked for: they are not made."""

    sentence = "with these changes the book would have {}: nothing written"


def check_merge(folder: Path, merge: Merge, workbook: str, *, today: date) -> list[Finding]:
    """Return the notes on rows which the workbook changes; raise ``WouldNotCheck`` on problems.

    Findings about rows of the workbook name the workbook's own rows and columns.
    """
    _, findings = inspect_book(folder, today=today, instead=merge.files)
    findings = tuple(item for item in findings if item.file in FILES)  # not names of other files
    placed = list(_in_workbook(findings, merge, workbook))
    problems = tuple(item for item, _ in placed if item.level == "problem")
    if problems:
        raise WouldNotCheck(problems)
    return [item for item, theirs in placed if theirs and item.level == "note"]


def _in_workbook(
    findings: tuple[Finding, ...], merge: Merge, workbook: str
) -> Iterator[tuple[Finding, bool]]:
    """Yield each finding with whether it is about a row of the workbook."""
    for item in findings:
        row = None if item.row is None else merge.places.get((item.file, item.row))
        if row is None:
            yield item, item.file == "practice.toml" and item.file in merge.files
            continue
        sheet = item.file.removesuffix(".csv")
        letter = merge.letters.get((item.file, item.heading), item.column)
        place = f"{workbook}, sheet {sheet}"
        yield replace(item, file=place, row=row, column=letter), True
