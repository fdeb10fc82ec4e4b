"""Make the demo book: an invented practice, simulated, so that its truth is known.

Run ``python data/demo/make_demo.py`` from the checkout; it writes the same bytes each time. The
true rates below are the demo's own: a change of the species table does not change the demo.
"""

from __future__ import annotations

import csv
import io
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

SEED = 20261336
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
    shade=False,  # its log was drawn before floating plants shaded what stands below
    missed_visit_share=0.04,
    missing_row_share=0.03,
    gross_error_share=0.008,
    unlogged_cut_share=0.01,
)

TERMS = 'terms = ["Prices hold for a year; you may end any month."]\n'
VISIT = """\
includes = ["plants trimmed, trimmings taken away", "glass and pumps cleaned", "water changed"]
longer_gaps = "after ten days a film shows; we then change twice the water"
"""

Values = dict[str, float | str]

DEMANDS: dict[str, Values] = {
    "easy": {"light_k_umol": 40.0, "respiration_share": 0.08, "co2_k_mg_l": 1.5},
    "usual": {"light_k_umol": 55.0, "respiration_share": 0.065, "co2_k_mg_l": 3.0},
    "hungry": {"light_k_umol": 90.0, "respiration_share": 0.06, "co2_k_mg_l": 6.0},
    "afloat": {"light_k_umol": 55.0, "respiration_share": 0.065, "co2_k_mg_l": 0.0},
}
FORMS: dict[str, Values] = {
    "stem": {"light_floor": 0.35, "density_g_l": 25.0, "settle_d": 8.0, "pause_d": 5.0},
    "rosette": {"light_floor": 0.2, "density_g_l": 15.0, "settle_d": 25.0, "pause_d": 14.0},
    "epiphyte": {"light_floor": 0.15, "density_g_l": 30.0, "settle_d": 40.0, "pause_d": 21.0},
    "carpet": {"light_floor": 0.1, "density_g_l": 80.0, "settle_d": 18.0, "pause_d": 7.0},
    "moss": {"light_floor": 0.15, "density_g_l": 80.0, "settle_d": 18.0, "pause_d": 7.0},
    "creeping": {"light_floor": 0.2, "density_g_l": 40.0, "settle_d": 12.0, "pause_d": 6.0},
    "floating": {"measure": "cover_pct", "light_floor": 0.05, "density_g_l": 19.0, "settle_d": 3.0},
}
TO_THE_SURFACE = 999.0

# species, form, demand, true rate per day at reference conditions, ceiling
PLANTS = (
    ("limnophila-sessiliflora", "stem", "easy", 0.139, TO_THE_SURFACE),
    ("hygrophila-polysperma", "stem", "easy", 0.108, TO_THE_SURFACE),
    ("rotala-rotundifolia-green", "stem", "usual", 0.085, TO_THE_SURFACE),
    ("ludwigia-repens", "stem", "usual", 0.067, TO_THE_SURFACE),
    ("hydrocotyle-tripartita", "creeping", "usual", 0.150, 10.0),
    ("hemianthus-callitrichoides", "carpet", "hungry", 0.088, 5.0),
    ("eleocharis-pusilla", "carpet", "hungry", 0.045, 10.0),
    ("vesicularia-montagnei", "moss", "easy", 0.090, 6.0),
    ("anubias-barteri-nana", "epiphyte", "easy", 0.0060, 15.0),
    ("leptochilus-pteropus", "epiphyte", "easy", 0.0100, 35.0),
    ("bolbitis-heudelotii", "epiphyte", "usual", 0.0110, 38.0),
    ("bucephalandra-pygmaea", "epiphyte", "easy", 0.0100, 10.0),
    ("pogostemon-erectus", "stem", "hungry", 0.050, TO_THE_SURFACE),
    ("limnophila-aromatica", "stem", "hungry", 0.070, TO_THE_SURFACE),
    ("alternanthera-reineckii", "stem", "hungry", 0.036, TO_THE_SURFACE),
    ("echinodorus-grisebachii", "rosette", "easy", 0.036, TO_THE_SURFACE),
    ("helanthium-tenellum", "creeping", "easy", 0.030, 15.0),
    ("hygrophila-difformis", "stem", "easy", 0.098, TO_THE_SURFACE),
    ("vallisneria-nana", "rosette", "usual", 0.040, TO_THE_SURFACE),
    ("cryptocoryne-wendtii", "rosette", "easy", 0.0135, 30.0),
    ("taxiphyllum-barbieri", "moss", "easy", 0.080, 10.0),
    ("limnobium-laevigatum", "floating", "afloat", 0.085, 100.0),
    ("bacopa-australis", "stem", "usual", 0.080, 25.0),
    ("rotala-rotundifolia-hra", "stem", "hungry", 0.054, TO_THE_SURFACE),
    ("micranthemum-tweediei", "carpet", "usual", 0.067, 6.0),
    ("blyxa-japonica", "rosette", "usual", 0.039, 15.0),
    ("staurogyne-repens", "creeping", "usual", 0.044, 10.0),
)


