"""From log rows to chains: which rows become which nodes and links."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from types import SimpleNamespace

import numpy as np
import pytest

from growthcast.book.supposed import with_conditions
from growthcast.fit.design import _weights, build_design, day_number, with_spreads
from growthcast.fit.growth import fit_growth, known_before, last_logged, on_what_fits
from growthcast.fit.model.noise import knot_precision
from growthcast.fit.model.spreads import Spreads
from growthcast.fit.rows.chains import Link
from growthcast.fit.solver.problem import CannotFit
from growthcast.log.visits import Look
from tests.books import AREAS, HEADER, make_book
from tests.chains import in_order

ON = date(2026, 6, 1)


NAMES = {link: name for name, link in vars(Link).items() if name.isupper()}


def chain_of(book, area_id, on=ON):
    """Return the links, readings and reference days of one area's log."""
    design = build_design(book, on)
    [block] = design.problem.blocks
    nodes = in_order(block.chains)
    area = int(np.flatnonzero(design.area_id == area_id)[0])
    mine = np.flatnonzero(nodes.area == area)
    return [NAMES[k] for k in nodes.link[mine]], nodes.take(mine)


def test_heights_before_and_after_make_spans(tmp_path):
    rows = (
        "2026-05-01,lobby,stems,18,9,,,,,\n"
        "2026-05-08,lobby,stems,17,9,,,,,\n"
        "2026-05-15,lobby,stems,19,10,,,,,\n"
    )
    links, nodes = chain_of(make_book(tmp_path, trims=HEADER + rows), "stems")
    assert links == ["FRESH", "AIMED", "GREW", "AIMED", "GREW", "AIMED"]
    np.testing.assert_array_equal(nodes.reading_cm, [18, 9, 17, 9, 19, 10])
    np.testing.assert_allclose(nodes.growth_d[[2, 4]], 7.0)
    assert np.isfinite(nodes.aim_sd_cm[[1, 3, 5]]).all()


def test_removed_length_links_what_was_to_what_is_left(tmp_path):
    rows = "2026-05-01,lobby,stems,,9,,,,,\n2026-05-08,lobby,stems,,,8,,,,\n"
    links, nodes = chain_of(make_book(tmp_path, trims=HEADER + rows), "stems")
    assert links == ["AIMED", "GREW", "CUT"]
    assert nodes.removed_cm[2] == 8.0
    assert np.isnan(nodes.reading_cm[1:]).all()


def test_both_heights_win_over_a_removed_length(tmp_path):
    rows = "2026-05-01,lobby,stems,18,9,9,,,,\n"
    links, _ = chain_of(make_book(tmp_path, trims=HEADER + rows), "stems")
    assert links == ["FRESH", "AIMED"]


def test_measured_but_not_cut_goes_on_growing(tmp_path):
    rows = (
        "2026-05-01,lobby,stems,,9,,,,,\n"
        "2026-05-08,lobby,stems,15,,,,,,\n"
        "2026-05-15,lobby,stems,20,20,,,,,\n"
        "2026-05-22,lobby,stems,24,24,0,,,,\n"
    )
    links, nodes = chain_of(make_book(tmp_path, trims=HEADER + rows), "stems")
    assert links == ["AIMED", "GREW", "GREW", "GREW"]
    np.testing.assert_array_equal(nodes.reading_cm, [9, 15, 20, 24])


def test_a_weight_tells_how_much_came_off(tmp_path):
    rows = (
        "2026-05-01,lobby,stems,18,9,,,,,\n"
        "2026-05-08,lobby,stems,,,,55,,,\n"
        "2026-05-15,lobby,stems,19,10,,,,,\n"
    )
    book = make_book(tmp_path, trims=HEADER + rows)
    links, nodes = chain_of(book, "stems")
    assert links == ["FRESH", "AIMED", "GREW", "WEIGHED", "GREW", "AIMED"]
    design = build_design(book, ON)
    density_g_l = design.priors.density_g_l[design.species[0]]
    assert nodes.removed_cm[3] == pytest.approx(55 / (density_g_l * 400 / 1000))
    assert design.left_out == ()


