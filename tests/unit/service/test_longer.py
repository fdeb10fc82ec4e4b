"""The next longer interval: what it costs, what would allow it, and how sure the advice is."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from growthcast.book.supposed import Changes, with_cells
from growthcast.fit.growth import fit_growth
from growthcast.fit.supposed import suppose
from growthcast.growth.normal import normal_cdf
from growthcast.plain import plain
from growthcast.say.locale import open_locale
from growthcast.say.reasons import certainty_words, mend_words, next_longer_words, reason
from growthcast.service.advice import Certainty, Mend
from growthcast.service.interval import interval_options
from growthcast.service.living import HAND_SPREAD, living_areas
from growthcast.service.mends import certainty_of, chance_if_known, lit_below
from growthcast.service.recommend import recommend
from tests.books import AREAS, make_book

ON = date(2026, 6, 1)
LISTED = (7, 10, 14, 21, 28)
CONDITIONS = (
    "tank_id,from_date,ppfd_umol,photoperiod_h,co2_mg_l,temperature_c\n"
    "lobby,2025-01-01,110,8,25,25\n"
)


@pytest.fixture(scope="module")
def lobby(tmp_path_factory):
    roomy = AREAS.replace("rotala-rotundifolia,400,7,22,9", "rotala-rotundifolia,400,7,26,9")
    book = make_book(tmp_path_factory.mktemp("book"), areas=roomy, conditions=CONDITIONS)
    fit = fit_growth(book, ON)
    return book, fit, recommend(book, fit, np.array([0]), full=True)[0]


def test_the_next_longer_interval_is_compared_in_looks_hours_and_money(lobby):
    _, _, advice = lobby
    now = advice.option(advice.recommended_interval_d)
    longer = advice.option(advice.longer.interval_d)
    listed = [o.interval_d for o in advice.options]
    assert listed.index(longer.interval_d) == listed.index(now.interval_d) + 1
    assert advice.longer.hours_saved == pytest.approx(now.year.hours - longer.year.hours)
    assert advice.longer.cost_saved == pytest.approx(now.year.cost - longer.year.cost)
    hours, cost = advice.longer.saved.hours, advice.longer.saved.cost
    # Both take the same plants and the same hand: less is in doubt between them than of each.
    assert hours.p10 < advice.longer.hours_saved < hours.p90
    assert hours.p90 - hours.p10 < now.year.hours_range.p90 - now.year.hours_range.p10
    rate = now.year.cost / now.year.hours
    assert (cost.p10, cost.p90) == pytest.approx((hours.p10 * rate, hours.p90 * rate))
    said = f"saves {advice.longer.hours_saved:.0f} h ({hours.p10:.0f} to {hours.p90:.0f})"
    sentence = next_longer_words(advice, advice.longer, "EUR")
    assert said in sentence
    assert advice.longer.visits_over_per_year == pytest.approx(
        (1 - longer.chance_all_within) * 365 / longer.interval_d
    )
    assert f"every {longer.interval_d} days instead of {now.interval_d}" in sentence


def test_a_budget_or_floor_said_to_mend_it_does_in_the_book(lobby):
    """Written into the book and fitted again from scratch: the same chance."""
    book, _, advice = lobby
    for kind, column in (("budget", "budget_cm"), ("floor", "floor_cm")):
        [mend] = [m for m in advice.mends if m.kind == kind]
        assert mend.holds
        areas = book.areas
        for name, value in zip(mend.area_ids, mend.values, strict=True):
            areas = with_cells(areas, areas.text("area_id") == name, {column: value})
        changed = replace(book, areas=areas)
        again = recommend(changed, fit_growth(changed, ON), np.array([0]))[0]
        chance = again.option(mend.interval_d).chance_at_least_cut
        # A changed budget also moves the height at which an area's light is taken.
        assert chance == pytest.approx(mend.chance_at_least_cut, abs=0.03)
        assert chance == pytest.approx(0.9, abs=0.03)


def test_the_reason_names_the_budgets_of_the_table_of_levers(lobby):
    _, _, advice = lobby
    [mend] = [m for m in advice.mends if m.kind == "budget"]
    said = reason(advice)
    for area, budget in zip(mend.area_ids, mend.values, strict=True):
        label = next(a.label for a in advice.options[0].areas if a.area_id == area)
        assert f"{budget:.1f} cm of height for {label}" in said


def test_a_slower_plant_is_judged_as_if_planted_long_ago(lobby):
    _, fit, advice = lobby
    plants = [m for m in advice.mends if m.kind == "plant"]
    assert plants
    now = next(o for o in advice.options if o.interval_d == plants[0].interval_d)
    for mend in plants:
        # The limiting area alone is another plant's, which grows slower: the others hold as before.
        assert mend.chance_at_least_cut > now.chance_at_least_cut
        [species] = mend.values
        listed = fit.design.priors.species_id.tolist()
        slower = fit.design.priors.rate_per_day[listed.index(species)]
        assert slower < fit.design.priors.rate_per_day[listed.index("rotala-rotundifolia")]
        assert mend.area_ids == (advice.limited_by,)
        assert species in fit.design.priors.species_id
        assert not fit.design.priors.caution[listed.index(species)]


def test_less_light_is_worked_out_by_a_fit_that_would_agree(lobby):
    """A lamp dimmed today, written into the book: the same chance from the start."""
    book, _, advice = lobby
    [mend] = [m for m in advice.mends if m.kind == "light"]
    assert mend.values[0] < 110
    from growthcast.book.supposed import with_rows

    row = {"tank_id": "lobby", "from_date": ON, "ppfd_umol": mend.values[0]}
    dimmed = replace(book, conditions=with_rows(book.conditions, [row]))
    again = recommend(dimmed, fit_growth(dimmed, ON), np.array([0]))[0]
    chance = again.option(mend.interval_d).chance_at_least_cut
    assert chance == pytest.approx(mend.chance_at_least_cut, abs=0.01)


def test_unknown_light_cannot_be_dimmed(tmp_path):
    book = make_book(tmp_path)
    advice = recommend(book, fit_growth(book, ON), np.array([0]), full=True)[0]
    assert not [m for m in advice.mends if m.kind == "light"]


def test_no_feasible_interval_still_says_what_would_mend_it(tmp_path):
    book = make_book(tmp_path, areas=AREAS.replace("400,7,22,9", "400,12,13,12"))
    advice = recommend(book, fit_growth(book, ON), np.array([0]), full=True)[0]
    assert advice.recommended_interval_d is None
    assert advice.longer is None
    assert {m.kind for m in advice.mends} >= {"budget"}
    assert all(m.interval_d == 7 for m in advice.mends)
    assert advice.certainty.best[0] == advice.certainty.chance_best
    assert "no listed interval is best" in certainty_words(advice, advice.certainty)


def test_certainty_is_a_distribution_over_the_listed_intervals(lobby):
    _, _, advice = lobby
    sure = advice.certainty
    assert sum(sure.best.values()) == pytest.approx(1.0)
    assert sure.best[advice.recommended_interval_d] == sure.chance_best
    json.dumps(plain(sure), allow_nan=False)


def known_growth(living):
    """Return the areas as if their growth were known: one draw's parameters for all draws."""
    draws = living.draws

    def one(values):
        return np.repeat(np.median(values, axis=-1, keepdims=True), values.shape[-1], axis=-1)

    return replace(
        living,
        draws=replace(
            draws,
            log_rate=one(draws.log_rate),
            ceiling_cm=one(draws.ceiling_cm),
            knots=one(draws.knots),
            lag_d=one(draws.lag_d),
        ),
    )


