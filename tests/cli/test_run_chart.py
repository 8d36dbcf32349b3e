"""Charts: what is drawn, in which order, and that thinning never hides a peak or closes a gap."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from matplotlib.figure import Figure

from soakwitness.analysis.recipes.recipe import Recipe
from soakwitness.analysis.recipes.recipe_file import load_recipe
from soakwitness.analysis.record.run import Run, open_run
from soakwitness.analysis.verification.results.verification import Bounds, PieceResult, TooHot, Verification
from soakwitness.analysis.verification.verifying import verify
from soakwitness.cli.charts import style
from soakwitness.cli.charts.flags import flags_of, span_in
from soakwitness.cli.charts.hold_panels import bar_points, bar_words, placed_holds, shown_holds, soak_bars
from soakwitness.cli.charts.ramp_panels import failed_ramps, full_stretches, pace_bar_words
from soakwitness.cli.charts.run_chart import draw_run, run_figure, save_run_chart
from soakwitness.cli.charts.thinning import thin
from soakwitness.firmware_bridge.common.units import from_celsius
from tests.made_runs import made_recipe, made_run, made_verification
from tests.make_sample_logs import SAMPLES
from tests.named_cases import named_cases


@pytest.mark.parametrize("suffix", [".png", ".svg", ".pdf"])
def test_same_run_same_picture(tmp_path: Path, suffix: str) -> None:
    run = made_run(tmp_path)
    paths = [tmp_path / f"{i}{suffix}" for i in (1, 2)]
    for path in paths:
        save_run_chart(run, made_verification(run), made_recipe(), path)
    assert paths[0].read_bytes() == paths[1].read_bytes()


@pytest.mark.parametrize("unit", ["C", "F"])
def test_the_chart_says_verdict_roles_and_bands(tmp_path: Path, unit: style.Unit) -> None:
    run = made_run(tmp_path)
    with style.own_look():
        figure = run_figure(run, made_verification(run), made_recipe(), unit=unit)
    whole, strip, *panels = figure.axes
    assert len(panels) == 4  # two holds, a panel of readings and one of bars each
    labels = {text.get_text() for text in whole.get_legend().get_texts()}
    assert {"chamber (in the furnace)", "blade (in the charge)", "recipe"} <= labels
    assert any("model, not measured" in label or "fitted" in label for label in labels)
    assert figure.texts[0].get_text().startswith("Too short: ")
    assert [text.get_text().strip() for text in strip.texts][0].startswith("short soak")
    assert panels[2].get_title(loc="left").endswith("fail")
    assert any("had " in text.get_text() for text in panels[3].texts)
    top = whole.get_ylim()[1]
    assert top > from_celsius(1046.0, unit)


def test_each_finding_has_its_flag_once_at_its_place_and_none_over_another(tmp_path: Path) -> None:
    verification = made_verification(made_run(tmp_path))
    fail = next(f for f in verification.findings if f.severity == "fail")
    late = replace(fail, code="late quench", pieces=("C-03",), at_s=5000.0, until_s=5045.0, step=None)
    found = replace(verification, findings=(*verification.findings, late, late))
    flags = flags_of(found, 0.0, 6000.0, 9.0)
    assert [f.words for f in flags if f.words == "late quench C-03, 45 s"] == ["late quench C-03, 45 s"]
    assert {f.at_s for f in flags if f.words == "late quench C-03, 45 s"} == {5000.0}
    spans = [(f.row, *span_in(f.at_s, f.words, 0.0, 9.0 / 6000.0, 9.0)) for f in flags]
    for k, (row, begin, end) in enumerate(spans):
        assert all(end < b or begin > e for r, b, e in spans[k + 1 :] if r == row)


def test_a_bar_says_what_was_had_missing_and_sure(tmp_path: Path) -> None:
    hold = next(h for h in made_verification(made_run(tmp_path)).holds if h.verdict == "fail")
    (bar,) = soak_bars(replace(hold, pieces=()))
    assert (bar.had_s, bar.asked_s) == (hold.soak_s.best, hold.required_s)
    assert bar.end_s == hold.leave_s
    end_s = hold.leave_s or 0.0
    (gapped,) = soak_bars(replace(hold, pieces=()), [(0.0, 10.0), (end_s - 100.0, end_s - 40.0), (end_s - 20.0, 9e9)])
    assert gapped.unread == ((end_s - 100.0, end_s - 40.0), (end_s - 20.0, end_s))
    assert bar_words(gapped).endswith(" of 25 min sure in one piece, 80 s not read")
    over = ((end_s - 200.0, end_s - 125.0),)
    hot = replace(hold, pieces=(), unmet=("too hot",), too_hot=TooHot(5.0, 1046.0, 1051.0, 4000.0, 75.0, over))
    assert soak_bars(hot)[0].hot == over
    assert bar_words(soak_bars(hot)[0]).startswith("too hot for 75 s; had ")
    early = PieceResult("A", None, Bounds(60, 60, 60), "fail", "fail", "fail", pull_s=(hold.enter_s or 0.0) + 60.0)
    late = replace(early, piece="B", soak_s=Bounds(900, 900, 900), pull_s=hold.leave_s)
    first, second = soak_bars(replace(hold, pieces=(late, early)))
    assert (first.name, first.end_s, second.name) == ("A", (hold.enter_s or 0.0) + 60.0, "B")


def sample(name: str) -> tuple[Run, Recipe, Verification]:
    run, recipe = open_run(SAMPLES / name), load_recipe(SAMPLES / "recipes" / "paring-blades.toml")
    return run, recipe, verify(run, recipe)


def of_case(name: str) -> tuple[Run, Recipe, Verification]:
    case = named_cases()[name]
    return case.run, case.recipe, verify(case.run, case.recipe)


def flagged(run: Run, found: Verification) -> dict[str, float]:
    flags = flags_of(found, float(run.t_s[0]), float(run.t_s[-1]), 9.0, run)
    return {flag.words: flag.at_s for flag in flags}


def test_bars_and_flags_stand_where_the_curve_is_too_hot_and_where_a_hold_was_missed() -> None:
    """Climbed at 700 K/h from 20 at 90 s, stood at 659.5 for 1600 s: over 658 from 3400 s or so (the case's text)."""
    run, _, found = of_case("wrong_story")
    t_s, read_c = run.t_s, run.values["pv"]
    over, passed = t_s[read_c > 658.0], t_s[read_c >= 505.0]
    missing, hot = placed_holds(run, found)
    (bar,) = soak_bars(hot)
    assert (bar.start_s, bar.end_s) == (over[0], over[-1])
    assert bar_words(bar).endswith(" of the hold")
    assert missing.stays[0][0] == passed[0]
    assert bar_words(soak_bars(missing)[0]) == "had nothing of 8 min"
    assert flagged(run, found) == {"hold missing": passed[0], "too hot, 25.5 min": over[0]}
    assert [hold.step for hold in shown_holds(placed_holds(run, found))] == [2, 4]


@pytest.mark.parametrize(
    ("high_in", "first"), [(7.6, "had 8.3 of 12 min, 3.7 min missing"), (4.2, "\u00a08.3 of 12 min\u00a0")]
)
def test_in_a_small_chart_a_bar_has_few_words_that_can_be_read(high_in: float, first: str) -> None:
    run, recipe = open_run(SAMPLES / "pulled-one-by-one"), load_recipe(SAMPLES / "recipes" / "chef-blades-hot.toml")
    with style.own_look():
        figure = Figure(figsize=(6.5, high_in))
        draw_run(figure, (0.0, 0.0, 1.0, 1.0), run, verify(run, recipe), recipe, unit="C")
        words = figure.axes[-1].texts
    assert words[0].get_text() == first
    assert all(float(text.get_fontsize()) >= 5.0 for text in words)


def test_heat_that_came_back_is_marked_where_it_did() -> None:
    run, _, found = of_case("cut_that_ended_it")
    flags = flagged(run, found)
    # 1500 s of cooling behind the hold, then 40 K of heating (the case's text).
    turn = [
        k
        for k in range(1, len(run.t_s) - 300)
        if run.t_s[k] > 4269.0 and run.values["pv"][k + 200] > run.values["pv"][k]
    ]
    assert flags["heated again"] == pytest.approx(float(run.t_s[turn[0] + 100]), abs=200.0)


def test_a_lost_sensor_is_named_and_a_door_that_was_marked_has_no_flag() -> None:
    for name, words in (("open-circuit", "sensor fault: load"), ("gap", "gap in record")):
        run, _, found = sample(name)
        assert list(flagged(run, found)) == [words]
    run, recipe = open_run(SAMPLES / "pulled-one-by-one"), load_recipe(SAMPLES / "recipes" / "chef-blades-hot.toml")
    found = verify(run, recipe)
    assert set(flagged(run, found)) == {"short soak C-01", "late quench C-03, 45 s"}
    bars = soak_bars(found.holds[-1])
    assert {bar.start_s for bar in bars} == {found.holds[-1].enter_s}  # of one sensor, from one moment


def test_the_words_of_a_flag_touch_no_line_of_another() -> None:
    finding = next(f for f in sample("overshoot")[2].findings if f.severity == "fail")
    found = sample("good")[2]
    near = [replace(finding, code=f"fault {k}", at_s=at_s) for k, at_s in enumerate((5485.0, 6025.0, 6100.0))]
    flags = flags_of(replace(found, findings=tuple(near)), 0.0, 6700.0, 9.0)
    assert len(flags) == 3
    per_s = 9.0 / 6700.0
    for one in flags:
        begin, end = span_in(one.at_s, one.words, 0.0, per_s, 9.0, left=one.left)
        higher = [other for other in flags if other.row >= one.row and other is not one]
        assert all(not begin <= other.at_s * per_s <= end for other in higher)


def test_a_line_of_what_was_meant_crosses_no_gap() -> None:
    assert style.outside([(3.0, 5.0), (8.0, 20.0), (-4.0, -1.0)], 0.0, 10.0) == [(0.0, 3.0), (5.0, 8.0)]


def test_a_ramp_that_failed_has_its_panel_and_one_that_passed_has_none() -> None:
    run, recipe, found = sample("slow-ramp")
    (paced,) = failed_ramps(found, recipe, run)
    # 300 K/h asked of step 3, from some 776 where it began to 1040: 264 K take 52.8 min
    assert (paced.ramp.step, paced.limit_c_per_h, paced.slow) == (3, 300.0, True)
    assert paced.at_limit_s == pytest.approx(3168.0, abs=120.0)
    t_s, read_c = run.t_s, run.values["control"]
    from_s, to_s = t_s[read_c < 806.0][t_s[read_c < 806.0] < 5000.0][-1], t_s[read_c > 1014.0][0]
    pace = (1014.0 - 806.0) / (to_s - from_s) * 3600.0  # over the middle eight tenths of 780 to 1040
    assert paced.ramp.rate_c_per_h == pytest.approx(pace, rel=0.05)
    assert pace_bar_words(paced, "C").startswith(f"{paced.ramp.rate_c_per_h:.0f} °C/h, ")
    assert sum(b - a for a, b in full_stretches(run, paced.start_s, paced.end_s)) > 0.9 * (paced.end_s - paced.start_s)
    with style.own_look():
        figure = run_figure(run, found, recipe, unit="C")
    titles = [ax.get_title(loc="left") for ax in figure.axes]
    assert [title for title in titles if title] == [
        "Step 2, 780 °C: pass, by control",
        "Step 3, ramp to 1040 °C: fail",
        "Step 4, 1040 °C: pass, by load",
    ]
    good, recipe, found = sample("good")
    assert failed_ramps(found, recipe, good) == []


def test_a_gap_is_left_blank(tmp_path: Path) -> None:
    run = made_run(tmp_path)
    t_s, value = thin(run.t_s, run.values["chamber"], most=500, gap_s=15.0)
    assert np.isnan(value).sum() == 1
    assert not ((t_s > 3000) & (t_s < 3200) & np.isfinite(value)).any()


def test_thinning_keeps_the_highest_and_lowest_reading() -> None:
    rng = np.random.default_rng(5)
    t_s = np.arange(100_000.0)
    value = rng.normal(0, 1, t_s.size)
    value[31_417] = 50.0
    value[62_834] = -50.0
    thinned_t, thinned = thin(t_s, value, most=900, gap_s=5.0)
    assert len(thinned) < 1500
    assert not np.isnan(thinned).any()
    assert thinned_t[np.argmax(thinned)] == 31_417
    assert thinned_t[np.argmin(thinned)] == 62_834


def luminance(colour: str) -> float:
    """Relative luminance as WCAG 2.1 defines it."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


# Machado, Oliveira, Fernandes 2009, severity 1.0 (linear RGB), as colour libraries print them
DEFICIENCIES = {
    "protan": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "deutan": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
}


def linear_rgb(colour: str) -> np.ndarray:
    parts = np.array([int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)])
    return np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)


def lab(linear: np.ndarray) -> np.ndarray:
    """CIE L*a*b* (D65) of linear sRGB, IEC 61966-2-1 matrix."""
    matrix = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    xyz = matrix @ np.clip(linear, 0, 1) / np.array([0.9505, 1.0, 1.089])
    f = np.where(xyz > (6 / 29) ** 3, np.cbrt(xyz), xyz / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


@pytest.mark.parametrize("eyes", ["protan", "deutan"])
def test_the_three_main_lines_differ_for_colour_blind_eyes(eyes: str) -> None:
    matrix = np.array(DEFICIENCIES[eyes])
    colours = [lab(matrix @ linear_rgb(look["color"])) for look in (style.MEASURED, style.LOAD, style.ESTIMATE)]
    for i, one in enumerate(colours):
        for other in colours[i + 1 :]:
            assert np.linalg.norm(one - other) > 15  # CIE76; about 2.3 is just noticeable


def test_lines_stand_out_from_white_paper_and_differ_in_grey_by_their_dashes() -> None:
    looks = [style.MEASURED, style.LOAD, style.ESTIMATE, *style.OTHERS]
    assert len({str(look["linestyle"]) for look in looks}) == len(looks)
    for look in (style.MEASURED, style.LOAD, style.RECIPE):
        contrast = 1.05 / (luminance(look["color"]) + 0.05)
        assert contrast >= 3.0  # WCAG 2.1, 1.4.11 graphical objects


def test_a_legend_takes_as_many_columns_as_find_room() -> None:
    """At 10 points a letter is about 0.074 in: a name of 8 letters with its line takes 1.18 in."""
    from soakwitness.cli.charts.run_chart import legend_rows

    names = ["chamber1"] * 4
    assert legend_rows(names, 10.0) == (4, 1)
    assert legend_rows(names, 2.5) == (2, 2)
    assert legend_rows(names, 1.5) == (1, 4)
    assert legend_rows([*names, "a much longer name of an estimate that nobody would shorten"], 8.0)[0] < 5


@pytest.mark.parametrize(
    ("zone", "first", "label"),
    # begun 07:04:10 UTC, in Vienna 08:04:10 in winter: the first round quarter of an hour is 10 min 50 s later
    [("Europe/Vienna", "08:15", "time, Europe/Vienna"), (None, "07:15", "time, UTC")],
)
def test_on_paper_times_are_those_of_the_clock_on_the_wall(zone: str | None, first: str, label: str) -> None:
    run, recipe, found = sample("good")
    run = replace(run, header=replace(run.header, zone=zone))
    with style.own_look():
        figure = Figure(figsize=(9.6, 5.2))
        draw_run(figure, (0.0, 0.0, 1.0, 1.0), run, found, recipe, unit="C", local=True)
        figure.draw_without_rendering()
    whole, *panels = figure.axes
    ticks = {tick.get_text(): tick.get_position()[0] for tick in whole.get_xticklabels()}
    assert ticks[first] == pytest.approx(650.0)
    assert whole.get_xlabel() == label
    below = [tick.get_text() for ax in panels for tick in ax.get_xticklabels() if tick.get_text()]
    assert below != []
    assert all(len(words) == 5 and words[:2] in ("07", "08", "09", "10") for words in below)


def test_the_words_of_a_bar_stay_within_it() -> None:
    with style.own_look():
        figure = Figure(figsize=(4.0, 1.0))
        ax = figure.add_axes((0.0, 0.0, 1.0, 0.5))  # 0.5 in for four bars: rows of 9 points
        assert bar_points(ax, 4) == pytest.approx(9.0 * 0.74 * 0.85)
        assert bar_points(ax, 1) == pytest.approx(0.83 * 9.0)
