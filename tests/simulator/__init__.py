"""An independent simulator of practices with known truth, for recovery tests and the demo.

It shares no code with the fit: growth is integrated in quarter days from its differential
equation, and the responses to conditions are written a second time (``nature.py``). A practice is
planned (``plan.py``), its rates are drawn (``world.py``), a gardener cuts and logs it
(``gardener.py``), and what comes out is a book and the truth behind it (``truth.py``)::

    practice = simulate_practice(tanks=12, days=270, seed=3)
    practice.write_book(folder)
    practice.truth.height("tank-001-a1", date(2026, 12, 4))

A ``Course`` is the same practice stepped day by day by somebody else than its gardener, and
``true_chance_all_within`` what the truth would expect of an interval.

``typed_practice("bucket", tanks=9, days=90, seed=3)`` logs as busy people type: ``STYLES`` has
what each of them writes down, ``Richness.typed()`` what they miss and mistype.

``Richness()`` is richer than the fitted model, ``Richness.plain()`` is that model, and
``Richness.exact()`` has no scatter at all. Same arguments, same practice.
"""

from tests.simulator.course import Course
from tests.simulator.nature import response
from tests.simulator.oracle import true_chance_all_within
from tests.simulator.plan import (
    AreaPlan,
    Away,
    Condition,
    Fault,
    PracticePlan,
    Richness,
    TankPlan,
    Traits,
    read_species_table,
)
from tests.simulator.practice import (
    random_practice,
    simulate_practice,
    typed_plan,
    typed_practice,
)
from tests.simulator.simulate import keep_habits, simulate
from tests.simulator.style import STYLES, Style
from tests.simulator.truth import LogRow, SimulatedPractice, Truth

__all__ = [
    "STYLES",
    "AreaPlan",
    "Away",
    "Condition",
    "Course",
    "Fault",
    "LogRow",
    "PracticePlan",
    "Richness",
    "SimulatedPractice",
    "Style",
    "TankPlan",
    "Traits",
    "Truth",
    "keep_habits",
    "random_practice",
    "read_species_table",
    "response",
    "simulate",
    "simulate_practice",
    "true_chance_all_within",
    "typed_plan",
    "typed_practice",
]
