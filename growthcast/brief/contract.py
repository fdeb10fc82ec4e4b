"""What all tanks of a client come to: the price of a month, with VAT, and what a visit includes."""

from __future__ import annotations

from collections.abc import Sequence

from growthcast.arrays import IntArray
from growthcast.book.book import Book, Practice
from growthcast.brief.page import (
    Block,
    Fact,
    Facts,
    Heading,
    Items,
    Paragraph,
    Table,
    columns,
)
from growthcast.brief.visits import PlannedVisit
from growthcast.errors import UsageError
from growthcast.fit.result import GrowthFit
from growthcast.say.client import MONTHS_A_YEAR, days_of_100, place_words, worth
from growthcast.say.locale import Locale
from growthcast.say.reasons import reason
from growthcast.say.words import named
from growthcast.service.pages.client import TankFacts, gather_tank
from growthcast.service.pages.contract import Contract, with_vat


def gather_facts(
    book: Book,
    fit: GrowthFit,
    tanks: IntArray,
    visits: Sequence[PlannedVisit] | None = None,
    every_d: int | None = None,
) -> list[TankFacts]:
    """Gather what a page says of some tanks.

    Parameters
    ----------
    book : Book
        The book.
    fit : GrowthFit
        Its fit.
    tanks : int array
        Places of the tanks in the book.
    visits : sequence of PlannedVisit, optional
        The plan of visits, None where none was made.
    every_d : int, optional
        The rhythm to argue for [d], where it is not the recommended one.

    Returns
    -------
    list of TankFacts
        In the order of ``tanks``.

    Raises
    ------
    UsageError
        Where none of a tank's plants is likely to hold.
    """
    facts = []
    for tank in tanks.tolist():
        name = str(book.tanks.text("tank_id")[tank])
        planned = [visit.on for visit in visits or () if visit.tank_id == name]
        facts.append(gather_tank(book, fit, tank, every_d, planned))
        if facts[-1].advice.nothing_holds:
            raise UsageError(f"no page for {name}: {reason(facts[-1].advice)}")
    return facts


def contract_blocks(
    locale: Locale, practice: Practice, facts: Sequence[TankFacts], contract: Contract
) -> list[Block]:
    """Build the whole of a client's tanks: its price, and what each tank gets."""
    currency = practice.currency if contract.price_per_h else ""
    blocks: list[Block] = [_facts(locale, practice, facts, contract, currency)]
    if contract.visits - contract.journeys >= 0.5:
        saved_h = contract.hours_apart - contract.hours.p50
        saved = worth(locale, currency, saved_h * contract.price_per_h, saved_h)
        said = locale.say(
            "contract_shared",
            journeys=locale.count("journey", round(contract.journeys)),
            visits=locale.count("visit", round(contract.visits)),
            amount=saved,
        )
        blocks.append(Paragraph(said))
    blocks.append(_table(locale, facts, contract, currency))
    return blocks


def includes(locale: Locale, practice: Practice, level: int) -> list[Block]:
    """Build what a visit includes in the owner's words, nothing where none are given."""
    if not practice.includes:
        return []
    said = tuple(named(text) for text in practice.includes)
    return [Heading(locale.say("includes_heading"), level), Items(said)]


def vat_words(locale: Locale, practice: Practice, net: float) -> str:
    """Return the price with value added tax, "" where nothing is said of it."""
    if practice.vat_percent is None or practice.labour_rate_per_h <= 0.0:
        return ""
    _, gross = with_vat(net, practice.vat_percent)
    return locale.say(
        "price_vat",
        percent=locale.exact(practice.vat_percent, "%"),
        gross=locale.money(gross, practice.currency),
    )


def _facts(
    locale: Locale,
    practice: Practice,
    tanks: Sequence[TankFacts],
    contract: Contract,
    currency: str,
) -> Facts:
    year = contract.cost if currency else contract.hours
    month = year.p50 / MONTHS_A_YEAR
    amounts = {
        name: worth(locale, currency, at, at)
        for name, at in (("low", year.p10), ("amount", year.p50), ("high", year.p90))
    }
    note = locale.say(
        "contract_year",
        visits=locale.count("visit", round(contract.visits)),
        journeys=locale.count("journey", round(contract.journeys)),
        **amounts,
    )
    price = locale.say("a_month", amount=worth(locale, currency, month, month))
    found = [Fact(locale.say("fact_price" if currency else "fact_time"), price, note)]
    if currency and practice.vat_percent is not None:
        tax, gross = with_vat(month, practice.vat_percent)
        percent = locale.exact(practice.vat_percent, "%")
        paid = locale.say("a_month", amount=locale.money(gross, currency))
        of_it = locale.say("vat_note", tax=locale.money(tax, currency))
        found.append(Fact(locale.say("fact_vat", percent=percent), paid, of_it))
    if days := [tank.next_on for tank in tanks if tank.next_on is not None]:
        found.append(Fact(locale.say("fact_next"), locale.full_date(min(days))))
    yes = locale.say("fact_yes")
    if practice.contact:
        return Facts((*found, Fact(yes, named(practice.contact), contact=True)))
    return Facts((*found, Fact(yes, locale.say("yes_here"), locale.say("yes_note"))))


def _table(locale: Locale, tanks: Sequence[TankFacts], contract: Contract, currency: str) -> Table:
    def month(hours: float) -> str:
        each = hours / MONTHS_A_YEAR
        return worth(locale, currency, each * contract.price_per_h, each)

    rows = []
    for tank, hours in zip(tanks, contract.hours_at_tanks, strict=True):
        option, none = tank.option, locale.say("against_none")
        rows.append(
            (
                place_words(locale, tank),
                none if option is None else locale.count("every", option.interval_d),
                none if option is None else days_of_100(locale, option.share_of_days_presentable),
                none if tank.next_on is None else locale.full_date(tank.next_on),
                month(hours),
            )
        )
    journeys = locale.say("per_year", count=locale.count("journey", round(contract.journeys)))
    road = contract.hours.p50 - sum(contract.hours_at_tanks)
    rows.append((locale.say("contract_road"), journeys, "", "", month(road)))
    heads = columns(locale, "col", "tank every presentable next_on at_tank", "at_tank", "tank")
    return Table(locale.say("contract_caption"), heads, tuple(rows))
