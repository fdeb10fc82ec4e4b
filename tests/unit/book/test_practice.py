"""``practice.toml``."""

from __future__ import annotations

from datetime import date

import pytest

from growthcast.book.book import Practice
from growthcast.book.findings import format_finding
from growthcast.book.practice import read_practice

RATE = "[practice]\nlabour_rate_per_h = 50\n"


def test_everything_has_a_default():
    practice, findings = read_practice(b"# nothing yet\n")
    assert practice == Practice()
    assert [item.slug for item in findings] == ["no-labour-rate"]


def test_intervals_come_in_any_order():
    practice, _ = read_practice(b"[targets]\nintervals_d = [28, 7.0, 14]\n")
    assert practice.intervals_d == (7, 14, 28)


def test_how_whole_tanks_are_read_is_open_until_the_practice_says_so():
    practice, _ = read_practice(b'[log]\nwhole_tank_grams = "rest"\n')
    assert (practice.whole_tank_grams, practice.whole_tank_minutes) == ("rest", None)


@pytest.mark.parametrize(
    ("text", "slug", "line", "fix"),
    [
        ("[targets]\nconfidence = 90", "percent-for-share", 4, "write 0.90"),
        ("[targets]\nconfidence = 0.3", "out-of-range", 4, None),
        ("[targets]\nconfidence = nan", "not-finite", 4, None),
        ("[targets]\nconfidence = true", "wrong-kind", 4, None),
        ("[targets]\nintervals_d = [\n 7,\n 0]", "out-of-range", 4, None),
        ("[targets]\nintervals_d = [7, 7]", "double-interval", 4, "remove one"),
        ("[targets]\nintervals_d = 7", "wrong-kind", 4, None),
        ("[targets]\nintervals_d = []", "wrong-kind", 4, None),
        ("[targets]\nintervals_d = [7.5]", "not-whole", 4, None),
        ("[targets]\nhorizon_d = 731", "out-of-range", 4, None),
        ("[target]\nconfidence = 0.9", "near-key", 3, 'did you mean "targets"?'),
        ("[visit]\nfixed_mins = 30", "near-key", 4, 'did you mean "fixed_min"?'),
        ("[visit]\nfixed_min = -1", "out-of-range", 4, None),
        ("[visit]\nfixed_min = 0x" + "f" * 5000, "out-of-range", 4, None),
        ("[visit\n", "toml-form", 3, None),
        ("[visit]\nfixed_min = 35,5", "toml-form", 4, None),
        ("[fit]\nheight_error_cm = 0", "out-of-range", 4, None),
        ('locale = "de_DE"', "not-a-choice", 3, 'did you mean "de-DE"?'),
        ('locale = "de"', "not-a-choice", 3, 'write as "de-DE"'),
        ('locale = "no-NO"', "not-a-choice", 3, 'did you mean "nn-NO"?'),
        ('locale = "tlh-GB"', "not-a-choice", 3, 'write as "en-GB"'),
        ("locale = 7", "wrong-kind", 3, "put it in quotes"),
        ('logo = "logo.gif"', "not-a-picture", 3, None),
        ('logo = "a/../../logo.png"', "not-a-picture", 3, None),
        ('logo = "/etc/logo.png"', "not-a-picture", 3, None),
        ('logo = "C:/logo.png"', "not-a-picture", 3, None),
        ("[rounds]\nhours_per_day = 0", "out-of-range", 4, None),
        (
            *("[rounds]\nhours_per_day = 2000", "out-of-range", 4),
            "check the number and that it is hours a day",
        ),
        ("[rounds]\nworking_days = []", "wrong-kind", 4, None),
        ('[rounds]\nworking_days = "mon"', "wrong-kind", 4, None),
        ('[rounds]\nworking_days = ["Monday"]', "not-a-choice", 4, 'write "mon"'),
        ('[rounds]\nworking_days = ["lun"]', "not-a-choice", 4, None),
        ('[rounds]\nworking_days = ["mon", "tue", "mon"]', "double-day", 4, "remove one"),
        ('[rounds]\ndays_off = ["25.12.2026"]', "date-form", 4, None),
        ('[rounds]\ndays_off = ["2026-02-30"]', "no-such-day", 4, None),
        ("[rounds]\ndays_off = [2026-12-25T10:00:00]", "date-with-time", 4, None),
        ("[rounds]\ndays_off = 2026-12-25", "wrong-kind", 4, None),
        ('[visit]\nincludes = "glass"', "wrong-kind", 4, None),
        ('[visit]\nincludes = ["glass", 3]', "wrong-kind", 4, "put it in quotes"),
        ("vat_percent = 119", "out-of-range", 3, None),
        ('[rounds]\ndays_off = [2026-12-25, "2026-12-25"]', "double-day", 4, "remove one"),
        ('[log]\nwhole_tank_grams = "everything"', "not-a-choice", 4, None),
        ('[log]\nwhole_tank_minutes = "al"', "not-a-choice", 4, 'did you mean "all"?'),
        ("[log]\nwhole_tank_grams = true", "wrong-kind", 4, "put it in quotes"),
        ("[rounds]\nhours_a_day = 8", "unknown-key", 4, None),
        ("[rounds]\nday_off = []", "near-key", 4, None),
    ],
)
def test_what_is_wrong_and_on_which_line(text, slug, line, fix):
    _, findings = read_practice((RATE + text).encode())
    assert [(item.slug, item.row) for item in findings] == [(slug, line)]
    assert fix is None or findings[0].fix == fix


