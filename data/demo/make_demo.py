"""Make the demo book: an invented practice, simulated, so that its truth is known.

Run ``python data/demo/make_demo.py`` from the checkout; it writes the same bytes each time. The true
rates below are the demo's own: a change of the species table does not change the demo.
"""

from __future__ import annotations

import sys
from datetime import date
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parents[1]))

from tests.simulator import (  # noqa: E402
    AreaPlan,
    Away,
    Condition,
    PracticePlan,
    Richness,
    SimulatedPractice,
    TankPlan,
    Traits,
    simulate,
)

SEED = 20261120
FIRST_ON = date(2026, 2, 17)
LAST_ON = date(2026, 11, 20)

RICHNESS = Richness(
    shape_spread=0.12,
    species_spread=0.4,
    ceiling_spread=0.25,
    tank_spread=0.15,
    area_spread=0.10,
    week_spread=0.17,
    drift_spread=0.10,
    season_share=0.05,
    missed_visit_share=0.04,
    missing_row_share=0.03,
    gross_error_share=0.008,
    unlogged_cut_share=0.01,
)


def _traits() -> dict[str, Traits]:
    """True traits of the demo's plants, by growth form."""
    stem = {"light_floor": 0.35, "density_g_l": 25.0, "settle_d": 8.0, "pause_d": 5.0}
    rosette = {"density_g_l": 15.0, "settle_d": 25.0, "pause_d": 14.0}
    slow = {"light_k_umol": 40.0, "respiration_share": 0.08, "co2_k_mg_l": 1.5, "settle_d": 40.0}
    epiphyte = {**slow, "light_floor": 0.15, "density_g_l": 30.0, "pause_d": 21.0}
    carpet = {"light_floor": 0.1, "density_g_l": 70.0, "settle_d": 18.0, "pause_d": 7.0}
    moss = {**slow, "light_floor": 0.15, "density_g_l": 80.0, "settle_d": 18.0, "pause_d": 7.0}
    creeping = {"density_g_l": 40.0, "settle_d": 12.0, "pause_d": 6.0}
    floating = {"measure": "cover_pct", "light_floor": 0.05, "co2_k_mg_l": 0.0, "pause_d": 0.0}
    floating |= {"density_g_l": 19.0, "settle_d": 3.0}
    plants: tuple[tuple[str, str, float, float, bool, dict[str, object]], ...] = (
        ("limnophila-sessiliflora", "stem", 0.139, 50.0, True, stem),
        ("hygrophila-polysperma", "stem", 0.108, 40.0, True, stem),
        ("rotala-rotundifolia-green", "stem", 0.085, 50.0, True, stem),
        ("ludwigia-repens", "stem", 0.067, 50.0, True, stem),
        ("hydrocotyle-tripartita", "creeping", 0.150, 10.0, False, creeping),
        ("hemianthus-callitrichoides", "carpet", 0.088, 5.0, False, carpet),
        ("eleocharis-pusilla", "carpet", 0.045, 10.0, False, carpet),
        ("vesicularia-montagnei", "moss", 0.090, 6.0, False, moss),
        ("anubias-barteri-nana", "epiphyte", 0.0060, 15.0, False, epiphyte),
        ("leptochilus-pteropus", "epiphyte", 0.0100, 35.0, False, epiphyte),
        ("bolbitis-heudelotii", "epiphyte", 0.0110, 38.0, False, epiphyte),
        ("bucephalandra-pygmaea", "epiphyte", 0.0100, 10.0, False, epiphyte),
        ("pogostemon-erectus", "stem", 0.050, 40.0, True, stem),
        ("limnophila-aromatica", "stem", 0.070, 50.0, True, stem),
        ("alternanthera-reineckii", "stem", 0.036, 50.0, True, stem),
        ("echinodorus-grisebachii", "rosette", 0.036, 50.0, True, rosette),
        ("helanthium-tenellum", "creeping", 0.030, 15.0, False, creeping),
        ("hygrophila-difformis", "stem", 0.098, 50.0, True, stem),
        ("vallisneria-nana", "rosette", 0.040, 50.0, True, rosette),
        ("cryptocoryne-wendtii", "rosette", 0.0135, 30.0, False, rosette),
        ("taxiphyllum-barbieri", "moss", 0.080, 10.0, False, moss),
        ("limnobium-laevigatum", "floating", 0.080, 100.0, False, floating),
        ("bacopa-australis", "stem", 0.080, 25.0, False, stem),
        ("rotala-rotundifolia-hra", "stem", 0.054, 30.0, True, stem),
        ("micranthemum-tweediei", "carpet", 0.067, 6.0, False, carpet),
        ("blyxa-japonica", "rosette", 0.039, 15.0, False, rosette),
        ("staurogyne-repens", "creeping", 0.044, 10.0, False, creeping),
    )
    return {
        name: Traits(name, form, rate, ceiling, reaches_surface=tall, **more)  # type: ignore[arg-type]
        for name, form, rate, ceiling, tall, more in plants
    }


