"""Numbers, dates and money as a place writes them, and texts that every language has."""

from __future__ import annotations

import re
import tomllib
from datetime import date
from importlib.resources import files
from string import Formatter

import pytest

from growthcast.book.findings import slugs
from growthcast.say import words
from growthcast.say.filled import read_texts
from growthcast.say.locale import open_locale

NBSP = "\u00a0"
DAY = date(2026, 3, 1)


# The forms are those of the charts of CLDR (https://cldr.unicode.org), which Babel carries.
@pytest.mark.parametrize(
    ("tag", "number", "money", "percent", "day", "short"),
    [
        ("en-GB", "1,234.5", "£1,235", "12%", "1 March 2026", "1 Mar"),
        ("en-US", "1,234.5", "£1,235", "12%", "March 1, 2026", "Mar 1"),
        ("de-DE", "1.234,5", f"1.235{NBSP}£", f"12{NBSP}%", "1. März 2026", "1. März"),
        ("de-AT", "1.234,5", f"£{NBSP}1.235", f"12{NBSP}%", "1. März 2026", "1. März"),
        ("de-CH", "1'234.5", f"£{NBSP}1'235", "12%", "1. März 2026", "1. März"),
        ("fr-FR", "1,234.5", "£1,235", "12%", "1 March 2026", "1 Mar"),  # no text: all is English
        ("ja-JP", "1,234.5", "£1,235", "12%", "1 March 2026", "1 Mar"),
    ],
)
def test_forms(tag, number, money, percent, day, short):
    locale = open_locale(tag)
    assert locale.number(1234.5, 1) == number
    assert open_locale(tag, "GBP").money(1234.6) == money
    assert locale.share(0.12) == percent
    assert locale.long_date(DAY) == day
    assert locale.short_date(DAY) == short


def test_a_currency_without_a_sign_keeps_its_code():
    assert open_locale("en-GB", "SEK").money(9) == f"SEK{NBSP}9"
    assert open_locale("de-DE", "SEK").money(9) == f"9{NBSP}SEK"


def test_below_zero():
    locale = open_locale("de-DE", "EUR")
    assert locale.number(-1.5, 1) == "-1,5"
    assert locale.number(-0.01, 1) == "0,0"
    assert locale.money(-1500) == f"-1.500{NBSP}€"
    assert locale.money(-0.2) == f"0{NBSP}€"


def test_halves_go_where_the_terminal_puts_them():
    for value, digits in ((0.125, 2), (2.675, 2), (0.5, 0), (1.5, 0), (9.95, 1)):
        assert open_locale("en-GB").number(value, digits) == f"{value:.{digits}f}"
        assert open_locale("en-GB").share(value / 100, digits) == f"{value:.{digits}f}%"


def test_what_was_agreed_is_shown_as_it_was_given():
    locale = open_locale("de-DE")
    assert locale.exact(20.5, "cm") == f"20,5{NBSP}cm"
    assert locale.exact(9.0, "cm") == f"9{NBSP}cm"
    assert locale.exact(46.0, "% cover") == f"46{NBSP}%"
    assert locale.height(20.5, "cm") in (f"20{NBSP}cm", f"21{NBSP}cm")


@pytest.mark.parametrize(
    ("tag", "language"), [("en-US", "en"), ("de-AT", "de"), ("fr-BE", "en"), ("zh-Hans-CN", "en")]
)
def test_a_language_without_a_file_has_english_text(tag, language):
    assert open_locale(tag).language == language
    assert open_locale(tag).say("due_by_limit") == {"en": "limit", "de": "Grenze"}[language]


def test_german_says_all_that_english_says_with_the_same_blanks():
    texts = {}
    for name in ("en", "de"):
        table = files("growthcast.say") / "languages" / f"{name}.toml"
        texts[name] = tomllib.loads(table.read_text(encoding="utf-8"))
    assert set(texts["en"]) == set(texts["de"])
    for key in texts["en"]:
        english, german = (set(blanks(texts[name][key])) for name in ("en", "de"))
        assert english == german, key


