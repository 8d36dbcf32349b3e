"""What the book is told of a run."""

from __future__ import annotations

from soakwitness.cli.telling.run_state import run_state
from soakwitness.firmware_bridge.connecting.furnace_file import parse_furnace, template
from soakwitness.firmware_bridge.recording.now import Now

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
