"""growthcast interval: how often each tank must be visited."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from growthcast.cli.options import AsJson, BookFolder, OnDate, TankId, chosen_tanks, open_fit
from growthcast.cli.suppose import Suppose, hypothetical, say_what_is_supposed, supposed_of

if TYPE_CHECKING:
    from growthcast.fit.supposed import Supposed
    from growthcast.service.advice import OptionAdvice, TankAdvice


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
    in_full = tank is not None and not suppose
    advice = recommend(opened, fit, chosen_tanks(opened, tank), full=in_full)
    if (supposed := supposed_of(opened, fit, tank, suppose)) is not None:
        _supposed(supposed, advice[0], as_json=as_json)
        return
    if as_json:
        print_json({"tanks": advice}, fit)
        return
    _tables(advice, opened.practice.currency, one=tank is not None)


def _supposed(supposed: Supposed, as_it_is: TankAdvice, *, as_json: bool) -> None:
    """Print the answer under supposed changes beside the one as things are."""
    import numpy as np

    from growthcast.cli.output import print_json, print_line
    from growthcast.service.recommend import recommend

    advice = recommend(supposed.book, supposed.fit, np.array([supposed.tank]))
    if as_json:
        print_json(
            {
                "hypothetical": hypothetical(supposed),
                "tanks": advice,
                "as_it_is": as_it_is,
            },
            supposed.fit,
        )
        return
    say_what_is_supposed(supposed)
    print_line(f"As it is: {_rhythm(as_it_is)}. Supposed: {_rhythm(advice[0])}.")
    _tables(advice, supposed.book.practice.currency, one=True, mark=", supposed")


def _rhythm(tank: TankAdvice) -> str:
    days = tank.recommended_interval_d
    if days is None:
        lost = "no interval is named, since none of its plants is likely to hold"
        return lost if tank.nothing_holds else "no listed interval is short enough"
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
    for said, tanks in _minutes_rest_on(advice).items():
        print_line(f"Time and money{tanks}: {said}. Ranges hold in 8 cases of 10.")
    if not one:
        return
    for tank in advice:
        if tank.options and not tank.nothing_holds:
            _one_tank(tank, currency, mark)
            _in_full(tank)


def _in_full(tank: TankAdvice) -> None:
    """What the next longer interval costs, what would allow it, and how sure the advice is."""
    from growthcast.cli.output import print_line, print_table
    from growthcast.say.words import as_chance
    from growthcast.service.longer.certainty import certainty_in_words

    if tank.longer is not None:
        print_line(f"The next longer: {tank.longer.sentence}.")
    if tank.mends:
        days = tank.mends[0].interval_d
        print_table(
            f"{tank.tank_id}: what would make {days} days feasible, each worked out anew",
            ["change", "at the floor>", "enough"],
            [
                [mend.change, as_chance(mend.chance_at_least_cut), "yes" if mend.holds else "no"]
                for mend in tank.mends
            ],
        )
    if tank.certainty is not None:
        print_line(certainty_in_words(tank.certainty, tank.recommended_interval_d))


def _one_tank(tank: TankAdvice, currency: str, mark: str) -> None:
    from growthcast.cli.output import print_line, print_table

    print_table(
        f"{tank.tank_id}{mark}: what each interval gives",
        ["every", "all inside>", "at the floor>", "presentable>", "else bare>"],
        [_looks_row(option, tank) for option in tank.options],
    )
    print_table(
        f"{tank.tank_id}{mark}: what each interval takes (time includes travel)",
        ["every", "visits a year>", "a visit>", "a year>", f"{currency} a year>"],
        [_effort_row(option, tank) for option in tank.options],
    )
    print_line(
        "At the floor: all inside if cut as low as still looks right. Presentable: days with every "
        "area between floor and height. Else bare: days below the floor if cut to last anyhow (no "
        "cut: none lasts)."
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
    none = "none: not likely to hold" if tank.nothing_holds else "no listed interval"
    every = none if days is None else f"{days} days"
    option = next((o for o in tank.options if o.interval_d == days), None)
    if option is None:
        return [tank.tank_id, tank.client, every, "", "", "", ""]
    inside = f"{100 * option.chance_all_within:.0f} %"
    return [tank.tank_id, tank.client, every, inside, *_effort(option)]


def _effort(option: OptionAdvice) -> list[str]:
    """Minutes of a visit, hours and cost of a year, each with what it lies within 8 times of 10."""
    from growthcast.say.words import with_range

    visit = replace(option.minutes_range, p50=option.minutes_per_visit)
    return [
        with_range(visit, "min"),
        with_range(option.year.hours_range, "h"),
        with_range(option.year.cost_range),
    ]


def _every(option: OptionAdvice, tank: TankAdvice) -> str:
    mark = ", best" if option.interval_d == tank.recommended_interval_d else ""
    return f"{option.interval_d} days{mark}"


def _looks_row(option: OptionAdvice, tank: TankAdvice) -> list[str]:
    return [
        _every(option, tank),
        f"{100 * option.chance_all_within:.0f} %",
        f"{100 * option.chance_at_least_cut:.0f} %",
        f"{100 * option.share_of_days_presentable:.0f} %",
        _bare(option),
    ]


def _bare(option: OptionAdvice) -> str:
    """Days the barest area stands below its floor if it is cut low enough to last all the same."""
    days = max(area.days_below_floor for area in option.areas)
    if any(area.cut_needed_cm is None for area in option.areas):
        return "no cut"
    return "0 days" if days == 0.0 else f"{max(days, 1.0):.0f} day{'' if days < 1.5 else 's'}"


def _effort_row(option: OptionAdvice, tank: TankAdvice) -> list[str]:
    return [_every(option, tank), f"{option.year.visits:.1f}", *_effort(option)]


def _minutes_rest_on(advice: list[TankAdvice]) -> dict[str, str]:
    """What is said of minutes, and of which tanks where it differs between them."""
    said: dict[str, list[str]] = {}
    for tank in advice:
        if tank.options and not tank.nothing_holds:
            said.setdefault(tank.minutes_rest_on, []).append(tank.tank_id)
    if len(said) == 1:
        return dict.fromkeys(said, "")
    return {
        text: f" of {', '.join(tanks[:5])}{' and others' if len(tanks) > 5 else ''}"
        for text, tanks in said.items()
    }
