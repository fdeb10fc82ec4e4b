"""Commands that fill a book and check it: add, check, export, import."""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

from growthcast.book.book import Book
from growthcast.book.checks.checks import remark_on_grams
from growthcast.book.files import find_own_book
from growthcast.book.findings import count_of as findings_in_words
from growthcast.book.findings import finding, format_finding, format_findings
from growthcast.book.names import plant_meant, plant_named
from growthcast.book.read import inspect_book, read_book, read_shipped_species
from growthcast.book.words import did_you_mean, shown
from growthcast.book.writing.replace import read_file, replace_files
from growthcast.cli import output
from growthcast.cli.changes import book_first
from growthcast.cli.log_file import say_beside
from growthcast.cli.options import Day, File, Text, Texts, fitted, folder_of
from growthcast.errors import BookProblems, Exit, Finding, GrowthcastError, RowsRefused, UsageError
from growthcast.plain import plain
from growthcast.say.words import Answer, and_list, capital, count_of


def add_command(kind: str, cells: Texts, form: output.Form) -> None:
    """Add a tank, an area, conditions or closed days to a book, checked first, as a new last row.

    Example: growthcast add tank my-book tank_id=lobby client="Client A" water_depth_cm=45

    Exit status: 0 done, 2 the row does not check or cannot be written, 3 the tool itself failed.
    """
    from growthcast.book.writing import append

    if kind not in append.KINDS:
        hint = did_you_mean(kind, append.KINDS, "write tank, area, conditions or closed")
        raise UsageError(f"{shown(kind)} cannot be added; {hint}")
    folder, items = book_first(cells or [])
    table = append.KINDS[kind]
    own = _own_columns(folder, table)
    row, troubles = append.parse_cells(kind, items, own)
    row = _with_proposals(folder, row) if kind == "area" and not troubles else row
    troubles += append.still_needed(kind, row)
    if plant := plant_named(read_shipped_species(), str(row.get("species_id") or "")):
        row["species_id"] = plant
    if slug := append.slug_for(kind, row):
        output.say(f"The id has to be typed at every visit; {kind}_id={slug} would be easier.")
    words, today = append.row_in_words(row), date.today()
    if troubles:
        raise UsageError("\n    ".join([*troubles, *_also_found(folder, table, row, today)]))
    added = append.add_rows(folder, table, [row], today=today, command=f"add {kind}", summary=words)
    say_beside(added)
    if added.problems_before:
        problems = count_of(len(added.problems_before), "problem")
        output.say(f"The book has {problems} still: see growthcast check {folder}")
    form.print({"table": table, "row": row}, Answer(f"Added to {table}.csv: {words}."))


def _with_proposals(folder: Path, row: dict[str, Any]) -> dict[str, Any]:
    """Return an area's row with its id, ground and heights proposed where they are open.

    Where the book has problems, or no column to say in that something is proposed, it is as it was.
    """
    from growthcast.book.begin.typed import complete_areas

    columns = _own_columns(folder, "areas")
    if not row.get("species_id") or not row.get("tank_id") or "note" not in columns:
        return row
    try:
        book = read_book(folder)
    except BookProblems:
        return row
    row = {**row, "species_id": plant_meant(book.species, str(row["species_id"]))}
    tanks, areas = (table.as_rows() for table in (book.tanks, book.areas))
    full = complete_areas([*areas, row], tanks, book.species)[-1]
    return {name: cell for name, cell in full.items() if name in columns or name in row}


def _also_found(folder: Path, table: str, row: dict[str, Any], today: date) -> list[str]:
    """Return what the checks find of the cells that were understood, in lines."""
    from growthcast.book.writing.append import would_add

    try:
        would_add(folder, table, [row], today=today)
    except RowsRefused as refused:
        blank = [item for item in refused.findings if row.get(item.heading) in (None, "")]
        return [format_finding(item) for item in refused.findings if item not in blank]
    except GrowthcastError:
        pass
    return []


def _own_columns(folder: Path, table: str) -> tuple[str, ...]:
    """Return the header of a table as typed; empty where there is no such file."""
    from growthcast.book.writing.source import taken_apart

    data = read_file(folder, f"{table}.csv")
    return taken_apart(data, table)[0].names if data else ()


def export_command(book: Text, xlsx: Path, form: output.Form) -> None:
    """Write a book as a workbook, one sheet a table, to be typed in and imported again.

    Example: growthcast export my-book --xlsx my-book.xlsx

    Exit status: 0 done, 2 bad arguments or a book with problems, 3 the tool itself failed.
    """
    from growthcast.book.sheets.export import check_workbook_target, export_book
    from growthcast.book.sheets.values import STAMP

    folder = folder_of(book)
    there = check_workbook_target(xlsx)
    _, findings = inspect_book(folder, today=date.today())
    if any(item.level == "problem" and item.slug != "no-rows" for item in findings):
        raise BookProblems(findings)
    rows = export_book(folder, xlsx)
    output.say(f"{'Replaced the workbook' if there else 'Wrote'} {xlsx}")
    told = {name: count for name, count in rows.items() if name not in {"lists", STAMP}}
    sheets = ", ".join(f"{name} {count}" for name, count in told.items())
    how = f"Type in it, save it, then see what would change: growthcast import {xlsx} BOOK"
    said = Answer(f"{xlsx.name}: rows in each sheet: {sheets}.", notes=[how])
    form.print({"written": [{"file": str(xlsx), "rows": rows}]}, said)


