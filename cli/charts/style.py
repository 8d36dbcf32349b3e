"""How every chart of this project looks: colours, lines, axes, saving. Words say what colours only help to find."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from soakwitness.cli.words import figures
from soakwitness.firmware_bridge.common.units import Unit, from_celsius
from soakwitness.firmware_bridge.common.zones import zone_or_utc

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


# Okabe and Ito, Color Universal Design (2008)
BLACK = "#000000"
ORANGE = "#E69F00"
SKY = "#56B4E9"
GREEN = "#009E73"
BLUE = "#0072B2"
VERMILION = "#D55E00"
PURPLE = "#CC79A7"

MEASURED: dict[str, Any] = {"color": BLUE, "linewidth": 2.2, "linestyle": "-"}
LOAD: dict[str, Any] = {"color": VERMILION, "linewidth": 1.9, "linestyle": (0, (5, 1.5, 1, 1.5))}
ESTIMATE: dict[str, Any] = {"color": PURPLE, "linewidth": 1.5, "linestyle": (0, (1, 1.2))}
OTHERS: tuple[dict[str, Any], ...] = (
    {"color": GREEN, "linewidth": 1.4, "linestyle": (0, (8, 2))},
    {"color": ORANGE, "linewidth": 1.4, "linestyle": (0, (3, 1))},
    {"color": SKY, "linewidth": 1.4, "linestyle": (0, (6, 1, 1, 1, 1, 1))},
    {"color": PURPLE, "linewidth": 1.4, "linestyle": (0, (10, 2, 2, 2))},
    {"color": BLACK, "linewidth": 1.2, "linestyle": (0, (1, 2.5))},
    {"color": GREEN, "linewidth": 1.4, "linestyle": (0, (2, 2))},
    {"color": ORANGE, "linewidth": 1.4, "linestyle": (0, (12, 3, 1, 3))},
)
SETPOINT: dict[str, Any] = {"color": "#707070", "linewidth": 1.3, "linestyle": "-"}
RECIPE: dict[str, Any] = {"color": BLACK, "linewidth": 1.1, "linestyle": (0, (6, 4))}
BAND_FILL = "#F0E442"
BAND_EDGE = "#8A8200"
ASKED = "asked for, band on top"
SANS_SERIF = ["Noto Sans", "Liberation Sans", "Arial", "Helvetica", "DejaVu Sans"]
TICK_IN = 0.5  # an hour with its blank


def degree(unit: Unit) -> str:
    """Sign of the unit."""
    return "°F" if unit == "F" else "°C"


@contextmanager
def own_look(points: float = 9.0) -> Iterator[None]:
    """Matplotlib with this project's fonts (body size in points) and lines, and nothing left behind."""
    import matplotlib

    matplotlib.use("Agg")
    with matplotlib.rc_context(
        {
            "font.family": "sans-serif",
            "font.sans-serif": SANS_SERIF,
            "text.parse_math": False,
            "font.size": points,
            "axes.spines.top": False,
            "axes.spines.right": False,
            "axes.titlelocation": "left",
            "axes.titlesize": "medium",
            "axes.linewidth": 0.7,
            "axes.grid": True,
            "axes.axisbelow": True,
            "grid.color": "#DDDDDD",
            "grid.linewidth": 0.6,
            "legend.frameon": False,
            "legend.fontsize": "medium",
            "hatch.linewidth": 0.5,
            "svg.fonttype": "none",
            "svg.hashsalt": "soakwitness",
            "pdf.fonttype": 42,
        }
    ):
        yield


def draw_band(ax: Axes, start: float, stop: float, lower: float, upper: float, *, label: str | None = None) -> None:
    """Draw a band as a light fill with edge lines (x and y in the axes' own units); ``label`` for the legend."""
    ax.fill_between([start, stop], lower, upper, color=BAND_FILL, alpha=0.30, linewidth=0, zorder=0.5, label=label)
    ax.hlines([lower, upper], start, stop, colors=BAND_EDGE, linewidth=0.9, zorder=0.6)


def draw_asked(
    ax: Axes, start: float, stop: float, lower: float, upper: float, unit: Unit, *, label: str | None = None
) -> None:
    """Draw what a hold asks for into a whole run, where its band is too thin to be seen: a column that it tops.

    The band stays true to scale; the column stands from 0 degC to it, as long as the hold is asked to be.
    """
    floor = float(from_celsius(0.0, unit))
    look: dict[str, Any] = {"color": BAND_FILL, "alpha": 0.30, "linewidth": 0, "zorder": 0.4, "label": label}
    column = ax.fill_between([start, stop], floor, upper, **look)
    column.sticky_edges.y.append(floor)
    ax.vlines([start, stop], floor, upper, colors=BAND_EDGE, linewidth=0.5, alpha=0.6, zorder=0.5)
    ax.hlines([lower, upper], start, stop, colors=BAND_EDGE, linewidth=0.9, zorder=0.6)


