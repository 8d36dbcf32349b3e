"""The strips of a furnace's condition: scales that a person can read, the first level named beside today's."""

from __future__ import annotations

import pytest
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from soakwitness.analysis.condition.judging import Condition
from soakwitness.cli.charts import style
from soakwitness.cli.charts.condition_chart import chosen_trends, condition_figure
from tests.analysis.condition.test_judging import as_ever, over_runs

AGED = {"power": 0.85}


def drawn(condition: Condition, unit: str = "C") -> Figure:
    with style.own_look():
        figure = condition_figure(condition, unit=unit)  # type: ignore[arg-type]
        figure.draw_without_rendering()
    return figure


def ticks(ax: Axes) -> list[float]:
    low, high = ax.get_ylim()
    return [float(t.get_text()) for t in ax.get_yticklabels() if low <= t.get_position()[1] <= high]


def test_every_strip_has_a_scale_in_a_unit_that_is_named() -> None:
    for condition in (over_runs(as_ever), over_runs(lambda i: AGED)):
        for ax, trend in zip(drawn(condition).axes, chosen_trends(condition), strict=True):
            assert len(ticks(ax)) >= 2, trend.kind
            low, high = ax.get_ylim()
            assert all(low <= value <= high for value in ticks(ax))
            assert ax.get_ylabel() in ("°C", "°C/h", "%")


def test_the_first_level_is_named_beside_today_s_and_neither_over_the_other() -> None:
    for condition in (over_runs(as_ever), over_runs(lambda i: AGED)):
        for ax in drawn(condition).axes:
            first, *now = ax.texts[:2] if len(ax.texts) > 1 else ax.texts
            if not now:
                assert first.get_text().startswith("now ")
                assert first.get_text().endswith(", as at first")
                continue
            assert [text.get_text().split()[0] for text in (first, *now)] == ["at", "now"]
            assert abs(first.get_position()[1] - now[0].get_position()[1]) >= 0.2 - 1e-9


def test_a_scale_in_fahrenheit_is_1_8_times_as_long() -> None:
    condition = over_runs(lambda i: AGED)
    celsius, fahrenheit = drawn(condition), drawn(condition, "F")
    for ax, other, trend in zip(celsius.axes, fahrenheit.axes, chosen_trends(condition), strict=True):
        longer = 1.0 if trend.kind == "output" else 1.8
        assert other.get_ylim()[1] == pytest.approx(longer * ax.get_ylim()[1])