def _conditions(on: date, note: str = "", **values: float) -> Condition:
    return Condition(on, values, note)


def _tanks() -> tuple[TankPlan, ...]:
    """Six tanks of different character, all invented."""
    return (
        TankPlan(
            "lobby-stems", "Lobby client", "Entrance hall", 118, 47, 49, 7, date(2026, 2, 17),
            (
                _conditions(
                    date(2025, 9, 2), ppfd_umol=118, photoperiod_h=8, co2_mg_l=25, no3_mg_l=16,
                    po4_mg_l=1.1, k_mg_l=14, fe_mg_l=0.3, temperature_c=24.5,
                ),
                _conditions(
                    date(2026, 6, 15), "lamp dimmed, guests found it too bright", ppfd_umol=92
                ),
            ),
            fixed_min=45, note="High-light stem display with CO2",
            away=(Away(date(2026, 8, 3), date(2026, 8, 12)),),
            dated_notes=(
                (date(2026, 3, 20), "filter cleaned"),
                (date(2026, 5, 12), "CO2 cylinder changed by supplier"),
                (date(2026, 6, 15), "lamp dimmed to 75 %"),
                (date(2026, 8, 13), "back after the summer closure, everything dense"),
                (date(2026, 9, 21), "half of the water changed, glass scraped"),
                (date(2026, 10, 28), "CO2 cylinder changed by supplier"),
            ),
        ),
        TankPlan(
            "desk-nano", "Client A", "Desk, first floor", 34, 27, 25, 14, date(2026, 2, 19),
            (
                _conditions(
                    date(2025, 11, 10), ppfd_umol=95, photoperiod_h=7.5, co2_mg_l=22, no3_mg_l=12,
                    po4_mg_l=0.8, k_mg_l=10, fe_mg_l=0.2, temperature_c=23.5,
                ),
            ),
            fixed_min=25, note="Carpet nano",
            dated_notes=(
                (date(2026, 4, 14), "a few strands of hair algae taken out by hand"),
                (date(2026, 7, 7), "warm week, 26 degrees"),
                (date(2026, 10, 2), "filter cleaned"),
            ),
        ),
        TankPlan(
            "study-rhizome", "Client B", "Study", 88, 41, 43, 28, date(2026, 2, 24),
            (
                _conditions(
                    date(2025, 5, 5), ppfd_umol=48, photoperiod_h=8, kh_dkh=4,
                    co2_mg_l=11, no3_mg_l=9, temperature_c=25,
                ),
            ),
            longest_interval_d=28, note="Rhizome plants on wood; glass needs cleaning monthly",
            dated_notes=(
                (date(2026, 4, 20), "old leaves taken out, one plantlet of java fern left"),
                (date(2026, 9, 1), "feed pump replaced"),
            ),
        ),
        TankPlan(
            "reception", "Client C", "Reception", 146, 52, 57, 14, date(2026, 2, 18),
            (
                _conditions(
                    date(2025, 6, 23), ppfd_umol=88, photoperiod_h=8, co2_mg_l=23, no3_mg_l=18,
                    po4_mg_l=1.2, k_mg_l=16, fe_mg_l=0.3, temperature_c=25,
                ),
                _conditions(
                    date(2026, 5, 4), "cylinder empty, found at the visit; supplier late",
                    co2_mg_l=5,
                ),
                _conditions(date(2026, 6, 2), "new cylinder connected", co2_mg_l=23),
                _conditions(date(2026, 9, 8), "stronger fertiliser dose", no3_mg_l=22, k_mg_l=18),
            ),
            fixed_min=40,
            dated_notes=(
                (date(2026, 5, 4), "CO2 cylinder empty"),
                (date(2026, 6, 2), "CO2 back"),
                (date(2026, 8, 10), "filter cleaned"),
            ),
        ),
        TankPlan(
            "home-lowtech", "Client D", "Living room", 97, 39, 45, 21, date(2026, 2, 20),
            (
                _conditions(
                    date(2025, 3, 17), ppfd_umol=46, photoperiod_h=8.5, co2_mg_l=4, no3_mg_l=14,
                    temperature_c=24,
                ),
            ),
            travel_min=35, note="No CO2, tap water",
            away=(Away(date(2026, 7, 13), date(2026, 7, 31)),),
            dated_notes=(
                (date(2026, 3, 10), "owner feeds a lot, mulm vacuumed"),
                (date(2026, 8, 1), "owner back from holiday"),
                (date(2026, 10, 12), "two old crypt leaves removed"),
            ),
        ),
        TankPlan(
            "shop-window", "Client E", "Shop window", 62, 36, 38, 14, date(2026, 2, 25),
            (
                _conditions(
                    date(2025, 10, 13), ppfd_umol=85, photoperiod_h=8, co2_mg_l=20,
                    temperature_c=24.5,
                ),
                _conditions(date(2026, 10, 28), "replanted, lamp as before", photoperiod_h=7),
            ),
            note="Cleared and replanted at the end of October",
            away=(Away(date(2026, 10, 16), date(2026, 11, 1)),),
            dated_notes=(
                (date(2026, 6, 22), "rotala leggy, replanting offered"),
                (date(2026, 11, 2), "first visit after replanting, some leaves melting"),
            ),
        ),
    )


