"""Small pictures for pages: one statement each, wide enough for a phone."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import timedelta

import numpy as np

from growthcast.figures import drawn as svg
from growthcast.figures.drawn import EndLabel, Frame, lined, written
from growthcast.figures.style import BUDGET, FLOOR, LABEL_PT, MM_PER_INCH, SMALL_PT
from growthcast.forecast.report import AreaForecast
from growthcast.say.locale import Locale
from growthcast.service.living import bare_below
from growthcast.service.pages.client import Course

COURSE_MM = {2: (76.0, 25.0), 3: (56.0, 27.0)}
"""Sizes of pictures of rhythms by how many of them stand in a row on A4."""
BESIDE_MM = (60.0, 38.0)
PLANTS, OVER, BARE = FLOOR.colour, BUDGET.colour, "#8A5A2B"
OVER_INK, FLOOR_INK, LINE_INK, PAPER = "#A34700", "#00684B", "#333333", "#ffffff"
"""Darker, so that small letters stand out 4.5 : 1 from white paper."""
STALKS, LEAVES = 42, 9
DASHES = {"--": (3.7, 1.6), ":": (1.0, 1.65)}
"""Drawn and left out, as multiples of a line's width."""
MARGIN_PT, AXIS_TICK_PT = 2.8, 3.0
MOST_TICKS = 4
TODAY, APART = 0.55, 0.06
"""Room for three plants beside today's picture, and what keeps them apart, as shares of its
days."""


Heard = tuple[str, str]
Size = tuple[float, float]