def test_a_look_stands_beside_amounts_or_alone(tmp_path):
    rows = (
        "2026-05-01,lobby,stems,18,9,,,right,,\n"
        "2026-05-08,lobby,stems,,,,,right,,\n"
        "2026-05-15,lobby,stems,,,,,over,,\n"
    )
    links, nodes = chain_of(make_book(tmp_path, trims=HEADER + rows), "stems")
    assert links == ["FRESH", "AIMED", "GREW", "GREW"]
    assert nodes.look.tolist() == [Look.RIGHT, Look.NONE, Look.RIGHT, Look.OVER]


def test_a_whole_tanks_weight_is_shared_by_areas_without_a_row(tmp_path):
    rows = (
        "2026-05-01,lobby,stems,18,9,,,,,\n"
        "2026-05-01,lobby,carpet,3,1.5,,,,,\n"
        "2026-05-08,lobby,,,,,120,,25,\n"
        "2026-05-08,lobby,stems,17,9,,,,,\n"
        "2026-05-15,lobby,carpet,3,1.5,,,,,\n"
    )
    book = make_book(tmp_path, trims=HEADER + rows)
    assert chain_of(book, "stems")[0] == ["FRESH", "AIMED", "GREW", "AIMED"]
    links, nodes = chain_of(book, "carpet")
    assert links == ["FRESH", "AIMED", "GREW", "UNSAID", "GREW", "AIMED"]
    assert nodes.bucket[3] == 0
    assert chain_of(book, "moss")[0] == ["FRESH"]


def test_a_weight_that_no_area_is_left_to_share_is_left_out(tmp_path):
    """A bucket of everything is shared by those who were cut; one of the rest is not."""
    rows = (
        "2026-05-01,lobby,stems,18,9,,,,,\n"
        "2026-05-01,lobby,carpet,3,1.5,,,,,\n"
        "2026-05-01,lobby,,,,,120,,25,\n"
        "2026-05-02,lobby,stems,,,,,,,looked fine\n"
    )
    book = make_book(tmp_path, trims=HEADER + rows + "2026-05-01,home,moss,2,,,,,,\n")
    assert [(row.row, row.why) for row in build_design(book, ON).left_out] == [
        (5, "no amount and no look")
    ]
    for reading, unused in (("all", []), ("rest", [(4, "no area is left to share this weight")])):
        practice = replace(book.practice, whole_tank_grams=reading)
        fit = fit_growth(replace(book, practice=practice), ON)
        assert [(row.row, row.why) for row in fit.unused_weights] == unused


def test_minutes_of_a_whole_tank_end_nothing(tmp_path):
    rows = (
        "2026-05-01,lobby,carpet,3,1.5,,,,,\n"
        "2026-05-08,lobby,,,,,,,25,\n"
        "2026-05-15,lobby,carpet,3,1.5,,,,,\n"
    )
    links, _ = chain_of(make_book(tmp_path, trims=HEADER + rows), "carpet")
    assert links == ["FRESH", "AIMED", "GREW", "AIMED"]


def test_planting_starts_the_chain_only_where_the_log_covers_it(tmp_path):
    planted = AREAS.replace(
        "stems,lobby,Back stems,rotala-rotundifolia,400,7,22,9,2025-01-01",
        "stems,lobby,Back stems,rotala-rotundifolia,400,7,22,9,2026-05-03",
    )
    rows = "2026-05-01,lobby,carpet,3,1.5,,,,,\n2026-05-24,lobby,stems,14,9,,,,,\n"
    book = make_book(tmp_path, areas=planted, trims=HEADER + rows)
    links, nodes = chain_of(book, "stems")
    assert links == ["FRESH", "GREW", "AIMED"]
    # Settling in: the first three weeks count for less than three weeks.
    assert 5.0 < nodes.growth_d[1] < 21.0
    assert chain_of(book, "carpet")[0] == ["FRESH", "AIMED"]


def test_a_hard_cut_is_followed_by_a_pause(tmp_path):
    rows = (
        "2026-05-01,lobby,stems,20,2,,,,,\n"
        "2026-05-15,lobby,stems,12,9,,,,,\n"
        "2026-05-29,lobby,stems,20,9,,,,,\n"
    )
    book = make_book(tmp_path, trims=HEADER + rows)
    _, nodes = chain_of(book, "stems")
    pause = build_design(book, ON).traits.pause_d[0]
    # Cut to a tenth: four fifths of the way beyond the half.
    assert nodes.growth_d[2] == pytest.approx(14.0 - 0.8 * pause)
    assert nodes.growth_d[4] == pytest.approx(14.0)
    # A pause of some days may be off by half of them.
    np.testing.assert_allclose(nodes.growth_d[2] * nodes.pause_doubt[2], 0.5 * 0.8 * pause)
    assert nodes.pause_doubt[[0, 1, 3, 4]].tolist() == [0.0] * 4


