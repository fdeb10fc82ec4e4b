"""The texts of a language by their keys, with numbers as a terminal writes them.

A language is one file in ``languages/``, for terminal, desk and pages alike. What a reader's place
asks of numbers and dates is ``locale.py``, which the commands of the day do without.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import date
from typing import Any, ClassVar

from growthcast.book.words import plain
from growthcast.nouns import dataclass
from growthcast.say.filled import filled, read_texts
from growthcast.say.words import and_list, day_words

ALMOST_SURE = 0.995


@dataclass(frozen=True, slots=True)
class Texts:
    """The texts of a language."""

    language: str

    gap: ClassVar[str] = " "
    """What stands between a number and its unit."""

    @property
    def text(self) -> Mapping[str, str]:
        """The texts by their keys."""
        return read_texts(self.language)

    def say(self, key: str, **blanks: Any) -> str:
        """Return a text with its blanks filled.

        A blank is written by a method of these texts, as ``{n:number}``, or as a text is that
        counts, as ``{n:visit}``.
        """
        return filled(self.text[key], blanks, self._way)

    def _way(self, name: str) -> Callable[..., str] | None:
        counts = f"{name}_many" in self.text
        return getattr(self, name, None) or ((lambda n: self.count(name, n)) if counts else None)

    def count(self, key: str, number: int) -> str:
        """Return the text for so many of something, the number as ``{n}``.

        It is the text of that very number where there is one, else that of one or of many.
        """
        very = f"{key}_{number}"
        form = very if very in self.text else f"{key}_one" if number == 1 else f"{key}_many"
        return self.say(form, n=self.number(number))

    def joined(self, parts: Sequence[str], between: str = "or") -> str:
        """Return parts with a word between each two."""
        return self.say(f"join_{between}").join(parts)

    def listed(self, parts: Sequence[str]) -> str:
        """Return parts as a list in words."""
        return and_list(parts)

    def number(self, value: float, digits: int = 0) -> str:
        """Return a number."""
        return f"{value:.{digits}f}"

    def long_date(self, day: date) -> str:
        """Return a date with its year."""
        return day.isoformat()

    def day(self, day: date, on: date) -> str:
        """Return a date; the year only where ``on`` does not settle it."""
        return day_words(day, on)

    def whole_date(self, day: date, on: date) -> str:
        """Return a date that no line of a page ends in."""
        return self.day(day, on).replace(" ", self.gap)

    def short(self, value: float) -> str:
        """Return a number in three digits at most."""
        return self.number(value, len(f"{value:.3g}".partition(".")[2]))

    def typed(self, value: float) -> str:
        """Return a number in the digits it has."""
        return self.number(value, len(plain(value).partition(".")[2]))

    def share(self, share: float, digits: int = 0) -> str:
        """Return a share [0-1] as percent."""
        return f"{100 * share:.{digits}f} %"

    def chance(self, chance: float) -> str:
        """Return a chance [0-1] as percent; neither certain nor impossible when it is not."""
        if chance > ALMOST_SURE:
            return self.say("chance_over", share=self.share(0.99))
        if chance < 1.0 - ALMOST_SURE:
            return self.say("chance_under", share=self.share(0.01))
        return self.share(chance)

    def near_miss(self, chance: float, wanted: float) -> str:
        """Return a chance; one that would read like the wanted one that it misses, with a digit."""
        alike = chance < wanted and self.share(chance) == self.share(wanted)
        return self.share(chance, 1) if alike else self.chance(chance)

    def measured(self, value: float, unit: str, digits: int | None = None) -> str:
        """Return a number with its unit, as it stands in a sentence, else in three digits."""
        number = self.short(value) if digits is None else self.number(value, digits)
        return f"{number} {unit if unit == 'cm' else self.say('unit_cover')}"

    def exact(self, value: float, unit: str) -> str:
        """Return a height that was agreed, not forecast, in the digits it was given with."""
        digits = next((d for d in (0, 1) if abs(value - round(value, d)) < 1e-9), 2)
        if unit != "cm":
            return self.share(value / 100.0, digits)
        return f"{self.number(value, digits)}{self.gap}cm"


TERMINAL = Texts("en")
"""What commands say without being asked for a language."""