def test_with_growth_known_the_rule_alone_decides(lobby):
    """No doubt about the parameters: the best interval is sure, and it is the rule's own."""
    _, fit, _ = lobby
    living = known_growth(living_areas(fit, np.array([0])))
    confidence = np.array([0.9])
    feasible = [
        d for d in LISTED if interval_options(living, d, confidence).chance_at_least_cut[0] >= 0.9
    ]
    sure = certainty_of(living, LISTED, max(feasible, default=None), 0.9)
    assert sure.chance_best == 1.0


@pytest.mark.parametrize("interval_d", LISTED)
def test_the_chance_given_known_growth_is_that_of_the_draws(lobby, interval_d):
    """Integrated over noise by quadrature here, counted over draws of it there."""
    _, fit, _ = lobby
    living = known_growth(living_areas(fit, np.array([0])))
    chance = chance_if_known(living, interval_d)
    counted = interval_options(living, interval_d, np.array([0.9])).chance_at_least_cut[0]
    assert chance[0] == pytest.approx(counted, abs=0.03)


def test_a_cut_above_the_budget_lasts_no_time(lobby):
    """Plants do not shrink to a budget, though luck of a spread of 2 might let them 3 times in 10.

    A span's spread of 4 a week is 2 in four. A hand is off by 1.54 times its scatter at most: all
    cuts lie above the one budget and below the other.
    """
    _, fit, _ = lobby
    living = known_growth(living_areas(fit, np.array([0])))
    living = replace(living, errors=replace(living.errors, span=4.0, drift=0.0))
    hand = np.exp(1.6 * HAND_SPREAD)
    below, above = (
        chance_if_known(replace(living, budget_cm=living.least_cut_cm * by), 28)
        for by in (1.0 / hand, hand)
    )
    assert (below == 0.0).all()
    assert (above > normal_cdf(np.array(-0.5)) ** living.area.size).all()
    assert (above < normal_cdf(np.array(0.0)) ** living.area.size).all()


