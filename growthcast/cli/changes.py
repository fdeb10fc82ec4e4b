"""Commands that change what a book holds and take changes back: replace, retire, move, unlog."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from growthcast.book.findings import format_finding
from growthcast.book.shipped import find_own_book
from growthcast.book.words import shown
from growthcast.cli.options import Day, Text
from growthcast.cli.output import print_answer, say
from growthcast.errors import UsageError
from growthcast.plain import plain

if TYPE_CHECKING:
    from growthcast.book.writing.areas import Change

NOT_YET = "Nothing is written yet; the same line with --yes writes it."


def replace_command(items: list[str], on: Day, by: str, yes: bool, as_json: bool) -> None:
    """Replace an area's plant from a day on; ground, heights and place stay.

    Example: growthcast replace my-book stems=ludwigia-repens --on 2026-03-02 --yes

    Exit status: 0 done, 2 unknown area or plant, or the book does not check, 3 tool fault.
    """
    from growthcast.book.writing.areas import replace_area
    from growthcast.book.writing.cells import parse_row

    folder, items = _book_first(items)
    area_id, mark, plant = (items[0] if items else "").partition("=")
    if not mark or not plant.strip():
        raise UsageError("write the area and its next plant, as in stems=ludwigia-repens")
    cells = parse_row("area", items[1:], whole=False)
    day = _day(on)
    said: dict[str, Any] = {"today": date.today(), "write": yes, "by": _name(by)}
    change = replace_area(folder, area_id.strip(), plant.strip(), day, cells, **said)
    _print_change("replace", change, as_json)


def retire_command(
    book: Text, tank: Text, client: Text, on: Day, by: str, yes: bool, as_json: bool
) -> None:
    """Give a tank or a client up from a day on; its log goes on teaching.

    Example: growthcast retire my-book --client "Client A" --on 2026-03-02 --yes

    Exit status: 0 done, 2 unknown tank or client, or nothing lives there, 3 tool fault.
    """
    from growthcast.book.writing.areas import retire

    folder, day = find_own_book(book), _day(on)
    said: dict[str, Any] = {"today": date.today(), "write": yes, "by": _name(by)}
    change = retire(folder, day, tank_id=tank, client=client, **said)
    _print_change("retire", change, as_json)


def move_command(
    area: list[str],
    budget: Text,
    floor: Text,
    cut: Text,
    on: Day,
    by: str,
    yes: bool,
    as_json: bool,
) -> None:
    """Agree an area's heights anew from a day on; what was before keeps its own.

    Example: growthcast move my-book stems --budget 20 --floor 8 --on 2026-03-02 --yes

    Exit status: 0 done, 2 unknown area, or heights that do not check, 3 the tool itself failed.
    """
    from growthcast.book.writing.areas import move_bounds
    from growthcast.book.writing.cells import parse_row

    if len(area) > 2:
        raise UsageError(f"{shown(area[2])}: heights are given as --budget 20 --floor 8 --cut 10")
    typed = {"budget_cm": budget, "floor_cm": floor, "cut_cm": cut}
    items = [f"{name}={text}" for name, text in typed.items() if text is not None]
    if not items:
        raise UsageError("say which height moves: --budget 20, --floor 8 or --cut 10")
    heights: dict[str, Any] = parse_row("area", items, whole=False)
    folder = find_own_book(area[0] if len(area) == 2 else None)
    said: dict[str, Any] = {"today": date.today(), "write": yes, "by": _name(by)}
    _print_change("move", move_bounds(folder, area[-1], _day(on), **heights, **said), as_json)


def _book_first(items: list[str]) -> tuple[Path, list[str]]:
    """Return the folder of the book, which may stand first, and the items after it."""
    named = items[0] if items and "=" not in items[0] else None
    return find_own_book(named), items[1:] if named else items


def _day(on: date | None) -> date:
    if on is None:
        say(f"The day is today, {date.today()}; another is given with --on.")
    return on or date.today()


def _name(by: str) -> str:
    from growthcast.book.writing.visit.lines import checked_name

    return checked_name(by)


def _print_change(command: str, change: Change, as_json: bool) -> None:
    """Say a change back, and whether it was written."""
    say(*map(format_finding, change.notes))
    written = change.entry is not None
    answer = {"command": command, "summary": change.summary, "on": change.on, "written": written}
    answer |= {"ended": change.ended, "row": plain(dict(change.row)) or None}
    print_answer(as_json, answer, [f"{change.summary}."])
    say("Written; growthcast unlog takes it back." if written else NOT_YET)


def unlog_command(
    book: Text, tank: Text, on: Day, change: str, by: str, yes: bool, as_json: bool
) -> None:
    """Take back the last change, a visit by its tank and day, or a change by its id.

    The last one goes at once where it is a visit; anything else is said first and goes with --yes.

    Example: growthcast unlog my-book --tank lobby --on 2026-03-02 --yes

    Exit status: 0 done, 2 nothing to take back, or rows written since need it, 3 tool fault.
    """
    from growthcast.book.writing.unlog import CHANGES, VISITS, last_entry, take_back

    folder, name = find_own_book(book), _name(by)
    if tank is not None or on is not None:
        if tank is None or on is None or change:
            raise UsageError("a visit is named by both --tank ID and --on DATE, and nothing else")
        _unlog_visit(folder, tank, on, name, yes=yes, as_json=as_json)
        return
    entry = last_entry(folder, CHANGES, change)
    visit = entry is not None and entry.command in VISITS and not change
    if entry is not None and not yes and not visit:
        said = f"{entry.command}: {entry.summary}"
        answer = {"would_take_back": entry.summary, "logged_at": entry.at, "id": entry.id}
        print_answer(as_json, answer, [f"This would be taken back: {said} (written {entry.at})."])
        say(f"{NOT_YET} A visit by its tank and day: --tank ID --on DATE.")
        return
    entry = take_back(folder, CHANGES, change, by=name)
    print_answer(
        as_json,
        {"taken_back": entry.summary, "logged_at": entry.at, "id": entry.id},
        [f"Taken back: {entry.summary} (written {entry.at}). It stays in journal.jsonl."],
    )


def _unlog_visit(folder: Path, tank: str, on: date, by: str, *, yes: bool, as_json: bool) -> None:
    """Take the visit of a tank on a day back, said row by row first."""
    from growthcast.book.read import read_book
    from growthcast.book.writing.unlog import change_visit
    from growthcast.book.writing.visit.places import tank_of_visit

    today = date.today()
    tank = tank_of_visit(read_book(folder, today=today), tank, ())
    change = change_visit(folder, tank, on, today=today, write=yes, by=by)
    entry = change.added.entry
    answer = {"tank_id": tank, "on": on, "rows": change.lines, "written": yes}
    answer |= {"summary": change.summary, "id": entry and entry.id}
    print_answer(as_json, answer, [f"{tank} on {on}:", *(f"  {line}" for line in change.lines)])
    say(f"Written: {change.summary}. It stays in journal.jsonl." if yes else NOT_YET)


def journal_command(book: Text, last: int, as_json: bool) -> None:
    """List the changes of a book in words, newest first: when, by whom, what.

    Example: growthcast journal my-book --last 5

    Exit status: 0 done, 2 there is no book, 3 the tool itself failed.
    """
    from growthcast.book.writing.journal import entries
    from growthcast.say.written import journal_for_programs, journal_words

    known = list(entries(find_own_book(book)))
    listed = {"changes": journal_for_programs(known)[:last]}
    print_answer(as_json, listed, journal_words(known, last))
