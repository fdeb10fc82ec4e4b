"""The pictures of a client's page: the weeks at each interval, and what looks cost."""

from __future__ import annotations

from datetime import date

import numpy as np

from growthcast.arrays import FloatArray
from growthcast.brief.client.gather import AreaFacts, TankFacts
from growthcast.brief.client.words import days_of_100, every
from growthcast.brief.page import Picture, Pictures
from growthcast.figures.lettering import drawable
from growthcast.figures.pages import CostPoint, SawtoothWords, cost_picture, sawtooth_picture
from growthcast.say.locale import Locale
from growthcast.service.sawtooth import SAWTOOTH_LEVELS, Sawtooth

__all__ = ["sawtooth_pictures"]


ROOM_ABOVE = 1.06


def sawtooth_pictures(
    locale: Locale, tank: TankFacts, on: date, currency: str, *, priced: bool
) -> Pictures | None:
    """Draw how the limiting area goes at each interval, and what looks cost beside it."""
    area, saws = tank.limiting, tank.saws
    if area is None or not saws or tank.option is None:
        return None
    budget, floor = area.forecast.budget_cm, area.forecast.floor_cm
    upper = SAWTOOTH_LEVELS.index(0.90)
    top = ROOM_ABOVE * max([budget, *(float(saw.height_cm[upper].max()) for saw in saws)])
    axis = "axis_height" if area.unit == "cm" else "axis_cover"
    day = drawable(locale.short_date(on), otherwise=on.isoformat())
    words = SawtoothWords(
        height=locale.say(axis),
        weeks=locale.say("axis_weeks", date=day),
        budget=f"{locale.say('label_budget')}\n{locale.exact(budget, area.unit)}",
        floor=f"{locale.say('label_floor')}\n{locale.exact(floor, area.unit)}",
    )
    pictures = []
    for saw, option in zip(saws, tank.options, strict=True):
        marked = saw.interval_d == tank.advice.recommended_interval_d
        said = every(locale, saw.interval_d)
        title = locale.say("panel_recommended" if marked else "panel_title", every=said)
        cut = locale.height(saw.cut_cm, area.unit)
        inside = days_of_100(locale, option.share_of_days_presentable)
        alternative = _alternative(locale, area, saw, said, cut, inside)
        pictures.append(
            Picture(
                svg=sawtooth_picture(saw, (floor, budget, top), words, title, alternative),
                title=_sentence_case(title),
                below=locale.say("panel_inside", cut=cut, inside=inside),
                alternative=alternative,
                marked=marked,
            )
        )
    pictures.append(_cost(locale, tank, currency, priced=priced))
    return Pictures(tuple(pictures), _caption(locale, tank, area), columns=3)


def _sentence_case(text: str) -> str:
    return text[:1].upper() + text[1:]


def _before_visit(saw: Sawtooth) -> FloatArray:
    """Heights (5,) that a first span ends at: before the second visit."""
    first_span = saw.day <= saw.interval_d + 1e-9
    last = int(np.argmax(np.where(first_span, saw.day, -1.0)))  # the first of equals: uncut
    heights: FloatArray = saw.height_cm[:, last]
    return heights


def _alternative(
    locale: Locale, area: AreaFacts, saw: Sawtooth, said: str, cut: str, inside: str
) -> str:
    levels = [SAWTOOTH_LEVELS.index(level) for level in (0.10, 0.50, 0.90)]
    low, middle, high = (float(value) for value in _before_visit(saw)[levels])
    return locale.say(
        "panel_alt",
        area=area.label,
        every=said,
        weeks=locale.number(round(float(saw.day[-1]) / 7.0)),
        cut=cut,
        middle=locale.height(middle, area.unit),
        low=locale.height(low, area.unit),
        high=locale.height(high, area.unit),
        budget=locale.exact(area.forecast.budget_cm, area.unit),
        floor=locale.exact(area.forecast.floor_cm, area.unit),
        inside=inside,
    )


def _caption(locale: Locale, tank: TankFacts, area: AreaFacts) -> str:
    at = {saw.interval_d: saw for saw in tank.saws}
    assert tank.option is not None
    upper = SAWTOOTH_LEVELS.index(0.90)

    def height(days: int) -> str:
        return locale.height(float(_before_visit(at[days])[upper]), area.unit)

    said = {
        "area": area.label,
        "recommended": every(locale, tank.option.interval_d),
        "before": height(tank.option.interval_d),
        "budget": locale.exact(area.forecast.budget_cm, area.unit),
    }
    budget = area.forecast.budget_cm
    over = [d for d, saw in at.items() if _before_visit(saw)[upper] > budget]
    telling = [d for d in over if d > tank.option.interval_d]
    if not telling and tank.longer is None:
        return locale.say("sawtooth_caption_alone", **said)
    days = min(telling) if telling or tank.longer is None else tank.longer.interval_d
    return locale.say("sawtooth_caption", longer=every(locale, days), after=height(days), **said)


def _cost(locale: Locale, tank: TankFacts, currency: str, *, priced: bool) -> Picture:
    """Draw the share of days presentable against cost a year, or against hours without a price."""
    option = tank.option
    assert option is not None

    def cost(of: float) -> str:
        return locale.money(of, currency) if priced else locale.say("hours", n=locale.number(of))

    options = [(o, o.year.cost if priced else o.year.hours) for o in tank.options]
    points = tuple(
        CostPoint(
            interval_d=o.interval_d,
            cost=spent,
            presentable=o.share_of_days_presentable,
            recommended=o.interval_d == tank.advice.recommended_interval_d,
        )
        for o, spent in options
    )
    told = "; ".join(
        locale.say(
            "cost_point",
            every=every(locale, point.interval_d),
            presentable=days_of_100(locale, point.presentable),
            cost=cost(point.cost),
        )
        for point in points
    )
    alternative = locale.say("cost_alt", points=told)
    axis = locale.say("axis_cost", currency=currency) if priced else locale.say("axis_hours")
    axes_words = (axis, locale.say("axis_presentable"))
    title = locale.say("cost_title")
    said = {
        "recommended": _sentence_case(every(locale, option.interval_d)),
        "cost": cost(option.year.cost if priced else option.year.hours),
        "presentable": days_of_100(locale, option.share_of_days_presentable),
    }
    caption = locale.say("cost_caption_alone", **said)
    if (other := tank.longer) is not None:
        caption = locale.say(
            "cost_caption",
            every=every(locale, other.interval_d),
            other_cost=cost(other.year.cost if priced else other.year.hours),
            other_presentable=days_of_100(locale, other.share_of_days_presentable),
            **said,
        )
    svg = cost_picture(points, axes_words, locale.number, title, alternative)
    return Picture(svg, title, caption, alternative)