def _traits() -> dict[str, Traits]:
    """True traits of the demo's plants."""
    traits = {}
    for name, form, demand, rate, ceiling in PLANTS:
        values = FORMS[form] | DEMANDS[demand]
        values |= {"rate_per_day": rate, "ceiling_cm": ceiling, "pause_d": values.get("pause_d", 0)}
        tall = ceiling == TO_THE_SURFACE
        traits[name] = Traits(name, form, reaches_surface=tall, **values)  # type: ignore[arg-type]
    return traits


TANKS = """\
tank_id,client,name,site,length_cm,width_cm,water_depth_cm,interval_d,first_visit,away_from,away_to,\
longest_d,reason,fixed_min,travel_min,note
lobby-stems,Lobby client,Your tank in the entrance hall,Entrance hall,118,47,49,7,\
2026-02-27,2026-08-03,2026-08-12,,,45,,High-light stem display with CO2
desk-nano,Client A,Your tank on the desk,Desk on the first floor,34,27,25,14,2026-02-19,\
,,,,25,,Carpet nano with CO2
study-rhizome,Client B,,Study,88,41,43,28,2026-02-24,,,28,the glass is cleaned every month,,,\
Rhizome plants on wood; glass needs cleaning monthly
reception,Client C,Your tank at reception,Reception,146,52,57,14,2026-02-27,\
,,,,40,,Reception tank with CO2
home-lowtech,Client D,Your tank in the living room,Living room,97,39,45,21,\
2026-02-24,2026-07-13,2026-07-31,,,,35,Tap water and no added CO2
shop-window,Client E,Your tank in the shop window,Shop window,62,36,38,14,\
2026-02-25,2026-10-16,2026-11-01,,,,,Cleared and replanted at the end of October
"""
CONDITIONS = """\
tank_id,from_date,ppfd_umol,photoperiod_h,co2_mg_l,kh_dkh,no3_mg_l,po4_mg_l,k_mg_l,fe_mg_l,\
temperature_c,note
lobby-stems,2025-09-02,118,8,25,,16,1.1,14,0.3,24.5,
lobby-stems,2026-06-15,92,,,,,,,,,"lamp dimmed, guests found it too bright"
desk-nano,2025-11-10,95,7.5,22,,12,0.8,10,0.2,23.5,
study-rhizome,2025-05-05,48,8,11,4,9,,,,25,
reception,2025-06-23,88,8,23,,18,1.2,16,0.3,25,
reception,2026-05-04,,,5,,,,,,,"cylinder empty since about this day, supplier late"
reception,2026-06-02,,,23,,,,,,,new cylinder connected
reception,2026-09-08,,,,,22,,18,,,stronger fertiliser dose
home-lowtech,2025-03-17,46,8.5,4,,14,,,,24,
shop-window,2025-10-13,85,8,20,,,,,,24.5,
shop-window,2026-10-28,,7,,,,,,,,"replanted, fewer hours of light at first"
"""
NOTES = """\
tank_id,on,note
lobby-stems,2026-03-20,filter cleaned
lobby-stems,2026-05-12,CO2 cylinder changed by supplier
lobby-stems,2026-06-15,lamp dimmed to 75 %
lobby-stems,2026-08-13,"back after the summer closure, everything dense"
lobby-stems,2026-09-21,"half of the water changed, glass scraped"
lobby-stems,2026-10-28,CO2 cylinder changed by supplier
desk-nano,2026-04-14,a few strands of hair algae taken out by hand
desk-nano,2026-07-07,"warm week, 26 degrees"
desk-nano,2026-10-02,filter cleaned
study-rhizome,2026-04-20,"old leaves taken out, one plantlet of java fern left"
study-rhizome,2026-09-01,feed pump replaced
reception,2026-05-04,CO2 cylinder empty
reception,2026-06-02,CO2 back
reception,2026-08-10,filter cleaned
home-lowtech,2026-03-10,"owner feeds a lot, mulm vacuumed"
home-lowtech,2026-08-01,owner back from holiday
home-lowtech,2026-10-12,two old crypt leaves removed
shop-window,2026-06-22,"bacopa leggy, replanting offered"
shop-window,2026-11-02,"first visit after replanting, some leaves melting"
"""
MEASURED = set(CONDITIONS.partition("\n")[0].split(",")[2:-1])


