"""What was set aside from the log in words, from facts made by hand."""

from __future__ import annotations

from dataclasses import replace

from growthcast.fit.suspects import Suspect
from growthcast.say.forecast import suspect_words

READ = Suspect("trims.csv", 12, "stems", "cm", None, 1.8, "none", 18.2, 1.4, False)
WHERE = "where 18.2 ± 1.4 cm was foreseen"


def test_a_row_set_aside_says_what_it_reads_against_what_was_foreseen():
    assert suspect_words(READ) == (
        f"stems reads 1.8 cm {WHERE}: a slipped decimal or another area's reading? It has next to "
        "no weight"
    )
    assert suspect_words(replace(READ, reading_cm=9.0, unlogged_cut=True)) == (
        f"stems reads 9 cm {WHERE}: a cut that is not in the log? The span before it is not used"
    )
    assert suspect_words(replace(READ, reading_cm=None, look="over")).startswith(
        f"stems was judged over {WHERE}: a slipped"
    )
    assert suspect_words(replace(READ, removed_cm=120.0)) == (
        f"stems had 120 cm taken off {WHERE}: a slipped decimal, or a cut that is not in the log? "
        "The amount is not used"
    )
