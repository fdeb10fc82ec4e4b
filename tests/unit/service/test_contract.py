"""All tanks of a client: hours and money add up, and journeys are shared as a plan shares them."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from growthcast.brief.contract import contract_blocks, gather_facts
from growthcast.brief.page import Paragraph
from growthcast.fit.growth import fit_growth
from growthcast.say.locale import open_locale
from growthcast.service.pages.contract import (
    contract_of,
    longer_each,
    month_price,
    with_vat,
)
from tests.books import make_book

ON = date(2026, 6, 1)
TANKS = """tank_id,client,site,water_depth_cm,longest_interval_d,visit_weekday
lobby,Client A,Hall,46,7,mon
home,Client A,{},34,14,mon
"""


def contract(folder, site):
    book = make_book(folder, on=ON, tanks=TANKS.format(site))
    fit = fit_growth(book, ON)
    facts = gather_facts(book, fit, np.arange(2))
    return facts, contract_of(book, fit, facts)[1]


def test_tanks_of_one_place_share_the_journey(tmp_path):
    """Every Monday and every second one: each visit to the second tank is on a journey to the
    first, so that there are 52 journeys a year for 78 visits, but for one Monday too few."""
    facts, whole = contract(tmp_path, "Hall")
    assert [tank.option.interval_d for tank in facts] == [7, 14]
    assert whole.visits == pytest.approx(365 / 7 + 365 / 14)
    assert whole.journeys == pytest.approx(365 / 7, rel=0.05)
    saved = (whole.visits - whole.journeys) * 20 / 60
    assert whole.hours_apart - whole.hours.p50 == pytest.approx(saved)
    road = whole.journeys * 20 / 60
    assert sum(whole.hours_at_tanks) + road == pytest.approx(whole.hours.p50)
    assert whole.cost.p50 == pytest.approx(60 * whole.hours.p50)
    assert whole.hours.p10 < whole.hours.p50 < whole.hours.p90


def test_tanks_of_two_places_do_not(tmp_path):
    facts, whole = contract(tmp_path, "Home")
    assert whole.journeys == whole.visits
    assert whole.hours.p50 == pytest.approx(sum(tank.option.year.hours for tank in facts))
    assert whole.hours_apart == pytest.approx(whole.hours.p50)


@pytest.mark.parametrize(
    ("net", "percent", "tax", "gross"),
    [(100.4, 19.0, 19.0, 119.0), (0.0, 19.0, 0.0, 0.0), (423.3, 7.7, 33.0, 456.0)],
)
def test_whole_units_of_net_and_tax_add_up_to_the_gross_price(net, percent, tax, gross):
    assert with_vat(net, percent) == (tax, gross)
    assert round(net) + tax == gross


def test_a_month_is_a_twelfth_in_whole_units():
    assert [month_price(cost) for cost in (0.0, 1200.0, 1206.1)] == [0.0, 100.0, 101.0]


def test_a_contract_knows_what_all_tanks_cost_at_their_next_longer_rhythms(tmp_path):
    """At two places journeys are not shared: hours add up, of the tank with a limit as they are."""
    free = make_book(tmp_path / "free", on=ON, tanks=TANKS.format("Home").replace(",34,14", ",34,"))
    fit = fit_growth(free, ON)
    facts = gather_facts(free, fit, np.arange(2))
    rows = [row for _, row in longer_each(facts)]
    assert [row.interval_d for row in rows] == [7, facts[1].longer.interval_d]
    _, whole = contract_of(free, fit, facts)
    assert whole.hours_longer == pytest.approx(sum(row.year.hours for row in rows))
    blocks = contract_blocks(open_locale("en-GB"), free.practice, facts, whole)
    [said] = [block.text for block in blocks if isinstance(block, Paragraph)]
    assert said.startswith("With longer rhythms all tanks cost ")
    assert said.endswith(": Your tank, Home: every four weeks.")


def test_a_tank_at_its_own_limit_is_not_offered_a_longer_rhythm(tmp_path):
    facts, _ = contract(tmp_path, "Home")  # a limit of 7 days and one of 14
    assert [row.interval_d for _, row in longer_each(facts)] == [7, 14]