def course_picture(
    locale: Locale, course: Course, area: AreaForecast, top: float, heard: Heard, size: Size
) -> bytes:
    """Draw one area over the days ahead as a hedge: up with growth, down with each visit.

    ``top`` is the end of the axis of heights; ``heard`` are title and description for those who
    hear the picture; its ``size`` is in mm.
    """
    floor, budget, unit = area.floor_cm, area.budget_cm, "%" if area.is_cover else "cm"
    bare, last = float(bare_below(np.array(floor))), float(course.day[-1])
    agreed = f"{locale.say('label_budget')}\n{locale.exact(budget, unit)}"
    lowest = f"{locale.say('label_floor')}\n{locale.exact(floor, unit)}"
    ends = (
        EndLabel(locale.say("zone_over"), 0.5 * (budget + top), OVER_INK),
        EndLabel(agreed, budget, OVER_INK),
        EndLabel(lowest, floor, FLOOR_INK),
        EndLabel(locale.say("zone_bare"), 0.4 * bare, BARE),
    )
    step = _step(top)
    ticks = [locale.number(step * k, int(step < 1.0)) for k in range(int(top / step) + 1)]
    wide, high = (72.0 / MM_PER_INCH * mm for mm in size)
    named = 1.4 * LABEL_PT
    frame = Frame(
        left=named + svg.room_for(ticks, LABEL_PT) + 2.0 * AXIS_TICK_PT,
        right=wide - svg.ROOM_PT - svg.room_for([one.text for one in ends]),
        top=MARGIN_PT,
        foot=high - MARGIN_PT - 2.0 * AXIS_TICK_PT - LABEL_PT,
        first=0.0,
        last=last if course.visit_d else (1.0 + TODAY) * last,
        highest=top,
    )
    drawn = _hedge(frame, course, bare, budget)
    for role, height in ((BUDGET, budget), (FLOOR, floor)):
        across = (frame.left, frame.y(height), frame.right, frame.y(height))
        dash = " ".join(f"{length * role.width_pt:.3g}" for length in DASHES[role.dash])
        drawn.append(lined(across, role.colour, role.width_pt, dash))
    if not course.visit_d:
        drawn.append(frame.filled(np.array([1.0, 1.0 + APART]) * last, 0.0, top, PAPER, 1.0))
        looks = (  # the last has its words at the end of its line
            (0.6 * bare, BARE, BARE, locale.say("zone_bare")),
            (0.5 * (floor + budget), PLANTS, FLOOR_INK, locale.say("zone_right")),
            (0.5 * (budget + top), OVER, OVER_INK, ""),
        )
        for place, (tip, colour, ink, word) in enumerate(looks):
            day = last * (1.17 + 0.14 * place)
            drawn.append(_plant(frame, day, 0.05 * last, tip, colour, bare=not place))
            x, y = frame.x(day) + 0.35 * SMALL_PT, frame.y(tip + 0.04 * top)
            drawn.append(written(word, x, y, "start", colour=ink, upward=True))
    drawn = frame.inside(drawn)
    days = [0, *((int(last) // 2,) if last > 28 else ()), int(last)]
    dates = [locale.short_date(area.at[0] + timedelta(days=ahead)) for ahead in days]
    heights = [(step * k, word) for k, word in enumerate(ticks)]
    drawn += _axes(frame, list(zip(days, dates, strict=True)), heights)
    title = locale.say("axis_cover" if area.is_cover else "axis_height")
    middle = 0.5 * (frame.top + frame.foot)
    drawn.append(written(title, LABEL_PT, middle, "middle", size_pt=LABEL_PT, upward=True))
    return svg.svg_of(wide, high, [*drawn, *frame.labelled(ends)], *heard)


def _step(top: float) -> float:
    """Return the height from one tick to the next: 1, 2 or 5 times a power of ten."""
    power = 10.0 ** math.floor(math.log10(top / MOST_TICKS))
    return next(k * power for k in (1.0, 2.0, 5.0, 10.0) if k * power >= top / MOST_TICKS)


def _axes(
    frame: Frame, days: Sequence[tuple[float, str]], heights: Sequence[tuple[float, str]]
) -> list[str]:
    """Draw the axes with what is written at some days and heights; that of days ends with them."""
    left, foot, end = frame.left, frame.foot, frame.x(days[-1][0])
    drawn = [(left, frame.top, left, foot), (left, foot, end, foot)]
    words = []
    for height, word in heights:
        y = frame.y(height)
        drawn.append((left - AXIS_TICK_PT, y, left, y))
        words.append((word, left - 2.0 * AXIS_TICK_PT, y + 0.35 * LABEL_PT, "end"))
    for day, word in days:
        x = frame.x(day)
        drawn.append((x, foot, x, foot + AXIS_TICK_PT))
        words.append((word, x, foot + 1.7 * AXIS_TICK_PT + 0.8 * LABEL_PT, "middle"))
    lines = [lined(ends, LINE_INK) for ends in drawn]
    return lines + [written(*one, size_pt=LABEL_PT) for one in words]


def _hedge(frame: Frame, course: Course, least: float, budget: float) -> list[str]:
    """Draw heights as plants: brown where below ``least`` they look bare, orange above."""
    day, (low, middle, high) = course.day, course.height_cm
    ends, inside = np.array([frame.first, frame.last]), np.minimum(middle, budget)
    bare = middle < least
    bare[1:] |= bare[:-1].copy()  # a stretch that begins bare is drawn so up to its next day
    stretches = np.split(np.arange(day.size), np.flatnonzero(np.diff(bare)) + 1)
    drawn = [
        frame.filled(ends, budget, frame.highest, OVER, 0.10),
        frame.filled(ends, 0.0, least, BARE, 0.10),
        frame.filled(day, low, np.minimum(high, budget), PLANTS, 0.25),
        frame.filled(day, 0.0, inside, PLANTS, 0.55),
        *(frame.filled(day[at], 0.0, inside[at], BARE, 0.85) for at in stretches if bare[at[0]]),
        frame.filled(day, np.minimum(low, least), least, BARE, 0.60),
        frame.filled(day, budget, np.maximum(high, budget), OVER, 0.45),
        frame.filled(day, budget, np.maximum(middle, budget), OVER, 0.80),
    ]
    stalks = np.linspace(day[0], day[-1], STALKS + 1)[1:-1]
    feet = frame.points(stalks, np.zeros_like(stalks)).split()
    tips = frame.points(stalks, np.interp(stalks, day, middle)).split()
    lines = " ".join(f"M {foot} L {tip}" for foot, tip in zip(feet, tips, strict=True))
    drawn.append(f'<path d="{lines}" style="stroke: {PAPER}; stroke-width: 0.5" opacity="0.8"/>')
    return [*drawn, frame.curve(day, middle, LINE_INK, 1.1)]


def _plant(frame: Frame, day: float, wide: float, tip: float, colour: str, *, bare: bool) -> str:
    """Draw one plant as a stranger would: a stalk with leaves; where it is bare, a stalk alone."""
    paths, top = [([day, day], [0.0, tip])], frame.highest
    if not bare:
        paths += [
            ([day - wide, day, day + wide], [y + 0.02 * top, y - 0.03 * top, y + 0.02 * top])
            for y in np.arange(tip, 0.15 * tip, -top / LEAVES / 2.0).tolist()
        ]
    return "".join(frame.curve(np.array(x), np.array(y), colour, 1.4) for x, y in paths)
