"""Causes between the hot junction and the number: offset, type, lead, drift, open circuit, unit, calibration.

One sensor alone never proves any of them: its own reading is perfect by construction. They are claimed only where a
second sensor, an accuracy test, the instrument's own settings or the instrument's faults speak.
"""

from __future__ import annotations

from statistics import median

from soakwitness.analysis.audit.causes.after_quench import temper_runs
from soakwitness.analysis.audit.causes.doses import NONE, UNKNOWN, UNSEEN, level, worst
from soakwitness.analysis.audit.causes.heat_doses import heat_dose
from soakwitness.analysis.audit.causes.sensor_shifts import (
    SHIFT_C,
    cold_ones,
    grows_with_temperature,
    hot_ones,
    how_it_came,
    largest_shift,
    likely_faults,
    low_when_hot,
    same_size,
    shifts,
    too_sudden,
)
from soakwitness.analysis.audit.contrasts.case import Case
from soakwitness.analysis.audit.contrasts.dose import Dose
from soakwitness.analysis.audit.contrasts.weighing import FAIR, HINT, LIGHT, PROOF, STRONG, Scale
from soakwitness.analysis.evidence.run_figures import RunFigures
from soakwitness.analysis.record.moments import days_between
from soakwitness.firmware_bridge.common.units import from_celsius, to_celsius
from soakwitness.firmware_bridge.common.wording import Diff, Says, Temp, Value, counted, duration, often

OFFSETS = ("plain offset", "cold junction not sensed")
LEADS = ("reversed extension lead", "copper in place of extension lead")
LONE = "A second sensor in the chamber: one sensor alone cannot show that it reads wrong."


def _enter_shift(case: Case, scale: Scale, weight: float) -> bool:
    """Enter the largest change of a difference; False where there is none worth it."""
    hot = hot_ones(shifts(case))
    if not hot:
        scale.lacks(LONE)
        return False
    worst = max(hot, key=lambda s: abs(s.shift_c))
    if abs(worst.shift_c) < SHIFT_C:
        return False
    if case.good:
        way, end = "more above" if worst.shift_c > 0 else "further below", " than in the good runs"
    else:
        way, end = "above" if worst.shift_c > 0 else "below", "; there is no good run to compare with"
    says = "At {at} the control sensor reads {shift} {way} {other}{end}."
    figures: dict[str, Value] = {"at": Temp(worst.at_c), "shift": Diff(abs(worst.shift_c))}
    scale.speaks_for(weight, Says.of(says, **figures, way=way, other=worst.sensor, end=end))
    return True


def offset_changed(case: Case) -> Scale | None:
    """The same shift cold and hot, another input offset in the file, or a steady gap between setpoint and reading."""
    scale = Scale()
    run = case.run
    if run is None:
        return None
    good = [r.sensor.input_offset_c for r in case.good if r.sensor.input_offset_c is not None]
    own = run.sensor.input_offset_c
    if own is not None and good and abs(own - median(good)) > 0.5:
        scale.speaks_for(
            STRONG + LIGHT,
            Says.of(
                "The input offset is {own} in this run's furnace file, {usual} in the good ones'.",
                own=Diff(own, signed=True),
                usual=Diff(median(good), signed=True),
            ),
        )
    _same_cold_and_hot(case, scale)
    _setpoint_gap(case, scale)
    _recorder_moved(case, scale)
    moved = own - median(good) if own is not None and good else 0.0
    scale.dose = worst([shift_dose(case), level(-moved), scale.dose or NONE])
    return scale if scale.pro else None


def shift_dose(case: Case) -> Dose:
    """What a sensor that reads so much more than it did can have cost: the work stood colder by that."""
    return level(-largest_shift(case))


def _same_cold_and_hot(case: Case, scale: Scale) -> None:
    """A shift that is there in the cold furnace too, beside one sensor at least; else one alike in all holds."""
    found = shifts(case)
    for cold in cold_ones(found):
        hot = [s for s in hot_ones(found) if s.sensor == cold.sensor]
        if hot and abs(hot[0].shift_c) >= SHIFT_C and same_size(hot, cold) and abs(cold.shift_c) >= 1.5:
            scale.speaks_for(
                STRONG + LIGHT,
                Says.of("Cold as well as hot the control reading is off by {shift}.", shift=Diff(abs(cold.shift_c))),
            )
            return
    chance = _chance(case, OFFSETS)
    if chance > 0.4 and _enter_shift(case, scale, FAIR + HINT if chance > 0.6 else FAIR):
        scale.speaks_for(HINT, "It is about the same in every hold.")
        scale.lacks("The two readings beside each other in the cold furnace.")
    elif not likely_faults(case):
        _not_told_apart(case, scale)


