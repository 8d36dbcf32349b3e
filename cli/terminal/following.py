"""``calibrate --follow``: says beside the furnace when it is stable, and what to do next."""

from __future__ import annotations

import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

from soakwitness.cli.options.common import WrongUse, find_run
from soakwitness.cli.options.screen import say
from soakwitness.cli.terminal.calibrating import limits_of, open_pair
from soakwitness.firmware_bridge.common.units import Unit, to_celsius
from soakwitness.firmware_bridge.common.wording import duration, moment, rate, temperature

if TYPE_CHECKING:
    from soakwitness.analysis.calibration.guiding import Guidance
    from soakwitness.analysis.calibration.measured_pairs.stretches import StretchLimits


def follow(run: str | None, logbook: Path, unit: Unit | None, given: dict[str, Any]) -> None:
    """Read the open run again and again and say where the calibration stands, until the run ends or Ctrl-C."""
    from soakwitness.analysis.calibration.guiding import guide

    if run is None or given["second_log"] is not None:
        raise WrongUse("--follow needs a RUN that is being recorded, with the reference in it.")
    limits = limits_of(given["minutes"], given["drift"], given["spread"], unit)
    wanted_c = [to_celsius(value, unit) or 0.0 for value in given["wanted"]]
    path, said = str(find_run(run, logbook)), ""
    say("Following the run. Ctrl-C ends this and gives the result.", err=True)
    try:
        while True:
            opened, pair = open_pair(path, logbook, reference=given["reference"], sensor=given["sensor"], second=None)
            steps_c = (pair.reference_resolution_c, pair.sensor_resolution_c)
            now = guide(pair.t_s, pair.reference_c, pair.sensor_c, limits, wanted_c=wanted_c, resolutions_c=steps_c)
            words = _guidance(now, limits, bool(wanted_c), unit or "C")
            if words != said:
                say(f"{moment(float(pair.t_s[-1]) if pair.t_s.size else 0.0)}  {words}", err=True)
                said = words
            if opened.check.sealed:
                return
            time.sleep(given["every"])
    except KeyboardInterrupt:
        say(err=True)


def _guidance(now: Guidance, limits: StretchLimits, planned: bool, unit: Unit) -> str:
    """Where a calibration stands, for a person at the furnace."""
    if now.now_c is None:
        return "no readings of the reference yet."
    here = temperature(now.now_c, unit)
    if now.state == "stable":
        ahead = "go on to another temperature or end the run"
        if planned:
            ahead = "all planned temperatures are done: end the run"
        if now.next_c is not None:
            ahead = f"next, set {temperature(now.next_c, unit)}"
            ahead += " again: the difference becomes a row of the budget" if now.closing else ""
        return f"{here}, stable for {duration(60.0 * now.minutes)}: enough here; {ahead}."
    if now.state == "quiet":
        quiet = f"{duration(60.0 * now.minutes)} of {duration(60.0 * now.needed_minutes)}"
        return f"{here}, quiet for {quiet}: leave it, door shut."
    moving = "unsteady"
    if now.drift_c_per_h is not None:
        moving = f"moving {rate(now.drift_c_per_h, unit)}"
    target = f" (to {temperature(now.next_c, unit)})" if now.next_c is not None else ""
    return f"{here}, {moving}{target}: wait for {rate(limits.drift_c_per_h, unit)} or less."
