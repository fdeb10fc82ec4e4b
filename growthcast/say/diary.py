"""What an old diary would bring into a book, in words."""

from __future__ import annotations

from growthcast.book.begin.diary import Diary, Meanings, Plan, examples
from growthcast.book.words import plain
from growthcast.say.words import Beside, Table, Words, count_of

MOST_SHOWN, MOST_LISTED = 5, 20


def meaning_words(diary: Diary, meanings: Meanings) -> Words:
    """Yield what each column of a diary is taken for, with examples."""
    rows = [
        [heading, name or "(left out)", ", ".join(examples(diary, heading))]
        for heading, name in meanings.columns.items()
    ]
    yield Table(f"Columns of {diary.file}", ["column", "is", "as in"], rows)


def plan_words(plan: Plan, file: str) -> Words:
    """Yield the rows as understood, the first of them whole, and every row that is left out."""
    yield f"{count_of(len(plan.rows), 'row')} for the log from {file}"
    for number, row in plan.rows[:MOST_SHOWN]:
        cells = {n: plain(v) if isinstance(v, float) else str(v) for n, v in row.items() if v}
        yield f"  row {number}: " + ", ".join(f"{name} {cell}" for name, cell in cells.items())
    if (rest := len(plan.rows) - MOST_SHOWN) > 0:
        yield f"  and {rest} more"
    if plan.not_taken:
        yield Beside(f"{count_of(len(plan.not_taken), 'row')} left out:")
    for one in plan.not_taken[:MOST_LISTED]:
        yield Beside(f"  {file}, row {one.row}: {one.why}")
    if (rest := len(plan.not_taken) - MOST_LISTED) > 0:
        yield Beside(f"  and {rest} more; --json lists them all")