def outside(gaps: Sequence[tuple[float, float]], start: float, stop: float) -> list[tuple[float, float]]:
    """What is left of a time when its gaps are cut out of it: a line of what was meant crosses none."""
    inside = sorted((max(a, start), min(b, stop)) for a, b in gaps if a < stop and b > start)
    starts, ends = [start, *(b for _, b in inside)], [*(a for a, _ in inside), stop]
    return [(a, b) for a, b in zip(starts, ends, strict=True) if b > a]


def draw_gap(ax: Axes, start: float, stop: float) -> None:
    """Hatch a time in which nothing was read."""
    ax.axvspan(start, stop, facecolor="none", edgecolor="#999999", hatch="////", linewidth=0, zorder=0.4)


@dataclass(frozen=True)
class LocalClock:
    """The clock on the wall where a run was: when it began, and the zone of that place; UTC where none is known."""

    started_utc: str
    zone: str | None

    def words(self, t_s: float) -> str:
        """The hour at a moment of the run [s]: ``08:12``."""
        return figures.hour(self.started_utc, t_s, self.zone).partition(" ")[0]

    def since_hour_s(self) -> float:
        """How far the wall's clock was past its day's beginning when the run began [s]: ticks stand at round hours."""
        hours, minutes, seconds = figures.clock(self.started_utc, 0.0, self.zone)[11:19].split(":")
        return 3600.0 * int(hours) + 60.0 * int(minutes) + float(seconds)


def clock_axis(ax: Axes, *, label: bool = True, clock: LocalClock | None = None) -> None:
    """Label a time axis in seconds as hours and minutes of the run, or as the clock on the wall showed them."""
    from matplotlib.ticker import FixedLocator, FuncFormatter, MaxNLocator

    low, high = ax.get_xlim()
    span = high - low
    steps = [10, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400, 28800, 86400]
    most = max(3.0, min(8.0, ax.get_position().width * inches_of(ax)[0] / TICK_IN))
    step = next((s for s in steps if span / s <= most), None)
    if clock is not None and step is not None and step >= 60:
        begun_s = clock.since_hour_s()
        first = math.ceil((low + begun_s) / step)
        ax.xaxis.set_major_locator(FixedLocator([k * step - begun_s for k in range(first, first + 10)]))
        ax.xaxis.set_major_formatter(FuncFormatter(lambda t, _: clock.words(t)))
        if label:
            ax.set_xlabel(f"time, {zone_or_utc(clock.zone)}")
        return
    if step:
        from matplotlib.ticker import MultipleLocator

        ax.xaxis.set_major_locator(MultipleLocator(step))
    else:
        ax.xaxis.set_major_locator(MaxNLocator(7))
    ax.xaxis.set_major_formatter(FuncFormatter(lambda t, _: axis_words(t, seconds=bool(step and step < 60))))
    if label:
        ax.set_xlabel("time of the run, h:min" + (":s" if step and step < 60 else ""))


def axis_words(t_s: float, *, seconds: bool = False) -> str:
    """Seconds [s] on an axis: ``h:mm``, which leaves more room, or ``h:mm:ss``."""
    sign = "-" if t_s < 0 else ""
    whole = round(abs(t_s)) if seconds else round(abs(t_s) / 60) * 60
    text = f"{sign}{whole // 3600}:{whole % 3600 // 60:02d}"
    return f"{text}:{whole % 60:02d}" if seconds else text


def inches_of(ax: Axes) -> tuple[float, float]:
    """Width and height of the figure that axes stand in [in]."""
    wide, high = ax.get_figure(root=True).get_size_inches()  # type: ignore[union-attr]
    return float(wide), float(high)


def save(figure: Figure, path: Path) -> None:
    """Write a figure; the ending says which format. Same figure, same bytes: no date goes in."""
    dates: dict[str, object] = {
        ".pdf": {"CreationDate": datetime(2000, 1, 1, tzinfo=UTC)},
        ".svg": {"Date": None},
    }
    metadata = dates.get(path.suffix.lower())
    figure.savefig(path, dpi=150, metadata=metadata)
