"""How a mark came to be, through the run folder's format; and what a mark without it says."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from soakwitness.firmware_bridge.runfolder.contents import Event, Mark
from soakwitness.firmware_bridge.runfolder.marks import Refused, decode_mark, dropped_marks, encode_mark
from soakwitness.firmware_bridge.runfolder.origins import ORIGINS, bounds_only, origin_of_own_clock, origin_words


def read_back(mark: Mark) -> Mark | None:
    return decode_mark(Event(5000.0, "", "mark", encode_mark(mark)))


@pytest.mark.parametrize("origin", ORIGINS)
def test_origin_and_what_it_may_be_wrong_by_come_back(origin: str) -> None:
    mark = Mark(12.5, "pull", ("B-1",), "a; b", "3fa2c1", 5000.0, True, "anna", origin=origin, within_s=10.0)  # type: ignore[arg-type]
    assert read_back(mark) == mark


def test_a_mark_of_an_older_record_has_no_origin() -> None:
    old = "pull; id 3fa2c1; pieces B-1; at 12.500 s; by anna; entered later; note wet"
    mark = decode_mark(Event(5000.0, "", "mark", old))
    assert mark == Mark(12.5, "pull", ("B-1",), "wet", "3fa2c1", 5000.0, True, "anna")
    assert encode_mark(mark) == old
    assert origin_words(mark) == "entered later"
    assert not bounds_only(mark)


@pytest.mark.parametrize("words", ["origin guessed", "within x s", "within -3 s", "within nan s", "within inf s"])
def test_what_a_newer_version_or_a_slip_wrote_says_nothing(words: str) -> None:
    mark = decode_mark(Event(5.0, "", "mark", f"pull; id 3fa2c1; {words}"))
    assert mark == Mark(5.0, "pull", (), "", "3fa2c1", 5.0)


def test_words() -> None:
    assert origin_words(Mark(1.0, "pull", origin="inferred", within_s=10.0, entered_later=True)) == "inferred, ± 10 s"
    typed = Mark(1.0, "pull", origin="typed", entered_later=True)
    assert origin_words(typed) == "entered later, its time typed"
    for origin in ("tapped", "key", "contact", "command"):
        assert origin_words(Mark(1.0, "pull", origin=origin)) == ""  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("clock_off_s", "origin"), [(0.0, "tapped"), (2.0, "tapped"), (-2.0, "tapped"), (2.1, "typed"), (None, "typed")]
)
def test_a_moment_of_a_devices_own_is_as_good_as_its_clock(clock_off_s: float | None, origin: str) -> None:
    assert origin_of_own_clock(clock_off_s) == origin


def test_a_file_with_an_origin_that_there_is_not_is_no_mark(tmp_path: Path) -> None:
    (tmp_path / "marks").mkdir()
    said = {"mark_id": "c0ffee", "utc": "2026-03-06T08:05:00Z", "act": "pull", "origin": "guessed"}
    (tmp_path / "marks" / "a.mark").write_text(json.dumps(said))
    refused: list[Refused] = []
    assert dropped_marks(tmp_path, refused.append) == []
    assert "origin is 'guessed', none of tapped, key" in refused[0].why
