"""growthcast fit: growth rates, ceilings and effects learnt from the log."""

from __future__ import annotations

from typing import Any

from growthcast.cli.options import AsJson, BookFolder, OnDate, open_fit


def fit_command(book: BookFolder = None, on: OnDate = None, as_json: AsJson = False) -> None:
    """Fit growth rates and ceilings to the log and say how sure they are.

    Example: growthcast fit my-book --json

    Exit status: 0 done, 2 bad arguments or a book with problems, 3 the tool itself failed.
    """
    import numpy as np

    from growthcast.cli.output import print_json, print_line, print_table, say
    from growthcast.fit.growth import last_logged
    from growthcast.forecast.heights import growth_a_week
    from growthcast.plain import by_quantile, plain

    opened, _, fit = open_fit(book, on)
    answer = fit.as_dict()
    weekly = growth_a_week(fit, np.arange(len(answer["areas"])))
    for area, speeds in zip(answer["areas"], weekly, strict=True):
        area["cm_per_week"] = plain(by_quantile(speeds), 2)
    if as_json:
        print_json(answer, fit)
        return
    print_table(
        "Growth fitted to an empty log"
        if (last := last_logged(opened)) is None
        else f"Growth fitted to the log, which ends on {last}",
        [
            "area",
            "rests on",
            "spans>",
            "a week>",
            "doubling time when low (days)>",
            "ceiling>",
        ],
        [
            _area_row(area, bool(cover))
            for area, cover in zip(answer["areas"], fit.design.is_cover, strict=True)
        ],
    )
    print_table(
        "How tanks differ from what their conditions say",
        ["tank", "growth against the table>"],
        [[t["tank_id"], _times(t["effect"])] for t in answer["tanks"]],
    )
    print_table(
        "How species differ from the species table",
        ["species", "growth against the table>"],
        [[s["species_id"], _times(s["effect"])] for s in answer["species"]],
    )
    print_table(
        "How far things differ (log scale unless a unit is given)",
        ["what", "spread>", "how sure"],
        [_spread_row(name, words, answer["spread"]) for name, words in SPREADS.items()],
    )
    left_out = answer["rows_left_out"]
    print_line(
        "A week: growth just now, midway between floor and height, cuts and rests after them "
        "aside; ranges hold 8 times of 10. Growth against usual is what growthcast watch prints."
    )
    say(f"{answer['rows_used']} log rows used, {len(left_out)} set aside or left out.")
    for row in left_out[:20]:
        say(f"    {row['file']}:{row['row']}: {row['why']}")
    if len(left_out) > 20:
        say(f"    and {len(left_out) - 20} more (see --json)")


SPREADS = {
    "tank": "between tanks, beyond their conditions",
    "area": "between areas of a tank",
    "species": "times what the species table says of its own rates",
    "interval": "one week's growth to the next",
    "drift": "a tank's slow drift",
    "height_error_cm": "a reading, cm",
    "height_error_share": "a reading, share of the height",
    "weight": "a weight",
}


def _spread_row(name: str, words: str, spread: dict[str, Any]) -> list[str]:
    import numpy as np

    key = "span" if name == "interval" else name
    value, sd = spread[name], spread["log_sd"].get(key)
    if sd is None:
        return [words, f"{value:.2f}", "stated, not learnt"]
    low, high = value * np.exp(np.array([-1.2816, 1.2816]) * sd)
    return [words, f"{value:.2f}", f"learnt, {low:.2f} to {high:.2f}"]


def _area_row(area: dict[str, Any], is_cover: bool) -> list[str]:
    import numpy as np

    rate, ceiling = area["log_rate"], area["log_ceiling"]
    rests = {"log": "its own log", "tank": "its tank or species", "table": "the species table"}
    doubling = np.log(2.0) / np.exp(rate["mean"] + np.array([1.0, 0.0, -1.0]) * 1.2816 * rate["sd"])
    top = np.exp(ceiling["mean"] + np.array([-1.0, 0.0, 1.0]) * 1.2816 * ceiling["sd"])
    unit = "%" if is_cover else "cm"
    weekly = area["cm_per_week"]
    return [
        area["area_id"],
        rests[area["basis"]] + ("" if area["converged"] else " (did not settle)"),
        str(area["spans"]),
        f"{weekly['p50']:.1f} {unit} ({weekly['p10']:.1f} to {weekly['p90']:.1f})",
        f"{doubling[1]:.0f} ({doubling[0]:.0f} to {doubling[2]:.0f})",
        f"{top[1]:.0f} {unit} ({top[0]:.0f} to {top[2]:.0f})",
    ]


def _times(effect: dict[str, float]) -> str:
    """Return an effect on the log rate as a factor with its 80 % range."""
    import numpy as np

    low, middle, high = np.exp(effect["mean"] + np.array([-1.0, 0.0, 1.0]) * 1.2816 * effect["sd"])
    return f"{middle:.2f} times ({low:.2f} to {high:.2f})"
