"""In a run's picture: a sign for each pull, a column for each hold asked for, and what is not on record."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from soakwitness.analysis.recipes.recipe import Recipe
from soakwitness.analysis.recipes.recipe_file import load_recipe
from soakwitness.analysis.record.run import Run, open_run
from soakwitness.analysis.verification.results.verification import Verification
from soakwitness.analysis.verification.verifying import verify
from soakwitness.cli.charts import style
from soakwitness.cli.charts.marks import FULL, SIGN, draw_marks
from soakwitness.cli.charts.run_chart import draw_run, run_figure, save_run_chart, title_words
from soakwitness.cli.sheets.in_html import in_own_colours
from soakwitness.firmware_bridge.runfolder.contents import Mark
from tests.make_sample_logs import RUNS, SAMPLES

ONE_BY_ONE = "pulled-one-by-one"
LEAST_SEEN_PX = 10.0  # of 150 in an inch: common practice for what is seen at a glance


def sample(name: str) -> tuple[Run, Recipe, Verification]:
    run, recipe = open_run(SAMPLES / name), load_recipe(SAMPLES / "recipes" / f"{RUNS[name][0]}.toml")
    return run, recipe, verify(run, recipe)


def drawn(name: str, size: tuple[float, float] = (10.5, 7.6)) -> list[Axes]:
    run, recipe, found = sample(name)
    with style.own_look():
        figure = Figure(figsize=size)
        FigureCanvasAgg(figure)
        draw_run(figure, (0.0, 0.0, 1.0, 1.0), run, found, recipe, unit="C")
        figure.draw_without_rendering()
    return figure.axes


def signs(ax: Axes) -> Iterator[tuple[float, bool]]:
    """When a pull has its sign [s], and whether it is full."""
    for line in ax.get_lines():
        if line.get_marker() == SIGN["marker"]:
            yield float(line.get_xdata()[0]), line.get_markerfacecolor() == FULL


def words(ax: Axes) -> list[str]:
    return [text.get_text() for text in ax.texts]


@pytest.mark.parametrize("size", [(10.5, 7.6), (3.8, 7.8)])
def test_each_pull_has_a_sign_and_that_of_a_piece_that_failed_is_full(size: tuple[float, float]) -> None:
    """What was done is in tests/make_sample_logs.py: C-01 came out early, C-03 was late to the plates."""
    run, _, _ = sample(ONE_BY_ONE)
    pulls = {mark.t_s: set(mark.pieces) & {"C-01", "C-03"} for mark in run.marks if mark.act == "pull"}
    assert len(pulls) == 4
    whole = drawn(ONE_BY_ONE, size)[0]
    assert dict(signs(whole)) == {t_s: bool(failed) for t_s, failed in pulls.items()}


def test_where_there_is_room_each_pull_is_named() -> None:
    """The pulls lie 8, 1 and 2 minutes apart: the panel of the hold has room for three names and more."""
    _, _, *panels = drawn(ONE_BY_ONE)
    panel = next(ax for ax in panels if ax.get_title(loc="left").startswith("Step 4"))
    assert len(list(signs(panel))) == 4
    assert {"C-01", "C-02", "C-03", "dummy"} <= set(words(panel))


def test_where_there_is_none_they_share_their_words() -> None:
    narrow = drawn(ONE_BY_ONE, (3.8, 7.8))[0]
    assert any("3 pieces" in said or "C-02" in said for said in words(narrow))
    assert sum("pull" in said for said in words(narrow)) < 4


def test_of_many_that_came_out_together_it_is_said_how_many_and_who() -> None:
    """Six a few seconds apart, one at the far end of them and one half an hour before: no words stand on a line."""
    out = {"A-1": 1000.0, **{f"C-{n}": 2800.0 + 6.0 * n for n in range(1, 7)}, "dummy": 2860.0}
    figure = Figure(figsize=(4.0, 3.0))
    FigureCanvasAgg(figure)
    ax = figure.add_subplot()
    ax.set_xlim(0.0, 3600.0)
    ax.plot([0.0, 1.0], [0.0, 1.0])
    draw_marks(ax, [Mark(t_s, "pull", (name,), mark_id=name) for name, t_s in out.items()], brief=True)
    assert words(ax) == ["A-1", "7 pieces, C-1 to C-6 and dummy"]


def test_the_svg_has_the_words_of_each_pull(tmp_path: Path) -> None:
    run, recipe, found = sample(ONE_BY_ONE)
    save_run_chart(run, found, recipe, tmp_path / "run.svg")
    svg = (tmp_path / "run.svg").read_text(encoding="utf-8")
    for piece in ("C-01", "C-02", "C-03", "dummy"):
        assert f">{piece}</text>" in svg
    assert ">pull and plates C-01</text>" in svg


def test_the_svg_has_a_sign_a_pull_twice_and_a_dark_page_draws_the_full_ones_light(tmp_path: Path) -> None:
    """Four pulls, of which two failed, in the whole run and in the panel of their hold."""
    run, recipe, found = sample(ONE_BY_ONE)
    save_run_chart(run, found, recipe, tmp_path / "run.svg")
    svg = in_own_colours((tmp_path / "run.svg").read_text(encoding="utf-8"))
    used = [line for line in svg.splitlines() if "<use" in line and "stroke-width: 0.8" in line and "fill: " in line]
    assert sum("fill: var(--ink" in line for line in used) == 4
    assert sum("fill: var(--card" in line for line in used) == 4


@pytest.mark.parametrize("size", [(10.5, 7.6), (3.8, 7.8)])
def test_what_a_hold_asks_for_is_seen_in_the_whole_run_and_nothing_in_it_is_larger_than_it_is(
    size: tuple[float, float],
) -> None:
    _, recipe, found = sample("good")
    whole = drawn("good", size)[0]
    columns = [
        part for part in whole.collections if part.get_facecolor().size and part.get_paths()[0].vertices.size > 8
    ]
    boxes = [part.get_paths()[0].get_extents() for part in columns]
    assert sorted((box.y0, box.y1) for box in boxes) == [(0.0, 788.0), (0.0, 1046.0)]  # the upper edges of the bands
    assert [round(box.width) for box in sorted(boxes, key=lambda box: box.x0)] == [600, 900]  # as long as asked
    for part in columns:
        high_in = part.get_window_extent().height / whole.get_figure(root=True).dpi
        assert 150.0 * high_in > LEAST_SEEN_PX
    labels = [text.get_text() for text in whole.get_legend().get_texts()]
    assert style.ASKED in labels


@pytest.mark.parametrize(
    ("name", "shown"),
    # tests/make_sample_logs.py: the relay that stuck is in no reading; the others' causes are: pulled early, a thick
    # blade's lag, the setpoint, the output, a broken sensor, a cable.
    [("overshoot", False), *((name, True) for name in RUNS if name != "overshoot")],
)
def test_a_title_says_where_the_cause_is_not_on_record(name: str, shown: bool) -> None:
    run, recipe, found = sample(name)
    assert title_words(found, "C").endswith(" Cause not on record.") == (not shown)
    with style.own_look():
        figure = run_figure(run, found, recipe, unit="C")
    said = " ".join(text.get_text() for text in figure.texts)
    assert ("Cause not on record." in said) == (not shown)


def test_a_gap_is_explained_by_its_event_or_not_at_all() -> None:
    run, recipe, found = sample("gap")
    assert " (the link was lost) " in title_words(found, "C")
    bare = verify(replace(run, events=tuple(e for e in run.events if not e.event.startswith("link"))), recipe)
    assert "link" not in title_words(bare, "C")
    assert title_words(bare, "C").endswith(" Cause not on record.")


def setpoint_stretches(name: str) -> list[tuple[float, float]]:
    """From when to when the setpoint is drawn without a break [s]."""
    colour = [style.SETPOINT["color"]]
    lines = [line for line in drawn(name)[0].get_lines() if [line.get_color()] == colour]
    return [(float(line.get_xdata()[0]), float(line.get_xdata()[-1])) for line in lines]


def test_the_setpoint_crosses_no_gap_in_which_it_was_not_read() -> None:
    """The cable was out for eleven minutes, the load sensor alone for nine (tests/make_sample_logs.py)."""
    (gap,) = sample("gap")[2].record.gaps
    before, after = setpoint_stretches("gap")
    assert (before[1], after[0]) == gap
    assert sample("open-circuit")[2].record.gaps != ()
    assert len(setpoint_stretches("open-circuit")) == 1
