"""What to look at first when growth changes, in words; a list to check, not a diagnosis.

The orders are common practice, no source.
"""

from __future__ import annotations

from growthcast.service.watch.report import Finding

CO2 = "CO2: bottle empty, valve or timer, clogged diffuser; drop checker and pH before lights on"
LAMP = (
    "lamp: timer, dimmer, a failed row of lights, dirty cover glass; measure at the substrate if "
    "you can"
)
SHADE = "light in the water: floating plants spread, tall plants over the others, cloudy water"
DOSING = "dosing: pump or bottle empty, doses forgotten; test nitrate, phosphate and potassium"
FLOW = "filter and flow: clogged sponge, pump slower, outlet turned away"
WARMTH = "temperature: heater or cooler against a second thermometer"
LOG = "the log: another hand with the ruler, a cut not written down, rows under a wrong area"
TANK_DROP = (CO2, LAMP, SHADE, DOSING, FLOW, WARMTH, LOG)
TANK_DROP_WITHOUT_CO2 = (LAMP, SHADE, DOSING, FLOW, WARMTH, LOG)
TANK_RISE = (
    "lamp: brighter, nearer or longer than written down",
    "CO2 and dosing: more than written down; more fish or more food",
    "temperature: warmer than written down",
    LOG,
)
AREA_DROP = (
    "shade: a neighbour or floating plants over this area",
    "the plant itself: cut to bare stems, stems old and woody, melting, pests, just moved",
    "its roots: substrate spent or compacted, no root feed",
    "flow does not reach it any more",
    LOG,
)
AREA_RISE = (
    "more light on it than before: a neighbour cut back or taken out",
    "root feed or new substrate there",
    "the area has spread or was replanted more densely",
    LOG,
)
SPECIES_DROP = (
    "a nutrient this species needs more of than the others; test potassium, iron and nitrate",
    "temperature or water change, if these tanks share the source water",
    "what these tanks had in common: plants moved between them, a treatment, a way of cutting",
    LOG,
)
SPECIES_RISE = (
    "what these tanks had in common: feed, a way of cutting, warmer water",
    LOG,
)
ONE_AREA = "one area is planted here, so its plant and its tank cannot be told apart: check both"


def checks_for(finding: Finding) -> list[str]:
    """Return what to check, in order."""
    noted = finding.noted
    said = []
    if noted is not None:
        note = f" ({noted.note})" if noted.note else ""
        said.append(
            f"conditions.csv has a change on {noted.on}{note}, which the forecasts count already: "
            "its effect may be another than the tables say, or the values were not reached"
        )
    if finding.kind == "tank" and finding.alone:
        said.append(ONE_AREA)
    drop = TANK_DROP if finding.has_co2 else TANK_DROP_WITHOUT_CO2
    listed = {
        ("tank", True): drop,
        ("tank", False): TANK_RISE,
        ("area", True): AREA_DROP,
        ("area", False): AREA_RISE,
        ("species", True): SPECIES_DROP,
        ("species", False): SPECIES_RISE,
    }
    return [*said, *listed[finding.kind, finding.slower]]