def _rows(table: str, tank_id: str) -> list[dict[str, str]]:
    return [row for row in csv.DictReader(io.StringIO(table)) if row["tank_id"] == tank_id]


def _conditions(tank_id: str) -> tuple[Condition, ...]:
    conditions = []
    for row in _rows(CONDITIONS, tank_id):
        values = {name: float(cell) for name, cell in row.items() if cell and name in MEASURED}
        conditions.append(Condition(date.fromisoformat(row["from_date"]), values, row["note"]))
    return tuple(conditions)


def _tanks() -> tuple[TankPlan, ...]:
    """Six tanks of different character, all invented."""
    return tuple(_tank(row) for row in csv.DictReader(io.StringIO(TANKS)))


def _tank(row: dict[str, str]) -> TankPlan:
    tank_id = row["tank_id"]
    notes = [(date.fromisoformat(note["on"]), note["note"]) for note in _rows(NOTES, tank_id)]
    away = [date.fromisoformat(row[name]) for name in ("away_from", "away_to") if row[name]]
    return TankPlan(
        tank_id,
        row["client"],
        row["site"],
        length_cm=float(row["length_cm"]),
        width_cm=float(row["width_cm"]),
        water_depth_cm=float(row["water_depth_cm"]),
        interval_d=int(row["interval_d"]),
        first_visit=date.fromisoformat(row["first_visit"]),
        conditions=_conditions(tank_id),
        longest_interval_d=int(row["longest_d"]) if row["longest_d"] else None,
        fixed_min=float(row["fixed_min"]) if row["fixed_min"] else None,
        travel_min=float(row["travel_min"]) if row["travel_min"] else None,
        note=f"Invented. {row['note']}",
        name=row["name"],
        longest_interval_reason=row["reason"],
        away=(Away(*away),) if away else (),
        dated_notes=tuple(notes),
    )


