"""The header row of a table against the columns declared: known, nearly known, unknown, absent."""

from __future__ import annotations

from dataclasses import dataclass, field

from growthcast.book.cells.records import Grid
from growthcast.book.slugs import finding
from growthcast.book.tables import TABLES
from growthcast.book.words import column_letter, did_you_mean, is_one_slip, nearest, shown
from growthcast.errors import Finding

__all__ = ["match_header"]

_MOST_GUESSES = 20  # looking for near misses takes its time


def match_header(grid: Grid, table: str) -> tuple[dict[str, int], list[Finding]]:
    """Return the place of each known column, and what is odd about the header."""
    matching = _Matching(grid, {column.name: column.required for column in TABLES[table]})
    matching.known()
    matching.unknown()
    matching.missing()
    return matching.places, matching.findings


@dataclass
class _Matching:
    """A header while it is matched; ``declared`` maps each column to whether it is required."""

    grid: Grid
    declared: dict[str, bool]
    places: dict[str, int] = field(default_factory=dict)
    findings: list[Finding] = field(default_factory=list)
    odd: dict[int, str] = field(default_factory=dict)  # places of names nobody declared
    near: set[str] = field(default_factory=set)

    def _add(self, slug: str, index: int | None, heading: str, found: str, fix: str) -> None:
        letter = None if index is None else column_letter(index)
        expected = "column names, each once"
        file, row = self.grid.file, self.grid.header_row
        self.findings.append(finding(slug, file, row, letter, heading, found, expected, fix))

    def known(self) -> None:
        """Place the declared columns; a name that stands twice is a problem."""
        first: dict[str, int] = {}
        for index, typed in enumerate(self.grid.header):
            name = typed.strip().casefold()
            if name and first.setdefault(name, index) != index:
                heading = name if name in self.declared else "header"
                found = f"{shown(name)} again, which is column {column_letter(first[name])} too"
                fix = "remove or rename one of the two"
                self._add("double-column", index, heading, found, fix)
            elif name in self.declared:
                self.places[name] = index
            else:
                self.odd[index] = name

    def unknown(self) -> None:
        """Tell a slip of the hand from a column of the practice's own."""
        absent = [name for name in self.declared if name not in self.places]
        guesses = 0
        for index, name in self.odd.items():
            typed = shown(self.grid.header[index])
            slip = next((known for known in absent if name and is_one_slip(name, known)), None)
            if slip:
                self.near.add(slip)
                fix = f"did you mean {shown(slip)}?"
                self._add("near-column", index, "header", typed, fix)
            elif name:
                fix = "nothing to do; the column is kept as it is"
                guesses += 1
                if guesses <= _MOST_GUESSES:
                    fix = did_you_mean(name, absent, fix)
                found = f"{typed}, a column nobody asked for"
                self._add("unknown-column", index, "header", found, fix)
            elif len(self.grid.columns[index].values) > 1:
                fix = "nothing to do; or give the column a name"
                self._add("unnamed-column", index, "header", "a column without a name", fix)

    def missing(self) -> None:
        """Name the required columns that are not there."""
        unknown = [name for name in self.odd.values() if name]
        for name, required in self.declared.items():
            if required and name not in self.places and name not in self.near:
                match = nearest(name, unknown)
                fix = f"add the column {name}"
                fix += f"; is it the one named {shown(match)}?" if match else ""
                self._add("missing-column", None, name, "no column of that name", fix)