def import_command(
    file: Path, book: Text, yes: bool, delete_missing: bool, kept: File, form: output.Form
) -> None:
    """Show what a spreadsheet would change in a book, cell by cell, and with --yes write it.

    Example: growthcast import my-book.xlsx my-book --yes

    Exit status: 0 done, 2 bad arguments or a book that would have problems, 3 tool fault.
    """
    from growthcast.book.sheets.load import read_workbook
    from growthcast.book.sheets.merge import check_merge, merge_workbook
    from growthcast.book.writing.journal import Entry
    from growthcast.say.written import count_words, merge_answer

    folder = find_own_book(book)
    if kept is not None:
        import_diary(file, folder, kept, yes=yes, form=form)
        return
    with output.working("Reading the workbook"):
        workbook = read_workbook(file)
        merge = merge_workbook(folder, workbook, delete_missing=delete_missing)
    written = merge.differs and yes
    tables = [plain(table) | {"missing_deleted": delete_missing} for table in merge.tables]
    answer = {"file": workbook.file, "book": str(folder), "written": written, "tables": tables}
    answer |= {"not_taken": merge.not_taken}
    if not form.as_json:
        output.print_answer(merge_answer(merge, delete_missing))
    output.say(*(f"{workbook.file}: {words}." for words in merge.not_taken))
    if merge.differs and (notes := check_merge(folder, merge, workbook.file, today=date.today())):
        output.say(format_findings(notes))
    if written:
        with output.working(output.WAITING):
            summary = f"{count_words(merge)} from {workbook.file}"
            replace_files(folder, merge.files, merge.before, Entry("import", summary))
    if form.as_json:
        output.print_json(answer)
    if merge.differs:
        files = ", ".join(merge.files)
        output.say(f"Wrote {files}." if written else f"Nothing was written; --yes writes {files}.")


def import_diary(file: Path, folder: Path, kept: Path, *, yes: bool, form: output.Form) -> None:
    """Say what an old diary would bring into the log, and with ``yes`` write it."""
    from growthcast.book.begin import diary as diaries
    from growthcast.say.written import meaning_answer, plan_answer

    book, diary = read_book(folder), diaries.read_diary(file)
    new = not kept.exists()
    meanings = diaries.propose_meanings(diary, book) if new else diaries.read_meanings(kept, diary)
    if not form.as_json:
        output.print_answer(meaning_answer(diary, meanings))
    if new:
        beside = ": correct there what a column is, then run this again."
        output.write_file(kept, diaries.meanings_text(meanings, diary).encode(), beside)
    try:
        understood = diaries.understand_diary(diary, meanings, book)
    except UsageError as trouble:
        raise UsageError(f"{diary.file}: {trouble} in {kept}") from trouble
    plan = diaries.plan_import(folder, understood, today=date.today())
    for item in plan.notes if plan.rows else ():
        output.say(format_finding(item))
    written = yes and not new and bool(plan.rows)
    if written:
        diaries.write_import(folder, plan, diary.file)
    rows = [{"row": number, **row} for number, row in plan.rows]
    answer = {"file": diary.file, "columns": meanings.columns, "written": written, "rows": rows}
    form.print(answer | {"not_taken": plan.not_taken}, plan_answer(plan, diary.file))
    if written:
        output.say(f"Wrote {folder / 'trims.csv'}.")
    elif plan.rows:
        output.say("Nothing is in the log yet; the same with --yes writes it.")


def check_command(book: Text, form: output.Form, on: Day, deep: bool) -> None:
    """Check a book and say what is wrong or odd in it, with the place and the fix.

    Example: growthcast check my-book

    Exit status: 0 nothing or remarks only, 1 notes, 2 problems or bad arguments, 3 tool fault.
    """
    from growthcast.say.supposed import co2_words

    read, findings = inspect_book(folder_of(book), today=date.today(), on=on)
    where, assumed = "", []
    if read is not None:
        findings = (*findings, *(_of_fit(read) if deep else _on_grams(read)))
        assumed = co2_words(read)
        sizes = (len(read.tanks), "tank"), (len(read.areas), "area"), (len(read.trims), "log row")
        where = " in " + and_list([count_of(*size) for size in sizes])
    if findings and not form.as_json:
        output.say(format_findings(findings))
    levels = Counter(item.level for item in findings)
    counts = {"problems": levels["problem"], "notes": levels["note"]}
    whole = {"findings": findings, **counts, "assumed": assumed}
    found = capital(findings_in_words(findings)) if findings else "Nothing is wrong or odd"
    form.print(whole, Answer(f"{found}{where}.", notes=assumed))
    noted = Exit.ATTENTION if levels["note"] else Exit.DONE
    sys.exit(int(Exit.BAD_INPUT if levels["problem"] else noted))


def _on_grams(book: Book) -> Iterator[Finding]:
    """Say how weights of whole tanks are read, as far as it is known without a fit."""
    said = book.practice.whole_tank_grams
    why = "growthcast check --deep says how" if said is None else "as [log] whole_tank_grams says"
    return remark_on_grams(book.trims, said, why)


def _of_fit(book: Book) -> list[Finding]:
    """Notes on the log rows that a fit set aside, and how it read the weights of whole tanks."""
    from growthcast.fit.growth import last_logged
    from growthcast.say.forecast import suspect_words

    fit = fitted(book, last_logged(book) or date.today())
    suspects = [
        finding("suspect-reading", one.file, one.row, None, "row", why=suspect_words(one))
        for one in fit.suspects
    ]
    return [*remark_on_grams(book.trims, *fit.whole_tank_grams), *suspects]
