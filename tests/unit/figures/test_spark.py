"""The small picture of an area: where its budget, its visits and what lies above stand."""

from datetime import date
from types import SimpleNamespace
from xml.etree import ElementTree

import numpy as np
import pytest

from growthcast.figures.drawn import FOOT, LEFT, RIGHT, TOP, spark_picture

SVG = "{http://www.w3.org/2000/svg}"


def drawn(top_share):
    levels = np.linspace(0.5, top_share, 7) * 10.0  # of a budget of 10 cm
    area = SimpleNamespace(
        at=(date(2026, 3, 2), date(2026, 3, 16)),
        height_cm=np.array([levels, levels]),
        budget_cm=10.0,
        floor_cm=4.0,
    )
    words = ("2 Mar", "16 Mar", "100 %")
    svg = spark_picture(area, [date(2026, 3, 9)], words, "stems <1>", "They grow & pass.")
    return ElementTree.fromstring(svg)


def test_the_budget_is_a_line_at_its_share_and_a_visit_stands_on_its_day():
    lines = [line.attrib for line in drawn(1.2).iter(f"{SVG}line")]
    [budget] = [line for line in lines if "#d55e00" in line["style"]]
    assert float(budget["y1"]) == pytest.approx(FOOT + (TOP - FOOT) / 1.6, abs=0.01)
    [visit] = [line for line in lines if "#595959" in line["style"]]
    assert float(visit["x1"]) == pytest.approx((LEFT + RIGHT) / 2, abs=0.01)


def test_what_stands_above_the_axes_is_marked_and_words_are_text():
    assert len(list(drawn(1.5).iter(f"{SVG}polygon"))) == 1
    above = drawn(2.2)
    assert len(list(above.iter(f"{SVG}polygon"))) == 2
    assert [text.text for text in above.iter(f"{SVG}text")] == ["2 Mar", "16 Mar", "0", "100 %"]
    assert above.find(f"{SVG}title").text == "stems <1>"
