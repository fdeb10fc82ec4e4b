"""A small correct book as text, which the tests change one file at a time. All of it invented."""

from __future__ import annotations

from datetime import date
from pathlib import Path

TODAY = date(2026, 4, 1)

SPECIES_HEADER = (
    "species_id,scientific_name,common_name,form,measure,rate_per_day,rate_spread,ceiling_cm,"
    "ceiling_spread,reaches_surface,light_k_umol,light_floor,respiration_share,co2_k_mg_l,"
    "n_k_mg_l,p_k_mg_l,k_k_mg_l,temp_min_c,temp_opt_c,temp_max_c,density_g_l,lowest_cut_cm,"
    "needs_co2,cut_practice,settle_d,pause_d,caution,basis,source\n"
)
SPECIES = (
    SPECIES_HEADER
    + "rotala-rotundifolia,Rotala rotundifolia,roundleaf toothcup,stem,height_cm,0.08,0.4,60,0.2,"
    "true,80,0.3,0.05,5,1,0.05,1,15,25,32,60,3,helps,cut,10,5,,estimate,own\n"
    "hydrocotyle-tripartita,Hydrocotyle tripartita,pennywort,carpet,height_cm,0.09,0.4,20,0.2,"
    "false,80,0.1,0.05,5,1,0.05,1,15,24,30,80,1,helps,cut,10,5,,estimate,own\n"
    "salvinia-natans,Salvinia natans,floating fern,floating,cover_pct,0.2,0.4,100,0.1,"
    "false,90,0.1,0.05,1,1,0.05,1,12,25,32,3,0,no,net,3,0,,estimate,own\n"
)

FILES = {
    "practice.toml": """[practice]
name = "Example practice"
currency = "EUR"
labour_rate_per_h = 58.0
[visit]
fixed_min = 35
travel_min = 20
[targets]
confidence = 0.90
intervals_d = [14, 7, 21]
horizon_d = 60
""",
    "tanks.csv": "tank_id,client,length_cm,width_cm,water_depth_cm,confidence\n"
    "T1,a clinic,90,45,40,\nT2,a school,60,30,30,0.95\n",
    "areas.csv": "area_id,tank_id,label,species_id,area_cm2,floor_cm,budget_cm,cut_cm,planted_on\n"
    "A1,T1,left,rotala-rotundifolia,300,8,25,12,2026-01-01\n"
    "A2,T1,front,hydrocotyle-tripartita,400,2,6,,2026-01-01\n"
    "A3,T2,top,salvinia-natans,1800,10,60,20,2026-01-01\n",
    "trims.csv": "date,tank_id,area_id,before_cm,after_cm,removed_cm,removed_g,look,minutes,note\n"
    "2026-02-01,T1,A1,24.5,12,,,over,10,\n"
    "2026-02-01,T1,A2,5,3,2,,,5,\n"
    "2026-02-15,T1,,,,,120,,25,whole tank\n"
    '2026-02-15,T2,A3,50,20,,,,4,"a, quoted note"\n',
    "conditions.csv": "tank_id,from_date,ppfd_umol,photoperiod_h,co2_mg_l,temperature_c\n"
    "T1,2026-01-01,90,8,25,25\nT2,2026-01-01,60,7,20,24\n",
}


def write_book(folder: Path, changes: dict[str, str | bytes | None]) -> Path:
    """Write the small book with some files replaced (text or bytes) or left out (None)."""
    folder.mkdir(exist_ok=True)
    for name, content in {**FILES, **changes}.items():
        if content is not None:
            data = content.encode() if isinstance(content, str) else content
            (folder / name).write_bytes(data)
    return folder


def write_species(folder: Path) -> Path:
    """Write the species table that stands in for the one that ships."""
    folder.mkdir(exist_ok=True)
    (folder / "species.csv").write_text(SPECIES)
    return folder
