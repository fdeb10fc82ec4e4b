"""Words beside a line, over axes and along a row of dates."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from matplotlib.axes import Axes
from matplotlib.dates import num2date
from matplotlib.ticker import Formatter

from growthcast.figures.lettering import MM_PER_POINT, shortened, spread_apart
from growthcast.figures.style import MM_PER_INCH, SMALL_PT, TITLE_PT
from growthcast.say.words import MONTHS, full_date_words

__all__ = ["ConciseDates", "EndLabel", "label_ends", "title_axes"]

LINE_SPACING = 1.15


@dataclass(frozen=True, slots=True)
class EndLabel:
    """Words at the end of a line, and the height at which the line ends."""

    text: str
    height_cm: float
    colour: str


def _day_at(place: float) -> date:
    day: date = num2date(place).date()  # type: ignore[no-untyped-call]
    return day


class ConciseDates(Formatter):
    """Days by number, months by name, years where they begin; the first says all that is needed."""

    def __call__(self, x: float, pos: int | None = None) -> str:  # noqa: ARG002
        """Return the label of a single date."""
        return full_date_words(_day_at(x))

    def format_ticks(self, values: Sequence[float]) -> list[str]:
        """Return the labels of a row of ticks."""
        low, high = sorted(self.axis.get_view_interval())  # type: ignore[union-attr]
        told, labels = False, []
        for value in values:
            day = _day_at(value)
            if not low <= value <= high:
                labels.append("")
                continue
            if day.day == 1:
                labels.append(f"{MONTHS[day.month - 1]}" + ("" if told else f"\n{day.year}"))
                if told and day.month == 1:
                    labels[-1] += f"\n{day.year}"
            elif told:
                labels.append(f"{day.day}")
            else:
                labels.append(f"{day.day} {MONTHS[day.month - 1]}\n{day.year}")
            told = True
        return labels


def _axes_size_mm(ax: Axes) -> tuple[float, float]:
    figure = ax.get_figure(root=True)
    assert figure is not None
    width, height = figure.get_size_inches() * MM_PER_INCH
    box = ax.get_position()
    return float(box.width * width), float(box.height * height)


def label_ends(ax: Axes, labels: Sequence[EndLabel]) -> None:
    """Write each label to the right of where its line ends, none over another."""
    width_mm, height_mm = _axes_size_mm(ax)
    line = SMALL_PT * LINE_SPACING * MM_PER_POINT / height_mm
    top = ax.get_ylim()[1]
    ends = [label.height_cm / top for label in labels]
    sizes = [line * (label.text.count("\n") + 1.25) for label in labels]
    for label, end, place in zip(labels, ends, spread_apart(ends, sizes, -0.1, 1.0), strict=True):
        ax.annotate(
            label.text,
            xy=(1.0, end),
            xytext=(1.0 + 3.2 / width_mm, place),
            xycoords="axes fraction",
            textcoords="axes fraction",
            va="center",
            ha="left",
            color=label.colour,
            fontsize=SMALL_PT,
            linespacing=LINE_SPACING,
            annotation_clip=False,
            arrowprops={
                "arrowstyle": "-",
                "color": label.colour,
                "lw": 0.6,
                "shrinkA": 0.0,
                "shrinkB": 0.0,
                "relpos": (0.0, 0.5),
            },
        )


def title_axes(ax: Axes, name: str, said: str, beside_mm: float) -> None:
    """Title axes with a name and, under it, the conclusion; ``beside_mm`` is free on the right."""
    width_mm, _ = _axes_size_mm(ax)
    room = width_mm + beside_mm
    ax.set_title(
        shortened(said, TITLE_PT, room), loc="left", pad=4.0, fontsize=TITLE_PT, parse_math=False
    )
    ax.annotate(
        shortened(name, TITLE_PT * 1.12, room),
        xy=(0.0, 1.0),
        xycoords="axes fraction",
        xytext=(0.0, 4.0 + TITLE_PT * 1.25),
        textcoords="offset points",
        ha="left",
        va="bottom",
        fontsize=TITLE_PT,
        fontweight="bold",
        parse_math=False,
        annotation_clip=False,
    )
