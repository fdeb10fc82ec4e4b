"""Every kind of finding, listed once: its level and what it means."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from growthcast.book.tables import TABLES
from growthcast.book.words import printable
from growthcast.errors import Finding, Level

__all__ = ["SLUGS", "finding", "note_order"]

_PROBLEMS = {
    # files
    "missing-file": "a file every book needs is not there",
    "file-name": "a file is named almost like one of a book's",
    "not-csv": "a table is there as a spreadsheet or text file only",
    "unreadable-file": "the file cannot be read",
    "empty-file": "the file has 0 bytes",
    "too-large": "the file or its header is larger than any book's",
    "workbook": "the file is a spreadsheet workbook under the name of a CSV",
    "nul-bytes": "the file holds NUL bytes",
    "unknown-encoding": "the bytes are text in none of the encodings read",
    "mixed-encoding": "text of two encodings in one file",
    "unsteady-file": "the file kept changing while it was read",
    # rows and columns
    "no-header": "there is no header row",
    "no-rows": "the table needs rows and has none",
    "unclosed-quote": "a quoted cell never ends",
    "stray-quote": "text follows a closing quote",
    "long-cell": "a cell is longer than any real one",
    "torn-row": "a row stops in the middle",
    "long-row": "a row has more cells than the header",
    "comment-line": "a comment where rows are expected",
    "missing-column": "a required column is not there",
    "near-column": "a column is named almost like a known one that is not there",
    "double-column": "two columns share a name",
    # cells
    "blank-cell": "a required cell is blank",
    "not-a-number": "the cell is not a number",
    "unit-in-number": "a number with its unit",
    "decimal-comma": "a decimal comma in a file with decimal points",
    "decimal-point": "a decimal point in a file with decimal commas",
    "thousands-mark": "a number with a thousands mark",
    "not-finite": "nan or infinity where a number is expected",
    "word-for-blank": "a word or mark that stands for a blank",
    "other-digits": "digits other than 0 to 9",
    "out-of-range": "the number is outside its limits",
    "percent-for-share": "a percentage where a share is expected",
    "not-whole": "whole numbers only",
    "not-a-choice": "the word is none of those known",
    "date-form": "a date in another form than YYYY-MM-DD",
    "no-such-day": "the calendar has no such day",
    "date-with-time": "a date with a time or zone",
    "future-date": "a log date later than tomorrow",
    # ids
    "id-form": "the id holds characters an id may not",
    "id-case": "two ids differ only in case",
    "double-id": "two rows share an id",
    "unknown-id": "the id is not in its table",
    # practice.toml
    "toml-form": "the file is not TOML",
    "near-key": "a key or section is named almost like a known one that is not there",
    "wrong-kind": "the value is of another kind",
    "double-interval": "an interval is listed twice",
    "not-a-picture": "the logo is not the name of a picture inside the book's folder",
    "double-day": "a day is listed twice",
    # conditions
    "co2-impossible": "pH and KH imply more CO2 than water of a tank holds",
    # closed
    "closed-for-nobody": "the row names neither a client nor a tank",
    "unknown-client": "no such tank is of that client",
    "closed-backwards": "the last day closed lies before the first",
    # areas and species
    "floor-at-budget": "the floor is not below the height budget",
    "floor-at-ceiling": "the floor is not below the ceiling",
    "cover-range": "percent cover above 100",
    "removed-before-planted": "the area's life ends before it begins",
    "incomplete-species": "a species of the practice's own lacks a value",
    "lowest-cut-at-ceiling": "a species of the practice's own stands no cut below its ceiling",
    "temperature-order": "the three temperatures are out of order",
    "no-reference-growth": "a species of the practice's own does not grow at reference conditions",
    # log
    "tank-mismatch": "the row's tank is not the area's tank",
    "outside-life": "the row lies outside the area's life",
    "after-above-before": "the height after the cut exceeds the height before",
    "removed-above-before": "more was taken off than stood there",
    "whole-tank-heights": "heights in a row for the whole tank",
    "two-rows": "two rows with different amounts for the same thing and day",
}

_NOTES = {
    "conflict-copy": "a second version of a file, as programs that sync folders leave behind",
    "unknown-column": "a column nobody declared is kept",
    "unnamed-column": "a column without a name is kept",
    "unknown-key": "a key nobody declared is kept",
    "unknown-section": "a section nobody declared is kept",
    "id-looks-like-value": "the id looks like a number or a date",
    "id-spaces": "the id begins or ends with a space",
    "visit-day-off": "a tank's fixed weekday is no working day",
    "no-labour-rate": "no labour rate is given",
    "budget-above-water": "the height budget is above the water",
    "budget-above-ceiling": "the height budget is above what the species reaches",
    "cut-outside-range": "the usual cut height is below the floor or above the height budget",
    "planted-above-water": "the planted height is above the water",
    "double-label": "two areas of a tank share a label at one time",
    "species-filled": "values of a new species were taken from its growth form",
    "area-above-tank": "the area is larger than its tank's ground",
    "co2-caution": "CO2 above what livestock may bear",
    "co2-contradiction": "the CO2 typed and the one from pH and KH are far apart",
    "cold-water": "water colder than planted tanks are",
    "temperature-of-plants": "the temperature is outside what a plant of the tank stands",
    "light-without-food": "light far above need with little CO2 and few nutrients",
    "kh-zero": "no carbonate hardness",
    "no-light": "no light",
    "date-tomorrow": "a log date that is tomorrow by this computer's clock",
    "empty-row": "the row says nothing about the plants",
    "same-rows": "a row is there twice",
    "removed-differs": "the heights and the removed length disagree",
    "height-above-water": "a height, or a length cut off, beyond the depth of the water",
    "height-above-ceiling": "a height reading far above what the species reaches",
    "look-differs": "the look contradicts the height beside it",
    "cut-to-nothing": "nothing was left after the cut",
    "nothing-to-share": "trimmings of a whole tank without an area to share them",
    "weight-above-areas": "a weight far above what its areas can hold",
    "grams-of-nothing": "whose grams are meant, in a row without a weight of the whole tank",
    "whole-tank-look": "a look in a row for the whole tank",
    "suspect-reading": "a reading that does not belong to the growth around it (check --deep)",
}

_REMARKS = {
    "encoding": "how the bytes were read",
    "line-ends": "which line ends were read",
    "delimiter": "which mark separates the cells",
    "decimal-comma-file": "the file's numbers have decimal commas",
    "short-rows": "rows that end early were read with blanks",
    "midnight": "dates with 00:00:00 were read as dates",
    "after-on": "rows after the asked date are left out",
    "no-log": "there is no log",
    "spreadsheet-beside": "a spreadsheet or text file beside a table is not read",
    "whole-tank-grams": "how weights of whole tanks are read",
    "own-species": "the practice's own species rows were laid over the table",
}

SLUGS: Mapping[str, tuple[Level, str]] = MappingProxyType(
    {slug: ("problem", text) for slug, text in _PROBLEMS.items()}
    | {slug: ("note", text) for slug, text in _NOTES.items()}
    | {slug: ("remark", text) for slug, text in _REMARKS.items()}
)

_FILES = ("", "practice.toml", *(f"{name}.csv" for name in TABLES if name != "species"))


def finding(
    slug: str,
    file: str,
    row: int | None,
    column: str | None,
    heading: str,
    found: str,
    expected: str,
    fix: str,
) -> Finding:
    """Return a finding of a listed slug, at the level the list gives it."""
    level = SLUGS[slug][0]
    column = None if column is None else printable(column)
    return Finding(
        printable(file),
        row,
        column,
        printable(heading),
        printable(found),
        printable(expected),
        printable(fix),
        slug,
        level,
    )


def note_order(item: Finding) -> tuple[int, str, int, int, str, str]:
    """Sort key: file by file as a book lists them, then by place."""
    rank = _FILES.index(item.file) if item.file in _FILES else len(_FILES)
    column = item.column or ""
    return (rank, item.file, item.row or 0, len(column), column, item.slug)