def test_conditions_speed_the_clock_from_their_date(tmp_path):
    conditions = (
        "tank_id,from_date,ppfd_umol,photoperiod_h,co2_mg_l,temperature_c\n"
        "lobby,2026-04-01,100,8,25,25\nlobby,2026-05-08,,,4,\n"
    )
    rows = (
        "2026-05-01,lobby,stems,18,9,,,,,\n"
        "2026-05-08,lobby,stems,17,9,,,,,\n"
        "2026-05-15,lobby,stems,14,10,,,,,\n"
    )
    book = make_book(tmp_path, trims=HEADER + rows, conditions=conditions)
    _, nodes = chain_of(book, "stems")
    before, after = nodes.growth_d[[2, 4]]
    half = build_design(book, ON).priors.traits["co2_k_mg_l"]
    k = half[build_design(book, ON).species[0]]
    assert after / before == pytest.approx((4 / (4 + k)) / (25 / (25 + k)), rel=1e-6)


SEASON = "".join(
    f"lobby,{year}-{month:02d}-01,{warm}\n"
    for year in (2024, 2025)
    for month, warm in enumerate([17, 17, 18, 20, 23, 25, 26, 26, 24, 22, 21, 18], 1)
)


@pytest.mark.parametrize(
    ("rows", "repeats"),
    [
        (SEASON, True),
        (SEASON[SEASON.index("lobby,2025") :], True),  # twelve months, once
        ("lobby,2024-12-01,21\nlobby,2025-05-01,26\nlobby,2025-12-01,18\n", True),
        ("lobby,2024-12-01,21\nlobby,2025-05-01,24\nlobby,2025-12-01,27\n", False),  # only warmer
        ("lobby,2025-06-01,21\nlobby,2025-09-01,27\nlobby,2025-12-01,20\n", False),  # half a year
        ("lobby,2024-01-01,28\nlobby,2024-02-01,20\nlobby,2025-12-01,24\n", False),  # no last year
    ],
)
def test_a_season_of_temperature_repeats(tmp_path, rows, repeats):
    header = "tank_id,from_date,temperature_c\n"
    book = make_book(tmp_path, conditions=header + rows, trims=HEADER)
    clock = build_design(book, date(2025, 12, 20)).clock
    winter, summer, next_summer = (
        clock.speed(np.datetime64(day, "D").astype(float))[0]
        for day in ("2025-12-20", "2026-07-15", "2027-07-15")
    )
    if not repeats:
        assert winter == summer == next_summer
        return
    then = clock.speed(np.datetime64("2025-07-15", "D").astype(float))[0]
    assert summer == next_summer == then
    assert summer > 1.2 * winter


def test_a_forecast_in_winter_is_slower_than_at_a_constant_warmth(tmp_path):
    header = "tank_id,from_date,temperature_c\n"
    rows = "2025-11-10,lobby,stems,18,9,,,,,\n2025-11-24,lobby,stems,17,9,,,,,\n"
    seasonal, constant = (
        fit_growth(
            make_book(tmp_path / name, conditions=header + cells, trims=HEADER + rows),
            date(2025, 11, 24),
        ).design.clock
        for name, cells in (
            ("year", SEASON[: SEASON.index("lobby,2025-12")]),
            ("constant", "lobby,2025-11-01,21\n"),
        )
    )
    stems, days = np.array([0]), np.array([20416.0, 20416.0 + 60.0])  # from 2025-11-24
    ahead = [np.diff(clock.reading(stems, days))[0] for clock in (seasonal, constant)]
    assert ahead[0] < 0.95 * ahead[1]


def test_a_supposed_temperature_has_no_season(tmp_path):
    header = "tank_id,from_date,temperature_c\n"
    book = make_book(tmp_path, conditions=header + SEASON, trims=HEADER)
    laid = with_conditions(book, "lobby", date(2025, 12, 20), {"temperature_c": 25.0})
    clock = build_design(laid, date(2025, 12, 20)).clock
    assert clock.speed(20442.0 + 200.0)[0] == clock.speed(20442.0)[0]
    lit = with_conditions(book, "lobby", date(2025, 12, 20), {"ppfd_umol": 60.0})
    clock = build_design(lit, date(2025, 12, 20)).clock
    assert clock.speed(20442.0 + 200.0)[0] > 1.2 * clock.speed(20442.0)[0]