def _not_told_apart(case: Case, scale: Scale) -> None:
    """A clear change seen in one hold only: it may be any fault of the chain."""
    if abs(largest_shift(case)) >= 2.0 * SHIFT_C and _enter_shift(case, scale, FAIR):
        scale.lacks("A second hold or the cold furnace, which would tell offset, lead and drift apart.")


def _chance(case: Case, causes: tuple[str, ...]) -> float:
    chances = likely_faults(case)
    return sum(chances.get(cause, 0.0) for cause in causes)


def _setpoint_gap(case: Case, scale: Scale) -> None:
    """Reading minus setpoint while level: a controller that regulates another number than the one logged."""
    gaps = []
    for hold in case.run.holds if case.run else ():
        if hold.setpoint_c is None or hold.control_c is None:
            continue
        good = [
            h.control_c - h.setpoint_c
            for h in case.good_holds(hold.step)
            if h.control_c is not None and h.setpoint_c is not None
        ]
        if good:
            gaps.append(hold.control_c - hold.setpoint_c - median(good))
    if gaps and min(abs(g) for g in gaps) >= SHIFT_C and max(gaps) - min(gaps) < max(3.0, 0.4 * abs(gaps[0])):
        if _saturated(case):
            return
        way = "above" if gaps[0] > 0 else "below"
        every = ", in every hold" if len(gaps) >= 2 else ""
        says = f"The reading stood {{gap}} further {way} the setpoint than it used to{every}."
        scale.speaks_for(STRONG if every else LIGHT, Says.of(says, gap=Diff(abs(median(gaps)))))
        scale.dose = level(median(gaps)).or_else(level(-median(gaps)))


def _saturated(case: Case) -> bool:
    """Whether the output was full in a hold: then the furnace could not, and no offset is to blame."""
    return any(h.output_pct is not None and h.output_pct > 97.0 for h in case.holds)


def _recorder_moved(case: Case, scale: Scale) -> None:
    """A logger of its own saw every hold move by the same amount while nothing else changed."""
    if case.run is None or scale.pro or any(h.setpoint_c is not None for h in case.holds):
        return
    if hot_ones(shifts(case)) or len(case.holds) < 2:
        return
    moves = []
    for hold in case.holds:
        good = [h.control_c for h in case.good_holds(hold.step) if h.control_c is not None]
        if hold.control_c is not None and good:
            moves.append(hold.control_c - median(good))
    if len(moves) >= 2 and min(abs(m) for m in moves) > 4.0 and max(moves) - min(moves) < 2.0:
        move = Diff(abs(median(moves)))
        scale.speaks_for(FAIR, Says.of("All holds moved by the same {move} against the good runs.", move=move))
        scale.dose = level(median(moves)).or_else(level(-median(moves)))
        scale.lacks("The controller's own setpoint and input offset.")


def wrong_type(case: Case) -> Scale | None:
    """The differences follow the curve of another thermocouple type."""
    scale = _pattern(case, ("wrong type set",), "They follow the curve of another type of thermocouple.")
    run = case.run
    if run is not None and run.sensor.thermocouple:
        good = {r.sensor.thermocouple for r in case.good if r.sensor.thermocouple}
        if good and run.sensor.thermocouple not in good:
            scale = scale or Scale()
            own = f"This run's furnace file says type {run.sensor.thermocouple}"
            scale.speaks_for(STRONG, f"{own}, the good ones' {', '.join(sorted(good))}.")
            scale.dose = UNKNOWN
    return scale


