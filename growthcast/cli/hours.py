"""growthcast hours: a month of work by client and tank."""

from __future__ import annotations

import re
from datetime import date

from growthcast.book.words import check_known
from growthcast.cli.options import File, Text, folder_of
from growthcast.cli.output import print_answer, say
from growthcast.cli.rounds import check_file
from growthcast.errors import UsageError


def hours_command(book: Text, month: Text, client: Text, csv: File, as_json: bool) -> None:
    """Sum up visits, minutes and grams of a month by client and tank, for the invoice.

    Example: growthcast hours my-book --month 2026-11 --client "Client A"

    Exit status: 0 done, 2 bad arguments or a book with problems, 3 the tool itself failed.
    """
    from growthcast.book.read import read_book
    from growthcast.book.writing.replace import write_whole
    from growthcast.fit.growth import last_logged
    from growthcast.say.hours import hours_csv, hours_words
    from growthcast.service.effort.hours import month_of_work

    opened = read_book(folder_of(book))
    check_file(opened, csv, ".csv")
    if client is not None:
        clients = sorted({name for name in opened.tanks.text("client").tolist() if name})
        check_known(client, clients, "tanks.csv has no client", "the clients are")
    day = _first_day(month) if month else last_logged(opened) or date.today()
    work = month_of_work(opened, day, client)
    if csv is not None:
        write_whole(csv, hours_csv(work).encode())
        say(f"Wrote {csv}")
    print_answer(as_json, work, hours_words(work))


def _first_day(month: str) -> date:
    if re.fullmatch(r"[0-9]{4}-(0[1-9]|1[0-2])", month):
        return date.fromisoformat(f"{month}-01")
    raise UsageError(f'--month "{month}" is not a month; write it as YYYY-MM, as in 2026-11')
