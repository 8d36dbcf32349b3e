"""Findings on sensors and record: sensor fault, stuck reading, gap, record changed, no or overdue calibration."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from soakwitness.analysis.runs import Run
from soakwitness.analysis.verification.edges import GAP_PERIODS
from soakwitness.analysis.verification.findings.view import View, duration
from soakwitness.analysis.verification.intervals import gaps
from soakwitness.analysis.verification.model import Finding, HoldResult
from soakwitness.analysis.verification.stuck import Stuck
from soakwitness.firmware_bridge.runfolder.format import often

FAULT_SHARE = 0.01
CLOCKS_APART_S = 0.01  # an event and the row it belongs to carry the same moment, each rounded


def find(view: View, stuck: tuple[Stuck, ...]) -> list[Finding]:
    """All findings of this topic.

    Parameters
    ----------
    view : View
        The verification.
    stuck : tuple of Stuck
        Where a reading was stuck.

    Returns
    -------
    list of Finding
        In the order of the codes above.
    """
    return [
        *_faults(view, stuck),
        *(_stuck(view, s) for s in stuck),
        *_gaps(view),
        *_changed(view),
        *_calibration(view),
    ]


def _faults(view: View, stuck: tuple[Stuck, ...]) -> list[Finding]:
    """Faults that the recorder entered, and readings that no thermocouple can have made."""
    run, found = view.scene.run, []
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
                f"Sensor {name}: {many[0][1]}, {_when(many[0][0], len(many), stretches)}.",
                "Check the thermocouple, its connector and its lead with the supply isolated.",
                at_s=many[0][0],
                until_s=stretches[0][1] if stretches else None,
            )
        )
    for trace in run.traces:
        if trace.name not in begun and trace.dropped_points > max(5, FAULT_SHARE * trace.t_s.size):
            found.append(
                Finding(
                    "sensor fault",
                    "warn",
                    None,
                    f"Sensor {trace.name}: {trace.dropped_points} single readings no thermocouple can make, left out.",
                    "Look for a loose connector or a lead beside the element's.",
                )
            )
    told = {*begun, *(s.sensor for s in stuck if s.broken)}
    return [*found, *(f for name, f in _lost(view) if name not in told)]


def _lost(view: View) -> Iterator[tuple[str, Finding]]:
    """Sensors that stopped reading before the holds were over."""
    ends = [h.control_leave_s for h in view.holds if h.control_leave_s is not None]
    for trace in view.scene.run.traces:
        if trace.role not in ("load", "control", "recording") or not ends:
            continue
        read = trace.t_s[np.isfinite(trace.temp_c)]
        last_s = float(read[-1]) if read.size else float(trace.t_s[0])
        if last_s < max(ends) - GAP_PERIODS * trace.period_s:
            yield (
                trace.name,
                Finding(
                    "sensor fault",
                    "warn",
                    None,
                    f"Sensor {trace.name} read nothing from {duration(last_s)} into the run to its end, for "
                    f"{duration(float(trace.t_s[-1]) - last_s)}; later holds are judged without it.",
                    "Check the thermocouple, its connector and its lead with the supply isolated.",
                    at_s=last_s,
                    until_s=float(trace.t_s[-1]),
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
    return f"{often(count)}{long}, {'' if count == 1 else 'first '}at {duration(first_s)} into the run"


def _stuck(view: View, stuck: Stuck) -> Finding:
    code = "sensor fault" if stuck.saturated or stuck.broken else "stuck reading"
    says = (
        f"Sensor {stuck.sensor} stood at exactly {view.temp(stuck.at_c)} for {duration(stuck.end_s - stuck.start_s)}, "
        f"{stuck.why}."
    )
    follow = "Check the range of the instrument." if stuck.saturated else "Check the sensor's lead and the link."
    if stuck.broken:
        follow = (
            "Check the thermocouple and its lead with the supply isolated; holds from then on are judged without it."
        )
    return Finding(code, "warn", None, says, follow, at_s=stuck.start_s, until_s=stuck.end_s)


def _gaps(view: View) -> list[Finding]:
    scene = view.scene
    found = gaps(scene.edges_on, scene.edges_on.t_s[0], scene.edges_on.t_s[-1])
    if not found:
        return []
    longest = max(found, key=lambda g: g[1] - g[0])
    inside = next((h for h in view.holds if _touches(h, found)), None)
    total = sum(b - a for a, b in found)
    where = f", one inside the {view.hold_words(inside)}" if inside else ""
    return [
        Finding(
            "gap in record",
            "warn" if inside and inside.judged else "note",
            inside.step if inside else None,
            f"{len(found)} {'gap' if len(found) == 1 else 'gaps'} without a reading, {duration(total)} in all, "
            f"the longest {duration(longest[1] - longest[0])}{where}.",
            "Look at the events of that time: a sensor, the link or the computer was away.",
            at_s=longest[0],
            until_s=longest[1],
        )
    ]


def _touches(hold: HoldResult, found: tuple[tuple[float, float], ...]) -> bool:
    return (
        hold.enter_s is not None
        and hold.leave_s is not None
        and any(a < hold.leave_s and b > hold.enter_s for a, b in found)
    )


def _changed(view: View) -> list[Finding]:
    check = view.scene.run.check
    bad = len(check.bad_rows)
    if check.intact and not bad:
        return []
    if check.sealed and not check.intact:
        first = f" First file that differs: {check.first_difference}." if check.first_difference else ""
        says = f"The sealed record was changed after its end.{first}"
    else:
        says = f"{bad} {'row' if bad == 1 else 'rows'} of the record fail their checksum and were left out."
    return [
        Finding(
            "record changed",
            "warn",
            None,
            says,
            "Compare with a copy or the original; a changed record proves nothing.",
        )
    ]


def _calibration(view: View) -> list[Finding]:
    errors = view.scene.errors
    name = view.scene.edges_name
    if errors.overdue:
        return [
            Finding(
                "calibration overdue",
                "warn",
                None,
                f"Sensor {name}: {errors.says}; the verdict is the one as read.",
                "Calibrate it again: soakwitness calibrate.",
            )
        ]
    outside = errors.source == "calibration" and any(errors.at(h.target_c) is None for h in view.scene.recipe.holds)
    if errors.source in ("calibration", "stated") and not outside:
        return []
    says = errors.says if not outside else f"{errors.says} does not reach every hold of the recipe"
    spread = [u for h in view.scene.recipe.holds if (u := errors.at(h.target_c)) is not None]
    within = f" (up to {view.diff(max(spread))})" if spread and np.isfinite(max(spread)) else ""
    return [
        Finding(
            "no calibration",
            "warn",
            None,
            f"Sensor {name}: {says}{within}; the verdict is the one as read.",
            "Calibrate it against a reference (soakwitness calibrate), or state its expanded uncertainty.",
        )
    ]
