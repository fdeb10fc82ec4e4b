"""What was or would be written: changes of a spreadsheet, a first book, a diary, a photo's line."""

from __future__ import annotations

import shlex
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Any

from growthcast.book.words import PROPOSED, plain
from growthcast.book.writing.journal import Entry, undone
from growthcast.say.words import Answer, Table, count_of, named, sentence, table, tidy

if TYPE_CHECKING:  # a journal is read without the libraries of a spreadsheet, or numpy
    from growthcast.book.begin.diary import Diary, Meanings, Plan
    from growthcast.book.sheets.merge import Merge, RowChange, TableChanges
    from growthcast.book.supposed import Cell
    from growthcast.service.visit.photo import PhotoReading

MOST_ROWS_SHOWN, MOST_KEPT_SHOWN = 40, 5
KEPT = "not in the sheet and kept"
LONGEST_SHOWN = 60


def count_words(merge: Merge) -> str:
    """Return how much a spreadsheet changes."""
    changed = sum(len(changes.changed) for changes in merge.tables)
    added = sum(len(changes.added) for changes in merge.tables)
    return f"{count_of(changed, 'row')} changed, {count_of(added, 'row')} added"


def merge_answer(merge: Merge, delete_missing: bool) -> Answer:
    """Say the differences, each row one line."""
    if not merge.tables:
        return Answer("No differences: the book says what the workbook says.")
    lines = list[str]()
    for changes in merge.tables:
        lines += _table_lines(changes, "taken out" if delete_missing else KEPT)
    return Answer(notes=lines)


def _table_lines(changes: TableChanges, fate: str) -> Iterator[str]:
    kinds = {"changed": changes.changed, "added": changes.added, fate: changes.missing}
    counts = (f"{len(rows)} {word}" for word, rows in kinds.items() if rows)
    yield f"{changes.file}: {', '.join(counts)}"
    if changes.new_columns:
        yield f"  new columns at the end: {', '.join(changes.new_columns)}"
    for word, rows in kinds.items():
        most = MOST_KEPT_SHOWN if word == KEPT else MOST_ROWS_SHOWN
        for change in rows[:most]:
            yield f"  {word} {_place(change)}{_cells(change)}"
        if rest := rows[most:]:
            yield f"  and {len(rest)} more {word}"


def _place(change: RowChange) -> str:
    row = "" if change.row is None else f"row {change.row}, "
    return row + " ".join(part for part in change.key.values() if part)


def _cells(change: RowChange) -> str:
    cells = [cell for cell in change.cells if cell.column not in change.key]
    before = ["" if change.row is None else f"{_cell(cell.old)} -> " for cell in cells]
    said = [f"{c.column} {old}{_cell(c.new)}" for c, old in zip(cells, before, strict=True)]
    return f": {', '.join(said)}" if cells else ""


def _cell(text: str) -> str:
    if not text.strip():
        return "(blank)"
    text = text.replace("\n", " / ")
    return text if len(text) <= LONGEST_SHOWN else text[: LONGEST_SHOWN - 1] + "…"


def first_book_answer(
    tanks: Sequence[Mapping[str, Cell]], areas: Sequence[Mapping[str, Cell]]
) -> Answer:
    """Return a table a tank of a first book; a number with ``?`` is proposed."""
    tables = []
    for tank in tanks:
        sides = [tank.get(name) for name in ("length_cm", "width_cm", "water_depth_cm")]
        size = " x ".join(_number(side) for side in sides if side)
        parts = (tank["tank_id"], tank.get("client"), f"{size} cm")
        rows = [_area(one) for one in areas if one["tank_id"] == tank["tank_id"]]
        title = ", ".join(str(part) for part in parts if part)
        tables.append(table("first_areas", rows, title=title))
    proposed = "A number with ? is proposed from plant, place and depth, until you agree on it."
    return Answer(notes=[*tables, proposed])


def _area(area: Mapping[str, Cell]) -> dict[str, Any]:
    _, _, opened = str(area.get("note") or "").partition(PROPOSED)
    names = ("area_cm2", "floor_cm", "budget_cm")
    numbers = {name: _number(area.get(name)) + "?" * (name in opened) for name in names}
    return {"area": area, **numbers, "planted": area.get("planted_on")}


def _number(value: Cell) -> str:
    return plain(value) if isinstance(value, float | int) else str(value or "")


