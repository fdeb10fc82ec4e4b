"""What stands beside the rounds and in the watch, in German, from nouns made by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from types import SimpleNamespace

import numpy as np
import pytest

from growthcast.book.book import Practice
from growthcast.book.checks.rounds import ClosedTime
from growthcast.say.locale import open_locale
from growthcast.say.rounds import rounds_notes
from growthcast.say.watch import checks_for, noticed_sentence, tank_sentence
from growthcast.service.rounds.plan import RoundsPlan
from growthcast.service.watch.watch import Finding, NotedChange, TankWatch

GERMAN = open_locale("de-DE")
START = date(2026, 12, 21)
FOUND = Finding(
    kind="species",
    tank_ids=("foyer", "praxis"),
    area_id="",
    species_id="rotala-rotundifolia",
    name="Rotala rotundifolia",
    since=(date(2026, 4, 3), date(2026, 4, 10), date(2026, 5, 1)),
    noticed_on=date(2026, 5, 15),
    growth_share=(0.354, 0.42, 0.496),
)


def test_a_finding_in_german():
    since = "etwa seit dem 10. April 2026 (3. April 2026 bis 1. Mai 2026)"
    share = "mit 42\u00a0% des Üblichen (8 von 10 Mal 35 bis 50\u00a0%)"
    noticed = "bemerkt beim Besuch vom 15. Mai 2026."
    assert noticed_sentence(FOUND, GERMAN) == (
        f"alle Flächen mit Rotala rotundifolia wachsen {share}, {since}; {noticed}"
    )
    alone = replace(FOUND, kind="tank", alone=True)
    assert noticed_sentence(alone, GERMAN).startswith("seine einzige Fläche wächst mit 42")
    few = TankWatch("foyer", "too few visits", 2, 5, None, (), ())
    assert tank_sentence(few, GERMAN).startswith("noch zu wenige Besuche: 2 von 5")


@pytest.mark.parametrize("kind", ["tank", "area", "species"])
@pytest.mark.parametrize("share", [0.4, 1.6])
def test_german_checks_are_those_of_english_in_number(kind, share):
    noted = NotedChange(date(2026, 4, 2), "neues Ventil")
    one = replace(FOUND, kind=kind, growth_share=(share,) * 3, noted=noted, has_co2=True)
    said = checks_for(one, GERMAN)
    assert len(said) == len(checks_for(one))
    assert "eine Änderung vom 2. April 2026 (neues Ventil)" in said[0]
    assert said[-1].startswith("das Logbuch: ")
    if kind == "tank" and share < 1.0:
        assert said[1].startswith("CO2: ")
        assert checks_for(replace(one, has_co2=False), GERMAN)[1].startswith("Lampe: ")


WINDOW = {
    "tank_id": "foyer",
    "visits_logged": True,
    "idle": "",
    "longest_d": None,
    "due_d": 3,
    "due_by": "rhythm",
    "interval_d": 14,
    "feasible": True,
    "weekday": "",
    "closed": (),
    "minutes": 60.0,
    "travel_min": 20.0,
    "now": SimpleNamespace(all_within=np.array([0.43])),
}


@pytest.mark.parametrize(
    ("facts", "said"),
    [
        (
            {"due_d": -3},
            "foyer ist zu Beginn des Plans schon überfällig: am 18. Dez. endete sein Rhythmus von "
            "14 Tagen",
        ),
        (
            {"due_d": -3, "due_by": "chance"},
            "foyer ist zu Beginn des Plans schon überfällig: am 21. Dez. ist mit einer "
            "Wahrscheinlichkeit von 57\u00a0% eine Fläche zu hoch",
        ),
        (
            {"visits_logged": False},
            "für foyer ist kein Besuch eingetragen: Der Rhythmus zählt ab dem 1. Dezember 2026",
        ),
        (
            {"weekday": "sun"},
            "foyer soll an einem Sonntag besucht werden, und in diesem Plan ist keiner ein "
            "Arbeitstag: Stattdessen gilt jeder Arbeitstag",
        ),
        (
            {"closed": (ClosedTime(START, date(2027, 1, 3)), ClosedTime(START, START))},
            "foyer ist vom 21. Dezember 2026 bis zum 3. Januar 2027 und vom 21. Dezember 2026 bis "
            "zum 21. Dezember 2026 geschlossen (im Buch unter „Geschlossen“)",
        ),
        ({"idle": "cleared"}, "foyer ist nicht im Plan: sein letzter Besuch hat es geräumt"),
        (
            {"idle": "empty", "longest_d": 10},
            "foyer ist allein nach seiner eigenen Grenze von 10 Tagen geplant: darin ist nichts "
            "gepflanzt",
        ),
    ],
)
def test_a_note_beside_the_rounds_in_german(facts, said):
    days = tuple(START + timedelta(days=n) for n in range(5))
    plan = RoundsPlan(
        on=date(2026, 12, 1),
        start=START,
        end=days[-1],
        practice=Practice(name="Erfundener Betrieb", locale="de-DE"),
        tanks=(SimpleNamespace(**WINDOW | facts),),
        visits=(),
        late=(),
        dates=days,
        minutes_per_day=(0.0,) * 5,
        weighed_loss=0.0,
    )
    note, holiday = rounds_notes(plan, GERMAN)
    assert note == said
    assert holiday.startswith("25. Dez. (Erster Weihnachtstag): ein Feiertag, der wie ein Arbeits")
