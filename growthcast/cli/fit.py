"""growthcast fit: growth rates, ceilings and effects learnt from the log."""

from __future__ import annotations

from growthcast.cli.options import AsJson, BookFolder, OnDate, open_fit
from growthcast.cli.output import print_answer


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
