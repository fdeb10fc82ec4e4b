"""Reading a book: every file, every check, all findings at once."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from growthcast.book.book import Book, Practice, Table
from growthcast.book.cells.convert import empty_table, read_table
from growthcast.book.cells.records import read_grid
from growthcast.book.cells.text import read_bytes
from growthcast.book.checks.checks import CHECKS, in_percent_cover
from growthcast.book.checks.rows import Tables
from growthcast.book.checks.several import first_of_each, lay_over
from growthcast.book.files import book_folder, check_file_names, shipped_species_dir
from growthcast.book.findings import finding, note_order
from growthcast.book.practice import WRITE_ONE, read_practice
from growthcast.book.tables import TABLES
from growthcast.book.words import check_known
from growthcast.errors import BookProblems, Finding, UsageError

if TYPE_CHECKING:
    import pandas as pd

_NEEDED = ("tanks", "areas")


def read_book(folder: str | Path, *, on: date | None = None, today: date | None = None) -> Book:
    """Return the book in a folder; raise ``BookProblems`` with all findings if it has problems."""
    folder = book_folder(folder)
    book, findings = inspect_book(folder, today=today or date.today(), on=on)
    if book is None:
        raise BookProblems(findings)
    return book


def book_of_bytes(practice: Mapping[str, Any] | str, tables: Mapping[str, pd.DataFrame]) -> Book:
    """Return the book that frames hold, each written out and read as a file would be."""
    from tempfile import TemporaryDirectory

    import tomlkit

    for name in tables:
        check_known(name, list(TABLES), "a book has no table", "its tables are")
    if not isinstance(practice, str | Mapping) or str(practice).endswith(".toml"):
        raise UsageError("practice is the text of practice.toml, or its sections as a mapping")
    text = practice if isinstance(practice, str) else tomlkit.dumps(practice)
    files: dict[str, bytes | None] = {"practice.toml": text.encode() or b"[practice]\n"}
    for name, frame in tables.items():
        files[f"{name}.csv"] = frame.to_csv(index=False, date_format="%Y-%m-%d").encode()
    with TemporaryDirectory() as empty:
        book, findings = inspect_book(Path(empty), today=date.today(), instead=files)
    if book is None:
        raise BookProblems(findings)
    return book


def inspect_book(
    folder: Path,
    *,
    today: date,
    on: date | None = None,
    species_dir: Path | None = None,
    instead: Mapping[str, bytes | None] | None = None,
) -> tuple[Book | None, tuple[Finding, ...]]:
    """Return the book, or none where it has problems, and everything found in it.

    Log rows after ``on`` are left out; a log row later than the day after ``today`` is a
    problem. ``instead`` holds bytes to read in place of files, by name, ``None`` for a file that
    is not there: the book as it would be if they were written.
    """
    reading = _Book(folder, today, on, instead or {})
    findings = reading.findings
    findings += check_file_names(folder)
    practice = reading.practice()
    shipped = read_shipped_species(species_dir)
    own = reading.table("species")
    species, more = lay_over(shipped, own)
    findings += more
    tables = {name: reading.table(name) for name in TABLES if name != "species"}
    tables["trims"] = reading.until(tables["trims"])
    checked = Tables({**tables, "species": species, "own": own}, today, practice)
    findings += run_checks(checked, findings)
    ordered = tuple(sorted(in_percent_cover(findings, checked), key=note_order))
    if any(item.level == "problem" for item in ordered) or practice is None:
        return None, ordered
    tables |= {name: first_of_each(tables[name]) for name in ("trims", "conditions", "bounds")}
    return Book(folder, practice, **tables, species=species, findings=ordered), ordered


def read_shipped_species(species_dir: Path | None = None) -> Table:
    """Return the species table that ships."""
    return _species_of((species_dir or shipped_species_dir()) / "species.csv")


@cache  # a book is read five times while a visit is logged
def _species_of(path: Path) -> Table:
    table, findings = _table(path.name, "species", lambda: read_bytes(path))
    problems = tuple(item for item in findings if item.level == "problem")
    if problems:
        raise BookProblems(problems)
    return table


def _table(
    file: str, table: str, source: Callable[[], bytes | Finding]
) -> tuple[Table, list[Finding]]:
    data = source()
    if isinstance(data, Finding):
        return empty_table(table), [data]
    known = frozenset(column.name for column in TABLES[table])
    grid, findings = read_grid(data, file, known)
    del data  # a long log's text is large
    if grid is None:
        return empty_table(table), findings
    read, more = read_table(grid, table)
    return read, findings + more


@dataclass
class _Book:
    """A book while it is read: where it is, and what was found so far."""

    folder: Path
    today: date
    on: date | None
    instead: Mapping[str, bytes | None]
    findings: list[Finding] = field(default_factory=list)

    def practice(self) -> Practice | None:
        """Read ``practice.toml``."""
        path = self.folder / "practice.toml"
        if not self._is_here(path):
            self._missing("practice.toml", WRITE_ONE)
            return None
        data = self._data(path)
        if isinstance(data, Finding):
            fix = WRITE_ONE if data.slug == "empty-file" else data.fix
            self.findings.append(replace(data, fix=fix))
            return None
        practice, findings = read_practice(data)
        self.findings += findings
        return practice

    def table(self, name: str) -> Table:
        """Read one table; one that is not there and need not be has no rows."""
        path = self.folder / f"{name}.csv"
        if not self._is_here(path):
            if name in _NEEDED:
                self._missing(path.name, f"write a {path.name}; the README shows one")
            elif name == "trims" and not self._is_named_otherwise(path.name):
                self.findings.append(finding("no-log", path.name))
            return empty_table(name)
        table, findings = _table(path.name, name, lambda: self._data(path))
        self.findings += findings
        problems = any(item.level == "problem" for item in findings)
        if name in _NEEDED and not len(table) and not problems:
            self.findings.append(finding("no-rows", path.name, name=name))
        return table

    def _data(self, path: Path) -> bytes | Finding:
        """Return a file's bytes, or why they cannot be read."""
        named = self.instead.get(path.name)
        return read_bytes(path) if named is None else named

    def _is_here(self, path: Path) -> bool:
        if path.name in self.instead:
            return self.instead[path.name] is not None
        try:
            return path.is_symlink() or path.exists()
        except OSError:
            return True

    def until(self, table: Table) -> Table:
        """Leave out the rows after the asked date."""
        if self.on is None or not len(table):
            return table
        late = table.date("date") > np.datetime64(self.on, "D")
        if late.any():
            said = {"count": int(late.sum()), "on": self.on}
            first = int(table.rows[late][0])
            self.findings.append(finding("after-on", table.name, first, None, "date", **said))
        return table.keep(~late)

    def _missing(self, name: str, fix: str) -> None:
        if not self._is_named_otherwise(name):
            self.findings.append(finding("missing-file", name, fix=fix))

    def _is_named_otherwise(self, name: str) -> bool:
        """Whether the file seems to be there under another name, which has its own finding."""
        return any(i.slug in {"file-name", "not-csv"} and i.expected == name for i in self.findings)


def run_checks(tables: Tables, before: list[Finding]) -> list[Finding]:
    """Return everything that every check finds.

    A row whose amounts could not be read, as found ``before``, is not called empty as well.
    """
    unread = {(item.file, item.row) for item in before if item.level == "problem"}
    return [
        item
        for check in CHECKS
        for item in check(tables)
        if item.slug != "empty-row" or (item.file, item.row) not in unread
    ]