def wrong_lead(case: Case) -> Scale | None:
    """The differences follow a lead that is reversed or of copper: nothing cold, much when the head is warm."""
    largest = largest_shift(case)
    if abs(largest) < 2.0 * SHIFT_C or (largest > 0 and not likely_faults(case)):
        return None
    scale = _pattern(case, LEADS, "They fit a lead that is reversed, or of copper.")
    if likely_faults(case).get("wrong type set", 0.0) > 0.5:
        return scale
    sudden_or_flat = how_it_came(case) == "at once" or grows_with_temperature(case) is False
    if scale is None and sudden_or_flat and low_when_hot(case):
        scale = Scale(dose=shift_dose(case))
        _enter_shift(case, scale, FAIR)
        scale.speaks_for(HINT, "It reads low only when hot, by more than ageing brings.")
    if scale is not None:
        _sudden(case, scale, gradual_is_against=True)
        if grows_with_temperature(case) is False:
            weight = LIGHT if _chance(case, LEADS) > _chance(case, OFFSETS) else HINT
            scale.speaks_for(weight, "It is about the same in every hold, as a warm head makes it.")
        elif grows_with_temperature(case) and not too_sudden(case):
            scale.speaks_against(FAIR, "It grows from hold to hold in proportion to the temperature.")
    return scale


def drift(case: Case) -> Scale | None:
    """The differences grew slowly, in proportion to the temperature, over many runs."""
    causes = ("drift growing with temperature", "tip pulled back")
    scale = _pattern(case, causes, "They grow with the temperature, as an aged thermocouple's do.")
    tests = case.evidence.accuracy
    if tests and abs(tests[-1].difference_c) > 4.0:
        scale = scale or Scale()
        says = Says.of(
            "The accuracy test of {day} found {sensor} {error} off.",
            day=tests[-1].day,
            sensor=tests[-1].sensor,
            error=Diff(abs(tests[-1].difference_c)),
        )
        scale.speaks_for(FAIR + HINT, says)
        scale.dose = worst([scale.dose or NONE, level(-tests[-1].difference_c)])
    if scale is not None:
        _sudden(case, scale, gradual_is_against=False)
        if too_sudden(case):
            shift = Diff(abs(largest_shift(case)))
            scale.speaks_against(FAIR, Says.of("{shift} at once is more than ageing brings.", shift=shift))
        elif grows_with_temperature(case):
            scale.speaks_for(LIGHT, "It grows from hold to hold in proportion to the temperature.")
        if grows_with_temperature(case) is False:
            scale.speaks_against(LIGHT, "It is about the same in every hold.")
    return scale


def _pattern(case: Case, causes: tuple[str, ...], fits: str) -> Scale | None:
    scale = Scale(dose=shift_dose(case))
    if not likely_faults(case) and "wrong type set" not in causes:
        _not_told_apart(case, scale)
        return scale if scale.pro else None
    chance = _chance(case, causes)
    if chance < 0.1:
        return None
    if not _enter_shift(case, scale, STRONG if chance > 0.7 else FAIR):
        return None
    scale.speaks_for(LIGHT if chance > 0.7 else HINT if chance > 0.5 else 0.0, fits)
    if any(abs(s.shift_c) > 0.6 * abs(largest_shift(case)) for s in cold_ones(shifts(case))):
        scale.speaks_against(FAIR, "Cold it is as far off, where that would not show.")
    return scale


def _sudden(case: Case, scale: Scale, *, gradual_is_against: bool) -> None:
    """Whether the change came at once, as a new lead or sensor brings it, or slowly, as drift does."""
    way = how_it_came(case)
    if way is None:
        return
    if way == "slowly":
        says = "It came slowly, over many runs."
        (scale.speaks_against if gradual_is_against else scale.speaks_for)(LIGHT, says)
    else:
        says = "It came from one run to the next."
        if gradual_is_against:
            scale.speaks_for(LIGHT, says)
        else:
            scale.speaks_against(HINT, says)


def _faults(run: RunFigures) -> list[str]:
    """What the instrument said of broken sensors, once for each time it began."""
    return [says for _, event, says in run.events if event == "sensor fault" and not says.endswith("reads again")]


def open_circuit(case: Case) -> Scale | None:
    """The instrument reported a broken sensor, or the control reading was missing while others were had."""
    scale = Scale()
    run = case.run
    if run is None:
        return None
    faults = _faults(run)
    good = median([len(_faults(r)) for r in case.good]) if case.good else 0
    if faults and len(faults) > good:
        scale.speaks_for(STRONG, f"The instrument reported a sensor fault {often(len(faults))}: {faults[0]}.")
    empty_s = sum(b - a for a, b in run.blanks)
    usual_s = median([sum(b - a for a, b in r.blanks) for r in case.good]) if case.good else 0.0
    if empty_s > max(60.0, 3.0 * usual_s):
        scale.speaks_for(
            FAIR if scale.pro else STRONG,
            f"The record went on, but for {duration(empty_s)} it holds no reading of {run.sensor.name}.",
        )
    if case.has_finding("sensor fault") and case.good_share_with("sensor fault") < 0.5:
        scale.speaks_for(LIGHT if scale.pro else STRONG, case.finding_says("sensor fault"))
    scale.dose = heat_dose(case).or_else(UNSEEN) if _blind_in_a_hold(case) else heat_dose(case)
    return scale if scale.pro else None