@pytest.mark.parametrize(
    ("code", "fix"), [("eur", 'write "EUR"'), ("EUE", 'write as "EUR"'), ("€", 'write as "EUR"')]
)
def test_currency_is_one_of_iso_4217(code, fix):
    _, findings = read_practice((RATE + f'currency = "{code}"\n').encode())
    assert [(item.slug, item.fix) for item in findings] == [("not-a-choice", fix)]


@pytest.mark.parametrize("code", ["EUR", "CHF", "CZK", "JPY", "ZAR"])
def test_currencies_of_the_world(code):
    practice, findings = read_practice((RATE + f'currency = "{code}"\n').encode())
    assert (practice.currency, findings) == (code, [])


def test_what_pages_carry_is_read():
    text = RATE + 'contact = "Tel. 0"\nlogo = "pictures/logo.SVG"\nlocale = "nl-BE"\n'
    practice, findings = read_practice(text.encode())
    assert not findings
    assert (practice.contact, practice.logo, practice.locale) == (
        "Tel. 0",
        "pictures/logo.SVG",
        "nl-BE",
    )


def test_sections_for_other_commands_are_allowed():
    text = RATE + 'contact = "desk"\n[rounds]\nhours_per_day = 7.5\n'
    assert read_practice(text.encode())[1] == []


def test_the_rounds_are_read():
    practice, findings = read_practice(
        (
            RATE + '[rounds]\nworking_days = ["fri", "mon"]\nhours_per_day = 7\n'
            'days_off = [2026-12-25, "2027-01-01"]\n'
        ).encode()
    )
    assert not findings
    assert practice.working_days == ("mon", "fri")
    assert practice.hours_per_day == 7.0
    assert practice.days_off == (date(2026, 12, 25), date(2027, 1, 1))


def test_what_clients_are_told_is_read_in_its_order():
    told = 'terms = ["fixed", "ends"]\n[visit]\nincludes = ["water, a third", "glass", "glass"]\n'
    text = f"{RATE}vat_percent = 19\n{told}"
    practice, findings = read_practice(text.encode())
    assert not findings
    assert (practice.vat_percent, practice.includes) == (19.0, ("water, a third", "glass", "glass"))
    assert practice.terms == ("fixed", "ends")
    plain = read_practice(RATE.encode())[0]
    assert (plain.vat_percent, plain.terms) == (None, ())


def test_no_hours_are_told_what_to_write():
    _, findings = read_practice((RATE + "[rounds]\nhours_per_day = 0").encode())
    assert "as 7.5" in findings[0].fix


def test_a_key_outside_its_section():
    _, findings = read_practice(b"confidence = 0.9\n" + RATE.encode())
    assert findings[0].fix == "move it under [targets]"


@pytest.mark.parametrize("codec", ["utf-8-sig", "utf-16"])
def test_a_mark_is_read(codec):
    practice, findings = read_practice((RATE + 'name = "Grün"').encode(codec))
    assert practice.name == "Grün"
    assert [item.slug for item in findings] == ["encoding"]


def test_nesting_too_deep_is_a_sentence():
    _, findings = read_practice(b"a = " + b"[" * 100_000)
    assert [item.slug for item in findings] == ["toml-form"]


@pytest.mark.parametrize(
    ("line", "found", "fix"),
    [
        ("confidence = 0,9", '"0,9", with a decimal comma', "write 0.9"),
        ("horizon_d = 1,250", None, "write 1.250 or 1250, whichever is meant"),
        ("confidence = 90 %", '"90 %", a number with its unit', "write 0.90"),
        ("horizon_d = 60 days", None, "write 60"),
        ("confidence = .9", None, "write 0.9"),
        ("horizon_d = 060", None, "write 60"),
        ("confidence: 0.9", None, "write confidence = 0.9"),
        ("height error = 1", None, "write height_error = 1"),
        ("name = Green Team", None, 'write name = "Green Team"'),
        ('name = "Green', None, 'write name = "Green"'),
        ("name = “Green”", None, 'write straight double quotes: "'),
        ("name = C:\\plants", None, 'write name = "C:\\plants"'),
        ("intervals_d = 7, 14", None, "write intervals_d = [7, 14]"),
        ("intervals_d = 7 14 21", None, "write intervals_d = [7, 14, 21]"),
        ("horizon_d =", None, "write a value after the = sign, or remove the line"),
        ("[fit", None, "write [fit] on its own"),
        ("[targets]", None, "remove one of the two"),
        ("spring", None, "write key = value, or # in front of a remark"),
    ],
)
def test_what_is_not_toml_is_told_in_plain_words(line, found, fix):
    practice, findings = read_practice((RATE + "[targets]\n" + line + "\n").encode())
    assert practice is None
    assert [(item.slug, item.row) for item in findings] == [("toml-form", 4)]
    assert findings[0].fix == fix
    assert found is None or findings[0].found == found


