"""Visit intervals in words: what is recommended, what each interval gives and takes."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import chain, islice
from typing import Any

from growthcast.book.words import some_of
from growthcast.plain import plain
from growthcast.say import reasons
from growthcast.say import words as tell
from growthcast.say.reasons import mend_words, reason
from growthcast.say.supposed import SAID
from growthcast.service.advice import OptionAdvice, TankAdvice

SAID_AT_ONCE = 2
"""Sentences for who asks for no details."""

HELD_BY = {
    "nothing grows": "nothing is planted",
    "none holds": "no plant is likely to hold",
    "its own limit": "its own limit",
}
"""What holds a tank's interval back where its plants do not."""


def advice_for_programs(tank: TankAdvice, currency: str) -> dict[str, Any]:
    """Return the advice for a tank as ``--json`` prints it: its facts, and what is said of them."""
    answer: dict[str, Any] = plain(tank, said=SAID)
    answer["reason"] = reason(tank)
    answer["minutes_rest_on"] = tank.minutes and reasons.minutes_words(tank.minutes)
    if tank.longer is not None:
        answer["next_longer"]["sentence"] = reasons.next_longer_words(tank, tank.longer, currency)
    for made, mend in zip(answer["mends"], tank.mends, strict=True):
        made["change"] = mend_words(mend, _names(tank))
    return answer


def _names(tank: TankAdvice) -> dict[str, tuple[str, str]]:
    """Return the names and units of a tank's areas by their ids."""
    return {area.area_id: (area.label, area.unit) for area in tank.options[0].areas}


def rhythm_words(tank: TankAdvice) -> str:
    """Return how often a tank is visited and what that takes, as a clause."""
    days = tank.recommended_interval_d
    year = tank.option(days).year if days is not None and tank.options else None
    return tell.sentence("rhythm", days=days, year=year, lost=tank.nothing_holds)


def lead_words(advice: Sequence[TankAdvice]) -> str:
    """Say how often which tanks are visited, the most frequent first."""
    by_days = tell.grouped((tank.recommended_interval_d or 0, tank.tank_id) for tank in advice)
    none = by_days.pop(0, [])
    said = [f"{tell.some_names(by_days[days])} {every_words(days)}" for days in sorted(by_days)]
    if none:
        said.append(f"no interval holds for {tell.some_names(none)}")
    return f"{tell.capital('; '.join(said), [tank.tank_id for tank in advice])}."


def every_words(days: int) -> str:
    """Return how often a visit is, weeks as words.

    Examples
    --------
    >>> [every_words(days) for days in (7, 10, 21)]
    ['weekly', 'every 10 days', 'every three weeks']
    """
    weeks, rest = divmod(days, 7)
    if rest:
        return f"every {days} days" if days > 1 else "daily"
    return "weekly" if weeks == 1 else f"every {tell.in_words(weeks)} weeks"


def interval_answer(
    advice: Sequence[TankAdvice], currency: str, *, one: bool, mark: str = ""
) -> tell.Answer:
    """Say the advice for tanks, in full where it is about ``one``; ``mark`` is in every title."""
    grown = [tank for tank in advice if one or tank.set_by != "nothing grows"] or advice
    table = tell.table("interval_tanks", map(_chosen, grown), mark=mark, currency=currency)
    shown, notes = {tank.tank_id for tank in grown}, []
    if bare := [tank.tank_id for tank in advice if tank.tank_id not in shown]:
        notes.append(tell.no_row_words(bare))
    named = [tank for tank in advice if tank.options and not tank.nothing_holds]
    learnt = ((tank.minutes, tank.tank_id) for tank in named)
    rests_on = tell.grouped((reasons.minutes_words(of), name) for of, name in learnt if of)
    timed = [
        f"{tell.capital(words)}{f' of {some_of(tanks, 5)}' if len(rests_on) > 1 else ''}."
        for words, tanks in rests_on.items()
    ]
    asked = advice if one else [tank for tank in advice if is_pressing(tank)]
    pressing, other = (
        (". ".join([f"{tank.tank_id}: {reason(tank)}", *gap_words(tank)]) + "." for tank in some)
        for some in (asked, [tank for tank in advice if not one and not is_pressing(tank)])
    )
    if named:
        wanted = ", ".join(dict.fromkeys(tell.percent(tank.confidence) for tank in named))
        notes.append(tell.sentence("interval_inside", wanted=wanted, ranges=tell.RANGES_HOLD))
    said = chain(pressing, timed, other)
    at_once = islice(said, min(len(asked) + len(timed), SAID_AT_ONCE))
    details = chain.from_iterable(_details(tank, currency, mark) for tank in named)
    return tell.Answer(lead_words(grown), table, chain(notes, at_once), chain(said, details))


def is_pressing(tank: TankAdvice) -> bool:
    """Whether something must be known of a tank besides its interval."""
    return tank.recommended_interval_d is None or bool(tank.not_holding)


def gap_words(tank: TankAdvice) -> list[str]:
    """Say where the advice goes beyond the gaps of the log, and the cheapest trial of it."""
    gap_d, chosen_d = tank.longest_gap_d, tank.recommended_interval_d
    listed = [days for days in tank.listed_d if days <= tank.longest_interval_d]
    if gap_d is None or chosen_d is None:
        return []
    asked_d = next((d for d in listed if d > chosen_d), chosen_d) if chosen_d <= gap_d else chosen_d
    if asked_d <= gap_d:
        return []
    return [tell.sentence("interval_gap", days=asked_d, gap=gap_d)]


def _chosen(tank: TankAdvice) -> dict[str, Any]:
    days, set_by = tank.recommended_interval_d, tank.set_by
    option = next((one for one in tank.options if one.interval_d == days), None)
    held_by = HELD_BY.get(set_by, "nothing")
    if set_by == "the plants":
        held_by = _names(tank)[tank.limited_by or ""][0]
    return {"tank": tank, "option": option, "held_by": held_by}


def _details(tank: TankAdvice, currency: str, mark: str) -> tell.Words:
    """Yield what intervals give and take, the cuts of one, the next longer, how sure it is."""
    blanks, best = dict[str, Any](tank=tank, mark=mark), tank.recommended_interval_d
    rows = [
        {"option": one, "best": ", best" * (one.interval_d == best), "bare": _bare(one)}
        for one in tank.options
    ]
    yield tell.table("interval_gives", rows, **blanks)
    yield tell.table("interval_takes", rows, currency=currency, **blanks)
    yield tell.sentence("interval_options")
    shown, rows = best or tank.options[0].interval_d, []
    for area in tank.option(shown).areas:
        cut = area.cut_cm if area.removed_share > 0.005 else None
        rows.append({"area": area, "cut": cut, "unit": area.unit, "least": area.least_cut_cm})
    yield tell.table("interval_cuts", rows, days=shown, **blanks)
    yield "Over at worst: on the day of the next visit, in one case of ten."
    if tank.longer is not None:
        said = reasons.next_longer_words(tank, tank.longer, currency)
        yield f"The next longer: {said}."
    if tank.mends:
        mends = [{"change": mend_words(one, _names(tank)), "mend": one} for one in tank.mends]
        yield tell.table("interval_mends", mends, tank=tank)
    if tank.certainty is not None:
        yield reasons.certainty_words(tank, tank.certainty)


def _bare(option: OptionAdvice) -> str:
    """Days the barest area stands below its floor if it is cut low enough to last all the same."""
    days = max(area.days_below_floor for area in option.areas)
    if any(area.cut_needed_cm is None for area in option.areas):
        return "no cut"
    return tell.count_of(round(max(days, 1.0)) if days else 0, "day")
