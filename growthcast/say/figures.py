"""What is said of a picture: conclusion and key beside it, and the words for those who hear it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date

from growthcast.nouns import dataclass
from growthcast.say.watch import finding_name
from growthcast.say.words import Answer, Table, sentence
from growthcast.service.watch.watch import Finding


@dataclass(frozen=True, slots=True)
class Caption:
    """The conclusion and the key beside a picture; title and description for those who hear it."""

    title: str
    conclusion: str
    key: str
    description: str


def caption(answer: Answer, title: str, key: str) -> Caption:
    """Return what is said of the picture of an answer.

    Its first line is the conclusion, with that of each answer to a part of the question. Who hears
    the picture hears the rows of the table and the notes as well.
    """
    leads = [answer.lead, *(part.lead for part in answer.notes if isinstance(part, Answer))]
    return Caption(title, " ".join(filter(None, leads)), key, " ".join(_told(answer)))


def _told(answer: Answer) -> Iterator[str]:
    for part in (answer.lead, answer.table, *answer.notes):
        if isinstance(part, Answer):
            yield from _told(part)
        elif isinstance(part, Table):
            yield from _rows(part)
        elif part:
            yield part


def _rows(table: Table) -> Iterator[str]:
    """Yield each row as a sentence: what it is about, and its cells under the names of columns."""
    heads = [head.rstrip(">") for head in table.columns]
    for first, *cells in table.rows:
        told = zip(heads[1:], cells, strict=False)
        said = ", ".join(f"{head} {cell}" for head, cell in told if cell)
        yield f"{first}: {said}." if said else f"{first}."


def growth_title(findings: Sequence[Finding], on: date) -> str:
    """Return the conclusion of one tank's panel."""
    if not findings:
        return "grows as usual, as far as its visits tell"
    finding = findings[0]
    return sentence("watch_title", who=finding_name(finding), finding=finding, on=on)