def _blind_in_a_hold(case: Case) -> bool:
    """Whether a judged hold, or the way to it, has no reading for a while: nobody knows how hot it was then."""
    blanks = case.run.blanks if case.run else ()
    ends = [h.leave_s for h in case.holds if h.leave_s is not None]
    return any(not h.found for h in case.holds) or bool(blanks and ends and min(a for a, _ in blanks) < max(ends))


def unit_mixed_up(case: Case) -> Scale | None:
    """Temperatures are those of the recipe in the other unit."""
    scale = Scale()
    if case.has_finding("wrong unit suspected"):
        scale.speaks_for(PROOF, case.finding_says("wrong unit suspected"))
    tempers = [h for r in temper_runs(case, case.suspects_here) for h in r.holds]
    last = case.holds[-1:]
    for hold in (*case.holds, *tempers):
        stood = hold.control_c
        if stood is None and hold in last and case.run is not None and not hold.found:
            stood = case.run.top_c
        if stood is None:
            continue
        as_fahrenheit, as_celsius = to_celsius(hold.target_c, "F"), from_celsius(hold.target_c, "F")
        for other, words in ((as_fahrenheit, "°F taken for °C"), (as_celsius, "°C taken for °F")):
            if abs(stood - other) < 10.0 and abs(stood - hold.target_c) > 40.0:
                which = "The temper" if hold in tempers else f"Step {hold.step}"
                says = f"{which} stood at {{at}}, its target with {words}."
                scale.speaks_for(HINT if scale.pro else PROOF, Says.of(says, at=Temp(stood)))
    scale.dose = UNKNOWN
    return scale if scale.pro else None


def calibration_overdue(case: Case) -> Scale | None:
    """The control sensor's calibration had fallen due; says nothing about what it read."""
    scale = Scale()
    run = case.run
    if run is None or not (run.sensor.overdue or case.has_finding("calibration overdue")):
        return None
    scale.speaks_for(
        FAIR + HINT,
        f"The calibration of {run.sensor.name} of {run.sensor.calibrated_on} was due on {run.sensor.calibration_due}, "
        f"{counted(days_between(run.sensor.calibration_due, run.started_utc[:10]), 'day')} before."
        if run.sensor.calibration_due
        else case.finding_says("calibration overdue"),
    )
    late = [r.sensor.overdue for r in case.good]
    if late and sum(late) > len(late) / 2:
        scale.speaks_against(FAIR, "It was overdue in the good runs too.")
    if case.softness not in ("low", "high"):
        scale.speaks_against(LIGHT, "No piece is known to be off.")
    if hot_ones(shifts(case)) and abs(largest_shift(case)) < SHIFT_C:
        scale.speaks_against(LIGHT, "A second sensor shows no change.")
    scale.dose = NONE
    scale.lacks("An accuracy test: overdue does not mean wrong.")
    return scale


def lone_sensor_note(case: Case) -> str | None:
    """Sentence on what one sensor alone cannot show.

    Returns none where a second sensor was there, and still in a hold.
    """
    if case.run is None or hot_ones(shifts(case)):
        return None
    output = _output_moved(case)
    moved = f" {output}" if output else ""
    alone = "Only one sensor stood in the chamber"
    if case.run.differences:
        alone = "In no hold can the control sensor be compared with a second one here and in a good run"
    return f"{alone}: if it read wrong, this record could not show it.{moved}"


def _output_moved(case: Case) -> str | None:
    """Another output for the same reading hints at a sensor that reads wrong, and proves nothing."""
    for hold in case.holds:
        good = [h.output_pct for h in case.good_holds(hold.step) if h.output_pct is not None]
        if hold.output_pct is None or len(good) < 3:
            continue
        change = hold.output_pct / median(good) - 1.0
        if abs(change) > 0.15:
            way = "more" if change > 0 else "less"
            return f"It took {abs(change) * 100:.0f} % {way} output than usual in step {hold.step}."
    return None
