"""The conclusion in words, for every way a forecast can turn out."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from growthcast.figures.forecast import forecast_panels
from growthcast.say.forecast import height_words, passes
from growthcast.say.texts import TERMINAL
from growthcast.say.words import day_words, ends
from growthcast.service.effort.hours import Range
from tests.unit.figures.conftest import ON, Fitted

NOW, SOON, LATER = ON, date(2026, 3, 24), date(2026, 3, 28)


@pytest.mark.parametrize(
    ("days", "said"),
    [
        ((SOON, LATER, date(2026, 4, 2)), "passes 24 cm about 28 Mar (24 Mar to 2 Apr)"),
        ((SOON, LATER, None), "passes 24 cm about 28 Mar (24 Mar to after 15 May)"),
        ((SOON, None, None), "may pass 24 cm from 24 Mar on"),
        ((NOW, None, None), "may pass 24 cm from 16 Mar on"),
        ((NOW, NOW, LATER), "probably over 24 cm already"),
        ((NOW, NOW, None), "probably over 24 cm already"),
        ((NOW, NOW, NOW), "stands over 24 cm already"),
        ((None, None, None), "stays below 24 cm for 60 days"),
    ],
)
def test_when_a_height_is_passed(
    lobby: Fitted, days: tuple[date | None, date | None, date | None], said: str
) -> None:
    area = replace(forecast_panels(*lobby, 0)[0].area, passes_budget_on=days)
    assert passes(TERMINAL, "spark", area, ON, 60).replace("\N{NO-BREAK SPACE}", " ") == said


def test_a_year_is_said_only_where_it_is_in_doubt() -> None:
    assert day_words(date(2027, 1, 15), date(2026, 11, 20)) == "15 Jan"
    assert day_words(date(2027, 11, 20), date(2026, 11, 20)) == "20 Nov 2027"


def test_heights_carry_no_more_digits_than_they_are_worth() -> None:
    assert [height_words(h) for h in (4.38, 9.96, 42.4)] == ["4.4", "10", "42"]


@pytest.mark.parametrize(
    ("low", "high", "said"),
    [(-0.04, 2.0, "0.0 to 2.0"), (-0.3, 40.0, "0 to 40"), (-0.3, 0.2, "-0.3 to 0.2")],
)
def test_next_to_nothing_has_no_minus(low, high, said):
    assert ends(Range(low, 0.0, high)) == said
