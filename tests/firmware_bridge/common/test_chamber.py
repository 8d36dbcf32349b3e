"""The chamber's sensor: one choice for recorder, clock, verification and audit."""

from __future__ import annotations

from soakwitness.firmware_bridge.common.chamber import Candidate, chamber_of

ALL = [
    Candidate("hearth", "load"),
    Candidate("room", "ambient"),
    Candidate("cut-out", "over-temperature"),
    Candidate("stick", "recording"),
    Candidate("pv", "control"),
]


def without(*names: str) -> list[Candidate]:
    return [one for one in ALL if one.name not in names]


def test_control_goes_before_recording_before_over_temperature_before_load() -> None:
    assert chamber_of(ALL) == "pv"
    assert chamber_of(without("pv")) == "stick"
    assert chamber_of(without("pv", "stick")) == "cut-out"
    assert chamber_of(without("pv", "stick", "cut-out")) == "hearth"


def test_the_room_is_never_the_chamber() -> None:
    assert chamber_of([Candidate("room", "ambient")]) is None


def test_a_sensor_that_stopped_gives_way_to_one_that_went_on_but_not_to_a_load_sensor() -> None:
    stopped = Candidate("pv", "control", reads_on=False)
    assert chamber_of([stopped, *without("pv")]) == "stick"
    assert chamber_of([stopped, Candidate("hearth", "load")]) == "pv"


def test_one_that_is_not_fit_is_passed_over() -> None:
    assert chamber_of([Candidate("pv", "control", fit=False), Candidate("stick", "recording")]) == "stick"
    assert chamber_of([Candidate("pv", "control", fit=False)]) is None


def test_of_two_alike_the_first_counts() -> None:
    assert chamber_of([Candidate("b", "control"), Candidate("a", "control")]) == "b"
