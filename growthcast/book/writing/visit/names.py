"""The names in a line of a visit: areas by id or label, and words that stand in their place."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from growthcast.book.words import did_you_mean, names_that_hold, shown
from growthcast.errors import UsageError

WORDS = {
    "all": "every area of the tank",
    "tank": "every area of the tank",
    "rest": "the areas not named",
    "bucket": "everything that came out of the tank",
}
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


def place_named(
    name: str, item: str, known: Mapping[str, Place], elsewhere: Mapping[str, str]
) -> Place:
    """Return the area a person named: by id, or by label or case where that is one area only."""
    if name in known:
        return known[name]
    folded = name.casefold()
    alike = [p for p in known.values() if folded in {p.area_id.casefold(), p.label.casefold()}]
    if len(alike) == 1:
        return alike[0]
    if len(alike) > 1:
        raise UsageError(
            f"{shown(item)}: {len(alike)} areas are labelled {shown(name)}; write one of the ids "
            + ", ".join(p.area_id for p in alike)
        )
    if name in elsewhere:
        raise UsageError(
            f"{shown(item)}: area {shown(name)} is in tank {elsewhere[name]}; log that tank in a "
            "line of its own"
        )
    spellings = {p.area_id: (p.area_id, p.label) for p in known.values()}
    held = names_that_hold(name, spellings)
    ids = ", ".join(list(known)[:12]) or "none"
    otherwise = f"the tank's areas are {ids}"
    hint = (
        "did you mean " + " or ".join(shown(one) for one in held[:3]) + "?"
        if held
        else did_you_mean(
            name, [*known, *(p.label for p in known.values() if p.label), *WORDS], otherwise
        )
    )
    raise UsageError(f"{shown(item)}: the tank has no area {shown(name)}; {hint}")
