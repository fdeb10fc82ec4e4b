"""Which tank and which area a line of a visit names, as they are on its day."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np

from growthcast.book.book import Book
from growthcast.book.checks.facts import has_amounts
from growthcast.book.findings import refusal
from growthcast.book.names import beginning_with, meant
from growthcast.book.words import some_of
from growthcast.errors import UsageError
from growthcast.nouns import dataclass

TOLD: Mapping[str, Any] = tomllib.loads(
    Path(__file__).with_name("entry.toml").read_text(encoding="utf-8")
)
GRAMMAR: str = TOLD["grammar"]
"""What to write, in a few sentences."""
WORDS: Mapping[str, str] = TOLD["words"]
"""Words that stand in an area's place, and what they mean."""


@dataclass(frozen=True, slots=True)
class Place:
    """A planted area as a line of a visit may name it; its ground is in cover or in height.

    On the day of the visit it may no longer be ``alive``, have a row in the log already
    (``logged``), or amounts in it (``measured``).
    """

    area_id: str
    label: str
    is_cover: bool
    cut_cm: float | None = None
    alive: bool = True
    logged: bool = False
    measured: bool = False

    @property
    def unit(self) -> str:
        """The unit of its heights."""
        return "%" if self.is_cover else "cm"


def is_note(text: str) -> bool:
    """Whether the rest of an item is a note."""
    return text.casefold().startswith("note:")


def places_of(book: Book, tank_id: str, day: date) -> tuple[Place, ...]:
    """Return every area a tank has or had as it is on a day, in the book's order."""
    covers = set(book.species.text("species_id")[book.species.text("measure") == "cover_pct"])
    areas, trims, on = book.areas, book.trims, np.datetime64(day, "D")
    here = areas.text("tank_id") == tank_id
    gone = areas.date("removed_on") < on  # not so where the date is blank
    alive = ~(areas.date("planted_on") > on) & ~gone
    today = trims.date("date") == on
    logged = set(trims.text("area_id")[today])
    measured = set(trims.text("area_id")[today & has_amounts(trims)])
    cells = [areas.text(name)[here] for name in ("area_id", "label", "species_id")]
    cells += [book.bounds_on(day).cut_cm[here], alive[here]]
    return tuple(
        Place(
            *(area_id, label, species in covers, None if cut != cut else float(cut), bool(lives)),
            logged=area_id in logged,
            measured=area_id in measured,
        )
        for area_id, label, species, cut, lives in zip(*cells, strict=True)
    )


def place_named(name: str, known: Mapping[str, Place], homes: Mapping[str, str]) -> Place:
    """Return the area a person named: by id, or by label or case where that is one area only."""
    names = {one.area_id: (one.area_id, one.label) for one in known.values()}
    alive = [] if name in homes else [one.area_id for one in known.values() if one.alive]
    try:
        return known[meant(name, names, "the tank has no area", beside=[*WORDS], living=alive)]
    except UsageError:
        if name in homes:
            raise UsageError(refusal("area-elsewhere", name=name, tank=homes[name])) from None
        raise


def tank_of_visit(book: Book, tank_id: str | None, items: Sequence[str]) -> str:
    """Return the tank a visit is to: the one named, the only one, or the one its areas are in.

    The beginning of an id will do where no other begins so; ``UsageError`` where several do.
    """
    tanks = book.tanks.text("tank_id").tolist()
    if tank_id is not None:
        return meant(tank_id, {one: (one,) for one in tanks}, "tanks.csv has no tank")
    if len(tanks) == 1:
        return str(tanks[0])
    named = {item.partition("=")[0].strip() for item in items if "=" in item and not is_note(item)}
    areas = book.areas.keep(~book.areas.given("removed_on"))
    pairs = list(zip(areas.text("area_id"), areas.text("tank_id"), strict=True))
    homes = []
    for name in named - WORDS.keys():
        exact = {tank for area, tank in pairs if area == name}
        alike = {tank for tank in tanks if beginning_with(name, [a for a, t in pairs if t == tank])}
        homes += [exact or alike] if exact or alike else []
    left = set.intersection(*homes) if homes else set()
    if len(left) == 1:
        return str(left.pop())
    several = f"in {some_of(sorted(left))} areas begin so; " if left else ""
    raise UsageError(f"{several}name the tank with --tank ID; the tanks are {some_of(tanks, 12)}")
