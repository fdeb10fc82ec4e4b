"""One row of a visit: the area it is of, and what was measured there."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from growthcast.book.book import WholeTank

Amount = float | str
_MEASURED = ("before_cm", "after_cm", "removed_cm", "removed_g")


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