def journal_answer(entries: Sequence[Entry], last: int) -> Answer:
    """Return the last changes of a book as a table, newest first."""
    if not entries:
        return Answer("The journal holds no change: nothing was written here by a command yet.")
    gone = undone(entries)
    rows = []
    for entry in reversed(entries[-last:]):
        what = tidy(entry.summary.removesuffix(f", by {entry.by}"))
        told = {"when": _local(entry.at), "who": tidy(entry.by or ""), "what": what}
        rows.append({"entry": entry, "gone": entry.id in gone, **told})
    left = len(entries) - len(rows)
    more = [f"{count_of(left, 'earlier change')}; --last lists more."] if left else []
    return Answer(table=table("journal", rows), notes=more)


def _local(at: str) -> str:
    """Return a moment as the clock on the wall showed it, as typed where it is none."""
    try:
        return datetime.fromisoformat(at).astimezone().strftime("%Y-%m-%d %H:%M")
    except ValueError:
        return tidy(at)


def journal_for_programs(entries: Sequence[Entry]) -> list[dict[str, object]]:
    """Return the changes of a book for programs, newest first."""
    gone = undone(entries)
    told = ("id", "at", "by", "command", "summary", "files", "takes_back")
    rows = ({name: getattr(entry, name) for name in told} for entry in reversed(entries))
    return [row | {"files": [*row["files"]], "taken_back": row["id"] in gone} for row in rows]


MOST_SHOWN, MOST_LISTED = 5, 20


def meaning_answer(diary: Diary, meanings: Meanings) -> Answer:
    """Say what each column of a diary is taken for, with examples."""
    columns = meanings.columns.items()
    rows = [[head, is_ or "(left out)", ", ".join(diary.examples(head))] for head, is_ in columns]
    return Answer(table=Table(f"Columns of {diary.file}", ["column", "is", "as in"], rows))


def plan_answer(plan: Plan, file: str) -> Answer:
    """Say the rows as understood, the first of them whole, and every row that is left out."""
    lines, beside = [], []
    for number, row in plan.rows[:MOST_SHOWN]:
        cells = {n: plain(v) if isinstance(v, float) else str(v) for n, v in row.items() if v}
        told = ", ".join(f"{name} {cell}" for name, cell in cells.items())
        lines.append(f"  row {number}: {told}")
    if (rest := len(plan.rows) - MOST_SHOWN) > 0:
        lines.append(f"  and {rest} more")
    if plan.not_taken:
        beside.append(f"{count_of(len(plan.not_taken), 'row')} left out:")
    beside += [f"  {file}, row {one.row}: {one.why}" for one in plan.not_taken[:MOST_LISTED]]
    if (rest := len(plan.not_taken) - MOST_LISTED) > 0:
        beside.append(f"  and {rest} more; --json lists them all")
    lead = f"{count_of(len(plan.rows), 'row')} for the log from {file}"
    return Answer(lead, notes=lines, beside=beside)


def photo_answer(reading: PhotoReading, *options: str) -> Answer:
    """Say the heights with their errors, what is to be mistrusted, and the line to log.

    ``options`` are those of the line beside its tank.
    """
    from growthcast.service.visit.photo import LEAST_FILL, LOW_CM

    measured = [area for area in reading.areas if area.height_cm is not None]
    rows = [{"area": area, "label": named(area.label, area.area_id)} for area in measured]
    beside, typed = [], ""
    if reading.fill_share < LEAST_FILL:
        beside.append(sentence("photo_far", reading=reading))
    if low := [area.area_id for area in measured if area.low]:
        beside.append(sentence("photo_low", least=LOW_CM, areas=low, n=len(low)))
    if skipped := [area.area_id for area in reading.areas if area.height_cm is None]:
        beside.append(sentence("photo_skipped", areas=skipped))
    if reading.items:
        line = ["growthcast", "log", "--tank", reading.tank_id, *options, *reading.items]
        typed = " ".join(word if _is_plain(word) else shlex.quote(word) for word in line)
    return Answer(table=table("photo_heights", rows, reading=reading), notes=[typed], beside=beside)


def _is_plain(word: str) -> bool:
    """Whether a word needs no quotes in a line; a tilde inside it needs none."""
    bare = word[:1] + word[1:].replace("~", "")
    return shlex.quote(bare) == bare