def test_conditions_never_given_widen_the_tank(tmp_path):
    conditions = (
        "tank_id,from_date,ppfd_umol,photoperiod_h,co2_mg_l,no3_mg_l,po4_mg_l,k_mg_l,"
        "temperature_c\nlobby,2026-04-01,100,8,25,15,1,15,25\n"
    )
    fit = fit_growth(make_book(tmp_path, conditions=conditions, trims=HEADER), ON)
    known, unknown = fit.solution.view.pooled.tank_sd
    assert known == pytest.approx(0.30)
    assert unknown == pytest.approx(np.sqrt(0.30**2 + 2 * 0.25**2 + 4 * 0.1**2))


def test_no_co2_added_is_3_mg_per_litre_with_its_doubt(tmp_path):
    header = "tank_id,from_date,ppfd_umol,co2_mg_l\nlobby,2026-04-01,100,"
    none, three = (
        build_design(make_book(tmp_path / co2, conditions=f"{header}{co2}\n"), ON)
        for co2 in ("0", "3")
    )
    np.testing.assert_array_equal(none.clock.response, three.clock.response)
    half = none.priors.traits["co2_k_mg_l"][none.species[:2]]  # of the stems and the carpet
    doubt = np.sqrt(none.unknown_spread**2 - three.unknown_spread**2)
    assert doubt[0] == pytest.approx(0.36 * (half / (3.0 + half)).mean())
    assert doubt[1] == 0.0


def test_an_area_without_a_log_rests_on_its_tank_or_the_table(tmp_path):
    fit = fit_growth(make_book(tmp_path), ON)
    assert dict(zip(fit.design.area_id, fit.basis, strict=True)) == {
        "stems": "log",
        "carpet": "tank",
        "moss": "table",
    }

    told, effects = fit.as_dict(), fit.solution.view.pooled
    spreads = fit.design.spreads
    assert told["spread"]["interval"] == round(spreads.span, 5)
    assert told["spread"]["tank"] == round(spreads.tank, 5)
    assert "span" not in told["spread"]
    assert told["tanks"][0]["effect"]["mean"] == pytest.approx(effects.tank[0, 0], abs=1e-6)
    assert [area["spans"] for area in told["areas"]] == [7, 0, 0]
    posterior = fit.posterior(np.arange(3))
    assert told["areas"][2]["log_ceiling"]["sd"] == pytest.approx(
        np.sqrt(posterior.log_ceiling_variance[2]), abs=1e-6
    )
    assert told["lag_d"]["stem"]["sd"] == pytest.approx(
        spreads.lags.sd_d[fit.design.form[0]], abs=1e-6
    )
    assert (told["areas_with_spans"], told["rows_used"], told["whole_tank_grams"]) == (1, 8, None)
    assert told["borrowed"] == {"model": "none", "tanks": fit.borrowed.tanks, "log_score": {}}


def test_last_logged_day(tmp_path):
    assert last_logged(make_book(tmp_path)) == date(2026, 6, 1)
    assert last_logged(make_book(tmp_path / "none", trims=HEADER)) is None


MANY = """area_id,tank_id,label,species_id,area_cm2,floor_cm,budget_cm,cut_cm,planted_on,removed_on
grass,lobby,,vallisneria-nana,400,7,22,9,2025-01-01,
stems,home,,rotala-rotundifolia,400,7,22,9,2025-01-01,2026-06-01
moss,home,,taxiphyllum-barbieri,150,2,9,3,2026-06-01,
float,lobby,,limnobium-laevigatum,500,10,80,30,2026-06-02,
gone,lobby,,rotala-rotundifolia,400,7,22,9,2025-01-01,2026-05-31
leaves,lobby,,rotala-rotundifolia,400,7,22,9,2025-01-01,2026-07-01
"""


