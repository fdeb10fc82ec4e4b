"""The watch's figure: what is drawn, what it says, and that it never leaves its axes."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from matplotlib.figure import Figure

from growthcast.errors import UsageError
from growthcast.figures.readings import growth_index_axes, growth_index_figure
from growthcast.say.figures import Caption
from growthcast.say.watch import watch_answer
from growthcast.service.watch.readings import IndexPoint
from growthcast.service.watch.watch import Finding, TankWatch, WatchReport

ON = date(2026, 6, 1)


def point(back: int, growth: float) -> IndexPoint:
    return IndexPoint(ON - timedelta(days=back), growth, growth - 0.2, growth + 0.2, 0.6, 1.4)


def finding(kind: str = "tank", name: str = "") -> Finding:
    days = (date(2026, 4, 20), date(2026, 4, 27), date(2026, 5, 4))
    shares = (0.3, 0.4, 0.5)
    return Finding(kind, ("lobby",), "", "", name, days, ON, shares)


def tank(tank_id: str = "lobby", *findings: Finding) -> TankWatch:
    growths = (1.1, 0.9, 4.0, 1.0, 0.4, 0.4)
    course = tuple(point(14 * (6 - n), growth) for n, growth in enumerate(growths))
    return TankWatch(tank_id, "look", 9, 5, course[-1], course, findings)


def report(*tanks: TankWatch) -> WatchReport:
    return WatchReport(ON, date(2026, 1, 1), 0.5, tanks, (), ())


def figure_of(*tanks: TankWatch) -> tuple[Figure, Caption]:
    found = report(*tanks)
    return growth_index_figure(found, watch_answer(found, by_area=False))


def axes(tank: TankWatch):
    ax = Figure().add_subplot()
    growth_index_axes(tank, report(tank), ax)
    return ax


def drawn(ax, label):
    (line,) = [line for line in ax.lines if line.get_label() == label]
    return line


def test_dots_are_the_visits_and_an_arrow_marks_what_is_off_the_scale():
    home = tank()
    ax = axes(home)
    assert ax.get_ylim()[0] == 0.0
    assert drawn(ax, "visits").get_ydata() == pytest.approx([110, 90, 100, 40, 40])
    assert drawn(ax, "above").get_ydata() == pytest.approx([ax.get_ylim()[1]])


def test_a_change_is_drawn_from_its_date_on_and_named():
    home = tank("lobby", finding())
    ax = axes(home)
    assert drawn(ax, "since").get_ydata() == pytest.approx([40.0, 40.0])
    assert any("whole tank\n40 %" in text.get_text() for text in ax.texts)
    assert "since about 27 Apr" in ax.get_title(loc="left")


def test_only_the_tanks_own_range_is_shaded():
    for kind, shaded in (("tank", 1), ("area", 0)):
        home = tank("lobby", finding(kind))
        ax = axes(home)
        assert [c.get_label() for c in ax.collections].count("change-range") == shaded


def test_caption_and_alternative_text_hold_the_conclusion():
    _, calm = figure_of(tank())
    _, changed = figure_of(tank("lobby", finding()), tank("home"))
    assert "as usual" in calm.conclusion
    assert "lobby grows slower than usual; home grows as usual." in changed.conclusion
    assert "the whole tank grows at 40 %" in changed.description
    assert changed.title
    assert "40 %" in changed.description
    assert "home" in changed.description


def test_changed_tanks_come_first_and_all_are_drawn():
    figure, _ = figure_of(tank("calm"), tank("lobby", finding()), tank("home"))
    names = [ax.texts[-1].get_text() for ax in figure.axes]
    assert names == ["lobby", "calm", "home"]


def test_nothing_to_draw_is_said():
    empty = TankWatch("lobby", "too few visits", 1, 5, None, (), (), "not enough")
    with pytest.raises(UsageError, match="nothing to draw"):
        figure_of(empty)