# tank, area, label, species, ground, floor, budget, cut, light share, planted on, start
_ESTABLISHED = (
    ("lobby-stems", "lobby-ambulia", "back left ambulia", "limnophila-sessiliflora", 640, 9, 22, 10, 1, "2025-09-02", 15),
    ("lobby-stems", "lobby-hygro", "back right hygrophila", "hygrophila-polysperma", 580, 9, 19.5, 10, 0.95, "2025-09-02", 14),
    ("lobby-stems", "lobby-rotala", "middle rotala bush", "rotala-rotundifolia-green", 720, 8, 17, 9, 1, "2025-09-02", 12),
    ("lobby-stems", "lobby-ludwigia", "red accent", "ludwigia-repens", 310, 10, 18, 11, 0.9, "2025-10-14", 14),
    ("lobby-stems", "lobby-pennywort", "front pennywort", "hydrocotyle-tripartita", 430, 2, 5, 2.5, 0.9, "2025-09-02", 4),
    ("desk-nano", "nano-cuba", "front carpet", "hemianthus-callitrichoides", 390, 1, 3.5, 1.3, 1, "2025-11-10", 1.8),
    ("desk-nano", "nano-hairgrass", "right hairgrass", "eleocharis-pusilla", 170, 2, 5, 2.5, 1, "2025-11-10", 3.2),
    ("desk-nano", "nano-moss", "moss on the root", "vesicularia-montagnei", 95, 1.2, 3.8, 1.5, 0.85, "2025-11-10", 2),
    ("study-rhizome", "study-anubias", "anubias on the wood", "anubias-barteri-nana", 260, 6, 10, 7.5, 0.8, "2025-05-05", 8.5),
    ("study-rhizome", "study-fern", "java fern, back", "leptochilus-pteropus", 540, 14, 25, 18, 0.9, "2025-05-05", 20),
    ("study-rhizome", "study-bolbitis", "bolbitis, left", "bolbitis-heudelotii", 330, 15, 27, 19, 0.9, "2025-05-05", 21),
    ("study-rhizome", "study-buce", "bucephalandra stones", "bucephalandra-pygmaea", 140, 3.5, 7, 5, 0.7, "2025-06-10", 5.5),
    ("reception", "recep-pogo", "back pogostemon", "pogostemon-erectus", 820, 10, 27, 12, 1, "2025-06-23", 16),
    ("reception", "recep-aroma", "back left limnophila", "limnophila-aromatica", 690, 10, 31, 12, 1, "2025-06-23", 18),
    ("reception", "recep-altern", "red group", "alternanthera-reineckii", 460, 10, 23, 12, 0.9, "2025-06-23", 14),
    ("reception", "recep-sword", "sword, solitary", "echinodorus-grisebachii", 380, 17, 34, 22, 1, "2025-06-23", 26),
    ("reception", "recep-tenellum", "foreground", "helanthium-tenellum", 910, 4, 9, 5, 0.95, "2025-06-23", 6),
    ("home-lowtech", "home-wisteria", "back wisteria", "hygrophila-difformis", 520, 9, 20, 11, 0.8, "2025-03-17", 14),
    ("home-lowtech", "home-vallis", "vallisneria, right", "vallisneria-nana", 410, 15, 32, 19, 0.8, "2025-03-17", 22),
    ("home-lowtech", "home-crypt", "crypts, middle", "cryptocoryne-wendtii", 350, 11, 19, 13, 0.7, "2025-03-17", 14),
    ("home-lowtech", "home-moss", "moss on the stone", "taxiphyllum-barbieri", 160, 2, 5, 2.5, 0.75, "2025-04-28", 4),
    ("home-lowtech", "home-frogbit", "frogbit in the corner", "limnobium-laevigatum", 900, 10, 45, 20, 1, "2025-04-28", 25),
)
_REPLANTED = (
    ("shop-window", "shop-rotala", "back rotala", "rotala-rotundifolia-hra", 330, 6, 18, 7, 1, 5),
    ("shop-window", "shop-blyxa", "blyxa, middle", "blyxa-japonica", 210, 5.5, 11, 6.5, 1, 6),
    ("shop-window", "shop-pearl", "front carpet", "micranthemum-tweediei", 420, 1.2, 4, 1.5, 1, 1.5),
    ("shop-window", "shop-stauro", "side staurogyne", "staurogyne-repens", 190, 2.5, 6, 3, 0.9, 3),
)


