"""``practice.toml``."""

from __future__ import annotations

import pytest

from growthcast.book import Practice
from growthcast.book.practice import read_practice

RATE = "[practice]\nlabour_rate_per_h = 50\n"


def test_everything_has_a_default():
    practice, findings = read_practice(b"# nothing yet\n")
    assert practice == Practice()
    assert [item.slug for item in findings] == ["no-labour-rate"]


def test_intervals_come_in_any_order():
    practice, _ = read_practice(b"[targets]\nintervals_d = [28, 7.0, 14]\n")
    assert practice.intervals_d == (7, 14, 28)


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
    ],
)
def test_what_is_wrong_and_on_which_line(text, slug, line, fix):
    _, findings = read_practice((RATE + text).encode())
    assert [(item.slug, item.row) for item in findings] == [(slug, line)]
    assert fix is None or findings[0].fix == fix


def test_currency_is_a_code():
    _, findings = read_practice(b'[practice]\nlabour_rate_per_h = 1\ncurrency = "eur"\n')
    assert [(item.slug, item.fix) for item in findings] == [("not-a-choice", 'write "EUR"')]


def test_sections_for_other_commands_are_allowed():
    text = RATE + 'contact = "desk"\n[rounds]\nstart = "08:00"\n'
    assert read_practice(text.encode())[1] == []


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
