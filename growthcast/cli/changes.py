"""Commands that begin a book and change it: start, replace, retire, move, unlog, journal."""

from __future__ import annotations

import shlex
import sys
from collections.abc import Callable, Mapping
from datetime import date
from pathlib import Path
from typing import Any, TypeVar

from growthcast.book.begin.typed import Row, area_typed, complete_areas, tank_typed
from growthcast.book.files import find_own_book
from growthcast.book.read import read_book, read_shipped_species
from growthcast.book.words import shown
from growthcast.book.writing.append import Change, parse_row
from growthcast.book.writing.unlog import CHANGES, VISITS, change_visit, last_entry, take_back
from growthcast.book.writing.visit.lines import checked_name
from growthcast.cli.log_file import say_beside
from growthcast.cli.options import Day, File, Text
from growthcast.cli.output import Form, print_answer, refuse_if, say
from growthcast.cli.tables import print_line
from growthcast.errors import BookProblems, UsageError
from growthcast.nouns import dataclass
from growthcast.plain import plain
from growthcast.say.words import Answer, sentence

T = TypeVar("T")
PRICE = "Your price of an hour, net, in EUR (Enter to leave open): "


def start_command(folder: Path, sheet: File) -> None:
    """Write a new book: on a terminal tanks and plants are asked for; nothing is written over.

    Example: growthcast start my-book

    Exit status: 0 done, 2 the folder holds a book already or cannot be written, 3 tool fault.
    """
    from growthcast.book.begin.start import GUIDE, check_new_folder, start_book, start_from

    typed, to_do = shlex.quote(str(folder)), list[str]()
    if sheet is not None:
        from growthcast.book.sheets.load import read_workbook
        from growthcast.say.written import merge_answer

        names, merge = start_from(folder, read_workbook(sheet), today=date.today())
        print_answer(merge_answer(merge, delete_missing=False))
        say(*(f"{sheet.name}: {words}." for words in merge.not_taken))
    elif sys.stdin.isatty():
        check_new_folder(folder)
        typed_so_far: list[str] = []
        try:
            asked = ask_for_book(lambda question: _asked(question, typed_so_far))
        except (UsageError, KeyboardInterrupt):
            say("Typed so far, to be pasted when you start again:\n" + "\n".join(typed_so_far))
            raise
        if asked is None:
            say("Nothing was written.")
            return
        names = start_book(folder, *asked, today=date.today())
    else:
        names, practice = start_book(folder, today=date.today()), folder / "practice.toml"
        to_do = sentence("first_next", guide=GUIDE, practice=practice, book=typed).split("\n")
    print_answer(Answer(f"A new book is in {folder}: {', '.join(names)}.", notes=to_do))
    print_line(f"  growthcast check {typed} says at any time what is still missing.")


def _asked(question: str, so_far: list[str]) -> str:
    from growthcast.cli.log import answer

    so_far.append(answer(question))
    return so_far[-1]


def ask_for_book(
    ask: Callable[[str], str],
) -> tuple[Mapping[str, str | float], list[Row], list[Row]] | None:
    """Ask for the practice, its tanks and their plants; ``None`` where they are not to be written.

    What is not understood is said and asked for again.
    """
    from growthcast.book.begin.start import check_rows
    from growthcast.say.written import first_book_answer

    species = read_shipped_species()
    name = ask("Name of the practice (Enter to leave open): ")
    practice = {"name": name, "labour_rate_per_h": _until_understood(ask, PRICE, _price)}
    say(sentence("first_open"))
    tanks: list[Row] = []
    areas: list[Row] = []

    def tank_of(typed: str) -> Row:
        return tank_typed(typed, [str(one["tank_id"]) for one in tanks])

    def area_of(typed: str) -> Row:
        area = area_typed(typed, str(tanks[-1]["tank_id"]), species)
        check_rows(tanks[-1:], complete_areas([area], tanks[-1:], species), today=date.today())
        return area

    while tank := _until_understood(ask, sentence("first_tank"), tank_of):
        tanks.append(tank)
        while area := _until_understood(ask, sentence("first_area"), area_of):
            areas.append(area)
    if not tanks:
        return None
    whole = complete_areas(areas, tanks, species)
    print_answer(first_book_answer(tanks, whole))
    if ask("Write it? [y/N] ").casefold() not in {"y", "yes"}:
        return None
    return {key: value for key, value in practice.items() if value}, tanks, areas


def _price(typed: str) -> float:
    from growthcast.book.cells.numbers import typed_number

    try:
        return typed_number(typed)
    except ValueError as error:
        raise UsageError(f"{typed} is no price; write a number, as 58") from error


def _until_understood(
    ask: Callable[[str], str], question: str, read: Callable[[str], T]
) -> T | None:
    """Return what is typed as it is read; none where nothing is, and what is wrong is said."""
    while typed := ask(question):
        try:
            return read(typed)
        except BookProblems as trouble:
            say(*(f"{one.heading}: found {one.found}; {one.fix}" for one in trouble.findings))
        except UsageError as trouble:
            say(str(trouble))
    return None


