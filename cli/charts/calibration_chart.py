"""Charts of a calibration (errors with their U and the correction) and of accuracy tests over time."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from soakwitness.cli.charts import style
from soakwitness.firmware_bridge.common.units import Unit, from_celsius, from_kelvin
from soakwitness.firmware_bridge.common.wording import temperature

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from soakwitness.analysis.calibration.correcting.calibrating import Calibration
    from soakwitness.analysis.calibration.correcting.correction import Correction
    from soakwitness.analysis.calibration.from_run import Pair
    from soakwitness.analysis.logbook.sensors import Check, SensorLife

LEAST_BESIDE_D = 15.0  # days beside the first and the last accuracy test


def draw_calibration(
    path: Path,
    found: Calibration,
    correction: Correction,
    *,
    pair: Pair | None = None,
    before: Correction | None = None,
    unit: Unit = "C",
) -> None:
    """Draw errors with their U against temperature, and above them the difference over the run's time."""
    from matplotlib.figure import Figure

    with style.own_look():
        figure = Figure(figsize=(8.0, 7.2 if pair else 4.4), layout="constrained")
        if pair is not None:
            top, ax = figure.subplots(2, 1, height_ratios=(1.0, 1.25))
            _draw_difference(top, found, pair, unit)
        else:
            ax = figure.subplots()
        draw_errors(ax, found, correction, before, unit)
        style.save(figure, path)


def _draw_difference(ax: Axes, found: Calibration, pair: Pair, unit: Unit) -> None:
    """Sensor minus reference over time, the stable stretches marked with their number and temperature."""
    from soakwitness.cli.charts.thinning import thin

    t_s, apart = thin(pair.t_s, pair.sensor_c - pair.reference_c, most=2000, gap_s=None)
    ax.plot(t_s, [from_kelvin(v, unit) for v in apart], **style.MEASURED)
    means = [p.reading_c - p.reference_reading_c for p in found.points]
    room = max(4.0, 1.5 * (max(means) - min(means)))  # ramps, where lags differ, run out of the picture
    ax.set_ylim(from_kelvin(min(means) - room, unit), from_kelvin(max(means) + room, unit))
    for number, point in enumerate(found.points, 1):
        if point.stretch is None:
            continue
        ax.axvspan(point.stretch.start_s, point.stretch.end_s, color=style.BAND_FILL, alpha=0.45, linewidth=0, zorder=0)
        ax.annotate(
            f"{number}: {temperature(point.reference_c, unit, digits=0)}",
            ((point.stretch.start_s + point.stretch.end_s) / 2.0, 1.0),
            xycoords=ax.get_xaxis_transform(),
            xytext=(0, -11),
            textcoords="offset points",
            ha="center",
        )
    ax.axhline(0.0, color="#666666", linewidth=0.8)
    ax.set_title("Difference as read over time; what was used is shaded")
    ax.set_ylabel(f"{pair.sensor.name} minus {pair.reference.name}, {style.degree(unit)}")
    style.clock_axis(ax)


def draw_errors(ax: Axes, found: Calibration, correction: Correction, before: Correction | None, unit: Unit) -> None:
    """Errors with U as bars; the model's error with its U as a band, which ends where nothing is known."""
    reading = [from_celsius(r, unit) for r in correction.table_reading_c]
    error = [from_kelvin(-c, unit) for c in correction.table_correction_c]
    u = [from_kelvin(v, unit) for v in correction.table_expanded_c]
    low, high = ([e - s * w for e, w in zip(error, u, strict=True)] for s in (1.0, -1.0))
    ax.fill_between(reading, low, high, color=style.BAND_FILL, alpha=0.3, linewidth=0)
    for edge in (low, high):
        ax.plot(reading, edge, color=style.BAND_EDGE, linewidth=0.9)
    ax.plot(reading, error, label=f"fitted error: {correction.model} (band: U)", **style.MEASURED)
    if before is not None:
        ax.plot(
            [from_celsius(r, unit) for r in before.table_reading_c],
            [from_kelvin(-c, unit) for c in before.table_correction_c],
            label=f"calibration of {before.done_on}",
            **style.RECIPE,
        )
    ax.errorbar(
        [from_celsius(p.reading_c, unit) for p in found.points],
        [from_kelvin(p.error_c, unit) for p in found.points],
        yerr=[from_kelvin(p.budget.expanded_c, unit) for p in found.points],
        fmt="o",
        color=style.BLACK,
        capsize=4,
        label="error found, with U",
    )
    ax.axhline(0.0, color="#666666", linewidth=0.8)
    ax.set_title(f"{correction.sensor} of {correction.furnace}, {correction.done_on}")
    ax.set_xlabel(f"reading, {style.degree(unit)}")
    ax.set_ylabel(f"reading minus truth, {style.degree(unit)}")
    ax.legend(loc="best")


def draw_accuracy_history(
    path: Path, tests: Sequence[Check], lives: Sequence[SensorLife], *, sensor: str, unit: Unit = "C"
) -> None:
    """Draw the differences of all accuracy tests over time; a new sensor life begins a new line."""
    from matplotlib.figure import Figure

    with style.own_look():
        figure = Figure(figsize=(8.0, 4.2), layout="constrained")
        ax = figure.subplots()
        for number, (life, group) in enumerate(_by_life(tests).items()):
            days = [_chart_day(t.done_on) for t in group]
            differences = [from_kelvin(float(t.result["difference_c"]), unit) for t in group]
            u = [from_kelvin(float(t.result.get("expanded_c") or 0.0), unit) for t in group]
            ax.errorbar(
                days,
                differences,
                yerr=u,
                color=style.BLACK,
                marker=("o", "s", "^", "D")[number % 4],
                linestyle=("-", "--", "-.", ":")[number % 4],
                capsize=3,
                label=_life_words(life, lives),
            )
        newest = tests[-1].result.get("limit_c")
        if newest is not None:
            limit = from_kelvin(float(newest), unit)
            for edge, name in ((-limit, None), (limit, "limit")):
                ax.axhline(edge, color=style.BAND_EDGE, linewidth=1.2, label=name)
        for life_ in lives:
            ax.axvline(_chart_day(life_.fitted_utc[:10]), color="#666666", linewidth=0.9, dashes=(2, 2))
        ax.axhline(0.0, color="#666666", linewidth=0.8)
        shown = [_chart_day(t.done_on) for t in tests]
        beside = max(0.05 * (max(shown) - min(shown)), LEAST_BESIDE_D)
        ax.set_xlim(min(shown) - beside, max(shown) + beside)
        ax.xaxis_date()
        ax.set_title(f"Accuracy tests of {sensor}; upright dashes: another thermocouple, channel, place or offset")
        ax.set_ylabel(f"reading minus truth, {style.degree(unit)}")
        ax.legend(loc="best")
        style.save(figure, path)


def _chart_day(day: str) -> float:
    """Day as the charts count them: days since 1970."""
    return float(date.fromisoformat(day).toordinal() - date(1970, 1, 1).toordinal())


def _by_life(tests: Sequence[Check]) -> dict[int | None, list[Check]]:
    """Tests of each sensor life."""
    groups: dict[int | None, list[Check]] = {}
    for test in tests:
        groups.setdefault(test.life, []).append(test)
    return groups


def _life_words(life: int | None, lives: Sequence[SensorLife]) -> str:
    """Name of a life for the legend."""
    found = next((one for one in lives if one.entry == life), None)
    if found is None:
        return "no sensor life on record"
    return f"{found.serial or 'serial not known'}, since {found.fitted_utc[:10]}"
