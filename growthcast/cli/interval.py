"""growthcast interval: how often each tank must be visited."""

from __future__ import annotations

from growthcast.cli.options import AsJson, BookFolder, OnDate, TankId, chosen_tanks, open_fit
from growthcast.cli.output import print_answer
from growthcast.cli.suppose import Suppose, supposed_of


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
    from growthcast.say.interval import advice_for_programs, interval_words, rhythm_words
    from growthcast.service.recommend import recommend

    opened, _, fit = open_fit(book, on)
    tanks, currency = chosen_tanks(opened, tank), opened.practice.currency
    advice = recommend(opened, fit, tanks, full=tank is not None and not suppose)
    supposed = supposed_of(opened, fit, tank, suppose)
    if supposed is None:
        words = interval_words(advice, currency, one=tank is not None)
        in_json = [advice_for_programs(one, currency) for one in advice if as_json]
        print_answer(as_json, {"tanks": in_json}, words, fit)
        return
    from growthcast.say.supposed import hypothetical, supposed_words

    [as_it_is] = advice
    advice = recommend(supposed.book, supposed.fit, tanks)
    answer = {
        "hypothetical": hypothetical(supposed),
        "tanks": [advice_for_programs(one, currency) for one in advice],
        "as_it_is": advice_for_programs(as_it_is, currency),
    }
    words = [
        *supposed_words(supposed),
        f"As it is: {rhythm_words(as_it_is)}. Supposed: {rhythm_words(advice[0])}.",
        *interval_words(advice, currency, one=True, mark=", supposed"),
    ]
    print_answer(as_json, answer, words, supposed.fit)
