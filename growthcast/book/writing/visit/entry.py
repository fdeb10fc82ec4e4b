"""A visit in one short line: its grammar, read into rows of the log.

::

    visit  = item { " " item }
    item   = [ name "=" ] part { "+" part }     without a name: the whole tank
    name   = an area's id or its label           (the same name again adds to its row)
           | the beginning of one area's id      without what the tank's ids have in common
           | "all", "tank"                       a look: of every area; else the whole tank
           | "rest"                              a look: of the areas not named; a weight: what
                                                 the areas without amounts of their own gave
           | "bucket"                            a weight: everything that came out of the tank
           | "visit"                             a time: at the tank in all
           | "water"                             a share in %: of the water, changed
    part   = before "/" after      24/12         stood at 24 cm, cut to 12 cm
           | before [ "/" ]        24            measured, not cut
           | "/" after             /12           cut to 12 cm, height before not measured
           | "-" length            -3            3 cm taken off
           | "photo:" before ["~" error]         photo:17.2~1.3 stood at 17.2 ± 1.3 cm, by a photo
           | weight                180g, 0.2kg   drained trimmings
           | time                  35min, 1h10   minutes of trimming
           | [ "look:" ] look      look:right    short, right, over (s, r, o): by eye, uncut
           | "replanted"           replanted     the cut tops, in place of the old stems
           | "note:" text          note:algae    the rest of the item

An area whose id is one of these words keeps it; in capitals, as in REST=, the word is meant then.
Heights are in cm, or in % cover for floating plants; ``cm``, ``mm`` and ``%`` may be written.
A decimal comma is read as a point. Three digits after a single mark (1,234 or 1.234) are refused,
since they may be thousands.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import field
from datetime import date
from itertools import takewhile

import numpy as np

from growthcast.book.book import Book, WholeTank
from growthcast.book.checks.rows import has_amounts
from growthcast.book.supposed import Cell
from growthcast.book.words import check_known, did_you_mean, names_that_hold, shown, some_of
from growthcast.book.writing.visit.amounts import (
    GRAMMAR,
    WORDS,
    Amount,
    Place,
    amounts_of_part,
    is_note,
)
from growthcast.errors import UsageError
from growthcast.nouns import dataclass

_MEASURED = ("before_cm", "after_cm", "removed_cm", "removed_g")
_EXAMPLES = {"all": ("right",), "tank": ("right",), "rest": ("right", "900g"), "bucket": ("900g",)}
_EXAMPLES |= {"visit": ("70min",), "water": ("50%",)}
_TITLES = {"before_cm": "height before the cut", "after_cm": "height after the cut"}
_TITLES |= {"removed_cm": "length taken off", "removed_g": "weight", "grams_of": "weight"}
_TITLES |= {"measured_by": "photo", "before_sd_cm": "error of the photo"}
_TITLES |= {"replanted": "replanting", "look": "look", "minutes": "time", "note": "note"}
_TITLES |= {"visit_min": "time at the tank", "water_share": "share of the water"}


@dataclass(frozen=True, slots=True)
class VisitRow:
    """One row of the log: an area, or the whole tank (``None``), and its amounts by column."""

    place: Place | None
    amounts: Mapping[str, Amount] = field(default_factory=dict)

    @property
    def measured(self) -> bool:
        """Whether it tells a height or what came off; a look alone does not."""
        return not self.amounts.keys().isdisjoint(_MEASURED)

    @property
    def whose_grams(self) -> WholeTank | None:
        """Whose grams a weight of the whole tank is said to be."""
        said = self.amounts.get("grams_of")
        return "all" if said == "all" else "rest" if said == "rest" else None


def parse_visit(
    items: Sequence[str], places: Sequence[Place], elsewhere: Mapping[str, str]
) -> tuple[VisitRow, ...]:
    """Return the rows a line of a visit means, in the order in which they were named.

    ``places`` are the tank's areas; ``elsewhere`` maps the other areas' ids to their tanks.
    ``UsageError`` with the item and what to write for anything not understood.
    """
    rows: dict[str | None, dict[str, Amount]] = {}
    known = {place.area_id: place for place in places}
    spread: list[tuple[str, str, str]] = []
    for item in items:
        name, word, value = _split(item, known)
        if not value:
            raise UsageError(f"{shown(item)} says nothing. {GRAMMAR}")
        with _naming(item):
            place = None if name is None else _place_named(name, known, elsewhere)
            amounts: dict[str, Amount] = {}
            for part in _parts(value):
                _add(amounts, amounts_of_part(part, place, word))
            if place is None and "look" in amounts:
                spread.append((word, str(amounts.pop("look")), item))
            if amounts:
                _add(rows.setdefault(None if place is None else place.area_id, {}), amounts)
    named = {*rows}
    for word, look, item in spread:
        with _naming(item):
            for place in _looked_at(word, places, named):
                row = rows.setdefault(place.area_id, {})
                if row.get("look", look) != look:
                    raise UsageError(
                        f"{place.area_id} looks {row['look']} by another part of the line; write "
                        "rest= for the areas not named"
                    )
                row["look"] = look
    return tuple(
        VisitRow(None if name is None else known[name], amounts) for name, amounts in rows.items()
    )


@contextmanager
def _naming(item: str) -> Iterator[None]:
    """Name the item before what is said of it."""
    try:
        yield
    except UsageError as error:
        raise UsageError(f"{shown(item)}: {error}") from None


def _place_named(name: str, known: Mapping[str, Place], elsewhere: Mapping[str, str]) -> Place:
    """Return the area a person named: by id, or by label or case where that is one area only."""
    if name in known:
        return known[name]
    folded = name.casefold()
    alike = [p for p in known.values() if folded in {p.area_id.casefold(), p.label.casefold()}]
    if len(alike) == 1:
        return alike[0]
    if alike:
        ids = ", ".join(p.area_id for p in alike)
        raise UsageError(
            f"{len(alike)} areas are labelled {shown(name)}; write one of the ids {ids}"
        )
    if name in elsewhere:
        raise UsageError(
            f"area {shown(name)} is in tank {elsewhere[name]}; log that tank in a line of its own"
        )
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


def _add(row: dict[str, Amount], amounts: Mapping[str, Amount]) -> None:
    for column, amount in amounts.items():
        if column in row:
            raise UsageError(f"the {_TITLES[column]} is given twice")
        row[column] = amount


def _looked_at(word: str, places: Sequence[Place], named: set[str | None]) -> list[Place]:
    """Return the areas that ``all=`` or ``rest=`` gives a look."""
    living = [place for place in places if place.alive]
    if word == "rest":
        living = [place for place in living if place.area_id not in named and not place.logged]
    elif written := [place.area_id for place in living if place.logged]:
        raise UsageError(
            f"the log has rows of {', '.join(written)} on this day already; write rest= for the "
            "others"
        )
    if not living:
        raise UsageError("no area of the tank is left for this look")
    return living


def _split(item: str, known: Mapping[str, Place]) -> tuple[str | None, str, str]:
    """Return an area's name, or else ``None`` and the word in its place; and the value."""
    cuts = [place for place, char in enumerate(item) if char == "="]
    if not cuts or is_note(item):
        return None, "", item
    cut = next((c for c in cuts if item[:c].strip() in known), cuts[0])
    name, value = item[:cut].strip(), item[cut + 1 :].strip()
    word = name.casefold() if name not in known and name.casefold() in WORDS else ""
    if not value:
        examples = _EXAMPLES.get(word, ("24/12", "right"))
        said = " or ".join(f"{name}={example}" for example in examples)
        raise UsageError(f"{shown(item)} has nothing after the =; write as {said}, or leave it out")
    return None if word else name, word, value


def _parts(value: str) -> Iterable[str]:
    """Yield the parts of a value; a note takes everything after it."""
    while value:
        if is_note(value):
            yield value
            return
        part, _, value = value.partition("+")
        yield part.strip()


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


def _areas_elsewhere(book: Book, tank_id: str) -> dict[str, str]:
    """Return the tank of every area that is in another one."""
    pairs = zip(book.areas.text("area_id"), book.areas.text("tank_id"), strict=True)
    return {area: tank for area, tank in pairs if tank != tank_id}


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


def visit_rows(book: Book, tank_id: str, day: date, items: Sequence[str]) -> tuple[VisitRow, ...]:
    """Return the rows that a line of a visit to a tank means."""
    return parse_visit(items, places_of(book, tank_id, day), _areas_elsewhere(book, tank_id))


def log_rows(
    rows: Sequence[VisitRow], tank_id: str, day: date, by: str = ""
) -> list[Mapping[str, Cell]]:
    """Return a visit as rows of ``trims.csv``; ``by`` is who logged it."""
    who = {"by": by} if by else {}
    return [
        {
            "date": day,
            "tank_id": tank_id,
            "area_id": row.place.area_id if row.place else None,
            **row.amounts,
            **who,
        }
        for row in rows
    ]
