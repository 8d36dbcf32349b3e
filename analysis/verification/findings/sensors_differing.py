"""Two sensors that differ otherwise than this pair usually does, or than their uncertainties allow."""

from __future__ import annotations

import numpy as np

from soakwitness.analysis.verification.findings.view import View, hold_words
from soakwitness.analysis.verification.holds.placed_sensors import DecidingSensor
from soakwitness.analysis.verification.inputs.pairs import steady_levels
from soakwitness.analysis.verification.inputs.sensor_choice import ALIKE_C
from soakwitness.analysis.verification.inputs.sensor_errors import reads_words
from soakwitness.analysis.verification.results.verification import Finding, HoldResult
from soakwitness.firmware_bridge.common.wording import Diff, Says, Temp

NEAR_C = 60.0
FEWEST_EARLIER = 2


def differing(view: View) -> list[Finding]:
    """Two sensors that differ otherwise than this pair usually does; else, than their uncertainties allow."""
    run = view.run
    found = []
    for hold in view.holds:
        if not hold.found or hold.control_leave_s is None:
            continue
        for load in run.loads:
            finding = _differs(view, hold, load)
            if finding is not None:
                found.append(finding)
    return found[:1] if len({str(f.says) for f in found}) == 1 else found


def _differs(view: View, hold: HoldResult, load: DecidingSensor) -> Finding | None:
    run, number = view.run, view.number(hold)
    chamber = run.chamber
    pulls = [p.pull_s for p in hold.pieces if p.pull_s is not None]
    pair = steady_levels(chamber.readings, load.readings, min([hold.control_leave_s or 0.0, *pulls]))
    if pair is None or max(abs(at - hold.target_c) for at in pair) > NEAR_C:
        return None
    mine, theirs = run.known(chamber, number), run.known(load, number)
    read_c, load_c = pair[0] + mine.correction_c, pair[1] + theirs.correction_c
    usual = [
        u.kelvin
        for u in run.usual
        if (u.sensor, u.other) == (chamber.name, load.name) and abs(u.at_c - pair[0]) < NEAR_C
    ]
    if len(usual) >= FEWEST_EARLIER:
        away = (pair[0] - pair[1]) - float(np.median(usual))
        if abs(away) <= ALIKE_C:
            return None
        why = Says.of("usually by {usual}", usual=Diff(float(np.median(usual)), signed=True))
    else:
        allowed = float(np.hypot(mine.expanded_c or 0.0, theirs.expanded_c or 0.0))
        if abs(read_c - load_c) <= max(ALIKE_C, allowed) or not (mine.expanded_c or theirs.expanded_c):
            return None
        why = Says.of("more than {allowed}", allowed=Diff(max(ALIKE_C, allowed)))
    corrected = reads_words(mine, pair[0])
    return Finding(
        "sensors differ",
        "warn",
        hold.step,
        Says.of(
            "At the end of the {hold} sensor {one} {reads} and sensor {other} {other_reads}: {apart} apart, {why}.",
            hold=hold_words(hold),
            one=chamber.name,
            reads=corrected or Says.of("reads {at}", at=Temp(pair[0])),
            other=load.name,
            other_reads=reads_words(theirs, pair[1]) or Says.of("reads {at}", at=Temp(pair[1])),
            apart=Diff(abs(read_c - load_c)),
            why=why,
        ),
        Says("Find out which of them changed: soakwitness sensor diagnose; or hold a reference beside them."),
        at_s=hold.control_leave_s,
    )