def test_words_for_certainty(lobby):
    """Two intervals about as good: both are said, and why the likelier is not recommended."""
    _, _, advice = lobby
    seven = replace(advice, recommended_interval_d=7)
    sure = Certainty(chance_best=0.96, best={0: 0.0, 7: 0.96, 10: 0.04})
    assert certainty_words(seven, sure) == "How sure: 7 days is best with a chance of 96 %."
    torn = Certainty(chance_best=0.4, best={0: 0.0, 7: 0.4, 10: 0.6})
    said = certainty_words(seven, torn)
    assert said.startswith("How sure: 7 days is best with a chance of 40 %, 10 days with 60 %. ")
    assert "The likelier one, 10 days, does not reach the wanted chance" in said


def test_words_for_mends(lobby):
    """Heights as they are now and as they would be; a lamp by how much it is dimmed."""
    _, _, advice = lobby
    first, second = advice.options[-1].areas
    ids = (first.area_id, second.area_id)
    names = {area.area_id: (area.label, area.unit) for area in (first, second)}
    same = {"interval_d": advice.options[-1].interval_d, "chance_at_least_cut": 0.91, "holds": True}
    higher = Mend(kind="budget", area_ids=ids, values=(22.5, 9.0), before=(20.0, 8.0), **same)
    assert mend_words(higher, names) == (
        f"{first.label} up to 22.5 cm instead of 20 cm and "
        f"{second.label} up to 9 cm instead of 8 cm"
    )
    dimmed = Mend(kind="light", area_ids=ids, values=(55.0,), before=(110.0,), **same)
    said = "50 % less light: 55 instead of 110 umol at the substrate"
    assert mend_words(dimmed, names) == said
    german = mend_words(dimmed, names, open_locale("de-DE"), lamp=False)
    assert german.startswith("50\N{NO-BREAK SPACE}% weniger Licht (wir dimmen die Lampe")


def test_the_reasons_in_german_are_whole_sentences_with_the_same_numbers(lobby):
    _, _, advice = lobby
    german = open_locale("de-DE")
    for said in (reason, lambda *a: next_longer_words(a[0], advice.longer, "EUR", *a[1:])):
        english, translated = said(advice), said(advice, german)
        assert not re.findall(r"\b(?:the|and|of|with|days|area)\b", translated)
        assert re.findall(r"\d+", translated) == re.findall(r"\d+", english)


def test_cutting_floating_plants_back_counts_the_light_it_lets_in(tmp_path):
    """Frogbit over half of the surface, its floor down by 20 points: 5 % more light below."""
    areas = AREAS + "float,lobby,Frogbit,limnobium-laevigatum,2500,30,50,32,2026-02-01,\n"
    tanks = "tank_id,client,length_cm,width_cm,water_depth_cm\nlobby,A,100,50,46\nhome,B,,,34\n"
    book = make_book(tmp_path, tanks=tanks, areas=areas, conditions=CONDITIONS)
    fit = fit_growth(book, ON)
    assert fit.design.shade.on(fit.design.on_day)[0] == pytest.approx(0.2)
    living = living_areas(fit, np.array([0]))
    floats = fit.design.is_cover[living.area]
    lower = replace(living, floor_cm=np.where(floats, 10.0, living.floor_cm))
    lit = lit_below(book, fit, living, lower)
    gain = (lit.draws.log_rate - living.draws.log_rate).mean(axis=1)
    assert gain[floats] == pytest.approx(0.0)
    brighter = suppose(book, fit, 0, Changes({"ppfd_umol": 110.0 * 0.85 / 0.80}, {}))
    below = np.log(brighter.growth_factor[living.area])[~floats]
    assert gain[~floats] == pytest.approx(below, rel=1e-4)
    assert (gain[~floats] > 0.01).all()
    same = lit_below(book, fit, living, replace(living, safe_cut_cm=living.floor_cm))
    np.testing.assert_array_equal(same.draws.log_rate, living.draws.log_rate)


def test_floating_plants_that_go_over_are_to_be_cut_back(tmp_path):
    """Quick frogbit is what ends the interval: a lower floor is offered."""
    areas = AREAS + "float,lobby,Frogbit,limnobium-laevigatum,2500,20,50,25,2026-02-01,\n"
    tanks = "tank_id,client,length_cm,width_cm,water_depth_cm\nlobby,A,100,50,46\nhome,B,,,34\n"
    book = make_book(tmp_path, tanks=tanks, areas=areas, conditions=CONDITIONS)
    advice = recommend(book, fit_growth(book, ON), np.array([0]), full=True)[0]
    assert advice.limited_by == "float"
    [mend] = [m for m in advice.mends if m.kind == "floor"]
    assert mend.area_ids == ("float",)
    assert mend.values[0] < 20.0
    said = mend_words(mend, {"float": ("Frogbit", "% cover")})
    assert said.startswith("Frogbit cut down to ")