def test_every_broken_line_is_found_at_once():
    text = "[practice]\nname = Green\nlabour_rate_per_h = 58\n[visit\nfixed_min = 35 min\n"
    _, findings = read_practice((text + '[targets]\nhorizon_d = "60"\n').encode())
    places = [(item.slug, item.row) for item in findings]
    assert places == [("toml-form", 2), ("toml-form", 4), ("toml-form", 5), ("wrong-kind", 7)]


def test_a_list_that_never_ends_is_shown_where_it_begins():
    text = RATE + "[targets]\nintervals_d = [7, 14\nhorizon_d = 60\nconfidence = 0.9\n"
    _, findings = read_practice(text.encode())
    assert [(item.slug, item.row) for item in findings] == [("toml-form", 4)]


@pytest.mark.parametrize("end", ["", "\n"])
def test_a_text_that_never_ends_is_shown_where_it_begins(end):
    _, findings = read_practice(('[practice]\nname = """Green\nand more' + end).encode())
    assert [(item.slug, item.row) for item in findings] == [("toml-form", 2)]


def test_a_broken_line_below_a_closed_list_is_shown_where_it_stands():
    """The list above it ends, so nothing is looked for further up."""
    text = RATE + "[targets]\nintervals_d = [7, 14]\n[visit\nfixed_min = 35\n"
    _, findings = read_practice(text.encode())
    assert [(item.slug, item.row) for item in findings] == [("toml-form", 5)]


@pytest.mark.parametrize(
    ("text", "fix"),
    [
        ("\ntravel_mins = 20", "move it under [visit] and write travel_min"),
        ("[practice]\ntravel_min = 20", "move it under [visit]"),
        ("[targets]\nfixed_min = 20", "move it under [visit]"),
        ("[visit]\ncurency = 1", "move it under [practice] and write currency"),
    ],
)
def test_a_key_in_the_wrong_section(text, fix):
    _, findings = read_practice(text.encode())
    assert [(item.slug, item.row, item.fix) for item in findings] == [("near-key", 2, fix)]


def test_a_key_in_two_sections_is_a_note():
    _, findings = read_practice((RATE + "travel_min = 5\n[visit]\ntravel_min = 20").encode())
    assert [(item.slug, item.row) for item in findings] == [("unknown-key", 3)]


@pytest.mark.parametrize(
    ("value", "fix"),
    [
        ('"58"', "write 58 without quotes"),
        ('"58,5"', "write 58.5 without quotes"),
        ('"58 an hour"', "write a plain number without quotes"),
    ],
)
def test_a_number_in_quotes(value, fix):
    _, findings = read_practice(f"[practice]\nlabour_rate_per_h = {value}".encode())
    assert [(item.slug, item.fix) for item in findings] == [("wrong-kind", fix)]
    first = format_finding(findings[0]).splitlines()[0]
    assert first.startswith("practice.toml:2: labour_rate_per_h: found ")


@pytest.mark.parametrize(
    ("value", "fix"),
    [
        ('["7"]', "write 7 without quotes"),
        ('"7, 14"', "write [7, 14]"),
        ("7", "write [7]"),
        ("[]", "write a list such as [7, 10, 14, 21, 28]"),
    ],
)
def test_intervals_of_another_kind(value, fix):
    _, findings = read_practice((RATE + f"[targets]\nintervals_d = {value}").encode())
    assert [(item.slug, item.fix) for item in findings] == [("wrong-kind", fix)]


@pytest.mark.parametrize(
    ("content", "slug"),
    [(b"", "empty-file"), (None, "missing-file"), (b"\n", "no-labour-rate")],
)
def test_an_empty_or_absent_file_is_shown_a_small_one(inspect, content, slug):
    _, findings = inspect(practice_toml=content)
    assert [item.slug for item in findings] == [slug]
    assert "[practice]" in findings[0].fix
    assert "labour_rate_per_h = 58.0" in findings[0].fix


def test_limits_are_plain_numbers():
    _, findings = read_practice(b"[practice]\nlabour_rate_per_h = -1")
    assert findings[0].expected == "a number from 0 to 1000000"
