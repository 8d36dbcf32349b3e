"""What the book is told of a run."""

from __future__ import annotations

import json

from soakwitness.cli.telling.run_state import run_state
from soakwitness.cli.words.furnace_side import furnace_side
from soakwitness.firmware_bridge.connecting.furnace_file import parse_furnace, template
from soakwitness.firmware_bridge.marks.expecting import expected_next
from soakwitness.firmware_bridge.recording.now import Now
from soakwitness.firmware_bridge.runfolder.contents import Mark

FURNACE = parse_furnace(template("simulated"), "made")


def temps(age_s: float, link_lost: str | None = None) -> set[float | None]:
    values = {part.name: 780.0 for part in FURNACE.parts}
    now = Now(FURNACE, None, 600.0, 1.8e9, values, {}, age_s, 100, link_lost=link_lost)
    return {reading["temp"] for reading in run_state(now, unit="C")["readings"]}


def test_a_reading_that_is_no_longer_coming_is_not_shown_again() -> None:
    every_s = FURNACE.every_s
    assert temps(0.0) == temps(2.9 * every_s) == {780.0}
    assert temps(3.1 * every_s) == {None}
    assert temps(0.5 * every_s, link_lost="missing") == {None}


def test_the_sentence_says_how_old_its_readings_are() -> None:
    now = Now(FURNACE, None, 600.0, 1.8e9, {}, {}, 15.2, 100, link_lost="missing")
    assert run_state(now, unit="C", lead="Step 2: in band 1:00 of 2:00")["sentence"] == (
        "Step 2: in band 1:00 of 2:00, when last read 15 s ago"
    )


def test_the_page_is_told_how_it_stands_at_the_furnace() -> None:
    marks = (Mark(60.0, "load", ("B-1", "B-2"), mark_id="aaaaaa", entered_t_s=60.0),)
    now = Now(FURNACE, None, 600.0, 1.8e9, {}, {}, 0.0, 100, marks=marks, expected=expected_next(marks))
    side = run_state(now, unit="C", side=furnace_side(now))["at_the_furnace"]
    assert side["next"]["words"] == "pull of B-1"
    assert [(piece["piece"], piece["stands"], piece["since_ms"]) for piece in side["pieces"]] == [
        ("B-1", "in", 1799999460000),  # 60 s into a run that is 600 s old at 1.8e9
        ("B-2", "in", 1799999460000),
    ]
    assert json.loads(json.dumps(side)) == side
