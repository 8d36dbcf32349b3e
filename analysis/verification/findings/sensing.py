"""Findings on sensors and record: sensor fault, stuck reading, gap, record changed, no or overdue calibration."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from soakwitness.analysis.record.run import Run
from soakwitness.analysis.verification.findings.sensors_differing import differing
from soakwitness.analysis.verification.findings.view import View, hold_words
from soakwitness.analysis.verification.inputs.bad_readings import BadReadings
from soakwitness.analysis.verification.inputs.readings import GAP_PERIODS, gaps, last_read
from soakwitness.analysis.verification.results.known_error import KnownError
from soakwitness.analysis.verification.results.verification import Finding, HoldResult
from soakwitness.analysis.verification.sensors.gathered_run import GatheredRun
from soakwitness.firmware_bridge.common.wording import Diff, Says, Temp, duration, moment, often
from soakwitness.firmware_bridge.runfolder.contents import RecordCheck

FAULT_SHARE = 0.01
CLOCKS_APART_S = 0.01  # an event and the row it belongs to carry the same moment, each rounded


def find(view: View, bad: tuple[BadReadings, ...]) -> list[Finding]:
    """All findings of this topic; ``bad`` are the readings that were taken out."""
    return [
        *_faults(view, bad),
        *_bad(bad),
        *_gaps(view),
        *_changed(view),
        *_calibration(view),
        *_smoothed(view),
        *differing(view),
    ]


def _faults(view: View, bad: tuple[BadReadings, ...]) -> list[Finding]:
    """Faults that the recorder entered, and readings that no thermocouple can have made."""
    run, found = view.run.record, []
    begun: dict[str, list[tuple[float, str]]] = {}
    for event in run.events:
        if event.event == "sensor fault" and not event.detail.endswith("reads again"):
            name, _, word = event.detail.partition(":")
            begun.setdefault(name.strip(), []).append((event.t_s, word.strip() or "fault"))
    for name, many in begun.items():
        stretches = _without_reading(run, name, [t_s for t_s, _ in many])
        found.append(
            Finding(
                "sensor fault",
                "warn",
                None,
                Says.plain(f"Sensor {name}: {many[0][1]}, {_when(many[0][0], len(many), stretches)}."),
                Says("Check the thermocouple, its connector and its lead with the supply isolated."),
                at_s=many[0][0],
                until_s=stretches[0][1] if stretches else None,
                sensors=(name,),
            )
        )
    for trace in run.traces:
        if trace.name not in begun and trace.dropped_points > max(5, FAULT_SHARE * trace.t_s.size):
            found.append(
                Finding(
                    "sensor fault",
                    "warn",
                    None,
                    Says.of(
                        "Sensor {name}: {count} single readings no thermocouple can make, left out.",
                        name=trace.name,
                        count=str(trace.dropped_points),
                    ),
                    Says("Look for a loose connector or a lead beside the element's."),
                    sensors=(trace.name,),
                )
            )
    told = {*begun, *(s.sensor for s in bad if s.kind == "broken")}
    found += _taken_over(view)
    return [*found, *(f for name, f in _lost(view) if name not in told)]


def _taken_over(view: View) -> list[Finding]:
    """Another sensor judged in place of a control sensor that broke, though it read otherwise while both read."""
    stands_in = view.run.stands_in
    if stands_in is None or stands_in.alike:
        return []
    return [
        Finding(
            "sensors differ",
            "warn",
            None,
            Says.of(
                "Sensor {name} stands in for {broken}, which broke; while both read it read {by} {way}: "
                "by its readings nothing is decided.",
                name=view.run.chamber.name,
                broken=stands_in.broken,
                by=Diff(abs(stands_in.higher_c)),
                way="higher" if stands_in.higher_c > 0.0 else "lower",
            ),
            Says("Mend the control sensor; measure by how much the other place differs: soakwitness survey."),
        )
    ]


def _lost(view: View) -> Iterator[tuple[str, Finding]]:
    """Sensors that stopped reading before the holds were over."""
    ends = [h.control_leave_s for h in view.holds if h.control_leave_s is not None]
    for trace in view.run.record.traces:
        if trace.role not in ("load", "control", "recording") or not ends:
            continue
        last_s = float(trace.t_s[last_read(trace) or 0])
        if last_s < max(ends) - GAP_PERIODS * trace.period_s:
            yield (
                trace.name,
                Finding(
                    "sensor fault",
                    "warn",
                    None,
                    Says.of(
                        "Sensor {name} read nothing from {at} into the run to its end, for {long}; "
                        "later holds are judged without it.",
                        name=trace.name,
                        at=moment(last_s),
                        long=duration(float(trace.t_s[-1]) - last_s),
                    ),
                    Says("Check the thermocouple, its connector and its lead with the supply isolated."),
                    at_s=last_s,
                    until_s=float(trace.t_s[-1]),
                    sensors=(trace.name,),
                ),
            )


def _without_reading(run: Run, name: str, begun_s: list[float]) -> list[tuple[float, float]]:
    """Stretches without a reading of this sensor that began with a fault, each up to the reading that came next."""
    values = run.values.get(name)
    if values is None or not run.t_s.size:
        return []
    had = np.flatnonzero(np.isfinite(values))
    stretches: list[tuple[float, float]] = []
    for at_s in begun_s:
        first = int(np.searchsorted(run.t_s, at_s - CLOCKS_APART_S))
        if (stretches and at_s < stretches[-1][1]) or first == run.t_s.size or np.isfinite(values[first]):
            continue
        after = int(np.searchsorted(had, first))
        stretches.append((at_s, float(run.t_s[had[after]] if after < had.size else run.t_s[-1])))
    return stretches


def _when(first_s: float, count: int, stretches: list[tuple[float, float]]) -> str:
    lasted_s = sum(until_s - at_s for at_s, until_s in stretches)
    long = f" for {duration(lasted_s)}{' in all' if len(stretches) > 1 else ''}" if lasted_s else ""
    return f"{often(count)}{long}, {'' if count == 1 else 'first '}at {moment(first_s)} into the run"


AWAY = {  # events that tell of a gap: what was away, and what to look at
    "link lost": ("the link was lost", "Look at the instrument's plug, cable and supply: its link was lost then."),
    "resumed": ("the recorder was off", "Find out what stopped the computer: its power, its sleep, an update."),
}
AWAY_LATE_S = 10.0  # so much after a gap its event may stand
BAD_CODES = {"stuck": "stuck reading"}
BAD_NEXT = {
    "stuck": "Check the sensor's lead and the link.",
    "end of range": "Check the range of the instrument.",
    "broken": "Check the thermocouple and its lead with the supply isolated; holds from then on are judged without it.",
    "contact": "Check the connector and the lead with the supply isolated; that time counts as a gap.",
}


def _bad(bad: tuple[BadReadings, ...]) -> list[Finding]:
    """One finding for each sensor and kind of bad reading."""
    groups: dict[tuple[str, str], list[BadReadings]] = {}
    for one in bad:
        groups.setdefault((one.sensor, one.kind), []).append(one)
    return [_bad_finding(many) for many in groups.values()]


def _bad_finding(many: list[BadReadings]) -> Finding:
    first = many[0]
    long_s = sum(one.end_s - one.start_s for one in many)
    again = f", {often(len(many))} so" if len(many) > 1 else ""
    exactly = "" if first.kind == "contact" else "exactly "
    return Finding(
        BAD_CODES.get(first.kind, "sensor fault"),
        "warn",
        None,
        Says.of(
            "Sensor {sensor} {showed} {exactly}{at} for {long}{again}, {why}: no temperature of the furnace.",
            sensor=first.sensor,
            showed="showed" if first.kind == "contact" else "stood at",
            exactly=exactly,
            at=Temp(first.at_c),
            long=duration(long_s),
            again=again,
            why=first.why,
        ),
        Says(BAD_NEXT[first.kind]),
        at_s=first.start_s,
        until_s=first.end_s,
        sensors=(first.sensor,),
    )


def _gaps(view: View) -> list[Finding]:
    run = view.run
    sensor = run.loads[0] if run.loads else run.chamber
    trace = sensor.readings
    found = gaps(trace, trace.t_s[0], trace.t_s[-1])
    if not found:
        return []
    longest = max(found, key=lambda g: g[1] - g[0])
    inside = next((h for h in view.holds if _touches(h, found)), None)
    total = sum(b - a for a, b in found)
    where = Says.of(", one inside the {hold}", hold=hold_words(inside)) if inside else Says("")
    alone = _others_read(run, sensor.name, longest)
    away = None if alone else _away(run, longest)
    return [
        Finding(
            "gap in record",
            "warn" if inside and inside.judged else "note",
            inside.step if inside else None,
            Says.of(
                "{count} without a reading{whose}, {total} in all, the longest {longest}{where}.",
                count=f"{len(found)} {'gap' if len(found) == 1 else 'gaps'}",
                whose=f" of sensor {sensor.name}" if alone else "",
                total=duration(total),
                longest=duration(longest[1] - longest[0]),
                where=where,
            ),
            Says(away[1] if away else "Look at the events of that time: a sensor, the link or the computer was away."),
            at_s=longest[0],
            until_s=longest[1],
            sensors=(sensor.name,) if alone else (),
            brief=Says(away[0]) if away else None,
        )
    ]


def _away(run: GatheredRun, gap: tuple[float, float]) -> tuple[str, str] | None:
    """What was away in a time in which nothing at all was recorded, where an event says it, and what to look at."""
    events = (e.event for e in run.record.events if gap[0] <= e.t_s <= gap[1] + AWAY_LATE_S)
    return next((AWAY[event] for event in events if event in AWAY), None)


def _others_read(run: GatheredRun, name: str, gap: tuple[float, float]) -> bool:
    """Whether some other sensor read on while one read nothing."""
    for trace in run.record.traces:
        inside = (trace.t_s > gap[0]) & (trace.t_s < gap[1])
        if trace.name != name and trace.role != "ambient" and np.isfinite(trace.temp_c[inside]).any():
            return True
    return False


def _touches(hold: HoldResult, found: tuple[tuple[float, float], ...]) -> bool:
    return (
        hold.enter_s is not None
        and hold.leave_s is not None
        and any(a < hold.leave_s and b > hold.enter_s for a, b in found)
    )


def _changed(view: View) -> list[Finding]:
    check = view.run.record.check
    bad = len(check.bad_rows)
    if check.intact and not bad:
        return []
    if check.doubt and not check.sealed:
        return [_not_as_seen(check.doubt)]
    if check.changed and not check.differs and check.doubt is None:
        return [_changed_while_recorded(check)]
    if check.sealed and not check.intact:
        first = f" First file that differs: {check.first_difference}." if check.first_difference else ""
        first = f" As this log book knows, {check.doubt}." if check.doubt else first
        says = f"The sealed record was changed after its end.{first}"
    else:
        says = f"{bad} {'row' if bad == 1 else 'rows'} of the record fail their checksum and were left out."
    return [
        Finding(
            "record changed",
            "warn",
            None,
            Says.plain(says),
            Says("Compare with a copy or the original; a changed record proves nothing."),
        )
    ]


def _not_as_seen(doubt: str) -> Finding:
    says = f"The record is not what this log book has seen: {doubt}."
    then = "Compare with a copy or the original; a changed record proves nothing."
    return Finding("record changed", "warn", None, Says.plain(says), Says(then))


def _changed_while_recorded(check: RecordCheck) -> Finding:
    """What another program did; only where readings are missing does it leave anything open."""
    says = f"While it was being recorded: {'. '.join(check.changed)}."
    if check.says_missing:
        then = "Nothing brings those readings back; keep editors and copying programs away from open runs."
        return Finding("record changed", "warn", None, Says.plain(says), Says(then))
    then = "All readings are there. Keep editors and copying programs away from open runs."
    return Finding("record changed", "note", None, Says.plain(says), Says(then))


def _calibration(view: View) -> list[Finding]:
    """What is not known of the sensors that decide: each with its words once, for the holds it is true of."""
    told: dict[str, list[tuple[HoldResult, str, KnownError]]] = {}
    for hold in view.holds:
        for name, known in hold.sensors:
            if known.lapsed or known.source in ("tolerance class", "none"):
                told.setdefault(str(known.says), []).append((hold, name, known))
    return [_uncalibrated(many, whole=len(told) == 1) for many in told.values()]


def _uncalibrated(many: list[tuple[HoldResult, str, KnownError]], *, whole: bool) -> Finding:
    holds, known = [hold for hold, _, _ in many], many[0][2]
    names = list(dict.fromkeys(name for _, name, _ in many))
    name = names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
    within = [one.expanded_c for _, _, one in many if one.expanded_c is not None]
    up_to = Says.of(" (up to {most})", most=Diff(max(within))) if within else Says("")
    at = Says("") if whole else Says.of(", at the {hold}", hold=hold_words(holds[0]))
    lapsed = known.lapsed is not None
    rests = "; it proves nothing, but it can contradict" if lapsed else "; the verdict is the one as read"
    if known.source == "stated":
        rests = "; it corrects nothing, but it can contradict, and the stated uncertainty decides"
    elif known.place is not None:
        rests = "; the verdict is that at the work's place, the sensor's own error not counted"
    elif known.basis == "true temperature":
        rests = "; the recipe asks for the true temperature, which nothing shows"
    return Finding(
        "calibration overdue" if lapsed else "no calibration",
        "warn",
        None if whole else holds[0].step,
        Says.of(
            "{sensor} {name}{at}: {says}{up_to}{rests}.",
            sensor="Sensor" if len(names) == 1 else "Sensors",
            name=name,
            at=at,
            says=known.says,
            up_to=up_to,
            rests=rests,
        ),
        Says(
            "Measure the place difference again: soakwitness place measure."
            if known.lapsed is not None and known.lapsed.of_place
            else "Calibrate it again: soakwitness calibrate."
            if lapsed
            else "Calibrate it against a reference (soakwitness calibrate), or state its expanded uncertainty."
        ),
    )


SMOOTHED_SHARE, SMOOTHED_READINGS = 0.9, 60


def _smoothed(view: View) -> list[Finding]:
    """A display that stands on its setpoint to the digit: it may smooth what it shows."""
    run = view.run
    setpoint = run.record.signal("setpoint")
    trace = next((tr for tr in run.record.traces if tr.name == run.chamber.name), None)
    if setpoint is None or trace is None:
        return []
    for hold in view.holds:
        if hold.control_enter_s is None or hold.control_leave_s is None or trace.role != "control":
            continue
        low, high = np.searchsorted(trace.t_s, (hold.control_enter_s, hold.control_leave_s))
        shown, asked = trace.temp_c[low:high], setpoint[low:high]
        both = np.isfinite(shown) & np.isfinite(asked)
        near = np.abs(shown[both] - asked[both]) < trace.resolution_c / 4.0
        fine = trace.resolution_c <= 0.2
        if fine and near.size >= SMOOTHED_READINGS and float(near.mean()) >= SMOOTHED_SHARE:
            return [
                Finding(
                    "stuck reading",
                    "note",
                    hold.step,
                    Says.of(
                        "In the {hold} sensor {name} stood on its setpoint to the digit for {share} of 100 readings.",
                        hold=hold_words(hold),
                        name=trace.name,
                        share=f"{100.0 * float(near.mean()):.0f}",
                    ),
                    Says("Does the instrument smooth what it shows? Look for a display filter in its manual."),
                    at_s=hold.control_enter_s,
                )
            ]
    return []
