"""The chart of a packet estimate: what is drawn, and that each hold says what the packet eats of it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from soakwitness.analysis.packet.piece import generic_packet
from soakwitness.analysis.packet_runs.prediction import Prediction, predict
from soakwitness.analysis.recipes.recipe import PacketSpec, Recipe
from soakwitness.analysis.record.run import Run
from soakwitness.cli.charts import style
from soakwitness.cli.charts.packet_chart import packet_figure
from soakwitness.firmware_bridge.common.units import from_celsius
from tests.verification_runs import drawn, make_run, sensor, simple_recipe

TWO = simple_recipe((700, 10, 5), (1000, 15, 5))
COURSE = [(0, 20), (1360, 700), (2560, 700), (3160, 1000), (4960, 1000), (6800, 80)]


def made(recipe: Recipe | None = TWO) -> tuple[Run, Prediction]:
    t_s, temp_c = drawn(COURSE, every_s=5)
    values = {"furnace": temp_c, "dummy": temp_c - 20}
    run = make_run(t_s, values, columns=[sensor(), sensor("dummy", "load")])
    return run, predict(run, generic_packet(PacketSpec(3.0), None), recipe=recipe)


@pytest.mark.parametrize(("unit", "target"), [("C", "1000 °C"), ("F", "1832 °F")])
def test_it_shows_chamber_load_estimate_and_recipe(unit: style.Unit, target: str) -> None:
    run, found = made()
    with style.own_look():
        figure = packet_figure(run, found, TWO, unit=unit, headline="a blade")
    whole, *insets = figure.axes
    assert [text.get_text() for text in whole.get_legend().get_texts()] == [
        "furnace (measured)",
        "dummy (load, measured)",
        "blade in its packet, estimated (a model, not measured)",
        style.ASKED,
        "recipe",
    ]
    assert figure.get_suptitle() == "a blade"
    best = found.holds[1].lag.best_s
    assert best is not None
    assert f"{target}: eats {best / 60:.1f} min (" in insets[1].get_title(loc="left")
    # The whole band is seen, whatever the unit.
    low, high = insets[1].get_ylim()
    assert low < from_celsius(995.0, unit)
    assert high > from_celsius(1005.0, unit)


def test_a_hold_that_the_blade_never_reaches_is_eaten_whole() -> None:
    run, found = made()
    never = replace(found.holds[1], lag=replace(found.holds[1].lag, low_s=None, best_s=None, high_s=None))
    with style.own_look():
        figure = packet_figure(run, replace(found, holds=(found.holds[0], never)), TWO, unit="C", headline="")
    assert figure.axes[2].get_title(loc="left").endswith("eats all of 15 min")


def test_a_blade_later_than_the_hold_is_long_eats_no_more_than_there_is() -> None:
    run, found = made()
    late = replace(found.holds[1], lag=replace(found.holds[1].lag, low_s=840.0, best_s=1080.0, high_s=1500.0))
    with style.own_look():
        figure = packet_figure(run, replace(found, holds=(found.holds[0], late)), TWO, unit="C", headline="")
    title = figure.axes[2].get_title(loc="left")
    assert title.endswith("blade later by 18 min (likely 14 to 25 min), 15 min asked")


def test_a_time_without_readings_is_hatched_and_stays_hatched_in_the_hold() -> None:
    t_s, temp_c = drawn(COURSE, every_s=5)
    some = (t_s < 4000) | (t_s > 4600)
    run = make_run(t_s[some], {"furnace": temp_c[some]}, columns=[sensor()])
    found = predict(run, generic_packet(PacketSpec(3.0), None), recipe=TWO)
    with style.own_look():
        figure = packet_figure(run, found, TWO, unit="C", headline="")
    whole, _, last = figure.axes
    for ax in (whole, last):
        (hatched,) = [patch for patch in ax.patches if patch.get_hatch()]
        assert hatched.get_extents().width > 0
        assert (hatched.get_x(), hatched.get_x() + hatched.get_width()) == (3995.0, 4605.0)  # type: ignore[attr-defined]


def test_without_a_recipe_it_is_one_picture(tmp_path: Path) -> None:
    run, found = made(None)
    with style.own_look():
        figure = packet_figure(run, found, None, unit="C", headline="")
    assert len(figure.axes) == 1