def blanks(text):
    """Yield the blanks of a text with how they are written, those in texts to choose from too."""
    for _, blank, way, _ in Formatter().parse(text):
        test, choice, inside = (way or "").partition("?")
        if blank:
            yield blank, test + choice
        yield from blanks(inside)


def nested(text):
    """Return how many choices of a text stand in one another."""
    deepest = 0
    for _, _, way, _ in Formatter().parse(text):
        _, choice, inside = (way or "").partition("?")
        deepest = max(deepest, nested(inside) + 1 if choice else 0)
    return deepest


@pytest.mark.parametrize("language", ["terminal", "en", "de"])
def test_a_text_is_a_sentence_to_translate_and_no_program(language):
    for key, text in read_texts(language).items():
        for line in text.splitlines():  # a line of a table is a text
            assert nested(line) <= 1 or (nested(line) == 2 and len(line) <= 320), key


def ways(text):
    """Return how the blanks of a text are written."""
    return [way for _, way in blanks(text) if way and not way.endswith("?")]


@pytest.mark.parametrize("language", ["en", "de"])
def test_every_blank_of_a_page_is_written_by_a_method_or_counted(language):
    locale = open_locale({"en": "en-GB", "de": "de-DE"}[language])
    for key, text in read_texts(language).items():
        assert all(callable(locale._way(way)) for way in ways(text)), key


def test_every_blank_of_a_terminal_is_written_by_a_function_or_by_python():
    for key, text in read_texts("terminal").items():
        for way in ways(text):
            known = callable(getattr(words, way, None)) or "|" in way
            assert known or format(1.0, way) or format("text", way), key


def test_german_says_what_every_finding_means():
    assert set(read_texts("findings.de")) == set(slugs())


def test_a_list_in_words():
    locale = open_locale("de-DE")
    assert locale.listed(["a"]) == "a"
    assert locale.listed(["a", "b", "c"]) == "a, b und c"


def test_a_count_is_in_the_words_of_that_very_number_where_there_are_some():
    locale = open_locale("en-GB")
    counts = [locale.count("every", days) for days in (1, 7, 10, 14)]
    assert counts == ["every day", "every week", "every 10 days", "every two weeks"]
    assert words.capital(open_locale("de-DE").count("every", 7)) == "Jede Woche"


@pytest.mark.parametrize(
    ("minutes", "said"),
    [(20.4, f"20{NBSP}min"), (59.6, f"1{NBSP}h{NBSP}00"), (80, f"1{NBSP}h{NBSP}20")],
)
def test_a_duration_in_hours_and_minutes(minutes, said):
    assert open_locale("en-GB").duration(minutes) == said


def test_a_range_says_its_unit_where_the_text_needs_it():
    locale = open_locale("en-GB")
    heights = f"9.5{NBSP}cm (8.0{NBSP}to{NBSP}12{NBSP}cm)"
    assert locale.range(8.04, 9.5, 12.4, "cm") == heights
    assert locale.range(8, 10, 12, "% cover") == f"10% (8%{NBSP}to{NBSP}12%)"


def test_every_sentence_of_a_terminal_is_said_somewhere():
    rooms = (files(f"growthcast.{room}").iterdir() for room in ("say", "figures", "cli"))
    texts = [
        one for room in rooms for one in room if one.name.endswith((".py", ".toml"))
    ]  # options lack some
    code = "".join(one.read_text(encoding="utf-8") for one in texts)
    asked = re.findall(r"(?:sentence|table|refused|refuse_if)\(\s*(f?)[\"'](\w+)(\W)", code)
    begun = tuple(key for formatted, key, end in asked if formatted and end == "{")
    known, literal = set(read_texts("terminal")), set(re.findall(r"[\"'](\w+)[\"']", code))
    assert {key for _, key, end in asked if end != "{"} <= known
    literal |= {f"{key}_each" for key in literal}
    assert all(key in literal or key.startswith(begun) for key in known)