def test_a_book_becomes_priors_as_its_tables_and_spreads_say(tmp_path):
    """Water caps heights, of what reaches the surface the water alone; cover ends at 100 %."""
    tanks = "tank_id,client,water_depth_cm\nlobby,A,46\nhome,B,34\n"
    rows = "".join(f"{day},lobby,grass,18,9,,,,,\n" for day in ("2026-05-01", "2026-05-08"))
    rows += "2026-05-27,lobby,gone,18,9,,,,,\n2026-05-30,home,stems,18,9,,,,,\n"
    book = make_book(tmp_path, areas=MANY, tanks=tanks, trims=HEADER + rows)
    spreads = Spreads(species=2.0, tank=0.4, area=0.25, density=0.5, drift=0.3, span=0.1)
    design = build_design(book, ON, spreads)
    priors, pooling = design.priors, design.problem.pooling
    of = priors.ceiling_cm[design.species]
    assert of[[1, 2]].tolist() == [50.0, 10.0]
    ceiling = [46.0, 34.0, 10.0, 100.0, 46.0, 46.0]
    assert np.exp(pooling.log_ceiling) == pytest.approx(ceiling)
    own = priors.ceiling_spread[design.species]
    own[3] = 0.005
    assert pooling.ceiling_precision == pytest.approx(own**-2.0)
    assert pooling.offset == pytest.approx(np.log(priors.rate_per_day[design.species]))
    assert (pooling.area_precision, pooling.density_precision) == pytest.approx((16.0, 4.0))
    unknown = design.unknown_spread
    assert pooling.tank_precision == pytest.approx(1.0 / (0.4**2 + unknown**2))
    assert pooling.species_precision == pytest.approx((2.0 * priors.rate_spread) ** -2.0)
    assert pooling.knot_precision == pytest.approx(knot_precision() / 0.09)
    density = priors.density_g_l[design.species]
    # g/l times cm2 is mg per mm; of a cover, g per dm2 at 100 %.
    grams = density * np.array([400.0, 400.0, 150.0, 500.0 / 10.0, 400.0, 400.0]) / 1000.0
    grams[3] = density[3] * 5.0 / 100.0
    assert design.traits.gram_per_cm == pytest.approx(grams)
    errors = design.problem.errors
    assert errors.height_error_cm.tolist() == [0.5, 0.5, 0.5, 5.0, 0.5, 0.5]
    assert errors.height_error_share.tolist() == [0.05, 0.05, 0.05, 0.0, 0.05, 0.05]
    assert (errors.span, errors.drift, errors.weight) == (0.1, 0.3, 0.2)
    assert design.alive.tolist() == [True, True, True, False, False, True]
    assert design.stays.tolist() == [True, False, True, False, False, True]
    assert design.gap_d.tolist() == [19.0, 0.0]
    assert design.spans.tolist() == [1, 0, 0, 0, 0, 0]
    assert design.observations[:2].tolist() == [2, 1]
    assert design.problem.lag_d == pytest.approx(spreads.lags.mean_d[design.form])
    assert [str(priors.form[s]) for s in design.species[:4]] == [
        "rosette",
        "stem",
        "moss",
        "floating",
    ]
    other = with_spreads(build_design(book, ON), spreads).problem
    assert other.pooling.species_precision == pytest.approx(pooling.species_precision)
    assert other.pooling.knot_precision == pytest.approx(pooling.knot_precision)
    assert other.errors.height_error_cm.tolist() == errors.height_error_cm.tolist()


@pytest.mark.parametrize(
    ("said", "everything", "known"),
    [
        (None, [True, False, True], [True, True, False]),
        ("all", [True, False, True], [True, True, True]),
        ("rest", [True, False, False], [True, True, True]),
    ],
)
def test_a_weight_is_read_as_its_row_says_else_as_the_practice_does(said, everything, known):
    """Rows say "everything", "the rest", nothing; where nobody says it is everything."""
    buckets = SimpleNamespace(
        grams=np.ones(3),
        of_all=np.array([True, False, False]),
        of_rest=np.array([False, True, False]),
        row=np.arange(3),
    )
    traits = SimpleNamespace(gram_per_cm=np.ones(2), removed_day=np.full(2, np.nan))
    weights = _weights(buckets, said, traits)
    assert (weights.everything.tolist(), weights.said.tolist()) == (everything, known)


