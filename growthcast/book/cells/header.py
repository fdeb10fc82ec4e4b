"""The header row of a table against the columns declared: known, nearly known, unknown, absent."""

from __future__ import annotations

from growthcast.book.cells.records import Grid
from growthcast.book.slugs import finding
from growthcast.book.tables import TABLES
from growthcast.book.words import column_letter, did_you_mean, is_one_slip, nearest, shown
from growthcast.errors import Finding

_MOST_GUESSES = 20  # looking for near misses takes its time


def match_header(grid: Grid, table: str) -> tuple[dict[str, int], list[Finding]]:
    """Return the place of each known column, and what is odd about the header."""
    declared = {column.name: column.required for column in TABLES[table]}
    findings: list[Finding] = []

    def add(slug: str, index: int | None, heading: str, found: str, fix: str) -> None:
        letter = None if index is None else column_letter(index)
        place = (grid.file, grid.header_row, letter, heading)
        findings.append(finding(slug, *place, found, "column names, each once", fix))

    places: dict[str, int] = {}
    odd: dict[int, str] = {}  # places of names nobody declared
    first: dict[str, int] = {}
    for index, typed in enumerate(grid.header):
        name = typed.strip().casefold()
        if name and first.setdefault(name, index) != index:
            heading = name if name in declared else "header"
            found = f"{shown(name)} again, which is column {column_letter(first[name])} too"
            add("double-column", index, heading, found, "remove or rename one of the two")
        elif name in declared:
            places[name] = index
        else:
            odd[index] = name
    absent = [name for name in declared if name not in places]
    near: set[str] = set()
    for count, (index, name) in enumerate(odd.items()):
        typed = shown(grid.header[index])
        if slip := next((known for known in absent if name and is_one_slip(name, known)), None):
            near.add(slip)
            add("near-column", index, "header", typed, f"did you mean {shown(slip)}?")
        elif name:
            fix = "nothing to do; the column is kept as it is"
            fix = did_you_mean(name, absent, fix) if count < _MOST_GUESSES else fix
            add("unknown-column", index, "header", f"{typed}, a column nobody asked for", fix)
        elif len(grid.columns[index].values) > 1:
            fix = "nothing to do; or give the column a name"
            add("unnamed-column", index, "header", "a column without a name", fix)
    for name in absent:
        if declared[name] and name not in near:
            match = nearest(name, [other for other in odd.values() if other])
            fix = f"add the column {name}"
            fix += f"; is it the one named {shown(match)}?" if match else ""
            add("missing-column", None, name, "no column of that name", fix)
    return places, findings
