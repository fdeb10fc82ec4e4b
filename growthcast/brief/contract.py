"""What all tanks of a client come to: the price of a month, with VAT, and what a visit includes."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from growthcast.arrays import IntArray
from growthcast.book.book import Book, Practice
from growthcast.brief import page
from growthcast.brief.visits import Plan
from growthcast.errors import UsageError
from growthcast.fit.result import GrowthFit
from growthcast.say import client as tell
from growthcast.say import strip
from growthcast.say.locale import Locale
from growthcast.say.reasons import reason
from growthcast.say.words import named
from growthcast.service.pages.client import TankFacts, gather_tank
from growthcast.service.pages.contract import Contract, longer_each, month_price, with_vat

MOST_VISITS = 12


def gather_facts(
    book: Book, fit: GrowthFit, tanks: IntArray, visits: Plan = None, every_d: int | None = None
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
) -> list[page.Block]:
    """Build the whole of a client's tanks: its price, and what each tank gets."""
    said = []
    if contract.visits - contract.journeys >= 0.5:
        alone = sum(strip.year_price(t.option.year.cost) for t in facts if t.option is not None)
        saved_h = contract.hours_apart - contract.hours.p50
        amount = strip.worth(locale, alone - strip.year_price(contract.cost.p50), saved_h)
        said.append(locale.say("contract_shared", amount=amount, **_counts(locale, contract)))
    longer = contract.hours_longer * contract.price_per_h
    if round(longer) < round(contract.cost.p50):
        said.append(_longer_words(locale, practice, facts, longer))
    paragraph = [page.Paragraph(" ".join(said))] if said else []
    facts_found = _facts(locale, practice, facts, contract)
    return [facts_found, *paragraph, _table(locale, facts, contract)]


def _counts(locale: Locale, contract: Contract) -> dict[str, str]:
    """Return how many visits and journeys a year has, in words."""
    counts = {"journey": contract.journeys, "visit": contract.visits}
    return {f"{name}s": locale.count(name, round(number)) for name, number in counts.items()}


def _longer_words(
    locale: Locale, practice: Practice, facts: Sequence[TankFacts], cost: float
) -> str:
    """Return what all tanks cost at their next longer rhythms, and which these are."""
    vat = practice.vat_percent
    price = locale.say("a_month", amount=locale.money(month_price(cost)))
    price = strip.gross_month(locale, cost, vat) if vat else price
    every = [(tank, row) for tank, row in longer_each(facts) if row is not tank.option]
    rows = (
        f"{tell.place_words(locale, t)}: {locale.count('every', o.interval_d)}" for t, o in every
    )
    return locale.say("contract_longer", price=price, rows="; ".join(rows))


def includes(locale: Locale, practice: Practice, *, new_sheet: bool = False) -> list[page.Block]:
    """Build what a visit includes in the owner's words, nothing where none are given."""
    if not practice.includes:
        return []
    said = tuple(named(text) for text in practice.includes)
    return [page.Heading(locale.say("includes_heading"), new_sheet=new_sheet), page.Items(said)]


def vat_words(locale: Locale, practice: Practice, year: float) -> str:
    """Return a year's price as a month's with value added tax, or that it is without a rate."""
    vat = practice.vat_percent
    if not locale.currency:
        return locale.say("price_no_rate")
    if not vat:
        return locale.say("price_net" if vat is None else "price_no_vat")
    _, gross = with_vat(month_price(year), vat)
    return locale.say("price_vat", vat=vat, unit="%", gross=gross)


def yes_fact(locale: Locale, practice: Practice) -> page.Fact:
    """Return how to say yes and on what terms, or which are still to be agreed."""
    terms = " ".join(named(text) for text in practice.terms) or locale.say("yes_open")
    contact = named(practice.contact)
    value = contact or locale.say("yes_here")
    return page.Fact(locale.say("fact_yes"), value, terms, contact=bool(contact))


def _facts(
    locale: Locale, practice: Practice, tanks: Sequence[TankFacts], contract: Contract
) -> page.Facts:
    year, net = contract.cost if locale.currency else contract.hours, contract.cost.p50
    middle = strip.year_price(net) if locale.currency else year.p50
    amounts = {"low": year.p10, "amount": middle, "high": year.p90}
    blanks = {name: strip.worth(locale, at, at) for name, at in amounts.items()}
    key = "contract_year_agreed" if locale.currency and practice.terms else "contract_year"
    note = locale.say(key, **_counts(locale, contract), **blanks)
    price = locale.say("a_month", amount=strip.a_month(locale, net, contract.hours.p50))
    if locale.currency and not practice.vat_percent:
        note = f"{note}; {vat_words(locale, practice, net)}"
    found = [page.Fact(locale.say("fact_price" if locale.currency else "fact_time"), price, note)]
    if locale.currency and practice.vat_percent:
        tax, gross = with_vat(month_price(net), practice.vat_percent)
        percent = locale.exact(practice.vat_percent, "%")
        paid = locale.say("a_month", amount=locale.money(gross))
        of_it = locale.say("vat_note", tax=locale.money(tax))
        found.append(page.Fact(locale.say("fact_vat", percent=percent), paid, of_it))
    if days := [tank.next_on for tank in tanks if tank.next_on is not None]:
        found.append(page.Fact(locale.say(tell.next_visit_key(tanks)), locale.week_date(min(days))))
    return page.Facts((*found, yes_fact(locale, practice)))


def _table(locale: Locale, tanks: Sequence[TankFacts], contract: Contract) -> page.Table:
    def month(hours: float) -> str:
        return strip.a_month(locale, hours * contract.price_per_h, hours)

    rows = []
    for tank, hours in zip(tanks, contract.hours_at_tanks, strict=True):
        option, every, looks, day = tank.option, *[locale.say("against_none")] * 3
        if option is not None:
            every = locale.count("every", option.interval_d)
            looks = strip.days_of_100(locale, option.share_of_days_presentable)
        if tank.next_on is not None:
            day = locale.week_date(tank.next_on)
        rows.append((tell.place_words(locale, tank), every, looks, day, month(hours)))
    journeys = locale.say("per_year", count=locale.count("journey", round(contract.journeys)))
    road = month(contract.hours.p50 - sum(contract.hours_at_tanks))
    if locale.currency:  # what is left of the whole, so that the column adds up
        at_tanks = (month_price(h * contract.price_per_h) for h in contract.hours_at_tanks)
        road = locale.money(month_price(contract.cost.p50) - sum(at_tanks))
    rows.append((locale.say("contract_road"), journeys, "", "", road))
    heads = page.columns(locale, "tank every presentable next_on at_tank", "at_tank", "tank")
    return page.Table(locale.say("contract_caption"), heads, tuple(rows))


def next_visits(
    locale: Locale, visits: Plan, tanks: Sequence[TankFacts], on: date
) -> list[page.Block]:
    """Build the visits that a plan has for some tanks, nothing where there is no plan."""
    if visits is None:
        return []
    heading = page.Heading(locale.say("visits_heading"))
    names = {tank.tank_id: tell.place_words(locale, tank) for tank in tanks}
    mine = [visit for visit in visits if visit.tank_id in names and visit.on >= on]
    if not mine:
        return [heading, page.Paragraph(locale.say("visits_none", date=locale.long_date(on)))]
    rows = tuple((locale.full_date(v.on), names[v.tank_id]) for v in mine[:MOST_VISITS])
    heads = page.columns(locale, "date why", free="why")
    return [heading, page.Table(locale.say("visits_caption"), heads, rows)]