def test_known_before_a_day_is_what_was_dated_before_it(tmp_path):
    """Of June 1: neither its log row, nor its planting; what was taken out then stands."""
    log = HEADER + (
        "2026-05-30,home,stems,18,9,,,,,\n2026-06-01,lobby,grass,18,9,,,,,\n"
        "2026-05-31,lobby,,,,,120,,25,\n2026-06-01,home,moss,4,2,,,,,\n"
    )
    conditions = "tank_id,from_date,ppfd_umol\nlobby,2026-05-31,80\nlobby,2026-06-01,40\n"
    blank = MANY.replace("400,7,22,9,2025-01-01,2026-07-01", "400,7,22,9,,2026-07-01")
    book = make_book(tmp_path, areas=blank, trims=log, conditions=conditions)
    before = known_before(book, day_number(ON))
    assert before.areas.text("area_id").tolist() == ["grass", "stems", "gone", "leaves"]
    removed = before.areas.date("removed_on").astype("datetime64[D]").astype(str).tolist()
    assert removed == ["NaT", "NaT", "2026-05-31", "NaT"]
    assert before.trims.text("area_id").tolist() == ["stems", ""]
    assert before.conditions.number("ppfd_umol").tolist() == [80.0]


def test_a_tank_that_fails_rests_on_the_table_and_the_others_are_tried_again(tmp_path):
    rows = "2026-05-30,home,moss,18,9,,,,,\n2026-05-31,lobby,stems,18,9,,,,,\n"
    book, asked = make_book(tmp_path, trims=HEADER + rows), []

    def attempt(part):
        asked.append(part.trims.text("tank_id").tolist())
        if "home" in asked[-1]:
            raise CannotFit(np.array([2]))
        return 7

    assert on_what_fits(book, attempt) == (
        7,
        {"home": "no growth explains the log rows of moss"},
    )
    assert asked == [["home", "lobby"], ["lobby"]]

    def never(_):
        raise CannotFit(np.array([2]))

    with pytest.raises(CannotFit):
        on_what_fits(book, never)  # without any row of its own left


def test_the_order_of_log_rows_does_not_matter(tmp_path):
    book = make_book(tmp_path / "a")
    lines = (tmp_path / "a" / "trims.csv").read_text().splitlines(keepends=True)
    shuffled = lines[0] + "".join(np.random.default_rng(1).permutation(lines[1:]))
    again = make_book(tmp_path / "b", trims=shuffled)
    first, second = fit_growth(book, ON), fit_growth(again, ON)
    np.testing.assert_array_equal(first.solution.point.border, second.solution.point.border)


def test_tops_planted_anew_rest_as_if_planted_that_day(tmp_path):
    """Rotala settles over 8 days: 7 days from the row on are 7 ** 2 / 16 days of growth."""
    head = HEADER.replace("look,", "look,replanted,")
    rows = (
        "2026-05-01,lobby,stems,20,4,,,,{},,\n"
        "2026-05-08,lobby,stems,17,9,,,,,,\n"
        "2026-06-05,lobby,stems,17,9,,,,true,,\n"  # later than the day of the fit
    )
    once, anew = (
        make_book(tmp_path / said, trims=head + rows.format(said)) for said in ("false", "true")
    )
    (links, usual), (same, nodes) = chain_of(once, "stems"), chain_of(anew, "stems")
    assert links == same
    assert build_design(once, ON).clock.replanted_day.shape == (3, 0)
    assert usual.growth_d[2] < 7.0  # cut by four fifths it pauses
    assert nodes.growth_d[2] == pytest.approx(49.0 / 16.0)
    assert nodes.pause_d[1] == 0.0
    assert nodes.by_settling[2] == pytest.approx(1.0, rel=1e-3)


@pytest.mark.parametrize(("start", "days"), [("", 8), ("submerged", 6), ("emersed", 14)])
def test_how_plants_came_sets_how_long_they_settle(tmp_path, start, days):
    areas = AREAS.splitlines()
    areas = [areas[0] + ",start", areas[1] + f",{start}", *(f"{row}," for row in areas[2:])]
    clock = build_design(make_book(tmp_path, areas="\n".join(areas) + "\n"), ON).clock
    stems, planted = np.zeros(1, np.int64), clock.planted_day[:1]
    assert clock.settling(stems, planted + 3.0)[1].tolist() == [days]
    lived = clock.reading(stems, planted + days) / clock.response[0, 0]
    assert lived == pytest.approx(days / 2)
