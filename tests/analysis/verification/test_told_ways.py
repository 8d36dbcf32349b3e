"""What would turn "not proven" into "pass", and what a record cannot show: each way where it is one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from soakwitness.analysis.calibration.correction import Correction
from soakwitness.analysis.recipes.model import PacketSpec, Recipe
from soakwitness.analysis.verification.model import PieceInfo, Verification
from soakwitness.analysis.verification.verifying import verify
from soakwitness.firmware_bridge.runfolder.model import Act, Column, Event, Mark, RecordCheck
from tests.verification_runs import WHOLE, drawn, make_run, sensor, simple_recipe

# Up at 0.5 K/s to 1000, 20 min there, down at 0.5 K/s. Band +-5: in at 1950 s, out at 3170 s, soak 1220 s.
HOLD = [(0.0, 20.0), (1960.0, 1000.0), (3160.0, 1000.0), (5000.0, 80.0)]
TEN = simple_recipe((1000, 10, 5))
Corners = Sequence[tuple[float, float]]


def checked(
    corners: Corners = HOLD,
    recipe: Recipe = TEN,
    *,
    columns: Sequence[Column] = (),
    every_s: float = 1.0,
    marks: tuple[Mark, ...] = (),
    corrections: dict[str, Correction] | None = None,
    pieces: tuple[PieceInfo, ...] = (),
    check: RecordCheck = WHOLE,
    events: tuple[Event, ...] = (),
    load_lost_s: float | None = None,
) -> Verification:
    t_s, temp_c = drawn(corners, every_s=every_s)
    values = {"furnace": temp_c, "blade": np.where(t_s > (load_lost_s or np.inf), np.nan, temp_c)}
    columns = columns or [sensor()]
    run = make_run(
        t_s, {c.name: values[c.name] for c in columns}, columns=columns, marks=marks, check=check, events=events
    )
    return verify(run, recipe, corrections=corrections, pieces=pieces)


def mark(t_s: float, act: Act, *pieces: str) -> Mark:
    return Mark(t_s, act, pieces)


def ways(found: Verification) -> list[str]:
    assert found.verdict == "not proven"
    return [str(says) for says in found.proves]


def calibrated(correction_c: float, expanded_c: float, due_on: str = "2027-05-01") -> dict[str, Correction]:
    table = ((700.0, 1100.0), (correction_c,) * 2, (expanded_c,) * 2)
    return {"furnace": Correction("test", "furnace", "shift", "", (), *table, done_on="2026-05-01", due_on=due_on)}


def test_what_passes_or_fails_needs_no_way() -> None:
    assert checked().proves == ()
    assert checked(recipe=simple_recipe((1000, 25, 5))).proves == ()


def test_a_soak_that_readings_leave_open_takes_more_time_or_more_readings() -> None:
    # A reading every 30 s: surely in from 1980 to 3150 s, 1170 of 1218 s; perhaps for 1260 s.
    assert ways(checked(recipe=simple_recipe((1000, 20.3, 5)), every_s=30.0)) == [
        "Hold at 1000 °C: 48 s more at temperature.",
        "Hold at 1000 °C: denser sampling than every 30 s, without gaps.",
    ]


def test_a_calibration_good_enough_for_the_level() -> None:
    # 5 K either way, less 0.05 K that rounding hides; rounded down.
    assert ways(checked(columns=[sensor(expanded_uncertainty=6.0)])) == [
        "Hold at 1000 °C: a calibration to ±4.9 °C or better (k = 2)."
    ]
    # 4 K taken off leave 1 K above the lower edge.
    assert ways(checked(corrections=calibrated(-4.0, 1.0))) == [
        "Hold at 1000 °C: a calibration to ±0.9 °C or better (k = 2)."
    ]


def test_a_level_at_its_edge_stands_no_error_of_the_sensor() -> None:
    # 0.1 K inside the lower edge: of that 0.05 K may be rounding, and the rest is no error worth a calibration.
    level = [(0.0, 20.0), (1950.2, 995.1), (3150.2, 995.1), (5000.0, 80.0)]
    assert "readings further inside its limits" in ways(checked(level, columns=[sensor(expanded_uncertainty=1.0)]))[0]


def test_what_fails_as_read_only_a_calibration_can_turn() -> None:
    asked = replace(simple_recipe((1000, 25, 5)), decide_on="true temperature")
    assert ways(checked(recipe=asked)) == [
        "Hold at 1000 °C: as read it is not met; only a calibration can show that the sensor was off by so much."
    ]


def test_a_calibration_that_lapsed() -> None:
    assert ways(checked(corrections=calibrated(-4.0, 0.5, "2026-06-01"))) == [
        "Hold at 1000 °C: a calibration that is in force: by the one that lapsed it is not met."
    ]


def test_a_limit_that_is_too_near() -> None:
    # 4 K over 996 where 3.95 are allowed; rounding and its half hide 0.05 K.
    near = checked(recipe=simple_recipe((996, 10, 5), max_overshoot_c=3.95))
    assert ways(near) == ["Hold at 996 °C: readings surer than ±0.1 °C; it is too near its limit."]


def test_a_longest_soak_that_is_open() -> None:
    # Perhaps for 1222 s where 1220 are allowed.
    assert ways(checked(recipe=simple_recipe((1000, 10, 5), at_most_s=1220.0))) == [
        "Hold at 1000 °C: 2 s less above the lower edge, or denser sampling."
    ]
    ends = checked([*HOLD[:2], (3000.0, 1000.0)], simple_recipe((1000, 10, 5), at_most_s=1800.0))
    assert ways(ends) == ["Hold at 1000 °C: the pull mark, or a record until the furnace has cooled."]


def test_a_load_mark_that_is_missing() -> None:
    hot = replace(TEN, load="hot", load_at_c=1000.0)
    assert ways(checked(recipe=hot)) == ["Hold at 1000 °C: the load mark of the charge."]


def test_a_load_sensor_that_was_lost() -> None:
    columns = [sensor(), sensor("blade", "load")]
    asked = simple_recipe((1000, 15, 5))
    assert ways(checked(recipe=asked, columns=columns, load_lost_s=2400.0)) == [
        "Hold at 1000 °C: a load sensor that reads to its end."
    ]
    assert ways(checked(recipe=asked, columns=columns, load_lost_s=1900.0)) == [
        "Hold at 1000 °C: a load sensor that reads to its end."
    ]


def test_an_estimate_is_settled_by_a_sensor_in_the_packet() -> None:
    packed = replace(simple_recipe((1000, 16, 5)), packet=PacketSpec(3.0))
    found = ways(checked(recipe=packed))
    assert found[-1] == "Hold at 1000 °C: a sensor in the packet, or a packet model fitted to one such run."
    assert "more at temperature" in found[0]
    # Denser readings say nothing of the blade.
    assert not any("denser sampling" in way for way in ways(checked(recipe=packed, every_s=30.0)))


def test_a_record_that_does_not_cover_a_hold_or_a_ramp() -> None:
    two = simple_recipe((600, 10, 5), (1000, 10, 5))
    assert ways(checked([(0.0, 700.0), (600.0, 1000.0), (1800.0, 1000.0), (3600.0, 80.0)], two)) == [
        "Hold at 600 °C: a record that covers it."
    ]
    ramp = replace(TEN, steps=(replace(TEN.steps[0], min_rate_c_per_h=100.0), TEN.steps[1]))  # type: ignore[arg-type]
    assert ways(checked([(0.0, 1000.0), (1400.0, 1000.0), (3000.0, 80.0)], ramp)) == [
        "Ramp to 1000 °C: a record that covers it."
    ]


def test_a_record_that_was_changed_and_a_recipe_that_judges_nothing() -> None:
    assert ways(checked(check=replace(WHOLE, intact=False))) == ["The record: an unchanged copy of it."]
    assert ways(checked(recipe=simple_recipe((1000, 10, 5), judged=False))) == ["The recipe: a hold that is judged."]


def test_a_stand_in_proves_nothing_and_says_what_would() -> None:
    t_s, temp_c = drawn(HOLD)
    values = {"furnace": np.where(t_s > 2500, np.nan, temp_c), "roof": temp_c + 8.0}
    found = verify(make_run(t_s, values, columns=[sensor(), sensor("roof", "recording")]), TEN)
    assert ways(found) == [
        "Hold at 1000 °C: the control sensor itself, or a survey of the place of the one that stands in for it."
    ]


def not_seen(found: Verification) -> list[str]:
    return [str(says) for says in found.not_seen]


def test_what_a_record_cannot_show() -> None:
    between = "An excursion wholly between two readings (30 s apart) is not seen."
    steel = "The steel itself was not measured: this is what the control sensor read."
    assert not_seen(checked(every_s=30.0)) == [between, steel]
    packed = not_seen(checked(recipe=replace(TEN, packet=PacketSpec(3.0))))
    assert packed[1:] == [
        "The steel's temperature is a model with generic figures, not a measurement, "
        "until an instrumented packet was run."
    ]
    loaded = not_seen(checked(columns=[sensor(), sensor("blade", "load")]))
    assert loaded[1:] == ["The load sensor (blade) speaks for pieces up to its own dummy's thickness."]
    assert not_seen(checked(check=replace(WHOLE, sealed=False)))[-1] == (
        "The record is not sealed: it may be incomplete."
    )
    resumed = Event(2000.0, "", "resumed", "rebooted; gap 10 s, uncertain, by the computer's clock")
    assert "The computer restarted within the run" in not_seen(checked(events=(resumed,)))[-1]


@pytest.mark.parametrize(
    ("dummies_mm", "thick"),
    # The thickest dummy counts.
    [((3.0,), True), ((6.0,), False), ((5.9, 3.0), True), ((3.0, 6.0), False), ((None,), False)],
)
def test_pieces_that_are_thicker_than_every_dummy(dummies_mm: Sequence[float | None], thick: bool) -> None:
    t_s, temp_c = drawn(HOLD)
    names = [f"blade{n}" for n in range(len(dummies_mm))]
    columns = [sensor(), *(sensor(n, "load", thickness_mm=mm) for n, mm in zip(names, dummies_mm, strict=True))]
    run = make_run(t_s, {c.name: temp_c for c in columns}, columns=columns)
    says = not_seen(verify(run, TEN, pieces=(PieceInfo("A", 6.0), PieceInfo("B", 2.0), PieceInfo("C"))))
    most = max((mm for mm in dummies_mm if mm is not None), default=None)
    told = f"A: thicker than the load sensor's dummy ({most} mm), so judged by the estimate."
    assert ([w for w in says if "thicker" in w] == [told.replace(".0 mm", " mm")]) is thick