@dataclass(frozen=True, slots=True)
class Made:
    """How a change is made: from which day on, by whom, whether it is written, how it is told."""

    on: Day
    by: str
    yes: bool
    as_json: bool

    def make(self, command: str, arrow: Callable[..., Change], *what: object, **cells: Any) -> None:
        """Make a change, say it back, and whether it was written; that the day is today is said."""
        today = date.today()
        if self.on is None:
            say(f"The day is today, {today}; another is given with --on.")
        on, by = self.on or today, checked_name(self.by)
        change = arrow(*what, on=on, **cells, today=today, write=self.yes, by=by)
        say_beside(change)
        written = change.entry is not None
        answer = {"command": command, "summary": change.summary, "on": on, "written": written}
        answer |= {"ended": change.ended, "row": plain(dict(change.row)) or None}
        Form(as_json=self.as_json).print(answer, Answer(f"{change.summary}."))
        say("Written; growthcast unlog takes it back." if written else sentence("visit_new"))


def replace_command(items: list[str], made: Made) -> None:
    """Replace an area's plant from a day on; ground, heights and place stay.

    Example: growthcast replace my-book stems=ludwigia-repens --on 2026-03-02 --yes

    Exit status: 0 done, 2 unknown area or plant, or the book does not check, 3 tool fault.
    """
    from growthcast.book.writing.areas import replace_area

    folder, items = book_first(items)
    area_id, mark, plant = (items[0] if items else "").partition("=")
    refuse_if("no_next_plant", not mark or not plant.strip())
    cells = parse_row("area", items[1:], whole=False)
    made.make("replace", replace_area, folder, area_id.strip(), plant.strip(), cells=cells)


def retire_command(book: Text, tank: Text, client: Text, made: Made) -> None:
    """Give a tank or a client up from a day on; its log goes on teaching.

    Example: growthcast retire my-book --client "Client A" --on 2026-03-02 --yes

    Exit status: 0 done, 2 unknown tank or client, or nothing lives there, 3 tool fault.
    """
    from growthcast.book.writing.areas import retire

    made.make("retire", retire, find_own_book(book), tank_id=tank, client=client)


def move_command(area: list[str], budget: Text, floor: Text, cut: Text, made: Made) -> None:
    """Agree an area's heights anew from a day on; what was before keeps its own.

    Example: growthcast move my-book stems --budget 20 --floor 8 --on 2026-03-02 --yes

    Exit status: 0 done, 2 unknown area, or heights that do not check, 3 the tool itself failed.
    """
    from growthcast.book.writing.areas import move_bounds

    refuse_if("heights_as_options", area[2:], what=" ".join(map(shown, area[2:3])))
    typed = {"budget_cm": budget, "floor_cm": floor, "cut_cm": cut}
    items = [f"{name}={text}" for name, text in typed.items() if text is not None]
    refuse_if("no_height_moves", not items)
    heights = parse_row("area", items, whole=False)
    folder = find_own_book(area[0] if len(area) == 2 else None)
    made.make("move", move_bounds, folder, area[-1], **heights)


def book_first(items: list[str]) -> tuple[Path, list[str]]:
    """Return the folder of the book, which may stand first, and the items after it."""
    named = items[0] if items and "=" not in items[0] else None
    return find_own_book(named), items[1:] if named else items


def unlog_command(
    book: Text, tank: Text, on: Day, change: str, by: str, yes: bool, form: Form
) -> None:
    """Take back the last change, a visit by its tank and day, or a change by its id.

    The last one goes at once where it is a visit; anything else is said first and goes with --yes.

    Example: growthcast unlog my-book --tank lobby --on 2026-03-02 --yes

    Exit status: 0 done, 2 nothing to take back, or rows written since need it, 3 tool fault.
    """
    folder, name = find_own_book(book), checked_name(by)
    if tank is not None and on is not None:
        _unlog_visit(folder, tank, on, name, yes=yes, form=form)
        return
    entry = last_entry(folder, CHANGES, change)
    visit = entry is not None and entry.command in VISITS and not change
    if entry is not None and not yes and not visit:
        said = f"{entry.command}: {entry.summary}"
        answer = {"would_take_back": entry.summary, "logged_at": entry.at, "id": entry.id}
        form.print(answer, Answer(f"This would be taken back: {said} (written {entry.at})."))
        say(f"{sentence('visit_new')} A visit by its tank and day: --tank ID --on DATE.")
        return
    entry = take_back(folder, CHANGES, change, by=name)
    answer = {"taken_back": entry.summary, "logged_at": entry.at, "id": entry.id}
    said = f"Taken back: {entry.summary} (written {entry.at}). It stays in journal.jsonl."
    form.print(answer, Answer(said))


def _unlog_visit(folder: Path, tank: str, on: date, by: str, *, yes: bool, form: Form) -> None:
    """Take the visit of a tank on a day back, said row by row first."""
    from growthcast.book.writing.visit.places import tank_of_visit

    today = date.today()
    tank = tank_of_visit(read_book(folder, today=today), tank, ())
    change = change_visit(folder, tank, on, today=today, write=yes, by=by)
    entry = change.entry
    answer = {"tank_id": tank, "on": on, "rows": change.lines, "written": yes}
    answer |= {"summary": change.summary, "id": entry and entry.id}
    lines = (f"  {line}" for line in change.lines)
    form.print(answer, Answer(f"{tank} on {on}:", notes=lines))
    say(f"Written: {change.summary}. It stays in journal.jsonl." if yes else sentence("visit_new"))


def journal_command(book: Text, last: int, form: Form) -> None:
    """List the changes of a book in words, newest first: when, by whom, what.

    Example: growthcast journal my-book --last 5

    Exit status: 0 done, 2 there is no book, 3 the tool itself failed.
    """
    from growthcast.book.writing.journal import entries
    from growthcast.say.written import journal_answer, journal_for_programs

    known = list(entries(find_own_book(book)))
    form.print({"changes": journal_for_programs(known)[:last]}, journal_answer(known, last))
