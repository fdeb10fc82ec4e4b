"""growthcast interval: how often each tank must be visited."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from growthcast.cli.options import AsJson, BookFolder, OnDate, TankId, chosen_tanks, open_fit
from growthcast.cli.suppose import Suppose, hypothetical, say_what_is_supposed, supposed_of

if TYPE_CHECKING:
    from growthcast.fit.supposed import Supposed
    from growthcast.service.recommend import OptionAdvice, TankAdvice


def interval_command(
    book: BookFolder = None,
    on: OnDate = None,
    tank: TankId = None,
    suppose: Suppose = None,
    as_json: AsJson = False,
) -> None:
    """Recommend how often each tank must be visited so that every area stays inside its height.

    Example: growthcast interval my-book --tank lobby

    Exit status: 0 done, 2 bad arguments or a book with problems, 3 the tool itself failed.
    """
    from growthcast.cli.output import print_json
    from growthcast.service.recommend import recommend

    opened, _, fit = open_fit(book, on)
    advice = recommend(opened, fit, chosen_tanks(opened, tank))
    if (supposed := supposed_of(opened, fit, tank, suppose)) is not None:
        _supposed(supposed, advice[0], as_json=as_json)
        return
    if as_json:
        print_json({"tanks": [_as_dict(one) for one in advice]})
        return
    _tables(advice, opened.practice.currency, one=tank is not None)


def _supposed(supposed: Supposed, as_it_is: TankAdvice, *, as_json: bool) -> None:
    """Print the answer under supposed changes beside the one as things are."""
    import numpy as np

    from growthcast.cli.output import print_json, print_line
    from growthcast.service.recommend import recommend

    advice = recommend(supposed.book, supposed.fit, np.array([supposed.tank]))
    if as_json:
        tanks = [_as_dict(one) for one in advice]
        print_json(
            {
                "hypothetical": hypothetical(supposed),
                "tanks": tanks,
                "as_it_is": _as_dict(as_it_is),
            }
        )
        return
    say_what_is_supposed(supposed)
    print_line(f"As it is: {_every(as_it_is)}. Supposed: {_every(advice[0])}.")
    _tables(advice, supposed.book.practice.currency, one=True, mark=", supposed")


def _every(tank: TankAdvice) -> str:
    days = tank.recommended_interval_d
    if days is None:
        return "no listed interval is short enough"
    year = tank.option(days).year if tank.options else None
    return f"a visit every {days} days" + (f", {year.hours:.0f} h a year" if year else "")


def _tables(advice: list[TankAdvice], currency: str, *, one: bool, mark: str = "") -> None:
    from growthcast.cli.output import print_line, print_table

    print_table(
        f"Visit intervals{mark}",
        [
            "tank",
            "client",
            "visit every",
            "all inside>",
            "a visit>",
            "a year>",
            f"{currency} a year>",
        ],
        [_summary(tank) for tank in advice],
    )
    for tank in advice:
        print_line(f"{tank.tank_id}: {tank.reason}")
    if not one:
        return
    for tank in advice:
        if tank.options:
            _one_tank(tank, currency, mark)


def _one_tank(tank: TankAdvice, currency: str, mark: str) -> None:
    from growthcast.cli.output import print_table

    print_table(
        f"{tank.tank_id}{mark}: what each interval gives (time includes travel)",
        [
            "every",
            "all inside>",
            "if cut to the floor>",
            "days presentable>",
            "a visit>",
            "a year>",
            f"{currency} a year>",
        ],
        [_option_row(option, tank) for option in tank.options],
    )
    shown = tank.recommended_interval_d or tank.options[0].interval_d
    print_table(
        f"{tank.tank_id}{mark}: height to cut to at a visit every {shown} days",
        ["area", "cut to>", "taken off>", "stays inside>", "over at worst (1 in 10)>"],
        [
            [
                area.label,
                f"{area.cut_cm:.1f} {area.unit}" if area.removed_share > 0.005 else "leave uncut",
                f"{100 * area.removed_share:.0f} %",
                f"{100 * area.chance_within:.0f} %",
                f"{area.cm_over_budget_p90:.1f} {area.unit}",
            ]
            for area in tank.option(shown).areas
        ],
    )


def _summary(tank: TankAdvice) -> list[str]:
    days = tank.recommended_interval_d
    every = "no listed interval" if days is None else f"{days} days"
    option = next((o for o in tank.options if o.interval_d == days), None)
    if option is None:
        return [tank.tank_id, tank.client, every, "", "", "", ""]
    inside = f"{100 * option.chance_all_within:.0f} %"
    return [tank.tank_id, tank.client, every, inside, *_effort(option)]


def _effort(option: OptionAdvice) -> list[str]:
    return [
        f"{option.minutes_per_visit:.0f} min",
        f"{option.year.hours:.0f} h",
        f"{option.year.cost:.0f}",
    ]


def _option_row(option: OptionAdvice, tank: TankAdvice) -> list[str]:
    mark = " (recommended)" if option.interval_d == tank.recommended_interval_d else ""
    return [
        f"{option.interval_d} days{mark}",
        f"{100 * option.chance_all_within:.0f} %",
        f"{100 * option.chance_at_least_cut:.0f} %",
        f"{100 * option.share_of_days_presentable:.0f} %",
        *_effort(option),
    ]


def _as_dict(tank: TankAdvice) -> dict[str, Any]:
    return {
        "tank_id": tank.tank_id,
        "client": tank.client,
        "recommended_interval_d": tank.recommended_interval_d,
        "limited_by": tank.limited_by,
        "reason": tank.reason,
        "confidence": tank.confidence,
        "longest_interval_d": tank.longest_interval_d,
        "options": [_option_dict(option) for option in tank.options],
    }


def _option_dict(option: OptionAdvice) -> dict[str, Any]:
    return {
        "interval_d": option.interval_d,
        "feasible": option.feasible,
        "chance_all_within": round(option.chance_all_within, 4),
        "chance_at_least_cut": round(option.chance_at_least_cut, 4),
        "share_of_days_presentable": round(option.share_of_days_presentable, 4),
        "visits_per_year": round(option.year.visits, 2),
        "minutes_per_visit": round(option.minutes_per_visit, 1),
        "hours_per_year": round(option.year.hours, 1),
        "cost_per_year": round(option.year.cost, 2),
        "areas": [
            {
                "area_id": area.area_id,
                "basis": area.basis,
                "cut_cm": round(area.cut_cm, 2),
                "removed_share": round(area.removed_share, 4),
                "chance_within": round(area.chance_within, 4),
                "days_below_floor": round(area.days_below_floor, 1),
                "cm_over_budget_p90": round(area.cm_over_budget_p90, 2),
                "cut_needed_cm": None
                if area.cut_needed_cm is None
                else round(area.cut_needed_cm, 2),
            }
            for area in option.areas
        ],
    }
