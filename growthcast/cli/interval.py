"""growthcast interval: how often each tank must be visited."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from growthcast.cli.options import AsJson, BookFolder, OnDate, TankId, chosen_tanks, open_fit

if TYPE_CHECKING:
    from growthcast.service.recommend import OptionAdvice, TankAdvice


def interval_command(
    book: BookFolder = None, on: OnDate = None, tank: TankId = None, as_json: AsJson = False
) -> None:
    """Recommend how often each tank must be visited so that every area stays inside its height.

    Example: growthcast interval my-book --tank lobby

    Exit status: 0 done, 2 bad arguments or a book with problems, 3 the tool itself failed.
    """
    from growthcast.cli.output import print_json
    from growthcast.service.recommend import recommend

    opened, _, fit = open_fit(book, on)
    advice = recommend(opened, fit, chosen_tanks(opened, tank))
    if as_json:
        print_json({"tanks": [_as_dict(one) for one in advice]})
        return
    _tables(advice, opened.practice.currency, one=tank is not None)


def _tables(advice: list[TankAdvice], currency: str, *, one: bool) -> None:
    from growthcast.cli.output import print_table

    print_table(
        "Visit intervals",
        ["tank", "client", "visit every", "min a visit>", "hours a year>", "cost a year>", "why"],
        [_summary(tank, currency) for tank in advice],
    )
    if not one:
        return
    for tank in advice:
        print_table(
            f"{tank.tank_id}: what each interval gives (minutes with travel)",
            ["every", "all inside>", "days presentable>", "min a visit>", "hours>", "cost a year>"],
            [_option_row(option, tank, currency) for option in tank.options],
        )
        chosen = tank.recommended_interval_d
        if tank.options and chosen is None:
            chosen = tank.options[0].interval_d
        if chosen is not None and tank.options:
            print_table(
                f"{tank.tank_id}: cut to leave at a visit every {chosen} days",
                ["area", "cut to>", "taken off>", "chance inside>", "over at worst (1 in 10)>"],
                [
                    [
                        area.label,
                        f"{area.cut_cm:.1f}",
                        f"{100 * area.removed_share:.0f} %",
                        f"{100 * area.chance_within:.0f} %",
                        f"{area.cm_over_budget_p90:.1f}",
                    ]
                    for area in tank.option(chosen).areas
                ],
            )


def _summary(tank: TankAdvice, currency: str) -> list[str]:
    days = tank.recommended_interval_d
    every = "no listed interval" if days is None else f"{days} days"
    if days is None or not tank.options:
        return [tank.tank_id, tank.client, every, "", "", "", tank.reason]
    option = tank.option(days) if any(o.interval_d == days for o in tank.options) else None
    if option is None:
        return [tank.tank_id, tank.client, every, "", "", "", tank.reason]
    return [tank.tank_id, tank.client, every, *_effort(option, currency), tank.reason]


def _effort(option: OptionAdvice, currency: str) -> list[str]:
    return [
        f"{option.minutes_per_visit:.0f}",
        f"{option.year.hours:.0f}",
        f"{option.year.cost:.0f} {currency}",
    ]


def _option_row(option: OptionAdvice, tank: TankAdvice, currency: str) -> list[str]:
    mark = " (recommended)" if option.interval_d == tank.recommended_interval_d else ""
    return [
        f"{option.interval_d} days{mark}",
        f"{100 * option.chance_all_within:.0f} %",
        f"{100 * option.share_of_days_presentable:.0f} %",
        *_effort(option, currency),
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
        "share_of_days_presentable": round(option.share_of_days_presentable, 4),
        "visits_per_year": round(option.year.visits, 2),
        "minutes_per_visit": round(option.minutes_per_visit, 1),
        "hours_per_year": round(option.year.hours, 1),
        "cost_per_year": round(option.year.cost, 2),
        "areas": [
            {
                "area_id": area.area_id,
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