def _areas() -> tuple[AreaPlan, ...]:
    areas = [
        AreaPlan(
            area, tank, label, species, ground, floor, budget, cut,
            date.fromisoformat(planted), light_share=share, start_cm=start,
        )
        for tank, area, label, species, ground, floor, budget, cut, share, planted, start
        in _ESTABLISHED
    ]
    areas.append(
        AreaPlan(
            "shop-bacopa", "shop-window", "bacopa, old planting", "bacopa-australis", 480, 5, 16, 6,
            date(2025, 10, 13), removed_on=date(2026, 10, 26), start_cm=9,
            note="taken out when the tank was cleared",
        )
    )
    areas += [
        AreaPlan(
            area, tank, label, species, ground, floor, budget, cut, date(2026, 10, 29),
            light_share=share, planted_height_cm=height, start_cm=height,
        )
        for tank, area, label, species, ground, floor, budget, cut, share, height in _REPLANTED
    ]
    return tuple(areas)


def demo_practice() -> SimulatedPractice:
    """Simulate the demo practice, with its truth."""
    plan = PracticePlan(
        name="Demo practice (invented data)",
        first_on=FIRST_ON,
        last_on=LAST_ON,
        tanks=_tanks(),
        areas=_areas(),
        traits=_traits(),
        labour_rate_per_h=58.0,
        fixed_min=35,
        travel_min=20,
    )
    return simulate(plan, SEED, RICHNESS)


if __name__ == "__main__":
    demo_practice().write_book(HERE)
