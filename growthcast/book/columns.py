"""What a column of a table or a key of practice.toml is, and what its cells should hold."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Literal

from growthcast.book.words import plain
from growthcast.nouns import dataclass

Kind = (
    Literal["id", "text", "number", "date", "choice", "flag"]
    | Literal["quoted", "currency", "locale", "region", "picture"]
    | Literal["intervals", "weekdays", "dates", "texts"]
)
"""What a cell holds; those of the later lines are of practice.toml alone."""

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")

UNIT_WORDS: Mapping[str, str] = MappingProxyType(
    {
        "cm": "centimetres",
        "cm2": "square centimetres",
        "g": "grams",
        "min": "minutes",
        "d": "days",
        "h": "hours a day",
        "mg/l": "milligrams per litre",
        "umol": "µmol per m² and second",
        "dKH": "degrees of carbonate hardness",
        "pH": "a pH",
        "c": "degrees Celsius",
        "share": "a share",
        "per day": "a rate per day",
        "g/l": "grams per litre (or per dm² at full cover)",
        "": "a number",
    }
)


_EXPECTED: Mapping[Kind, str] = {
    "date": "a date as YYYY-MM-DD",
    "flag": "one of true, false",
    "id": "an id: text without slash, backslash or control characters",
    "text": "text",
    "quoted": "text in quotes",
    "currency": 'the three letters of a currency of ISO 4217, as "EUR"',
    "locale": 'the codes of a language and a country, as "en-GB"',
    "region": 'the ISO 3166 code of a country or a part of it in quotes, as "DE" or "DE-BY"',
    "picture": 'a file inside the book\'s folder that ends in .svg, .png or .jpg, as "logo.svg"',
    "weekdays": f"a list of weekdays out of {', '.join(WEEKDAYS)}, each in quotes",
    "dates": "a list of dates as 2026-12-25",
    "texts": "a list of texts, each in quotes",
}


@dataclass(frozen=True, slots=True)
class Column:
    """One column or key: its name, what its cells hold and within which limits.

    ``above`` makes ``low`` a limit which the value must exceed; ``whole`` asks for whole numbers;
    ``required`` means that the column is there and that none of its cells is blank.
    """

    name: str
    kind: Kind
    meaning: str
    unit: str = ""
    low: float | None = None
    high: float | None = None
    required: bool = False
    above: bool = False
    whole: bool = False
    choices: tuple[str, ...] = ()

    @property
    def expected(self) -> str:
        """What a cell of this column should hold, in words."""
        if self.kind == "choice":
            return "one of " + ", ".join(self.choices)
        if self.kind == "intervals":
            return f"a list of {_expected_number(self)}"
        return _expected_number(self) if self.kind == "number" else _EXPECTED[self.kind]


def _expected_number(column: Column) -> str:
    words = UNIT_WORDS[column.unit]
    if column.whole:
        words = "whole " + words.removeprefix("a ")
    if column.low is None:
        return words
    low = plain(column.low)
    if column.high is None:
        return f"{words} above {low}" if column.above else f"{words}, {low} or more"
    high = plain(column.high)
    if column.above:
        return f"{words} above {low}, at most {high}"
    return f"{words} from {low} to {high}"
