"""growthcast fit: growth rates, ceilings and effects learnt from the log."""

from __future__ import annotations

from growthcast.cli.options import AsJson, BookFolder, OnDate, open_fit
from growthcast.cli.output import print_answer, say

MOST_ROWS_SAID = 20


def fit_command(book: BookFolder = None, on: OnDate = None, as_json: AsJson = False) -> None:
    """Fit growth rates and ceilings to the log and say how sure they are.

    Example: growthcast fit my-book --json

    Exit status: 0 done, 2 bad arguments or a book with problems, 3 the tool itself failed.
    """
    import numpy as np

    from growthcast.fit.growth import last_logged
    from growthcast.forecast.heights import growth_a_week
    from growthcast.plain import by_quantile, plain
    from growthcast.say.fit import fit_words

    opened, _, fit = open_fit(book, on)
    answer = fit.as_dict()
    weekly = growth_a_week(fit, np.arange(len(answer["areas"])))
    for area, speeds in zip(answer["areas"], weekly, strict=True):
        area["cm_per_week"] = plain(by_quantile(speeds), 2)
    print_answer(as_json, answer, fit_words(answer, fit.design.is_cover, last_logged(opened)), fit)
    if as_json:
        return
    left_out = answer["rows_left_out"]
    say(f"{answer['rows_used']} log rows used, {len(left_out)} set aside or left out.")
    for row in left_out[:MOST_ROWS_SAID]:
        say(f"    {row['file']}:{row['row']}: {row['why']}")
    if rest := left_out[MOST_ROWS_SAID:]:
        say(f"    and {len(rest)} more (see --json)")
