"""Which tank and which area a line of a visit names, as they are on its day."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from datetime import date
from itertools import takewhile
from pathlib import Path
from typing import Any

import numpy as np

from growthcast.book.book import Book
from growthcast.book.checks.facts import has_amounts
from growthcast.book.findings import refusal
from growthcast.book.words import check_known, did_you_mean, names_that_hold, shown, some_of
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
    if name in known:
        return known[name]
    folded = name.casefold()
    alike = [p for p in known.values() if folded in {p.area_id.casefold(), p.label.casefold()}]
    if len(alike) == 1:
        return alike[0]
    if alike:
        ids = ", ".join(p.area_id for p in alike)
        raise UsageError(refusal("labelled-alike", count=len(alike), name=name, ids=ids))
    if name in homes:
        raise UsageError(refusal("area-elsewhere", name=name, tank=homes[name]))
    begin = beginning_with(name, [p.area_id for p in known.values() if p.alive])
    if len(begin) == 1:
        return known[begin[0]]
    if begin:
        raise UsageError(f"{len(begin)} areas begin so: {some_of(begin)}; write more of the id")
    held = names_that_hold(name, {p.area_id: (p.area_id, p.label) for p in known.values()})
    hint = f"did you mean {' or '.join(shown(one) for one in held[:3])}?"
    if not held:
        names = [*known, *(p.label for p in known.values() if p.label), *WORDS]
        ids = ", ".join([*known][:12])
        hint = did_you_mean(name, names, f"the tank's areas are {ids or 'none'}")
    raise UsageError(f"the tank has no area {shown(name)}; {hint}")


def beginning_with(name: str, ids: Sequence[str]) -> list[str]:
    """Return the ids that begin so, with or without what they have in common before a hyphen.

    >>> beginning_with("r", ["lobby-rotala", "lobby-moss"])
    ['lobby-rotala']
    """
    small = [one.casefold() for one in ids] or [""]
    alike = takewhile(lambda pair: pair[0] == pair[1], zip(min(small), max(small), strict=False))
    common = "".join(letter for letter, _ in alike)
    common = common[: common.rfind("-") + 1]
    typed = name.casefold()
    found = zip(ids, small, strict=False)
    return [one for one, s in found if typed and s.startswith((typed, common + typed))]


def id_meant(name: str, known: Sequence[str], among: Sequence[str], table: str) -> str:
    """Return the id that a name is, or begins where no other id begins so; ``UsageError`` else."""
    begin = [name] if name in known else beginning_with(name, among)
    if len(begin) > 1:
        raise UsageError(f"{len(begin)} {table} begin with {shown(name)}: {some_of(begin)}")
    if not begin:
        check_known(name, known, f"{table}.csv has no {table[:-1]}", f"the {table} are")
    return begin[0]


def tank_of_visit(book: Book, tank_id: str | None, items: Sequence[str]) -> str:
    """Return the tank a visit is to: the one named, the only one, or the one its areas are in.

    The beginning of an id will do where no other begins so; ``UsageError`` where several do.
    """
    tanks = book.tanks.text("tank_id").tolist()
    if tank_id is not None:
        return id_meant(tank_id, tanks, tanks, "tanks")
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
