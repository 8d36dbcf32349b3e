"""The pieces of an audit: hardness by what sets the suspects apart, with the good ones beside them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from soakwitness.cli.charts import style
from soakwitness.firmware_bridge.common.units import Unit, from_celsius
from soakwitness.firmware_bridge.common.wording import duration, temperature

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from soakwitness.analysis.audit.pictured import PiecePoint, PiecesPictured

# shape and fill tell what colour only helps to find
LOOKS: dict[str, dict[str, Any]] = {
    "good runs": {"marker": "o", "facecolors": "none", "edgecolors": "#7A7A7A", "s": 26, "linewidths": 1.0},
    "same run": {"marker": "^", "facecolors": "#9AD0F5", "edgecolors": style.BLUE, "s": 46, "linewidths": 1.1},
    "suspect": {"marker": "D", "facecolors": style.VERMILION, "edgecolors": style.BLACK, "s": 46, "linewidths": 0.8},
}
WORDS = {"good runs": "good, of other runs", "same run": "good, of the same run", "suspect": "suspect"}
NOT_ON_RECORD = "not on record"
SPREAD = 0.32
LEAST_SPAN_HRC = 4.0
UPRIGHT = 9
TICKS_S = (2, 5, 10, 20, 30, 60, 120, 300, 600, 1800, 3600, 7200, 14400, 43200)
ALIKE = 0.01  # of the axis: what lies so near is set side by side


def draw_pieces(figure: Figure, shown: PiecesPictured, unit: Unit) -> None:
    """Draw one panel a stage of hardness into a figure. Call within ``style.own_look()``."""
    stages = [s for s in ("as quenched", "final") if any(_hardness(p, s) is not None for p in shown.points)]
    axes = figure.subplots(1, len(stages), sharey=False, squeeze=False)[0]
    for ax, stage in zip(axes, stages, strict=True):
        _draw_stage(ax, shown, stage, unit)
    axes[0].set_ylabel("hardness, HRC")
    handles, labels = axes[0].get_legend_handles_labels()
    for ax in axes[1:]:
        more = zip(*ax.get_legend_handles_labels(), strict=True)
        for handle, label in more:
            if label not in labels:
                handles.append(handle)
                labels.append(label)
    figure.legend(handles, labels, loc="outside lower left", ncols=5)


def _draw_stage(ax: Axes, shown: PiecesPictured, stage: str, unit: Unit) -> None:
    every = [p for p in shown.points if _hardness(p, stage) is not None]
    points = [p for p in every if shown.scale == "words" or p.at is not None]
    limits = shown.limits_final if stage == "final" else shown.limits_as_quenched
    columns = _columns(points) if shown.scale == "words" else []
    left, right = _draw_points(ax, points, stage, shown, columns, unit)
    if limits:
        style.draw_band(ax, left, right, *limits)
        ax.fill_between([], [], [], color=style.BAND_FILL, alpha=0.5, label="what the recipe asks")
    ax.set_xlim(left, right)
    values = [v for p in every if (v := _hardness(p, stage)) is not None] + list(limits or ())
    room = max(0.0, LEAST_SPAN_HRC - (max(values) - min(values))) / 2 + 0.6
    ax.set_ylim(min(values) - room, max(values) + room)
    ax.set_title({"final": "in the end"}.get(stage, stage))
    left_out = len(every) - len(points)
    ax.set_xlabel(_axis_words(shown, unit) + (f" ({left_out} not on record)" if left_out else ""))
    ax.grid(axis="x", visible=False)


def _draw_points(
    ax: Axes, points: Sequence[PiecePoint], stage: str, shown: PiecesPictured, columns: list[str], unit: Unit
) -> tuple[float, float]:
    """Draw every piece; return where the axis begins and ends."""
    xs = _places(points, shown, columns, unit)
    for group, look in LOOKS.items():
        here = [(x, _hardness(p, stage)) for x, p in zip(xs, points, strict=True) if p.group == group]
        if here:
            ax.scatter(*zip(*here, strict=True), label=WORDS[group], zorder=4 if group == "suspect" else 3, **look)
    if shown.scale == "words":
        ax.set_xticks(range(len(columns)), columns, **_turned(columns))
        return -0.6, len(columns) - 0.4
    known = [p.at for p in points if isinstance(p.at, float | int)]
    values = [_shown(float(v), shown, unit) for v in known]
    values += [_shown(shown.allowed, shown, unit)] if shown.allowed is not None else []
    low, high = min(values, default=0.0), max(values, default=1.0)
    reach = max(0.08 * (high - low), {"temperature": 5.0, "count": 0.6, "time": 2.0}.get(shown.scale, 0.3))
    if shown.allowed is not None:
        ax.axvline(_shown(shown.allowed, shown, unit), label=_allowed_words(shown, unit), zorder=1, **style.RECIPE)
    _number_axis(ax, shown, low - reach, high + reach)
    return low - reach, high + reach


def _number_axis(ax: Axes, shown: PiecesPictured, low: float, high: float) -> None:
    from matplotlib.ticker import FuncFormatter, MaxNLocator, MultipleLocator

    ax.xaxis.set_major_locator(MaxNLocator(6, integer=shown.scale == "count"))
    if shown.scale == "time":
        ax.xaxis.set_major_locator(MultipleLocator(next((s for s in TICKS_S if (high - low) / s <= 6), 86400.0)))
        ax.xaxis.set_major_formatter(FuncFormatter(lambda v, _: duration(v) if low <= v <= high and v >= 0 else ""))


def _places(points: Sequence[PiecePoint], shown: PiecesPictured, columns: list[str], unit: Unit) -> list[float]:
    """Where each piece stands on the axis; in a column of words side by side, in order of hardness."""
    if shown.scale != "words":
        return _side_by_side([_shown(float(p.at), shown, unit) for p in points if p.at is not None])
    inside: dict[str, list[int]] = {name: [] for name in columns}
    for i, p in enumerate(points):
        inside[str(p.at) if p.at is not None else NOT_ON_RECORD].append(i)
    found = [0.0] * len(points)
    for number, name in enumerate(columns):
        ordered = sorted(inside[name], key=lambda i: list(LOOKS).index(points[i].group))
        for k, i in enumerate(ordered):
            found[i] = number + (0.0 if len(ordered) == 1 else SPREAD * (2 * k / (len(ordered) - 1) - 1))
    return found


def _side_by_side(values: Sequence[float]) -> list[float]:
    """Numbers on an axis; where many are as good as the same, a little beside each other."""
    span = (max(values) - min(values)) if values else 0.0
    found = list(values)
    for value in sorted(set(values)):
        alike = [i for i, v in enumerate(values) if v == value]
        for k, i in enumerate(alike):
            found[i] = value + ALIKE * span * (k - (len(alike) - 1) / 2) * min(1.0, 8.0 / len(alike))
    return found


def _columns(points: Sequence[PiecePoint]) -> list[str]:
    """Words of the axis: good ones' first, then the suspects', what is not on record last."""
    ranks: dict[str, tuple[float, str]] = {}
    for name in dict.fromkeys(str(p.at) for p in points if p.at is not None):
        share = [p.group == "suspect" for p in points if str(p.at) == name]
        ranks[name] = (sum(share) / len(share), name.zfill(12) if name.isdigit() else name)
    return [*sorted(ranks, key=lambda n: ranks[n]), *([NOT_ON_RECORD] if any(p.at is None for p in points) else [])]


def _turned(columns: Sequence[str]) -> dict[str, Any]:
    longest = max((len(c) for c in columns), default=0)
    if longest * len(columns) > 6 * UPRIGHT:
        return {"rotation": 25, "ha": "right", "rotation_mode": "anchor"}
    return {}


def _shown(value: float, shown: PiecesPictured, unit: Unit) -> float:
    return float(from_celsius(value, unit)) if shown.scale == "temperature" else value


def _allowed_words(shown: PiecesPictured, unit: Unit) -> str:
    assert shown.allowed is not None
    if shown.scale == "temperature":
        return f"the recipe's {temperature(shown.allowed, unit)}"
    return f"the recipe allows {duration(shown.allowed)}"


def _axis_words(shown: PiecesPictured, unit: Unit) -> str:
    more = {"temperature": f", {style.degree(unit)}", "thickness": ", mm", "points": ", HRC"}.get(shown.scale, "")
    return f"{shown.by}{more}"


def _hardness(point: PiecePoint, stage: str) -> float | None:
    value = point.final if stage == "final" else point.as_quenched
    return None if value is None or math.isnan(value) else value
