"""What an interactive chart is drawn from: whatever part is looked at, its peaks and gaps are there."""

from __future__ import annotations

import json
import math
import subprocess
import sys
from array import array
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from soakwitness.cli.charts.run_data import MOST_POINTS, chart_data, read_lines
from soakwitness.cli.charts.windows_of_lines import line_of, part_of, usual_gap_s
from soakwitness.cli.main import soakwitness
from soakwitness.firmware_bridge.runfolder.contents import Column
from soakwitness.firmware_bridge.runfolder.writer import RunFolder

SAMPLES = Path(__file__).parents[2] / "sample_logs"
GAP_S = 3.0


def test_a_pull_of_a_piece_that_failed_where_others_did_not_has_its_sign_full() -> None:
    """In the sample C-01 came out early and C-03 was late to the plates; nothing failed of C-02 and the dummy."""
    told = CliRunner().invoke(soakwitness, ["verify", str(SAMPLES / "pulled-one-by-one"), "--json", "--exit-zero"])
    data = chart_data(read_lines(SAMPLES / "pulled-one-by-one"), json.loads(told.stdout), unit="F")
    pulls = {mark["words"]: mark["full"] for mark in data["marks"] if mark["act"] == "pull"}
    assert [full for words, full in pulls.items() if "C-01" in words or "C-03" in words] == [True, True]
    assert sum(pulls.values()) == 2
    assert len(pulls) == 4
    assert not any(mark["full"] for mark in data["marks"] if mark["act"] != "pull")
    assert data["zero"] == 32.0  # 0 degC, where a column stands


readings = st.lists(
    st.tuples(
        st.sampled_from([1.0, 1.0, 1.0, 2.0, 30.0]),
        st.one_of(st.floats(-200, 1300, allow_nan=False), st.just(math.nan)),
    ),
    max_size=400,
)


