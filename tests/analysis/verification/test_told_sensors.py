"""What is told of sensors and record: every sentence with its numbers, where it stands, and the next step."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import pytest

from soakwitness.analysis.calibration.correcting.correction import Correction
from soakwitness.analysis.recipes.recipe import Recipe
from soakwitness.analysis.record.run import FloatArray
from soakwitness.analysis.verification.results.verification import Finding, UsualDifference, Verification
from soakwitness.analysis.verification.verifying import verify
from soakwitness.firmware_bridge.runfolder.contents import BadRow, Column, RecordCheck
from tests.verification_runs import WHOLE, drawn, make_run, sensor, simple_recipe

# Up at 0.5 K/s to 1000, 20 min there, down at 0.5 K/s: in the band of +-5 from 1950 to 3170 s.
HOLD = [(0.0, 20.0), (1960.0, 1000.0), (3160.0, 1000.0), (5000.0, 80.0)]
TEN = simple_recipe((1000, 10, 5))
SURE = sensor(expanded_uncertainty=0.1)
SETPOINT, OUTPUT = Column("setpoint", "signal", "C"), Column("output", "signal", "%")
T_S, TEMP_C = drawn(HOLD)
NOISY_C = drawn(HOLD, noise_c=0.3)[1]


def checked(
    values: Mapping[str, FloatArray], *columns: Column, recipe: Recipe = TEN, check: RecordCheck = WHOLE
) -> Verification:
    return verify(make_run(T_S, values, columns=columns or (SURE,), check=check), recipe)


def only(found: Verification, code: str) -> Finding:
    (one,) = [f for f in found.findings if f.code == code]
    return one


def place(one: Finding) -> tuple[str, int | None, float | None, float | None]:
    return one.severity, one.step, one.at_s, one.until_s


def without(*gaps_s: tuple[float, float]) -> FloatArray:
    temp_c = TEMP_C.copy()
    for begin, end in gaps_s:
        temp_c[(begin < T_S) & (end > T_S)] = np.nan
    return temp_c


@pytest.mark.parametrize(
    ("gaps_s", "placed", "says"),
    [
        # 300 + 20 + 100 s; the longest is told by its place.
        (
            ((2200, 2500), (500, 520), (4000, 4100)),
            ("warn", 2, 2200.0, 2500.0),
            "3 gaps without a reading, 7 min in all, the longest 5 min, one inside the hold at 1000 °C.",
        ),
        (
            ((500, 520), (4000, 4100)),
            ("note", None, 4000.0, 4100.0),
            "2 gaps without a reading, 2 min in all, the longest 1.7 min.",
        ),
        # From before the enter into the hold, and from before the leave out of it.
        (
            ((1940, 1956),),
            ("warn", 2, 1940.0, 1956.0),
            "1 gap without a reading, 16 s in all, the longest 16 s, one inside the hold at 1000 °C.",
        ),
        (((3180, 3190),), ("note", None, 3180.0, 3190.0), "1 gap without a reading, 10 s in all, the longest 10 s."),
    ],
)
def test_gaps(gaps_s: Sequence[tuple[float, float]], placed: tuple[object, ...], says: str) -> None:
    found = checked({"furnace": without(*gaps_s)})
    assert place(only(found, "gap in record")) == placed
    assert str(only(found, "gap in record").says) == says
    assert found.record.gaps_s == sum(end - begin for begin, end in gaps_s)
    assert found.record.gaps == tuple(sorted(gaps_s))


def test_three_periods_are_no_gap() -> None:
    assert not checked({"furnace": without((2200, 2203))}).findings
    assert only(checked({"furnace": without((2200, 2204))}), "gap in record").at_s == 2200.0


def test_a_gap_in_a_hold_that_is_not_judged_is_a_note() -> None:
    found = checked({"furnace": without((2200, 2500))}, recipe=simple_recipe((1000, 10, 5), judged=False))
    assert only(found, "gap in record").severity == "note"


def test_single_readings_that_no_thermocouple_makes() -> None:
    def spiked(count: int) -> FloatArray:
        temp_c = TEMP_C.copy()
        temp_c[100 : 100 + 40 * count : 40] += 300.0
        return temp_c

    # Over one in a hundred of 5001 readings.
    fault = only(checked({"furnace": spiked(51)}), "sensor fault")
    assert str(fault.says) == "Sensor furnace: 51 single readings no thermocouple can make, left out."
    assert not checked({"furnace": spiked(50)}).findings


def test_a_contact_that_opened() -> None:
    fault = only(checked({"furnace": np.where((T_S >= 2600) & (T_S < 2615), 25.0, TEMP_C)}), "sensor fault")
    assert place(fault) == ("warn", None, 2600.0, 2614.0)
    assert str(fault.says).startswith("Sensor furnace showed 25 °C for 14 s, left and come back from faster than")
    assert "counts as a gap" in str(fault.next)


def test_contacts_that_opened_are_told_once() -> None:
    twice = np.where(((T_S >= 2400) & (T_S < 2410)) | ((T_S >= 2600) & (T_S < 2615)), 25.0, TEMP_C)
    fault = only(checked({"furnace": twice}), "sensor fault")
    # 9 and 14 s from the first to the last reading.
    assert "showed 25 °C for 23 s, twice so, left" in str(fault.says)
    assert fault.at_s == 2400.0


def test_a_reading_that_stood_while_the_output_moved() -> None:
    values = {
        "furnace": np.where((T_S >= 2200) & (T_S < 2800), 1000.0, NOISY_C),
        "output": np.where((T_S > 2400) & (T_S < 2700), 100.0, 30.0),
    }
    stuck = only(checked(values, SURE, OUTPUT), "stuck reading")
    assert place(stuck) == ("warn", None, 2200.0, 2799.0)
    assert str(stuck.says) == (
        "Sensor furnace stood at exactly 1000 °C for 10 min, while the output moved by 70 %: "
        "no temperature of the furnace."
    )


def test_a_sensor_that_broke_is_not_a_run_that_ended() -> None:
    found = checked({"furnace": np.where(T_S >= 2600, 1372.0, TEMP_C)})
    fault = only(found, "sensor fault")
    assert place(fault) == ("warn", None, 2600.0, 5000.0)
    assert "stood at exactly 1372 °C for 40 min, reached in one step" in str(fault.says)
    # The rows go on to 5000 s: the record did not end, and nobody needs to look for a power cut.
    assert "run ended early" not in {f.code for f in found.findings}
    later = checked({"furnace": np.where(T_S >= 2400, 1372.0, TEMP_C)})
    assert later.verdict == "not proven"
    assert "run ended early" not in {f.code for f in later.findings}


def test_a_sensor_that_read_nothing_any_more() -> None:
    columns = (SURE, sensor("blade", "load", expanded_uncertainty=0.1))
    found = checked({"furnace": TEMP_C, "blade": np.where(T_S > 2400, np.nan, TEMP_C)}, *columns)
    fault = only(found, "sensor fault")
    # From 2400 to 5000 s: 43.3 min.
    assert place(fault) == ("warn", None, 2400.0, 5000.0)
    assert str(fault.says).startswith(
        "Sensor blade read nothing from 0:40:00 into the run to its end, for 43.3 min; later holds are judged without"
    )
    # One that stops when the holds are over, or that nobody judges by, is no fault.
    late = checked({"furnace": TEMP_C, "blade": np.where(T_S > 3180, np.nan, TEMP_C)}, *columns)
    assert "sensor fault" not in {f.code for f in late.findings}
    room = checked({"furnace": TEMP_C, "room": np.where(T_S > 600, np.nan, 20.0)}, SURE, sensor("room", "ambient"))
    assert "sensor fault" not in {f.code for f in room.findings}


@pytest.mark.parametrize(("higher_c", "way"), [(8.0, "8 °C higher"), (-8.0, "8 °C lower")])
def test_a_stand_in_that_reads_otherwise(higher_c: float, way: str) -> None:
    values = {"furnace": np.where(T_S > 2500, np.nan, TEMP_C), "roof": TEMP_C + higher_c}
    differ = only(checked(values, SURE, sensor("roof", "recording")), "sensors differ")
    assert f"Sensor roof stands in for furnace, which broke; while both read it read {way}" in str(differ.says)


def test_rows_that_fail_their_checksum_are_counted() -> None:
    bad = tuple(BadRow("samples.csv", line, "checksum") for line in (17, 18))
    found = checked({"furnace": TEMP_C}, check=RecordCheck(5001, bad, False, False, False, None, ()))
    changed = only(found, "record changed")
    assert "2 rows of the record fail" in str(changed.says)
    # A record that was sealed and changed is said to be that, whatever its rows.
    sealed = replace(WHOLE, intact=False, bad_rows=bad[:1], first_difference="events.csv")
    says = str(only(checked({"furnace": TEMP_C}, check=sealed), "record changed").says)
    assert says == "The sealed record was changed after its end. First file that differs: events.csv."


def test_what_is_not_known_of_a_sensor_is_told_once_for_the_holds_it_is_true_of() -> None:
    bare = only(checked({"furnace": TEMP_C}, sensor()), "no calibration")
    assert bare.step is None
    assert str(bare.says) == (
        "Sensor furnace: no calibration and no tolerance class is on record; the verdict is the one as read."
    )
    assert "soakwitness calibrate" in str(bare.next)
    # IEC 60584-1, class 2 of type K at 1000 degC: 0.0075 t.
    wire = sensor(thermocouple="K", tolerance_class="2")
    classed = only(checked({"furnace": TEMP_C}, wire), "no calibration")
    assert "tolerance of new type K wire, class 2 (up to 7.5 °C); the verdict is the one as read" in str(classed.says)
    asked = checked({"furnace": TEMP_C}, wire, recipe=replace(TEN, decide_on="true temperature"))
    assert "the recipe asks for the true temperature, which nothing shows" in str(only(asked, "no calibration").says)


def test_more_time_is_no_way_out_where_the_sensor_may_be_off_by_more_than_the_band() -> None:
    # Off by 7.5 K a level in the middle of +-5 may never have been in the band: no time there would prove it.
    wire = sensor(thermocouple="K", tolerance_class="2")
    asked = replace(TEN, decide_on="true temperature")
    assert [str(p) for p in checked({"furnace": TEMP_C}, wire, recipe=asked).proves] == [
        "Hold at 1000 °C: a calibration to ±4.9 °C or better (k = 2)."
    ]
    # Reads it 4 K high, the edge is at 999, which the readings of 1959 to 3161 s are above for sure: 1202 of 1212 s.
    near = simple_recipe((1000, 20.2, 5))
    ways = [str(p) for p in checked({"furnace": TEMP_C}, sensor(expanded_uncertainty=4.0), recipe=near).proves]
    assert ways[-1] == "Hold at 1000 °C: 10 s more at temperature, with the sensor as it is."


def test_a_calibration_that_does_not_reach_a_hold_is_named_with_its_range() -> None:
    two = simple_recipe((700, 5, 5), (1000, 10, 5))
    t_s, temp_c = drawn([(0, 20), (1360, 700), (1960, 700), (2560, 1000), (3760, 1000), (5600, 80)])
    correction = Correction(
        "shed", "furnace", "shift", "", (), (600.0, 800.0), (0.0, 0.0), (1.0, 1.0),
        done_on="2026-05-01", due_on=None,
    )  # fmt: skip
    found = verify(make_run(t_s, {"furnace": temp_c}), two, corrections={"furnace": correction})
    told = str(only(found, "no calibration").says)
    assert "nothing is known of it at 1000 °C: the calibration of 2026-05-01 goes from 600 °C to 800 °C" in told
    assert [h.known.basis for h in found.holds] == ["true temperature", "reading"]


def smooth(share: float) -> Verification:
    """The setpoint stands at 1000 and the display shows exactly that for a share of the readings of the hold."""
    # In from 1950 to 3170 s: 1220 readings, of which those from 1960 to 3160 s are on the setpoint.
    off = np.random.default_rng(1).random(T_S.size) > share
    shown = np.where(off, np.round(TEMP_C + 0.2, 1), TEMP_C)
    values = {"furnace": shown, "setpoint": np.where((T_S > 1000) & (T_S < 3170), 1000.0, 20.0)}
    return checked(values, SURE, SETPOINT)


def test_a_display_that_stands_on_its_setpoint_is_asked_whether_it_smooths() -> None:
    asked = only(smooth(1.0), "stuck reading")
    assert place(asked) == ("note", 2, 1950.0, None)
    # 1201 of 1220 readings: 98 of 100.
    assert "stood on its setpoint to the digit for 98 of 100 readings" in str(asked.says)
    assert "stuck reading" not in {f.code for f in smooth(0.8).findings}


def pair(
    load_c: float, *, control_u: float | None = 1.0, load_u: float | None = 1.0, usual: Sequence[float] = ()
) -> Verification:
    """A load sensor that shows so much more than the control sensor; what it usually showed less, at 990."""
    columns = [sensor(expanded_uncertainty=control_u), sensor("blade", "load", expanded_uncertainty=load_u)]
    run = make_run(T_S, {"furnace": TEMP_C, "blade": TEMP_C + load_c}, columns=columns)
    known = [UsualDifference("furnace", "blade", 990.0, kelvin) for kelvin in usual]
    return verify(run, simple_recipe((1000, 10, 20)), usual=known)


@pytest.mark.parametrize(
    ("load_c", "control_u", "load_u", "says"),
    [
        # Over 3 K, which is more than sqrt(1 + 1).
        (4.0, 1.0, 1.0, "reads 1000 °C and sensor blade reads 1004 °C: 4 °C apart, more than 3 °C."),
        (-4.0, 1.0, 1.0, "reads 1000 °C and sensor blade reads 996 °C: 4 °C apart, more than 3 °C."),
        (2.9, 1.0, 1.0, None),
        # sqrt(3^2 + 4^2) = 5
        (4.9, 3.0, 4.0, None),
        (5.2, 3.0, 4.0, "5.2 °C apart, more than 5 °C"),
        # Of one alone something is known.
        (4.0, 2.0, None, "4 °C apart, more than 3 °C"),
        (4.0, None, None, None),
    ],
)
def test_two_sensors_without_a_history(
    load_c: float, control_u: float | None, load_u: float | None, says: str | None
) -> None:
    found = pair(load_c, control_u=control_u, load_u=load_u)
    if says is None:
        assert "sensors differ" not in {f.code for f in found.findings}
    else:
        differ = only(found, "sensors differ")
        assert (differ.severity, differ.step) == ("warn", 2)
        # The control sensor leaves 980 at 3160 + 20/0.5 s.
        assert differ.at_s == pytest.approx(3200.0)
        assert says in str(differ.says)


@pytest.mark.parametrize(
    ("usual", "told"),
    # The control sensor reads 4 below the load sensor now; within 3 K of what it usually does is nothing.
    [
        ((-4.0, -4.0), None),
        ((-1.0, -1.0), None),
        ((-0.9, -0.9), "-0.9"),
        ((-7.1, -7.1), "-7.1"),
        ((-4.0, -4.0, 30.0), None),
        ((0.0, 0.0), "+0"),
    ],
)
def test_two_sensors_with_a_history(usual: Sequence[float], told: str | None) -> None:
    found = pair(4.0, usual=usual)
    if told is None:
        assert "sensors differ" not in {f.code for f in found.findings}
    else:
        assert f"4 °C apart, usually by {told} °C." in str(only(found, "sensors differ").says)


def test_a_history_of_another_pair_or_temperature_is_none() -> None:
    columns = [sensor(expanded_uncertainty=9.0), sensor("blade", "load", expanded_uncertainty=9.0)]
    run = make_run(T_S, {"furnace": TEMP_C, "blade": TEMP_C + 4.0}, columns=columns)
    for other in (
        UsualDifference("blade", "furnace", 990.0, 30.0),
        UsualDifference("furnace", "other", 990.0, 30.0),
        UsualDifference("furnace", "blade", 930.0, 30.0),
    ):
        found = verify(run, simple_recipe((1000, 10, 20)), usual=[other])
        assert "sensors differ" not in {f.code for f in found.findings}


def test_sensors_that_do_not_stand_still_are_not_compared() -> None:
    # The load sensor still climbs by 40 K/h at the end of the hold.
    columns = [SURE, sensor("blade", "load", expanded_uncertainty=0.1)]
    creeping = np.where(T_S > 1950, 984.0 + (T_S - 1950) * 40.0 / 3600.0, TEMP_C - 16.0)
    run = make_run(T_S, {"furnace": TEMP_C, "blade": np.where(T_S > 3160, TEMP_C, creeping)}, columns=columns)
    assert "sensors differ" not in {f.code for f in verify(run, simple_recipe((1000, 10, 20))).findings}
