"""Daily light integral against printed examples.

Sources: a worked example credited to J. Faust (38.1 umol for 12 h is 1.6 mol per m2 and day) and a
horticultural conversion table (100 umol: 24 h 8.64, 16 h 5.76, 12 h 4.32; a later copy misprints
5.67). Tolerance is the last printed digit.
"""

import pytest

from growthcast.growth.water import daily_light_integral


@pytest.mark.parametrize(
    ("ppfd_umol", "hours", "printed", "digits"),
    [(38.1, 12, 1.6, 1), (100, 24, 8.64, 2), (100, 16, 5.76, 2), (100, 12, 4.32, 2)],
)
def test_printed_value(ppfd_umol, hours, printed, digits):
    assert round(float(daily_light_integral(ppfd_umol, hours)), digits) == printed
