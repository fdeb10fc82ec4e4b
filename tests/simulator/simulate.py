"""Let a practice run: plants grow day by day, the gardener comes and goes."""

from __future__ import annotations

from tests.simulator.course import Course
from tests.simulator.plan import PracticePlan, Richness
from tests.simulator.truth import SimulatedPractice

__all__ = ["keep_habits", "simulate"]


def simulate(plan: PracticePlan, seed: int, richness: Richness | None = None) -> SimulatedPractice:
    """Simulate a planned practice whose gardener keeps to his habits.

    The same plan, seed and richness give the same practice. Visits take place at the beginning of
    a day, before it grows; all visit days are drawn before the first day.
    """
    course = Course(plan, seed, richness)
    keep_habits(course, course.days)
    return course.practice()


def keep_habits(course: Course, days: int) -> None:
    """Let a course that has just begun run for some days, visited by habit."""
    due = [set(course.gardener.visit_days(tank)) for tank in course.plan.tanks]
    for _ in range(days):
        today = course.on.toordinal()
        for tank, its_days in enumerate(due):
            if today in its_days:
                course.visit(tank)
        course.grow()
