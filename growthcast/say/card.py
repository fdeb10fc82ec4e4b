"""The card for a visit, for wet hands: what to cut, in the words of its reader's language."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from growthcast.say.cuts import HARD_CUT_SHARE, worth_measuring
from growthcast.say.locale import Locale
from growthcast.say.words import hand_cut, named, place_of
from growthcast.service.visit.cuts import AreaCut, CutSheet, minutes_of_day

"""What scissors keep to [cm], and an eye [% cover]."""


def area_name(area: AreaCut) -> str:
    """Return an area's label, or its id where it has none."""
    return named(area.label, area.area_id)


def places_words(sheets: Sequence[CutSheet], locale: Locale) -> str:
    """Return the day's tanks in the order of travel, and the time they take."""
    places = [place_of(sheet, sheets) for sheet in sheets]
    return locale.say(
        "card_day_places",
        places="; ".join(f"{n}. {place}" for n, place in enumerate(places, start=1)),
        time=locale.duration(minutes_of_day(sheets)),
    )


def lead(locale: Locale, sheet: CutSheet) -> str:
    """Return whether the cuts last until the next visit, and what would."""
    if not sheet.areas:
        return locale.say("card_empty")
    chance, wanted = locale.chance(sheet.chance_all_within), locale.share(sheet.confidence)
    next_on = locale.full_date(sheet.next_on)
    if sheet.feasible:
        return locale.say("card_holds", next=next_on, chance=chance)
    if chance == wanted:  # a near miss must not read like a hit
        chance = locale.share(sheet.chance_all_within, 1)
    worst = area_name(min(sheet.areas, key=lambda area: area.chance_within))
    said = locale.say("card_short", area=worst, next=next_on, chance=chance, wanted=wanted)
    if sheet.holds_until is None:
        return f"{said} {locale.say('card_short_never')}"
    return f"{said} {locale.say('card_short_until', date=locale.full_date(sheet.holds_until))}"


def measure_first(locale: Locale, sheet: CutSheet) -> str:
    """Return which areas to measure before any cut, "" where all are known well."""
    areas = [area_name(area) for area in sheet.areas if worth_measuring(area)]
    return locale.say("card_measure", areas=locale.listed(areas)) if areas else ""


def cut_words(locale: Locale, area: AreaCut) -> str:
    """Return the height to leave: half centimetres downwards, not below what looks right."""
    if area.action == "leave":
        return locale.say("card_leave_it")
    return locale.exact(hand_cut(area.cut_cm, area.unit, area.least_cut_cm), area.unit)


def note_words(locale: Locale, sheet: CutSheet, area: AreaCut) -> str:
    """Return what to know of an area beside the cut."""
    return "; ".join(_notes(locale, sheet, area))


def _notes(locale: Locale, sheet: CutSheet, area: AreaCut) -> Iterator[str]:
    now, unit = area.height_now_cm, area.unit
    yield locale.say("card_now", height=locale.range(now.p10, now.p50, now.p90, unit))
    if area.chance_over_now >= 0.5:
        yield locale.say("card_over")
    if area.action == "cut" and round(100 * area.removed_share) > 100 * HARD_CUT_SHARE:
        yield locale.say("card_hard")
    if area.action != "leave":
        yield locale.say("card_lowest", cut=locale.exact(area.lowest_safe_cut_cm, unit))
    if area.usual_cut_cm is not None and area.usual_lasts_visits > 1:
        usual = locale.exact(area.usual_cut_cm, unit)
        visits = locale.count("visit", area.usual_lasts_visits)
        yield locale.say("card_habit", cut=usual, visits=visits)
    if area.planted_on is not None:
        yield locale.count("card_weeks", (sheet.on - area.planted_on).days // 7)


def saving_words(locale: Locale, sheet: CutSheet, currency: str) -> str:
    """Return what leaving areas while usual cuts last saves in a year, "" where that is little."""
    saves = sheet.leaving_saves
    if saves is None:
        return ""
    areas = [area_name(area) for area in sheet.areas if area.usual_lasts_visits > 1]
    low, middle, high = (
        locale.number(h, 1) for h in (saves.hours.p10, saves.hours.p50, saves.hours.p90)
    )
    hours = locale.say("range", middle=middle, low=low, high=high)
    cost = f" ({locale.money(saves.cost.p50, currency)})" if saves.cost.p50 > 0.0 else ""
    key = "card_saving_one" if len(areas) == 1 else "card_saving_many"
    return locale.say(key, areas=locale.listed(areas), hours=hours, cost=cost)


def time_words(locale: Locale, sheet: CutSheet) -> str:
    """Return how long the visit takes, and its parts."""
    travel, fixed, trimming = sheet.whole_minutes
    minutes = {
        "total": travel + fixed + trimming,
        "travel": travel,
        "fixed": fixed,
        "trimming": trimming,
        "low": sheet.trimming_min.p10,
        "high": sheet.trimming_min.p90,
    }
    return locale.say("card_time", **{name: locale.number(of) for name, of in minutes.items()})


def caution_words(locale: Locale, sheet: CutSheet) -> str:
    """Return the cautions of a visit in one line, with the plants that rules may name."""
    regulated = dict.fromkeys(
        area.scientific_name for area in sheet.areas if "egulated" in area.caution
    )
    said = locale.say("card_cautions")
    if regulated:
        said += f" {locale.say('caution_regulated', plants=locale.listed(list(regulated)))}"
    return said
