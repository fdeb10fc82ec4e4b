"""Reading a book: every file, every check, all findings at once."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from contextvars import ContextVar
from dataclasses import replace
from datetime import date
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from growthcast.arrays import BoolArray
from growthcast.book.book import Book, Practice, Table
from growthcast.book.cells.convert import empty_table, read_table
from growthcast.book.cells.records import read_grid
from growthcast.book.cells.text import read_bytes
from growthcast.book.checks.checks import CHECKS, in_percent_cover
from growthcast.book.checks.facts import Tables, at_cell, first_of_each
from growthcast.book.files import (
    FILES,
    PRACTICE,
    book_folder,
    check_file_names,
    shipped_species_dir,
)
from growthcast.book.findings import finding, note_order, refusal
from growthcast.book.practice import read_practice
from growthcast.book.tables import TABLES
from growthcast.book.words import check_known
from growthcast.errors import BookProblems, Finding, UsageError

if TYPE_CHECKING:
    import pandas as pd

_NEEDED = (PRACTICE, "tanks.csv", "areas.csv")


def read_book(folder: str | Path, *, on: date | None = None, today: date | None = None) -> Book:
    """Return the book in a folder; raise ``BookProblems`` with all findings if it has problems."""
    folder = book_folder(folder)
    book, findings = inspect_book(folder, today=today or date.today(), on=on)
    if book is None:
        raise BookProblems(findings)
    return book


def book_of_frames(
    practice: Mapping[str, Any] | str, tables: Mapping[str, pd.DataFrame], today: date
) -> Book:
    """Return the book that frames hold, each written out and read as a file would be."""
    import tomlkit

    for name in tables:
        check_known(name, list(TABLES), "a book has no table", "its tables are")
    if not isinstance(practice, str | Mapping) or str(practice).endswith(".toml"):
        raise UsageError("practice is the text of practice.toml, or its sections as a mapping")
    text = practice if isinstance(practice, str) else tomlkit.dumps(practice)
    files: dict[str, bytes | None] = {"practice.toml": text.encode() or b"[practice]\n"}
    for name, frame in tables.items():
        files[f"{name}.csv"] = frame.to_csv(index=False, date_format="%Y-%m-%d").encode()
    book, findings = inspect_book(None, today=today, instead=files)
    if book is None:
        raise BookProblems(findings)
    return book


def inspect_book(
    folder: Path | None,
    *,
    today: date,
    on: date | None = None,
    instead: Mapping[str, bytes | None] | None = None,
) -> tuple[Book | None, tuple[Finding, ...]]:
    """Return the book, or none where it has problems, and everything found in it.

    Log rows after ``on`` are left out; a log row later than the day after ``today`` is a
    problem. ``instead`` holds bytes to read in place of files, by name, ``None`` for a file that
    is not there: the book as it would be if they were written. Without a folder it has no others.
    """
    files = {name: _content(folder, name, instead or {}) for name in FILES}
    asked = folder or Path(), today, on, tuple(check_file_names(folder)) if folder else ()
    if (seen := _SEEN.get()) is None:
        return _inspected(*asked, files)
    key = (*asked, *files.values())
    if key not in seen:
        seen[key] = _inspected(*asked, files)
    return seen[key]


Content = bytes | Finding | None
"""The bytes of a file, why they cannot be read, or None where there is no such file."""
Inspected = tuple[Book | None, tuple[Finding, ...]]
_SEEN: ContextVar[dict[object, Inspected] | None] = ContextVar("seen", default=None)


@contextmanager
def read_once() -> Iterator[None]:
    """Read a book of the same bytes once in here, for who asks several times before it writes."""
    before = _SEEN.set({})
    try:
        yield
    finally:
        _SEEN.reset(before)


def _content(folder: Path | None, name: str, instead: Mapping[str, bytes | None]) -> Content:
    if folder is None or name in instead:
        return instead.get(name)
    path = folder / name
    with suppress(OSError):
        if not (path.is_symlink() or path.exists()):
            return None
    return read_bytes(path)


def _inspected(
    folder: Path,
    today: date,
    on: date | None,
    odd: tuple[Finding, ...],
    files: dict[str, Content],
) -> Inspected:
    findings = [*odd, *_absent(odd, files)]
    practice, more = _practice(files.pop(PRACTICE))
    findings += more
    read: dict[str, Table] = {}
    for name in TABLES:  # a file is let go once it is read, for the text of a log is large
        read[name], more = _table(f"{name}.csv", name, files.pop(f"{name}.csv"))
        findings += more
    own = read["species"]
    species, more = lay_over(read_shipped_species(), own)
    findings += more
    tables = {name: table for name, table in read.items() if name != "species"}
    trims = tables["trims"]
    if on is not None and (late := trims.date("date") > np.datetime64(on, "D")).any():
        said = {"count": int(late.sum()), "on": on}
        first = int(trims.rows[late][0])
        findings.append(finding("after-on", trims.name, first, None, "date", **said))
        tables["trims"] = trims.keep(~late)
    checked = Tables({**tables, "species": species, "own": own}, today, practice)
    # a row whose amounts could not be read is not called empty as well
    unread = {(item.file, item.row) for item in findings if item.level == "problem"}
    for item in (item for check in CHECKS for item in check(checked)):
        if item.slug != "empty-row" or (item.file, item.row) not in unread:
            findings.append(item)
    ordered = tuple(sorted(in_percent_cover(findings, checked), key=note_order))
    if any(item.level == "problem" for item in ordered) or practice is None:
        return None, ordered
    tables |= {name: first_of_each(tables[name]) for name in ("trims", "conditions", "bounds")}
    return Book(folder, practice, **tables, species=species, findings=ordered), ordered


def read_shipped_species() -> Table:
    """Return the species table that ships."""
    return _species_of(shipped_species_dir() / "species.csv")


def read_species(folder: Path) -> Table:
    """Return the species table that ships, with the rows of a practice laid over it."""
    own, _ = _table("species.csv", "species", _content(folder, "species.csv", {}))
    return lay_over(read_shipped_species(), own)[0]


@cache
def _species_of(path: Path) -> Table:
    table, findings = _table(path.name, "species", read_bytes(path))
    problems = tuple(item for item in findings if item.level == "problem")
    if problems:
        raise BookProblems(problems)
    return table


def _absent(odd: Sequence[Finding], files: Mapping[str, Content]) -> Iterator[Finding]:
    """Yield what to say of files that are not there, and not under nearly their name either."""
    meant = {item.expected for item in odd if item.slug in {"file-name", "not-csv"}}
    absent = [name for name in files if files[name] is None and name not in meant]
    for name in (name for name in absent if name in _NEEDED):
        fix = f"write a {name}; the README shows one"
        fix = refusal("no-practice") if name == PRACTICE else fix
        yield finding("missing-file", name, fix=fix)
    if "trims.csv" in absent:
        yield finding("no-log", "trims.csv")


def _practice(data: Content) -> tuple[Practice | None, list[Finding]]:
    """Read ``practice.toml``."""
    if isinstance(data, bytes):
        return read_practice(data)
    if data is not None and data.slug == "empty-file":
        data = replace(data, fix=refusal("no-practice"))
    return None, [data] if data else []


def _table(file: str, table: str, data: Content) -> tuple[Table, list[Finding]]:
    """Read one table; one that is not there has no rows."""
    if not isinstance(data, bytes):
        return empty_table(table), [data] if data else []
    known = frozenset(column.name for column in TABLES[table])
    grid, findings = read_grid(data, file, known)
    del data  # a long log's text is large
    read = empty_table(table)
    if grid is not None:
        read, more = read_table(grid, table)
        findings += more
    problems = any(item.level == "problem" for item in findings)
    if file in _NEEDED and not len(read) and not problems:
        findings.append(finding("no-rows", file, name=table))
    return read, findings


NEEDED_OF_A_NEW_SPECIES = ("form", "measure", "rate_per_day", "ceiling_cm")
FILLED_FROM_FORM: tuple[str, ...] = tuple(
    column.name
    for column in TABLES["species"]
    if column.kind == "number" and column.name not in NEEDED_OF_A_NEW_SPECIES
)
_WHERE_BLANK = {"needs_co2": "helps", "basis": "estimate", "reaches_surface": "false"}


def lay_over(shipped: Table, own: Table) -> tuple[Table, list[Finding]]:
    """Return the shipped species with the practice's cells laid over, new species at the end.

    Rows keep the shipped table's numbers; a new species has the row of the practice's file. The
    extra column ``filled`` lists the values which a new species has from its growth form.
    """
    ids, own_ids = shipped.text("species_id"), own.text("species_id")
    is_new = own.given("species_id") & (own.places("species_id", ids) < 0)
    new = np.flatnonzero(is_new).tolist()
    target = own.places("species_id", np.append(ids, own_ids[is_new]))
    columns: dict[str, NDArray[Any]] = {}
    cells = 0
    for column in TABLES["species"]:
        ours = own.columns[column.name]
        merged = np.concatenate([shipped.columns[column.name], ours[new]])
        if column.name in _WHERE_BLANK:
            merged[merged == ""] = _WHERE_BLANK[column.name]
        given = own.given(column.name) & (target >= 0)
        merged[target[given]] = ours[given]
        columns[column.name] = merged
        cells += 0 if column.name == "species_id" else int(given.sum())
    rows = np.concatenate([shipped.rows, own.rows[new]])
    findings = [item for index in new if (item := _lacking(own, index))]
    filled, notes = _fill(shipped, own, new, columns)
    findings += notes
    if cells:
        findings.append(finding("own-species", own.name, cells=cells, rows=len(own)))
    extra = {"filled": (*("" for _ in range(len(shipped))), *filled)}
    return Table("species.csv", rows, columns, extra, own.letters), findings


def _lacking(own: Table, index: int) -> Finding | None:
    """Return one finding for all the values that a new species lacks."""
    lacking = [name for name in NEEDED_OF_A_NEW_SPECIES if not own.given(name)[index]]
    if not lacking:
        return None
    return at_cell(own, index, lacking[0], "incomplete-species", lacking=", ".join(lacking))


def _fill(
    shipped: Table, own: Table, new: list[int], columns: dict[str, NDArray[Any]]
) -> tuple[list[str], list[Finding]]:
    """Fill the blank numbers of new species in place; return what was filled, and the notes."""
    filled, notes = [], []
    for place, index in enumerate(new, start=len(shipped)):
        like, words = _rows_alike(shipped, own, index)
        blank = [name for name in FILLED_FROM_FORM if np.isnan(columns[name][place])]
        for name in blank:
            value = float(np.median(shipped.number(name)[like]))
            if name == "lowest_cut_cm":  # a small plant is not cut above its top
                value = float(np.fmin(value, columns["ceiling_cm"][place] / 2.0))
            columns[name][place] = value
        filled.append(";".join(blank))
        if blank:
            said = {"like": words, "blank": ", ".join(blank)}
            notes.append(at_cell(own, index, "species_id", "species-filled", **said))
    return filled, notes


def _rows_alike(shipped: Table, own: Table, index: int) -> tuple[BoolArray, str]:
    """Return the shipped rows nearest in kind to a new species, and what they are called."""
    form, measure = own.text("form")[index], own.text("measure")[index]
    of_form = np.asarray(shipped.text("form") == form, np.bool_)
    of_measure = np.asarray(shipped.text("measure") == measure, np.bool_)
    kinds = (
        (of_form & of_measure, f'the table\'s form "{form}"'),
        (of_measure, f"the table's plants measured as {measure}"),
        (np.ones(len(shipped), np.bool_), "the whole table"),
    )
    return next(kind for kind in kinds if kind[0].any())
