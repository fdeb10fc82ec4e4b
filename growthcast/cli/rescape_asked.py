"""What ``growthcast rescape`` is asked: its options checked, the names and lists in them read."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from growthcast.book.tables import FORMS, column_of
from growthcast.book.words import did_you_mean
from growthcast.cli.output import print_answer, say
from growthcast.errors import UsageError
from growthcast.nouns import dataclass

if TYPE_CHECKING:
    from growthcast.book.book import Book
    from growthcast.fit.result import GrowthFit
    from growthcast.say.words import Words


@dataclass(frozen=True, slots=True)
class Asked:
    """What the options ask."""

    tank: str | None
    area: str | None
    files: list[Path]
    reach: int | None
    plants: list[str] | None
    form: str | None
    place: str | None
    stock: Path | None
    keep: list[str] | None
    plot: Path | None
    details: bool
    as_json: bool

    def print(self, answer: dict[str, Any], words: Words, fit: GrowthFit) -> None:
        """Print an answer as it is asked for."""
        print_answer(self.as_json, answer, words, fit, details=self.details)


def check_asked(asked: Asked) -> None:
    """Refuse two questions at once, and options that would be left unread."""
    area, reach = asked.area, asked.reach
    given = {"--area": area is not None, "--layouts": asked.files, "--reach": reach is not None}
    questions = [name for name, is_given in given.items() if is_given]
    form_hint = did_you_mean(asked.form or "", FORMS, f"the forms are {', '.join(FORMS)}")
    places = column_of("areas", "place").choices
    place_hint = did_you_mean(asked.place or "", places, f"the places are {', '.join(places)}")
    wrong = {
        f"{' and '.join(questions)} are different questions; ask one at a time": len(questions) > 1,
        "--plot draws plants (--area) or layouts (--layouts), not swaps": (
            asked.plot is not None and reach is not None
        ),
        f"--reach {reach} is outside the limits; expected whole days from 1 to 365": (
            reach is not None and not 1 <= reach <= 365
        ),
        "--keep goes with --reach: it pins areas while swaps are searched": (
            asked.keep and reach is None
        ),
        "a layout names its own plants; leave out --plants, --form and --stock": (
            asked.files and (asked.plants or asked.form or asked.stock)
        ),
        f'--place "{asked.place}" is no place; {place_hint}': (
            asked.place is not None and asked.place not in places
        ),
        "--place goes with --area": asked.place is not None and area is None,
        f'--form "{asked.form}" is no growth form; {form_hint}': (
            asked.form is not None and asked.form not in FORMS
        ),
    }
    for sentence, holds in wrong.items():
        if holds:
            raise UsageError(sentence)


def named_plants(book: Book, asked: Asked) -> list[str]:
    from growthcast.book.supposed import known_species

    none = "--plants names no plant; leave it out to look at all that fit"
    names = dict.fromkeys(names_in(asked.plants, none))
    return [known_species(book, name, "--plants") for name in names]


def stock_list(book: Book, file: Path | None) -> set[str] | None:
    """Return the plants of a list that the table knows; those it does not know are said."""
    from growthcast.book.supposed import known_species

    if file is None:
        return None
    try:
        lines = file.read_text(encoding="utf-8-sig").splitlines()
    except OSError as error:
        raise UsageError(f"--stock {file} cannot be read: {error.strerror}") from error
    except UnicodeDecodeError as error:
        raise UsageError(f"--stock {file} is no text in UTF-8; save it as that") from error
    found = set()
    for number, line in enumerate(lines, start=1):
        if (name := line.partition("#")[0].strip()) and name != "species_id":
            try:
                found.add(known_species(book, name, f"{file}, line {number}, left out"))
            except UsageError as unknown:
                say(str(unknown))
    if not found:
        raise UsageError(f"--stock {file} names no plant of the species table")
    return found


def names_in(texts: list[str] | None, none: str) -> list[str]:
    """Return names set apart by commas; ``UsageError`` where there are only commas."""
    names = [name.strip() for text in texts or () for name in text.split(",") if name.strip()]
    if texts and not names:
        raise UsageError(none)
    return names
