"""What a page is asked and answers with: templates, and forms for rows of the book."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any
from urllib.parse import urlencode

from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from growthcast.book.book import Table
from growthcast.book.names import names_of_plants, plant_named
from growthcast.book.read import read_shipped_species
from growthcast.book.tables import TABLES, UNITS, Column
from growthcast.desk.memory import Desk, Known
from growthcast.desk.share import Share
from growthcast.desk.visit import rendered
from growthcast.errors import Finding, GrowthcastError
from growthcast.nouns import dataclass
from growthcast.say.filled import read_texts
from growthcast.say.locale import Locale
from growthcast.say.overview import due_why, growth_words
from growthcast.say.plants import plant_reason, saves_in_words
from growthcast.say.strip import days_of_100
from growthcast.say.watch import checks_for, noticed_sentence, tank_sentence
from growthcast.say.words import capital, named
from growthcast.service.pages.overview import TankStanding


class NotThere(GrowthcastError):
    """A page is asked of what the book, or this desk, does not have."""


@dataclass(frozen=True, slots=True)
class Asked:
    """What a page is asked, and what is known to answer it; ``note`` stands above every page."""

    desk: Desk
    share: Share | None
    known: Known
    locale: Locale
    request: Request
    given: Mapping[str, str]
    token: str
    note: str

    @property
    def species(self) -> Table:
        """The table of species, that of the book where there is one."""
        return read_shipped_species() if self.known is None else self.known.book.species

    def page(
        self, template: str, status: int = 200, *, wait: int = 0, **shown: Any
    ) -> HTMLResponse:
        """Return a page made of a template and what it shows.

        With ``wait`` the browser asks again after so many seconds.
        """
        usual = {"asked": self, "known": self.known, "locale": self.locale, **SAID}
        text = rendered(template, self.locale, **usual, **shown)
        headers = {"cache-control": "no-store"}
        if wait:  # an address with a fragment is asked again only without it
            headers["refresh"] = f"{wait}; url=?{self.request.url.query}"
        return HTMLResponse(text, status, headers=headers)

    def get(self, name: str) -> str:
        """Return what was given under a name without blanks around it, "" for nothing."""
        return self.given.get(name, "").strip()

    def choice(self, name: str, among: Sequence[int], usual: int) -> int:
        """Return which of some numbers was given under a name."""
        return next((one for one in among if str(one) == self.get(name)), usual)

    def standing(self, tank_id: str) -> TankStanding:
        """Return how a tank stands; ``NotThere`` for no tank of the book."""
        if tank_id not in self.known.standings:
            raise NotThere(self.locale.say("desk_no_tank"))
        return self.known.standings[tank_id]


def link(path: str, **values: object) -> str:
    """Return an address of the desk."""
    return f"{path}?{urlencode(values)}"


def see(path: str, **values: object) -> RedirectResponse:
    """Return where to look after something was written."""
    return RedirectResponse(link(path, **values) if values else path, 303)


def download(content: bytes, kind: str, name: str) -> Response:
    """Return a file to be saved; its name is one of ours."""
    shown = {"content-disposition": f'attachment; filename="{name}"', "cache-control": "no-store"}
    return Response(content, media_type=kind, headers=shown)


_COMMA = re.compile(r"\s*\d+,\d{1,2}\s*")
NAMED = {"areas": ("label", "species_id"), "tanks": ("client", "site")}
LISTS = {"species_id": "plants", "tank_id": "tanks"}
"""What may be picked from while a cell is typed."""


def column_words(asked: Asked, column: Column) -> str:
    """Return what a column holds, with its unit; its own name where there is no word for it."""
    if (key := f"desk_col_{column.name}") not in asked.locale.text:
        return column.name
    unit = UNITS[column.unit]["shown"]
    return asked.locale.say(key) + (f" ({unit})" if unit else "")


def finding_words(asked: Asked, one: Finding, where: str = "") -> tuple[str, str]:
    """Return what a finding means in the page's language, and how ``check`` says it.

    The first is blank in English. What is found and how to mend it is put together of some 300
    texts with cells in them, which are English everywhere.
    """
    language = asked.locale.language
    means = "" if language == "en" else read_texts(f"findings.{language}")[one.slug]
    said = f"{one.found} [{one.slug}]"
    said += "" if one.level == "remark" else f"; expected: {one.expected}; {one.fix}"
    return (f"{where}{means}", said) if means else ("", f"{where}{said}")


def fields(
    asked: Asked, table: str, names: Sequence[str], row: int = 2, found: Iterable[Finding] = ()
) -> list[dict[str, Any]]:
    """Return the fields of a row of a table; ``row`` is the one that findings tell it by."""
    columns = {column.name: column for column in TABLES[table]}
    here = [one for one in found if one.file == f"{table}.csv" and one.row == row]
    return [
        {
            "name": f"{table}.{column.name}.{row}",
            "label": column_words(asked, column),
            "value": asked.get(f"{table}.{column.name}.{row}"),
            "column": column,
            "list": LISTS.get(column.name, "") if column.name != f"{table[:-1]}_id" else "",
            "found": [finding_words(asked, one) for one in here if one.heading == column.name],
        }
        for column in (columns[name] for name in names)
    ]


def called(asked: Asked, table: str) -> dict[str, str]:
    """Return what people call each area with its plant, or each tank with whose it is, by id."""
    if asked.known is None or table not in NAMED:
        return {}
    plant, rows = dict(all_plants(asked)), getattr(asked.known.book, table)
    ids, *cells = (rows.text(name) for name in (f"{table[:-1]}_id", *NAMED[table]))
    return {
        str(one): f"{', '.join(named(plant.get(cell, cell)) for cell in said if cell)} ({one})"
        for one, *said in zip(ids, *cells, strict=True)
    }


def all_plants(asked: Asked) -> list[tuple[str, str]]:
    """Return the plants of the species table by id, each with its names."""
    known = names_of_plants(asked.species).items()
    return [(plant, ", ".join(filter(None, map(named, names[1:])))) for plant, names in known]


def cell(asked: Asked, table: str, name: str, row: int) -> str:
    """Return what was typed into a field, as the book holds it."""
    text = asked.get(f"{table}.{name}.{row}")
    if name == "species_id":
        return plant_named(asked.species, text) or text
    return text.replace(",", ".") if _COMMA.fullmatch(text) else text


def as_table(table: str, rows: Sequence[dict[str, str]]) -> bytes:
    """Return rows as the text of a table."""
    stream = io.StringIO()
    writer = csv.DictWriter(stream, [column.name for column in TABLES[table]], restval="")
    writer.writeheader()
    writer.writerows(rows)
    return stream.getvalue().encode()


SAID = {
    one.__name__: one
    for one in (
        *(named, capital, due_why, growth_words, days_of_100, tank_sentence, noticed_sentence),
        *(checks_for, link, called, all_plants, plant_reason, saves_in_words),
    )
}
"""What templates say themselves."""