AREAS = """\
tank_id,area,label,species,ground_cm2,floor,budget,cut,light_share,planted_on,start
lobby-stems,lobby-ambulia,back left ambulia,limnophila-sessiliflora,640,9,22.5,10,1,2025-09-02,15
lobby-stems,lobby-hygro,back right hygrophila,hygrophila-polysperma,580,9,20.5,10,0.95,2025-09-02,14
lobby-stems,lobby-rotala,middle rotala bush,rotala-rotundifolia-green,720,8,17,9,1,2025-09-02,12
lobby-stems,lobby-ludwigia,red accent,ludwigia-repens,310,10,18,11,0.9,2025-10-14,14
lobby-stems,lobby-pennywort,front pennywort,hydrocotyle-tripartita,430,2,5,2.5,0.9,2025-09-02,4
desk-nano,nano-cuba,front carpet,hemianthus-callitrichoides,390,1,3.6,1.3,1,2025-11-10,1.8
desk-nano,nano-hairgrass,right hairgrass,eleocharis-pusilla,170,2,5,2.5,1,2025-11-10,3.2
desk-nano,nano-moss,moss on the root,vesicularia-montagnei,95,1.2,3.8,1.5,0.85,2025-11-10,2
study-rhizome,study-anubias,anubias on the wood,anubias-barteri-nana,260,6,10,7.5,0.8,2025-05-05,8.5
study-rhizome,study-fern,java fern at the back,leptochilus-pteropus,540,14,25,18,0.9,2025-05-05,20
study-rhizome,study-bolbitis,bolbitis on the left,bolbitis-heudelotii,330,15,27,19,0.9,2025-05-05,21
study-rhizome,study-buce,bucephalandra stones,bucephalandra-pygmaea,140,3.5,7,5,0.7,2025-06-10,5.5
reception,recep-pogo,back pogostemon,pogostemon-erectus,820,10,26,12,1,2025-06-23,16
reception,recep-aroma,back left limnophila,limnophila-aromatica,690,10,31,12,1,2025-06-23,18
reception,recep-altern,red group,alternanthera-reineckii,460,10,21,12,0.9,2025-06-23,14
reception,recep-sword,solitary sword,echinodorus-grisebachii,380,17,34,22,1,2025-06-23,26
reception,recep-tenellum,foreground,helanthium-tenellum,910,4,9,5,0.95,2025-06-23,6
home-lowtech,home-wisteria,back wisteria,hygrophila-difformis,520,9,25,11,0.8,2025-03-17,14
home-lowtech,home-vallis,vallisneria on the right,vallisneria-nana,410,15,32,19,0.8,2025-03-17,22
home-lowtech,home-crypt,crypts in the middle,cryptocoryne-wendtii,350,11,19,13,0.7,2025-03-17,14
home-lowtech,home-moss,moss on the stone,taxiphyllum-barbieri,160,2,5,2.5,0.75,2025-04-28,4
home-lowtech,home-frogbit,frogbit in the corner,limnobium-laevigatum,900,10,46,20,1,2025-04-28,25
shop-window,shop-bacopa,bacopa bush,bacopa-australis,480,5,16,6,1,2025-10-13,9
shop-window,shop-rotala,back rotala,rotala-rotundifolia-hra,330,6,18,7,1,2026-10-29,5
shop-window,shop-blyxa,blyxa in the middle,blyxa-japonica,210,5.5,11,6.5,1,2026-10-29,6
shop-window,shop-pearl,front carpet,micranthemum-tweediei,420,1.2,4,1.5,1,2026-10-29,1.5
shop-window,shop-stauro,side staurogyne,staurogyne-repens,190,2.5,6,3,0.9,2026-10-29,3
"""
REPLANTED_ON = date(2026, 10, 29)
CLEARED_ON = date(2026, 10, 26)


def _areas() -> tuple[AreaPlan, ...]:
    return tuple(_area(row) for row in csv.DictReader(io.StringIO(AREAS)))


def _area(row: dict[str, str]) -> AreaPlan:
    planted_on, start = date.fromisoformat(row["planted_on"]), float(row["start"])
    gone = row["area"] == "shop-bacopa"
    return AreaPlan(
        area_id=row["area"],
        tank_id=row["tank_id"],
        label=row["label"],
        species_id=row["species"],
        area_cm2=float(row["ground_cm2"]),
        floor_cm=float(row["floor"]),
        budget_cm=float(row["budget"]),
        cut_cm=float(row["cut"]),
        planted_on=planted_on,
        light_share=float(row["light_share"]),
        planted_height_cm=start if planted_on == REPLANTED_ON else None,
        removed_on=CLEARED_ON if gone else None,
        note="taken out when the tank was cleared" if gone else "",
        start_cm=start,
    )


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
        terms=TERMS,
        visit=VISIT,
        fixed_min=35,
        travel_min=20,
    )
    return simulate(plan, SEED, RICHNESS)


if __name__ == "__main__":
    demo_practice().write_book(HERE)
