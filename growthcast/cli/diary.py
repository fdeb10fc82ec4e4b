"""growthcast import with --as: an old diary read into the log."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from growthcast.book.findings import format_finding
from growthcast.cli.output import print_answer, print_words, say
from growthcast.errors import UsageError


def import_diary(file: Path, folder: Path, kept: Path, *, yes: bool, as_json: bool) -> None:
    """Say what an old diary would bring into the log, and with ``yes`` write it."""
    from growthcast.book.begin.diary import (
        meanings_text,
        propose_meanings,
        read_diary,
        read_meanings,
    )
    from growthcast.book.begin.diary_rows import plan_import, understand_diary, write_import
    from growthcast.book.read import read_book
    from growthcast.book.writing.replace import write_whole
    from growthcast.say.diary import meaning_words, plan_words

    if kept.suffix != ".toml":
        raise UsageError(f"--as {kept}: name a file that ends in .toml")
    book, diary = read_book(folder), read_diary(file)
    new = not kept.exists()
    meanings = propose_meanings(diary, book) if new else read_meanings(kept, diary)
    if not as_json:
        print_words(meaning_words(diary, meanings))
    if new:
        write_whole(kept, meanings_text(meanings, diary).encode())
        say(f"Wrote {kept}: correct there what a column is, then run this again.")
    try:
        understood = understand_diary(diary, meanings, book)
    except UsageError as trouble:
        raise UsageError(f"{diary.file}: {trouble} in {kept}") from trouble
    plan = plan_import(folder, understood, today=date.today())
    for item in plan.notes if plan.rows else ():
        say(format_finding(item))
    written = yes and not new and bool(plan.rows)
    if written:
        write_import(folder, plan, diary.file)
    rows = [{"row": number, **row} for number, row in plan.rows]
    answer = {"file": diary.file, "columns": meanings.columns, "written": written, "rows": rows}
    words = plan_words(plan, diary.file)
    print_answer(as_json, answer | {"not_taken": plan.not_taken}, words)
    if written:
        say(f"Wrote {folder / 'trims.csv'}.")
    elif plan.rows:
        say("Nothing is in the log yet; the same with --yes writes it.")
