"""What has begun to grow otherwise than usual, in words, and what to look at first.

The checks are a list to go through, not a diagnosis; their orders are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import replace
from typing import Any

from growthcast.plain import Said
from growthcast.say import words as tell
from growthcast.say.texts import TERMINAL, Texts
from growthcast.service.watch.judge import DropSeen
from growthcast.service.watch.watch import Finding, TankWatch, WatchReport


def checks_for(finding: Finding, texts: Texts = TERMINAL) -> list[str]:
    """Return what to check, in order."""
    noted = finding.noted
    said = []
    if noted is not None:
        said.append(texts.say("check_noted", noted=noted))
    if finding.kind == "tank" and finding.alone:
        said.append(texts.say("check_one_area"))
    way = "slower" if finding.slower else "quicker"
    listed = texts.say(f"check_{finding.kind}_{way}").splitlines()
    without_co2 = finding.kind == "tank" and finding.slower and not finding.has_co2
    return [*said, *(listed[1:] if without_co2 else listed), texts.say("check_log")]


def watch_answer(report: WatchReport, ended: Collection[str] = (), *, by_area: bool) -> tell.Answer:
    """Say whether all grow as usual, the verdicts in a table, each finding with what to check.

    Tanks of ``ended`` are those in which nothing lives any more: no row is theirs, unless something
    was found of them.
    """
    bare = [one.tank_id for one in report.tanks if one.tank_id in ended and not one.findings]
    report = replace(report, tanks=tuple(t for t in report.tanks if t.tank_id not in bare))
    if not report.tanks:
        return tell.Answer(tell.no_row_words(bare))
    rows = [{"tank": one, "point": one.recent, "verdict": _standing(one)} for one in report.tanks]
    notes = [tell.no_row_words(bare)] if bare else []
    for finding in report.findings:
        notes += _finding(finding)
    if any(finding.slower for finding in report.findings):
        notes.append(tell.sentence("watch_small_steps"))
    if report.usual_until is not None:
        until, ranges = report.usual_until, tell.RANGES_HOLD
        notes.append(tell.sentence("watch_usual", until=until, ranges=ranges, on=report.on))
    if not report.needs_attention:
        notes.append("A change is seen from several readings, a small one late or not at all.")
    behind = _behind(report, by_area=by_area)
    return tell.Answer(lead_words(report), tell.table("watch_tanks", rows), notes, behind)


UNJUDGED = "cannot be judged yet"


def lead_words(report: WatchReport) -> str:
    """Say which tanks and species grow otherwise than usual, and how the other tanks grow."""
    groups = tell.grouped(
        (UNJUDGED if tank.recent is None else _verdict(tank.findings), tank.tank_id)
        for tank in report.tanks
    )
    said = [f"{finding_name(one)} grow {_verdict([one])}" for one in report.across]
    for how in sorted(groups, key=["as usual", UNJUDGED].count):
        names = groups[how]
        who = tell.some_names(names)
        if len(groups) == 1 and len(names) > 2:
            who = f"all {who}"
        verb = "" if how == UNJUDGED else "grows " if len(names) == 1 else "grow "
        said.append(f"{who} {verb}{how}")
    return f"{tell.capital('; '.join(said), [tank.tank_id for tank in report.tanks])}."


def _behind(report: WatchReport, *, by_area: bool) -> tell.Words:
    """Yield areas or species, how soon a drop is seen, and how to read it all."""
    for tank in report.tanks if by_area else ():
        if tank.areas:
            struck = {finding.area_id for finding in tank.findings}
            rows = [
                {"of": one.name, "point": one.recent, "struck": one.area_id in struck}
                for one in tank.areas
            ]
            yield tell.table("watch_parts", rows, ["tanks"], what="area", whose=tank.tank_id)
    if report.species and not by_area:
        struck = {finding.species_id for finding in report.across}
        rows = [
            {"of": one.species_id, "tanks": one.tanks, "point": one.recent}
            | {"struck": one.species_id in struck}
            for one in report.species
        ]
        yield tell.table("watch_parts", rows, what="species", whose="")
    if any(tank.drop_seen for tank in report.tanks):
        judged = [tank for tank in report.tanks if tank.recent is not None]
        drops = [{"tank": tank, **_noticed(tank.drop_seen)} for tank in judged]
        yield tell.table("watch_drops", drops)
    if changed := [tank for tank in report.tanks if tank.changed_on]:
        days = [", ".join(tell.day_words(d, report.on) for d in t.changed_on) for t in changed]
        which = "; ".join(f"{t.tank_id} on {on}" for t, on in zip(changed, days, strict=True))
        yield tell.sentence("watch_changed", which=which)
    if report.usual_until is not None:
        yearly = report.false_alarms_a_year
        yield tell.sentence("watch_alarms", alarms=yearly, years=1.0 / yearly)
    if not report.needs_attention:
        yield tell.sentence("watch_nothing")


def finding_name(finding: Finding, texts: Texts = TERMINAL) -> str:
    """Return who grows otherwise than usual."""
    name = tell.named(finding.name)
    if finding.kind == "species":
        return texts.say("watch_species", name=name)
    if finding.alone:
        return texts.say("watch_only_area")
    return name or texts.say("watch_whole_tank")


def finding_sentence(finding: Finding, texts: Texts = TERMINAL) -> str:
    """Say in one sentence who grows how, since when."""
    who, low = finding_name(finding, texts), 100 * finding.growth_share[0]
    return texts.say("watch_grows", who=who, finding=finding, low=low)


def noticed_sentence(finding: Finding, texts: Texts = TERMINAL) -> str:
    """Say in one sentence who grows how, since when, and when that was noticed."""
    return texts.say("watch_noticed", said=finding_sentence(finding, texts), finding=finding)


def tank_sentence(tank: TankWatch, texts: Texts = TERMINAL) -> str:
    """Say how a tank grows, or why nothing can be said."""
    if tank.status != "too few visits":
        said = "; ".join(finding_sentence(one, texts) for one in tank.findings)
        return said or texts.say("watch_as_usual")
    return texts.say("watch_too_few", few=tank.visits < tank.visits_needed, tank=tank)


def _of_finding(finding: Finding) -> dict[str, Any]:
    said = {"sentence": finding_sentence(finding), "also_possible": _also(finding)}
    return {**said, "check": checks_for(finding)}


SAID: Said = {Finding: _of_finding, TankWatch: lambda tank: {"sentence": tank_sentence(tank)}}


def _also(finding: Finding) -> list[str]:
    return [area_id or TERMINAL.say("watch_whole_tank") for area_id in finding.also]


def _finding(finding: Finding) -> Iterator[str]:
    where = ", ".join(finding.tank_ids)
    yield f"{where}: {noticed_sentence(finding)}"
    if finding.also:
        yield f"  The readings fit nearly as well if it is {' or '.join(_also(finding))} instead."
    yield f"  {TERMINAL.say('desk_to_check')}"
    for number, check in enumerate(checks_for(finding), start=1):
        yield f"  {number}. {check}"


def _standing(tank: TankWatch) -> str:
    """Return what the table says of a tank's growth."""
    if tank.recent is None:
        few = tank.visits < tank.visits_needed
        return tell.sentence("watch_unread", tank=tank, few=few)
    struck = bool(tank.findings)
    return tell.sentence("watch_standing", point=tank.recent, struck=struck)


def _verdict(findings: Sequence[Finding]) -> str:
    """Return how what was found grows, as a clause's end."""
    if not findings:
        return "as usual"
    ways = dict.fromkeys(f"{'slower' if one.slower else 'quicker'} than usual" for one in findings)
    whole = all(one.kind != "area" or one.alone for one in findings)
    return f"{' or '.join(ways)}{'' if whole else ' in some areas'}"


def _noticed(drop: DropSeen | None) -> dict[str, Any]:
    """Return how surely a drop is seen, and after how many visits it is nine times of ten."""
    if drop is None or drop.chance_within_3_visits is None:
        return {"drop": None, "visits": None, "days": None}
    count = drop.visits_for_9_of_10 or len(drop.chances)
    return {"drop": drop, "visits": count, "days": drop.days(count)}
