"""Which tank, area or plant a person means: by its id, one of its names, or how they begin."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from itertools import takewhile

from growthcast.book.book import Table
from growthcast.book.words import did_you_mean, folded, names_that_hold, shown, some_of
from growthcast.errors import UsageError

Names = Mapping[str, Sequence[str]]
"""Names of things by their ids, which are names too."""


def meant(
    typed: str,
    known: Names,
    lacking: str,
    begin: Sequence[str] | None = None,
    beside: Sequence[str] = (),
    listed: str = "",
    living: Sequence[str] | None = None,
) -> str:
    """Return the id of the one thing that is meant.

    It goes by the name typed, of several that do the one of the ``living``, or where nothing does
    it is the only one of ``begin``, or else of the living ids that begin so; all live where that is
    not said. ``UsageError`` says that it is ``lacking``, and what may be meant, of words ``beside``
    the names too, else what there is.
    """
    living = [*known] if living is None else living
    begin = beginning_with(typed, living) if begin is None else begin
    named, held = alike(typed, known), names_that_hold(typed, known)[:3]
    found = [one for one in named if one in living] or named or begin
    if len(found) == 1:
        return found[0]
    names = [*(name for names in known.values() for name in names if name), *beside]
    hint = did_you_mean(typed, names, listed or f"there are {some_of([*known]) or 'none'}")
    hint = f"did you mean {' or '.join(map(shown, held))}?" if held else hint
    if found:
        hint = f"it may be {some_of(sorted(found), 12)}: write more of it, or its id"
    raise UsageError(f"{lacking} {shown(typed)}; {hint}")


def by_name(known: Names, compared: Callable[[str], str] = folded) -> dict[str, set[str]]:
    """Return the ids of what goes by each name, as names are ``compared``."""
    found: dict[str, set[str]] = defaultdict(set)
    for one, names in known.items():
        for name in filter(None, map(compared, names)):
            found[name].add(one)
    return found


def alike(typed: str, known: Names) -> list[str]:
    """Return the ids of what goes by a name; an id as it is typed counts before any other name.

    What ends in a hyphen is the beginning of an id, and no name.
    """
    if typed in known or typed.endswith("-"):
        return [typed] if typed in known else []
    return sorted(by_name(known).get(folded(typed), ()))


def beginning_with(typed: str, ids: Sequence[str]) -> list[str]:
    """Return the ids that begin so, with or without what they have in common before a hyphen.

    >>> beginning_with("r", ["lobby-rotala", "lobby-moss"])
    ['lobby-rotala']
    """
    small = [one.casefold() for one in ids] or [""]
    same = takewhile(lambda pair: pair[0] == pair[1], zip(min(small), max(small), strict=False))
    common = "".join(letter for letter, _ in same)
    common = common[: common.rfind("-") + 1]
    typed = typed.casefold()
    found = zip(ids, small, strict=False)
    return [one for one, s in found if typed and s.startswith((typed, common + typed))]


def names_of_plants(species: Table) -> dict[str, list[str]]:
    """Return the names of every plant by its id: the id, botanical and common names, synonyms."""
    columns = ("species_id", "scientific_name", "common_name", "also_known_as")
    cells = zip(*(species.text(name).tolist() for name in columns), strict=True)
    return {row[0]: [name.strip() for cell in row for name in cell.split(";")] for row in cells}


def plant_named(species: Table, name: str) -> str | None:
    """Return the id of the one plant that goes by a name; ``None`` where none or several do."""
    found = alike(name, names_of_plants(species))
    return found[0] if len(found) == 1 else None


def plant_meant(species: Table, name: str, said: str = "") -> str:
    """Return the id of the one plant that a name means, or the beginnings of its words.

    Of those with more words the one without is meant. ``UsageError`` with the plants that it may
    mean; ``said`` stands before it.
    """
    known, typed = names_of_plants(species), folded(name).split()
    hits, whole = set[str](), set[str]()
    for plant, spelling in ((one, name) for one, names in known.items() for name in names):
        words = folded(spelling).split()
        if len(words) >= len(typed) > 0 and all(map(str.startswith, words, typed)):
            (hits if len(words) > len(typed) else whole).add(plant)
    begin = whole if len(whole) == 1 else hits | whole
    lacking = f"{said}the species table has no plant"
    return meant(name, known, lacking, [*begin], listed="growthcast species lists all plants")
