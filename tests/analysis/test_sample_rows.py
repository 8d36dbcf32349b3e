"""Rows read by arithmetic and rows read by pandas: the same numbers to the last bit, whatever stands in the file."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from soakwitness.analysis import open_run, sample_rows
from soakwitness.firmware_bridge.runfolder.model import ByteRange, Column
from soakwitness.firmware_bridge.runfolder.writer import RunFolder

START = 1_790_000_000.0
NAMES = ["control", "load"]
UTC = "2026-09-21T14:13:20.000Z"

plain = st.from_regex(r"-?\d{1,4}(\.\d{1,3})?", fullmatch=True)
odd = st.sampled_from(
    ["", "-", ".", "-.", "nan", "NA", "inf", "-inf", "OPEN", "1e3", "1E-3", "+5", " 5", "5 ", "5.", ".5", "-0", "1.2.3",
     "--5", '"5"', '"', "5\r", "0x10", "12345678901234567", "0.1234567890123456789", "780.3000000000001", "1/2", "5;6",
     "1_0", "True", "\N{DEGREE SIGN}", "\0", "1,2", "3\n4", "9999999999999999", "1e400", "\N{ARABIC-INDIC DIGIT ONE}"]
)  # fmt: skip
letters = st.text(st.sampled_from('0123456789.-+eE ,"\n\r/:nai'), max_size=8)
plain_row = st.tuples(plain, st.just(UTC), plain | st.just(""), plain | st.just(""), st.just("0123abcd"))
cell = plain | odd | letters
odd_row = st.tuples(cell, st.just(UTC) | letters, cell, cell, st.just("0123abcd") | letters)
row = plain_row | odd_row | st.lists(cell, max_size=7)


def written(folder: Path, rows: Sequence[Sequence[str]]) -> tuple[Path, list[int]]:
    """A file of rows, and where each ends."""
    lines = [",".join(cells).encode() + b"\n" for cells in rows]
    file = folder / "samples.csv"
    file.write_bytes(b"".join(lines))
    return file, np.cumsum([len(line) for line in lines], dtype=int).tolist()


def outcome(read: Callable[[], dict[str, np.ndarray]]) -> object:
    """The bits of what was read, every NaN alike, or the kind of the error."""
    try:
        return {name: np.where(np.isnan(x), np.nan, x).tobytes() for name, x in read().items()}
    except Exception as error:  # whatever it is: both ways must end alike
        return type(error)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=400)
@given(
    before=st.lists(plain_row, max_size=4),
    hostile=st.lists(row, max_size=3),
    after=st.lists(plain_row, max_size=4),
    cuts=st.sets(st.integers(0, 12), max_size=3),
    torn=st.booleans(),
)
def test_both_ways_read_the_same(
    tmp_path: Path,
    before: list[Sequence[str]],
    hostile: list[Sequence[str]],
    after: list[Sequence[str]],
    cuts: set[int],
    torn: bool,
) -> None:
    rows = [*before, *hostile, *after]
    file, ends = written(tmp_path, rows)
    places = sorted({0, *(ends[cut] for cut in cuts if cut < len(ends)), *ends[-1:]})
    parts = [ByteRange(file, a, b, sum(a < end <= b for end in ends)) for a, b in zip(places, places[1:], strict=False)]
    if parts and torn:  # the last line feed is missing
        last = parts.pop()
        parts.append(ByteRange(file, last.start, last.stop - 1, last.rows))
    if not rows:
        assert all(x.size == 0 for x in sample_rows.read_rows(parts, NAMES).values())
        return
    assert outcome(lambda: sample_rows.read_rows(parts, NAMES)) == outcome(lambda: sample_rows._by_pandas(parts, NAMES))


@pytest.mark.parametrize("size", [1, 40, 41, 100, 1 << 19])
def test_blocks_of_any_size_hold_whole_rows(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, size: int) -> None:
    rows = [(f"{k}.500", UTC, f"{20 + k / 10:.1f}", "" if k % 3 else f"-{k}", "0123abcd") for k in range(40)]
    file, ends = written(tmp_path, rows)
    monkeypatch.setattr(sample_rows, "_AT_ONCE", size)
    parts = [ByteRange(file, 0, ends[9], 10), ByteRange(file, ends[14], ends[-1], 25)]
    read = sample_rows.read_rows(parts, NAMES)
    kept = [*range(10), *range(15, 40)]
    assert read["t_s"].tolist() == [k + 0.5 for k in kept]
    assert read["control"].tolist() == [float(f"{20 + k / 10:.1f}") for k in kept]
    assert np.array_equal(read["load"], [np.nan if k % 3 else -float(k) for k in kept], equal_nan=True)


def test_a_count_that_does_not_hold_is_not_believed(tmp_path: Path) -> None:
    rows = [(f"{k}.000", UTC, "20", "20.5", "0123abcd") for k in range(5)]
    file, ends = written(tmp_path, rows)
    for said in (3, 9):
        assert sample_rows.read_rows([ByteRange(file, 0, ends[-1], said)], NAMES)["t_s"].size == 5


def test_a_recorded_run_is_read_without_pandas(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    columns = (Column("control", "sensor", "C", role="control"), Column("room", "sensor", "C", role="ambient"))
    folder = RunFolder.create(tmp_path, columns=columns, furnace_name="front", started_utc=START)
    for k in range(50):
        folder.write_row(k * 1.25, START + k, {"control": 20.0 + 0.1 * k, "room": -5.3 if k % 7 else None})
    folder.seal(sealed_utc=START + 100)
    monkeypatch.setattr(sample_rows, "_by_pandas", lambda *_: pytest.fail("pandas was asked"))
    run = open_run(folder.path)
    assert run.t_s.tolist() == [k * 1.25 for k in range(50)]
    assert run.values["control"].tolist() == pytest.approx(20.0 + 0.1 * np.arange(50), abs=1e-6)
    assert np.isnan(run.values["room"][::7]).all()
    assert run.values["room"][1] == -5.3


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=150, deadline=None)
@given(data=st.data())
def test_a_damaged_run_is_the_same_either_way(tmp_path_factory: pytest.TempPathFactory, data: st.DataObject) -> None:
    """Bytes changed, lost and cut off: checksums leave out rows, and the rest is read alike."""
    logbook = tmp_path_factory.mktemp("book")
    columns = tuple(Column(name, "sensor", "C", role="control") for name in NAMES)
    folder = RunFolder.create(logbook, columns=columns, furnace_name="front", started_utc=START)
    for k in range(12):
        value = data.draw(st.floats(-300, 1500) | st.sampled_from(["OPEN", "", "1e3", "nan"]))
        folder.write_row(float(k), START + k, {"control": value, "load": 20.0 + k})
    if data.draw(st.booleans()):
        folder.seal(sealed_utc=START + 100)
    folder.close()
    samples = folder.path / "samples.csv"
    content = bytearray(samples.read_bytes())
    for _ in range(data.draw(st.integers(0, 3))):
        content[data.draw(st.integers(50, len(content) - 1))] = data.draw(st.integers(0, 255))
    samples.write_bytes(content[: len(content) - data.draw(st.sampled_from([0, 0, 1, 5, 70]))])

    def read() -> dict[str, np.ndarray]:
        run = open_run(folder.path)
        return {"t_s": run.t_s, **run.values, **{f"trace {tr.name}": tr.temp_c for tr in run.traces}}

    ours = outcome(read)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sample_rows, "_plain", lambda *_: None)
        assert outcome(read) == ours
