"""Chart of a survey: one looks through the open door, a blade hangs at each sensor's place, its reading beside it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from soakwitness.cli.charts import style
from soakwitness.firmware_bridge.common.units import Unit, from_celsius, from_kelvin
from soakwitness.firmware_bridge.common.wording import difference, duration, temperature

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from soakwitness.analysis.calibration.surveying.survey import Survey, SurveyedSensor
    from soakwitness.analysis.record.run import Run

# A blade from the side, its heel at 0, its tip at 1, the tang behind; edge down.
BLADE: tuple[tuple[float, float], ...] = (
    (-0.42, 0.05),
    (0.0, 0.08),
    (0.72, 0.08),
    (1.0, -0.01),
    (0.72, -0.11),
    (0.36, -0.15),
    (0.0, -0.15),
    (0.0, -0.04),
    (-0.42, -0.03),
)
BLADE_LONG = 0.15  # of the width of the door
DARKER = 0.62  # the lines' colours beside the blades', to stand out from paper
DEEP = 0.75  # how much smaller the back wall looks than the door: 1/(1 + DEEP)
EYE = (0.5, 0.62)  # from where one looks in: the middle, somewhat from above
COLDEST, EVEN, HOTTEST = "#2166AC", "#F2EFE9", "#C0392B"
WALLS = {"floor": "#E9DFD2", "ceiling": "#F4EEE6", "left": "#EFE7DC", "right": "#EFE7DC", "back": "#F7F2EB"}
Place = tuple[float, float, float]  # left to right, front to back, bottom to top, each 0 to 1
WORDS: dict[str, tuple[int, float]] = {
    "left": (0, 0.1),
    "right": (0, 0.9),
    "front": (1, 0.1),
    "door": (1, 0.1),
    "back": (1, 0.9),
    "rear": (1, 0.9),
    "bottom": (2, 0.1),
    "lower": (2, 0.1),
    "low": (2, 0.1),
    "top": (2, 0.9),
    "upper": (2, 0.9),
    "high": (2, 0.9),
}


def place_of(position: str | None) -> Place | None:
    """Place in the work zone from words such as "left back top" or "centre"; None where nothing is understood."""
    words = re.findall(r"[a-z]+", (position or "").lower())
    if not any(word in WORDS or word in ("centre", "center", "middle") for word in words):
        return None
    place = [0.5, 0.5, 0.5]
    for word in words:
        if word in WORDS:
            axis, value = WORDS[word]
            place[axis] = value
    return (place[0], place[1], place[2])


def places_of(figures: Sequence[SurveyedSensor]) -> dict[str, Place]:
    """Places of all sensors: from words, or from three numbers each (mm), scaled to the outermost."""
    numbers = {f.name: re.findall(r"-?\d+(?:\.\d+)?", f.position or "") for f in figures}
    spots = {name: tuple(float(n) for n in found) for name, found in numbers.items() if len(found) == 3}
    if len(spots) == len(figures):
        low = [min(spot[axis] for spot in spots.values()) for axis in range(3)]
        high = [max(spot[axis] for spot in spots.values()) for axis in range(3)]
        span = [b - a if b > a else 1.0 for a, b in zip(low, high, strict=True)]
        return {
            name: tuple(  # type: ignore[misc]
                0.1 + 0.8 * (spot[axis] - low[axis]) / span[axis] if high[axis] > low[axis] else 0.5
                for axis in range(3)
            )
            for name, spot in spots.items()
        }
    words = {f.name: place_of(f.position) for f in figures}
    return {name: place for name, place in words.items() if place is not None}


def draw_survey(path: Path, found: Survey, run: Run | None, *, title: str, unit: Unit = "C") -> None:
    """Draw the chamber as one sees it through the open door; the traces of the survey period below, where they are."""
    from matplotlib.figure import Figure

    with style.own_look():
        figure = Figure(figsize=(8.5, 9.2 if run is not None else 7.0), layout="constrained")
        grid = figure.add_gridspec(
            2 if run is not None else 1, 1, height_ratios=(3.2, 1.0)[: 2 if run is not None else 1]
        )
        _draw_chamber(figure.add_subplot(grid[0, 0]), found, title, unit)
        if run is not None:
            _draw_traces(figure.add_subplot(grid[1, 0]), found, run, unit)
        style.save(figure, path)


def seen_at(place: Place) -> tuple[float, float, float]:
    """Where a place of the chamber is seen through the door (the unit square), and how small things are there."""
    small = 1.0 / (1.0 + DEEP * place[1])
    return EYE[0] + (place[0] - EYE[0]) * small, EYE[1] + (place[2] - EYE[1]) * small, small


def _draw_chamber(ax: Axes, found: Survey, title: str, unit: Unit) -> None:
    _draw_walls(ax)
    places = places_of(found.sensors)
    there = sorted((f for f in found.sensors if f.name in places), key=lambda f: -places[f.name][1])
    beside: dict[tuple[float, float, float], int] = {}
    for figures in there:
        place = places[figures.name]
        layer = beside.get(place, 0)
        beside[place] = layer + 1
        _draw_blade(ax, found, figures, (place[0], place[1], place[2] - 0.16 * layer), unit)
    lost = [f for f in found.sensors if f.name not in places]
    if lost:
        words = ", ".join(f"{f.name} {_reading(f, found, unit)}" for f in lost)
        ax.text(0.5, -0.045, f"place not known: {words}", ha="center", va="top")
    _draw_scale(ax, found, unit)
    ax.set_xlim(-0.04, 1.04)
    ax.set_ylim(-0.24, 1.02)
    ax.set_aspect(0.8)
    ax.axis("off")
    few = f" (no survey: {', '.join(found.no_survey)})" if found.no_survey else ""
    ax.set_title(
        f"{title}: {temperature(found.target_c, unit)} ±{difference(found.band_c, unit)}, {found.verdict}{few}\n"
        f"means over {duration(found.end_s - found.start_s)}, corrected, and what they are from the target",
        fontsize=11,
    )


def _draw_walls(ax: Axes) -> None:
    """Floor, ceiling, side walls and back of the open box, and the edge of the door."""
    from matplotlib.patches import Polygon

    def corner(x: float, y: float, z: float) -> tuple[float, float]:
        return seen_at((x, y, z))[:2]

    sides = {
        "floor": [(0, 0, 0), (1, 0, 0), (1, 1, 0), (0, 1, 0)],
        "ceiling": [(0, 0, 1), (1, 0, 1), (1, 1, 1), (0, 1, 1)],
        "left": [(0, 0, 0), (0, 1, 0), (0, 1, 1), (0, 0, 1)],
        "right": [(1, 0, 0), (1, 1, 0), (1, 1, 1), (1, 0, 1)],
        "back": [(0, 1, 0), (1, 1, 0), (1, 1, 1), (0, 1, 1)],
    }
    for name, corners in sides.items():
        outline = [corner(*at) for at in corners]
        ax.add_patch(Polygon(outline, facecolor=WALLS[name], edgecolor="#9A8F80", linewidth=0.8, zorder=1))
    door = [corner(*at) for at in ((0, 0, 0), (1, 0, 0), (1, 0, 1), (0, 0, 1))]
    ax.add_patch(Polygon(door, fill=False, edgecolor=style.BLACK, linewidth=2.2, zorder=20))


def _draw_blade(ax: Axes, found: Survey, figures: SurveyedSensor, place: Place, unit: Unit) -> None:
    """A blade at its place, coloured by what its mean is from the target, hung from the ceiling by a thread."""
    from matplotlib.patches import Polygon

    x, y, small = seen_at(place)
    above, long, order = seen_at((place[0], place[1], 1.0))[1], BLADE_LONG * small, 2.0 + 10.0 * (1.0 - place[1])
    under_x, under_y, _ = seen_at((place[0], place[1], 0.0))
    ax.plot([x, x], [y, above], color="#B5AA9A", linewidth=0.6, zorder=order)
    shadow = [(under_x + (px - 0.3) * long, under_y + 0.15 * py * long) for px, py in BLADE]
    ax.add_patch(Polygon(shadow, facecolor="#8C8072", alpha=0.35, linewidth=0, zorder=order))
    by_c = figures.mean_c - found.target_c
    out = (
        abs(figures.highest_c - found.target_c) > found.band_c or abs(figures.lowest_c - found.target_c) > found.band_c
    )
    outline = [(x + (px - 0.3) * long, y + py * long) for px, py in BLADE]
    edge: dict[str, Any] = {"linewidth": 2.4 if out else 0.9, "linestyle": (0, (3, 1)) if out else "-"}
    blade = Polygon(outline, facecolor=_colour(by_c, found.band_c), edgecolor=style.BLACK, zorder=order + 0.1, **edge)
    ax.add_patch(blade)
    says = [{found.corrected.hottest: "hottest", found.corrected.coldest: "coldest"}.get(figures.name, "")]
    says += ["out of the band"] if out else []
    words = "\n".join([figures.name, _reading(figures, found, unit), ", ".join(word for word in says if word)])
    low = y - 0.17 * long - 0.008
    look: dict[str, Any] = {"ha": "center", "va": "top", "linespacing": 1.1, "fontsize": 7.5 + 2.0 * small}
    ax.text(min(max(x, 0.13), 0.87), low, words, zorder=order + 0.2, **look)


def _reading(figures: SurveyedSensor, found: Survey, unit: Unit) -> str:
    away = difference(figures.mean_c - found.target_c, unit, signed=True)
    return f"{temperature(figures.mean_c, unit)}, {away}"


def _colour(by_c: float, band_c: float) -> tuple[float, ...]:
    """Blue where it is colder, red where it is hotter, the band's half-width at either end."""
    from matplotlib.colors import LinearSegmentedColormap

    share = 0.5 + 0.5 * max(-1.0, min(1.0, by_c / band_c))
    return tuple(LinearSegmentedColormap.from_list("heat", (COLDEST, EVEN, HOTTEST))(share))


