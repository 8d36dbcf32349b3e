"""What would turn "not proven" into "pass", and what this record cannot show."""

from __future__ import annotations

from collections.abc import Iterator

from soakwitness.analysis.verification.findings.view import View, duration
from soakwitness.analysis.verification.model import Finding, HoldResult
from soakwitness.analysis.verification.stuck import Stuck

WORTH_SAYING_C = 0.05


def what_would_prove_all(view: View, findings: tuple[Finding, ...]) -> tuple[str, ...]:
    """Say what would turn a run's "not proven" into "pass".

    Parameters
    ----------
    view : View
        The verification.
    findings : tuple of Finding
        What was flagged.

    Returns
    -------
    tuple of str
        Sentences of all judged holds and ramps, and of the record.
    """
    says = [p for h in view.holds if h.judged for p in h.proves]
    says += [
        f"Ramp to {view.temp(r.to_c)}: a record that covers it."
        for r in view.ramps.values()
        if r.verdict == "not proven"
    ]
    if any(f.code == "record changed" for f in findings):
        says.append("The record: an unchanged copy of it.")
    return tuple(dict.fromkeys(says))


def what_would_prove(view: View, hold: HoldResult) -> tuple[str, ...]:
    """Say what would turn a hold's "not proven" into "pass".

    Parameters
    ----------
    view : View
        The verification.
    hold : HoldResult
        One hold.

    Returns
    -------
    tuple of str
        Sentences; none where it passes or fails.
    """
    if hold.verdict != "not proven":
        return ()
    scene, name = view.scene, f"Hold at {view.temp(hold.target_c)}"
    if not hold.found:
        return (f"{name}: {'a longer hold' if hold.on_record else 'a record that covers it'}.",)
    if scene.recipe.load == "hot" and any(p.load_s is None for p in scene.stays):
        return (f"{name}: the load mark of the charge.",)
    if hold.as_read == "pass":
        return tuple(_by_calibration(view, hold, name))
    if hold.as_read == "fail":
        return (f"{name}: as read it is not met; only a calibration can show that the sensor was off by so much.",)
    lost_s = view.scene.lost_s
    if lost_s is not None and hold.control_leave_s is not None and lost_s < hold.control_leave_s:
        return (f"{name}: a load sensor that reads to its end.",)
    says = [*_by_soak(view, hold, name), *_by_reading(view, hold, name)]
    if hold.temperature_from == "packet estimate":
        says.append(f"{name}: a sensor in the packet, or a packet model fitted to one such run.")
    return tuple(says) or (f"{name}: a sensor that reads through all of it.",)


def _by_calibration(view: View, hold: HoldResult, name: str) -> Iterator[str]:
    """What a hold that passes as read lacks at true temperature."""
    stands, expanded = hold.error_it_stands_c, view.scene.errors.at(hold.target_c)
    least = min(-stands[0], stands[1]) if stands is not None else 0.0
    if least > WORTH_SAYING_C:
        yield f"{name}: a calibration to ±{view.diff(least)} or better (k = 2)."
    else:
        yield f"{name}: readings further inside its limits; as it is, it stands no error of the sensor."
    if expanded is not None and hold.soak_s is not None and hold.soak_s.low < hold.required_s:
        short = hold.required_s - hold.soak_s.low
        yield f"{name}: {duration(short)} more at temperature, with the sensor as it is."


def _by_soak(view: View, hold: HoldResult, name: str) -> Iterator[str]:
    soak = hold.soak_s
    if soak is None or soak.low >= hold.required_s:
        return
    yield f"{name}: {duration(hold.required_s - soak.low)} more at temperature."
    period_s = view.scene.edges_on.period_s
    if soak.high >= hold.required_s and period_s > 1.0 and hold.temperature_from != "packet estimate":
        yield f"{name}: denser sampling than every {duration(period_s)}, without gaps."


def _by_reading(view: View, hold: HoldResult, name: str) -> Iterator[str]:
    """What would settle the other requirements that the readings leave open."""
    if {"overshoot", "level", "mean"} & set(hold.unproven) and hold.noise_c is not None:
        yield f"{name}: readings surer than ±{view.diff(hold.noise_c)}, without gaps; it is too near its limit."
    if "longest soak" in hold.unproven and hold.longest_s is not None and hold.at_most_s is not None:
        over_s = hold.longest_s.high - hold.at_most_s
        yield f"{name}: {duration(over_s)} less above the lower edge, or denser sampling."


def not_seen(view: View, stuck: tuple[Stuck, ...]) -> tuple[str, ...]:
    """Say what this record cannot show.

    Parameters
    ----------
    view : View
        The verification.
    stuck : tuple of Stuck
        Where a reading was stuck.

    Returns
    -------
    tuple of str
        Sentences.
    """
    scene = view.scene
    says = [f"An excursion wholly between two readings ({duration(scene.edges_on.period_s)} apart) is not seen."]
    if scene.source == "control":
        says.append("The steel itself was not measured: this is what the control sensor read.")
    elif scene.source == "packet estimate":
        kind = "a fitted model" if all(w.may_fail for w in scene.works.values()) else "a model with generic figures"
        says.append(f"The steel's temperature is {kind}, not a measurement, until an instrumented packet was run.")
    else:
        says.append(f"The load sensor ({scene.edges_name}) speaks for pieces up to its own dummy's thickness.")
    if not scene.run.check.sealed:
        says.append("The record is not sealed: it may be incomplete.")
    if scene.uncertain:
        says.append(
            "The computer restarted within the run; the length of that gap is uncertain and never counts as soak."
        )
    if stuck:
        says.append("While a reading stands still nothing is known of the furnace.")
    thick = _too_thick(view)
    if thick:
        says.append(thick)
    return tuple(says)


def _too_thick(view: View) -> str | None:
    """Pieces thicker than the dummy that carries the load sensor are not covered by it."""
    scene = view.scene
    dummies = [c.thickness_mm for c in scene.run.columns if c.role == "load" and c.thickness_mm is not None]
    if scene.source != "load" or not dummies:
        return None
    over = [p.info.id for p in scene.stays if p.info and p.info.thickness_mm and p.info.thickness_mm > max(dummies)]
    if not over:
        return None
    return f"{', '.join(over)}: thicker than the load sensor's dummy ({max(dummies):g} mm), so slower than it."
