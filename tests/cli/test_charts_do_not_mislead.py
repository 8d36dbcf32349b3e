"""What a stranger misread in a picture: the side of a band, a rest that nobody recorded, a scale, what to do next."""

from __future__ import annotations

import pytest
from matplotlib.figure import Figure

from soakwitness.cli.charts import style
from soakwitness.cli.charts.flags import flags_of
from soakwitness.cli.charts.hold_panels import bar_words, soak_bars
from soakwitness.cli.charts.run_chart import draw_run, run_figure
from tests.cli.test_run_chart import of_case, sample


def test_a_hold_above_its_band_is_not_flagged_as_below_it() -> None:
    """The record ends 25 min into a hold that had overshot by 17 K (the case's own text)."""
    run, _, found = of_case("record_ends_in_hold")
    words = {flag.words for flag in flags_of(found, float(run.t_s[0]), float(run.t_s[-1]), 9.0, run)}
    assert "above its band" in words
    assert "below its band" not in words


def test_an_on_off_control_that_swings_is_not_flagged_as_one_dip() -> None:
    """A sawtooth of 7 K about its target, its band 6 K wide on either side (the case's own text)."""
    run, _, found = of_case("on_off_cycling")
    words = {flag.words for flag in flags_of(found, float(run.t_s[0]), float(run.t_s[-1]), 9.0, run)}
    assert words == {"swings out of its band"}


def test_what_nobody_recorded_is_not_called_missing() -> None:
    _, _, found = of_case("record_ends_in_hold")
    (bar,) = soak_bars(found.holds[0])
    assert bar_words(bar) == "had 24.8 of 40 min, 15.2 min not recorded"
    _, _, short = of_case("cut_that_ended_it")
    assert bar_words(soak_bars(short.holds[0])[0]).endswith(" min missing")


def test_a_step_that_comes_after_the_record_does_not_set_the_scale() -> None:
    """The recipe goes on to 862 °C, the record ends at 306 and had been at 324."""
    run, recipe, found = of_case("record_ends_in_hold")
    with style.own_look():
        figure = run_figure(run, found, recipe, unit="C")
    assert figure.axes[0].get_ylim()[1] < 400.0


@pytest.mark.parametrize("name", ["temper_50_too_hot_for_20_min", "hardening_50_too_hot_for_12_min"])
def test_the_whole_band_is_seen_beside_heat_far_over_it(name: str) -> None:
    run, recipe, found = of_case(name)
    with style.own_look():
        figure = Figure(figsize=(9.6, 5.2))
        draw_run(figure, (0.0, 0.0, 1.0, 1.0), run, found, recipe, unit="C")
    hold = found.holds[0]
    panel = next(ax for ax in figure.axes if ax.get_title(loc="left").startswith(f"Step {hold.step}"))
    low, high = panel.get_ylim()
    assert low < hold.band_c[0]
    assert high > 45.0 + hold.band_c[1]  # 50 K over the target (the case's own text)


@pytest.mark.parametrize("name", ["short-soak", "overshoot", "gap"])
def test_a_picture_says_what_to_do_next(name: str) -> None:
    run, recipe, found = sample(name)
    assert found.in_short.next is not None
    with style.own_look():
        figure = run_figure(run, found, recipe, unit="C")
    assert found.in_short.next.text("C") in " ".join(text.get_text() for text in figure.texts)