@settings(max_examples=300, deadline=None)
@given(readings=readings, window=st.tuples(st.floats(-10, 900), st.floats(0, 900)), most=st.integers(8, 60))
def test_the_extremes_and_the_gaps_of_every_window_survive(
    readings: list[tuple[float, float]], window: tuple[float, float], most: int
) -> None:
    t_s, at_s = array("d"), 0.0
    for step, _ in readings:
        at_s += step
        t_s.append(at_s)
    value = array("d", (v for _, v in readings))
    start, stop = window[0], window[0] + window[1]
    part = part_of(line_of(t_s, value, gap_s=GAP_S), start, stop, most=most)
    had = [(t, v) for t, v in zip(t_s, value, strict=True) if not math.isnan(v)]
    inside = [v for t, v in had if start <= t <= stop]
    shown = [(t, v) for t, v in zip(part.t_s, part.value, strict=True) if v is not None]
    drawn = [v for t, v in shown if start <= t <= stop]
    # every point is a reading, in the order of time; lowest, highest, first and last are there
    assert set(shown) <= set(had)
    assert list(part.t_s) == sorted(set(part.t_s))
    assert bool(drawn) == bool(inside)
    if inside:
        assert (min(drawn), max(drawn), drawn[0], drawn[-1]) == (min(inside), max(inside), inside[0], inside[-1])
    # the reading before and the one after, so that the line runs out of the picture
    assert [v for t, v in shown if t < start][-1:] == [v for t, v in had if t < start][-1:]
    assert [v for t, v in shown if t > stop][:1] == [v for t, v in had if t > stop][:1]
    # a line is never drawn over a gap that found room, nor broken where there is none
    gaps = [(a, b) for (a, _), (b, _) in zip(had, had[1:], strict=False) if b - a > GAP_S and b >= start and a <= stop]
    broken = {(part.t_s[i - 1], part.t_s[i + 1]) for i, v in enumerate(part.value) if v is None}
    assert broken <= set(gaps)
    if len(inside) <= most or len(gaps) <= most // 6:
        assert broken == set(gaps)
    else:
        assert len(broken) == max(most // 6, 1)
        assert min(b - a for a, b in broken) >= max((b - a for a, b in set(gaps) - broken), default=0.0)
    if len(inside) > most:
        assert len(part.t_s) <= most + most // 2 + 4


def test_what_a_pause_is() -> None:
    assert usual_gap_s([0.0, 1.0, 2.0], 10.0) == pytest.approx(30.0)
    assert usual_gap_s([0.0, 2.0, 4.0, 90.0], None) == pytest.approx(6.0)
    three_missing = line_of(
        array("d", range(9)), array("d", [1, 1, 1, math.nan, math.nan, 1, 1, 1, 1]), gap_s=3.0 + 1e-6
    )
    assert three_missing.breaks == ()  # three periods are none yet


def a_day(folder: Path, seconds: int) -> Path:
    """Four sensors at 1 Hz; one peak of a single reading, one pause of a minute."""
    columns = tuple(Column(name, "sensor", "C", role="load" if k else "control") for k, name in enumerate("abcd"))
    run = RunFolder.create(folder, columns=columns, furnace_name="f", started_utc=1_795_590_902.0, every_s=1.0)
    for second in range(seconds):
        if not 5000 <= second < 5060:
            level = 500.0 + 300.0 * math.sin(second / 3000.0)
            run.write_row(second, 1_795_590_902.0 + second, dict.fromkeys("abcd", round(level, 1)))
    run.write_row(seconds, 1_795_590_902.0 + seconds, {"a": 900.0, "b": None, "c": None, "d": None})
    run.close()
    return run.path


def test_a_long_run_is_few_points_and_a_part_of_it_is_asked_anew(tmp_path: Path) -> None:
    lines = read_lines(a_day(tmp_path, 20_000))
    whole = chart_data(lines, None, unit="C")
    assert [len(line["t_s"]) <= MOST_POINTS for line in whole["lines"]] == [True] * 4
    assert max(whole["lines"][0]["shown"][-3:]) == 900.0
    assert whole["gaps_s"] == [[4999.0, 5060.0]]
    assert None in whole["lines"][1]["shown"]
    part = chart_data(lines, None, unit="C", from_s=4000.0, to_s=5500.0)
    assert part["lines"][0]["t_s"][:3] == [3999.0, 4000.0, 4001.0]
    assert len(part["lines"][0]["t_s"]) == 1 + (1500 + 1 - 60) + 1 + 1  # before, readings, the gap's null, after


def test_flags_bands_and_marks_come_from_the_verdict_that_is_kept(tmp_path: Path) -> None:
    asked = ["verify", str(SAMPLES / "short-soak"), "--json", "--logbook", str(tmp_path)]
    answer = json.loads(CliRunner().invoke(soakwitness, asked).stdout)
    data = chart_data(read_lines(SAMPLES / "short-soak"), answer, unit="C")
    (short,) = [flag for flag in data["flags"] if flag["words"].startswith("short soak")]
    assert answer["findings"][short["finding"]]["code"] == "short soak"
    hold = data["holds"][-1]
    asked_of = next(s for s in answer["steps"] if s["step"] == hold["step"])
    assert (hold["low"], hold["high"]) == tuple(asked_of["band_c"])
    assert hold["until_s"] - hold["from_s"] == asked_of["required_s"]
    assert hold["had"].endswith("of 15 min")
    assert [mark["words"] for mark in data["marks"]][:2] == ["P-01 pulled", "P-01 to the plates"]
    warm = chart_data(read_lines(SAMPLES / "short-soak"), answer, unit="F")
    assert warm["holds"][-1]["target"] == pytest.approx(hold["target"] * 1.8 + 32)
    json.dumps(data, allow_nan=False)


def test_a_reading_no_thermocouple_can_show_is_not_drawn(tmp_path: Path) -> None:
    columns = (Column("control", "sensor", "F", role="control"), Column("room", "sensor", "C", role="ambient"))
    run = RunFolder.create(tmp_path, columns=columns, furnace_name="f", started_utc=1_795_590_902.0, every_s=1.0)
    for second, shown in enumerate([1900.0, 32767.0, 1902.0]):
        run.write_row(second, 1_795_590_902.0 + second, {"control": shown, "room": 20.0})
    run.close()
    (line,) = chart_data(read_lines(run.path), None, unit="F")["lines"]
    assert line["shown"] == [1900.0, 1902.0]


def test_the_data_of_a_chart_need_nothing_heavy() -> None:
    says = "import sys, soakwitness.cli.charts.run_data; print(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", says], capture_output=True, text=True, check=True)
    assert not {"numpy", "pandas", "scipy", "matplotlib", "click"} & set(done.stdout.split())