def _draw_scale(ax: Axes, found: Survey, unit: Unit) -> None:
    """What the colours are, from one edge of the band to the other."""
    from matplotlib.patches import Rectangle

    steps, left, wide = 41, 0.25, 0.5
    for number in range(steps):
        by_c = found.band_c * (2.0 * number / (steps - 1) - 1.0)
        at = left + wide * number / steps
        ax.add_patch(Rectangle((at, -0.16), wide / steps, 0.03, facecolor=_colour(by_c, found.band_c), linewidth=0))
    ax.add_patch(Rectangle((left, -0.16), wide, 0.03, fill=False, edgecolor=style.BLACK, linewidth=0.7))
    for by, at, word in ((-1.0, left, "coldest allowed"), (0.0, 0.5, "target"), (1.0, left + wide, "hottest allowed")):
        ax.text(at, -0.17, temperature(found.target_c + by * found.band_c, unit), ha="center", va="top")
        ax.text(at, -0.215, word, ha="center", va="top", fontsize="small")


def _draw_traces(ax: Axes, found: Survey, run: Run, unit: Unit) -> None:
    """Corrected traces in the blades' colours, hottest first; the band; the survey period between upright dashes."""
    from soakwitness.cli.charts.thinning import thin

    looks = (style.MEASURED, style.LOAD, style.ESTIMATE, *style.OTHERS)
    for number, figures in enumerate(sorted(found.sensors, key=lambda one: -one.mean_c)):
        trace = run.trace(figures.name)
        if trace is None:
            continue
        times, temp = thin(trace.t_s, trace.temp_c + figures.correction_c, most=2000, gap_s=3 * trace.period_s)
        colour = tuple(DARKER * part for part in _colour(figures.mean_c - found.target_c, found.band_c)[:3])
        look = {"linestyle": looks[number % len(looks)]["linestyle"], "color": colour, "linewidth": 1.4}
        ax.plot(times, [from_celsius(v, unit) for v in temp], label=figures.name, **look)
    lower, upper = (from_celsius(found.target_c + s * found.band_c, unit) for s in (-1.0, 1.0))
    style.draw_band(ax, float(run.t_s[0]), float(run.t_s[-1]), lower, upper)
    ax.axhline(from_celsius(found.target_c, unit), **style.RECIPE)
    for edge in (found.start_s, found.end_s):
        ax.axvline(edge, color="#666666", linewidth=0.9, dashes=(2, 2))
    margin = 2.5 * from_kelvin(max(found.band_c, found.corrected.half_spread_c), unit)
    middle, length = from_celsius(found.target_c, unit), found.end_s - found.start_s
    ax.set_ylim(middle - margin, middle + margin)
    ax.set_xlim(max(float(run.t_s[0]), found.start_s - length / 2.0), min(float(run.t_s[-1]), found.end_s + length / 3))
    ax.set_ylabel(style.degree(unit))
    ax.set_title("Between the upright dashes the survey period")
    style.clock_axis(ax)
    ax.legend(loc="upper left", bbox_to_anchor=(1.0, 1.0), fontsize="small")
