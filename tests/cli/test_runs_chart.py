"""Several runs over each other: where their clocks begin, what is said, what is refused."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from soakwitness.cli.charts import style
from soakwitness.cli.charts.runs_chart import beside, runs_figure, title_words
from soakwitness.cli.main import soakwitness
from soakwitness.cli.options.common import WrongUse
from soakwitness.cli.verdicts.verified import verify_run

SAMPLES = Path(__file__).parents[2] / "sample_logs"


def ask(tmp_path: Path, *words: object) -> object:
    return CliRunner().invoke(
        soakwitness, ["runs", *map(str, words), "--logbook", str(tmp_path / "book")], standalone_mode=False
    )


def test_clocks_are_set_to_the_hold_and_each_bar_has_its_words(tmp_path: Path) -> None:
    found = [verify_run(SAMPLES / name, None, tmp_path / "book") for name in ("good", "short-soak")]
    runs = beside([(one.run, one.verification) for one in found], 4)
    for one in runs:
        assert one.hold is not None
        assert one.from_s == one.hold.control_enter_s
    # 18.0 minutes in the good one, 11.25 where the 10 mm blade came late: tests/test_sample_logs.py
    assert title_words(runs, "C") == "At 1040 °C: 2026-03-02 0001 had 18 of 15 min, 2026-03-03 0002 had 11.2 of 15 min."
    with style.own_look():
        figure = runs_figure(runs, unit="F")
    whole, bars = figure.axes
    assert [text.get_text() for text in whole.get_legend().get_texts()] == [
        "2026-03-02 0001: pass",
        "2026-03-03 0002: fail",
    ]
    assert [text.get_text().strip() for text in bars.texts] == ["had 18 of 15 min", "had 11.2 of 15 min"]
    assert whole.get_ylabel() == "temperature, °F"


def test_by_their_starts_every_clock_begins_at_nought(tmp_path: Path) -> None:
    found = [verify_run(SAMPLES / name, None, tmp_path / "book") for name in ("good", "gap")]
    runs = beside([(one.run, one.verification) for one in found], None)
    assert [one.from_s for one in runs] == [0.0, 0.0]
    assert title_words(runs, "C") == "2026-03-02 0001: pass, 2026-03-08 0007: not proven"


def test_the_command_draws_and_never_overwrites(tmp_path: Path) -> None:
    picture = tmp_path / "both.svg"
    said = ask(tmp_path, "--compare", SAMPLES / "good", SAMPLES / "gap", "--chart", picture, "--align", "2")
    assert said.exception is None  # type: ignore[attr-defined]
    assert "At 780 °C: " in said.stdout  # type: ignore[attr-defined]
    assert picture.stat().st_size > 1000
    again = ask(tmp_path, "--compare", SAMPLES / "good", SAMPLES / "gap", "--chart", picture)
    assert "exists" in str(again.exception)  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--compare", SAMPLES / "good", "--chart", "a.png"), "takes 2 to 6 runs, not 1"),
        (("--compare", SAMPLES / "good", SAMPLES / "gap"), "Say where the picture goes"),
        (("--compare", SAMPLES / "good", SAMPLES / "gap", "--chart", "a.png", "--align", "3"), "--align 3: say start"),
        ((SAMPLES / "good", SAMPLES / "gap"), "several runs are named"),
        ((SAMPLES / "good", "--chart", "a.png"), "belong to runs --compare"),
    ],
)
def test_what_cannot_be_drawn_is_told(tmp_path: Path, words: tuple[object, ...], says: str) -> None:
    told = ask(tmp_path, *words)
    assert isinstance(told.exception, WrongUse)  # type: ignore[attr-defined]
    assert says in str(told.exception)  # type: ignore[attr-defined]
