"""Doubts in words, from nouns made by hand."""

from __future__ import annotations

import numpy as np
import pytest

from growthcast.say.locale import open_locale
from growthcast.say.log import doubt_words
from growthcast.service.doubts.typed import Cause, Doubt, Expected

EXPECTED = {
    "area_id": "stems",
    "label": "Back stems",
    "heights_cm": 19.5 + 2.46 * np.linspace(-1.25, 1.25, 11),
    "error_cm": 0.5,
    "error_share": 0.05,
    "floor_cm": 7.0,
    "budget_cm": 22.0,
    "lowest_cut_cm": 5.5,
    "gram_per_cm": 10.0,
    "log_gram_sd": 0.5,
    "weight_sd": 0.2,
    "guessed": False,
    "is_cover": False,
}
"""8 of 10 of its heights lie between 17.04 and 21.96 cm."""


def doubt(
    column, found, against, unit="cm", expected=(17.0, 19.5, 22.0), *, guessed=False, **facts
):
    known = None if unit == "g" else Expected(**EXPECTED | {"guessed": guessed})
    return Doubt("stems", column, found, expected, unit, against, known=known, **facts)


@pytest.mark.parametrize(
    ("made", "words"),
    [
        (doubt("before_cm", 2.1, "height"), "2.1 cm; expected 17.0 to 22.0 cm (8 times in 10)"),
        (
            doubt("before_cm", 50.0, "height", guessed=True),
            "50 cm; expected 7 to 22 cm, its floor and height budget, since nothing is logged of "
            "it",
        ),
        (
            doubt("after_cm", 30.0, "height"),  # read, not cut
            "30 cm; expected 17.0 to 22.0 cm (8 times in 10)",
        ),
        (
            doubt("after_cm", 30.0, "stand"),
            "cut to 30 cm; expected to stand at 17.0 to 22.0 cm (8 times in 10)",
        ),
        (
            doubt("removed_cm", 40.0, "stand", unit="%"),
            "40 % taken off; expected to stand at 17.0 to 22.0 % (8 times in 10)",
        ),
        (
            doubt("after_cm", 4.0, "cuts", cuts=8, lowest=9.0),
            "cut to 4 cm; never below 9 cm in 8 cuts so far",
        ),
        (
            doubt("after_cm", 4.0, "table", cuts=3, lowest=5.5),
            "cut to 4 cm; lower than ever, and below 5.5 cm, the species table's lowest cut",
        ),
        (
            doubt("after_cm", 4.0, "table", lowest=5.5),
            "cut to 4 cm; below 5.5 cm, the species table's lowest cut",
        ),
        (
            doubt("look", "over", "look"),
            "looked over; expected 17.0 to 22.0 cm (8 times in 10), with a floor of 7 and a "
            "height budget of 22 cm",
        ),
        (
            doubt("removed_g", 900.0, "rest", unit="g", expected=(104.6, 199.9, 1234.0)),
            "900 g; everything that stands on the areas without amounts of their own is expected "
            "to weigh 200 g (105 to 1230 g, 8 times in 10)",
        ),
        (
            doubt("removed_g", 5.0, "uncut", unit="g"),
            "5 g, while every area was left uncut",
        ),
    ],
)
def test_what_was_typed_stands_against_what_was_expected(made, words):
    assert doubt_words(made) == words


@pytest.mark.parametrize(
    ("cause", "words"),
    [
        (Cause("turned round"), "the heights before and after the wrong way round?"),
        (Cause("swapped", label="Moss"), "swapped with Moss?"),
        (Cause("decimal", 21.0), "a slipped decimal? 21 cm fits"),
        (Cause("millimetres", 0.21), "millimetres, or a slipped decimal? 0.21 cm fits"),
        (Cause("height after"), "the height after the cut? Write stems=/2.1 then"),
        (Cause("other area", label="Moss"), "a reading of Moss?"),
        (Cause("unlogged cut"), "a cut that is not in the log?"),
    ],
)
def test_a_cause_is_asked_for_after_the_doubt(cause, words):
    said = doubt_words(doubt("before_cm", 2.1, "height", cause=cause))
    assert said == f"2.1 cm; expected 17.0 to 22.0 cm (8 times in 10): {words}"


@pytest.mark.parametrize(
    ("cause", "words"),
    [
        (Cause("water"), "weighed with its water?"),
        (Cause("kilograms", 900.0), "kilograms? 900 g fits"),
        (
            Cause("whole tank"),
            "everything that came out of the tank? Write bucket=0.9g then",
        ),
    ],
)
def test_a_cause_of_a_weight_is_asked_for(cause, words):
    made = doubt("removed_g", 0.9, "what was cut", unit="g", cause=cause)
    assert doubt_words(made).endswith(f"8 times in 10): {words}")


def test_a_doubt_in_german():
    made = doubt("before_cm", 2.1, "height", cause=Cause("decimal", 21.5))
    assert doubt_words(made, open_locale("de-DE")) == (
        "2,1 cm; erwartet 17,0 bis 22,0 cm (8 von 10 Mal): ein verrutschtes Komma? "
        "21,5 cm würden passen"
    )
