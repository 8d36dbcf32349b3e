"""Chart of a uniformity survey: the traces over the band, and the work zone with the sensors at their places."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from soakwitness.cli.charts import style
from soakwitness.firmware_bridge.common.units import Unit, from_celsius, from_kelvin

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from soakwitness.analysis.calibration.surveying.survey import Survey, SurveyedSensor, SurveySensor
    from soakwitness.analysis.record.run import FloatArray

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


def draw_survey(
    path: Path, found: Survey, t_s: FloatArray, sensors: Sequence[SurveySensor], *, title: str, unit: Unit = "C"
) -> None:
    """Draw traces, and the work zone from the front and from above."""
    from matplotlib.figure import Figure

    with style.own_look():
        figure = Figure(figsize=(8.5, 7.6), layout="constrained")
        grid = figure.add_gridspec(2, 2, height_ratios=(1.15, 1.0))
        _draw_traces(figure.add_subplot(grid[0, :]), found, t_s, sensors, title, unit)
        front, above = figure.add_subplot(grid[1, 0]), figure.add_subplot(grid[1, 1])
        places = places_of(found.sensors)
        _draw_zone(front, found, places, 2, "Work zone from the front", "bottom to top", unit)
        _draw_zone(above, found, places, 1, "Work zone from above", "front to back", unit)
        style.save(figure, path)


def _draw_traces(
    ax: Axes, found: Survey, t_s: FloatArray, sensors: Sequence[SurveySensor], title: str, unit: Unit
) -> None:
    """Corrected traces about the target, the band, the survey period shaded."""
    from soakwitness.cli.charts.thinning import thin

    looks = (style.MEASURED, style.LOAD, style.ESTIMATE, *style.OTHERS)
    for number, sensor in enumerate(sensors):
        times, temp = thin(t_s, sensor.true_c, most=2000, gap_s=None)
        look = {**looks[number % len(looks)], "linewidth": 1.3}
        ax.plot(times, [from_celsius(v, unit) for v in temp], label=sensor.name, **look)
    lower, upper = (from_celsius(found.target_c + s * found.band_c, unit) for s in (-1.0, 1.0))
    style.draw_band(ax, float(t_s[0]), float(t_s[-1]), lower, upper)
    ax.axhline(from_celsius(found.target_c, unit), **style.RECIPE)
    for edge in (found.start_s, found.end_s):
        ax.axvline(edge, color="#666666", linewidth=0.9, dashes=(2, 2))
    margin = 4.0 * from_kelvin(max(found.band_c, found.corrected.half_spread_c), unit)
    middle = from_celsius(found.target_c, unit)
    length = found.end_s - found.start_s
    ax.set_ylim(middle - margin, middle + margin)
    ax.set_xlim(max(float(t_s[0]), found.start_s - length / 2.0), min(float(t_s[-1]), found.end_s + length / 3.0))
    ax.set_title(f"{title}: {found.verdict}; between the upright dashes the survey period")
    ax.set_ylabel(style.degree(unit))
    style.clock_axis(ax)
    ax.legend(loc="lower right", ncols=3)


def _draw_zone(
    ax: Axes, found: Survey, places: dict[str, Place], up: int, title: str, upwards: str, unit: Unit
) -> None:
    """Sensors at their places with name, mean deviation and range; sensors without a place are listed below."""
    from matplotlib.patches import Rectangle

    ax.add_patch(Rectangle((0, 0), 1, 1, fill=False, edgecolor=style.BLACK, linewidth=1.2))
    seen: dict[tuple[float, float], int] = {}
    for figures in found.sensors:
        if figures.name not in places:
            continue
        x, y = places[figures.name][0], places[figures.name][up]
        layer = seen.get((x, y), 0)
        seen[(x, y)] = layer + 1
        mark = {found.corrected.hottest: "^", found.corrected.coldest: "v"}.get(figures.name, "o")
        ax.plot([x], [y], mark, color=style.BLACK, markersize=6, zorder=3)
        mean = from_kelvin(figures.mean_c - found.target_c, unit)
        side = "left" if x < 0.5 else "right" if x > 0.5 else "center"
        text = f"{figures.name} {mean:+.1f}"
        offset = (0, 7 + 11 * layer) if y < 0.85 else (0, -15 - 11 * layer)
        ax.annotate(text, (x, y), xytext=offset, textcoords="offset points", ha=side)
    lost = [f"{f.name} {from_kelvin(f.mean_c - found.target_c, unit):+.1f}" for f in found.sensors]
    lost = [words for words, f in zip(lost, found.sensors, strict=True) if f.name not in places]
    ax.set_xlim(-0.03, 1.03)
    ax.set_ylim(-0.03, 1.03)
    ax.set_xticks([])
    ax.set_yticks([])
    ax.grid(False)
    ax.set_title(title)
    ax.set_ylabel(upwards)
    below = f"left to right; mean minus target, {style.degree(unit)}; ^ hottest, v coldest"
    ax.set_xlabel(below + (f"\nplace not known: {', '.join(lost)}" if lost else ""))
