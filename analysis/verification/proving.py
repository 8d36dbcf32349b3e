"""What would turn "not proven" into "pass", and what this record cannot show."""

from __future__ import annotations

from soakwitness.analysis.verification.findings.view import View, duration
from soakwitness.analysis.verification.model import HoldResult
from soakwitness.analysis.verification.stuck import Stuck

WORTH_SAYING_C = 0.05


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
        return (f"{name}: a record that covers it.",)
    if scene.recipe.load == "hot" and any(p.load_s is None for p in scene.stays):
        return (f"{name}: the load mark of the charge.",)
    says: list[str] = []
    stands, expanded = hold.error_it_stands_c, scene.errors.at(hold.target_c)
    if hold.as_read == "pass" and stands is not None:
        least = min(-stands[0], stands[1])
        if least > WORTH_SAYING_C:
            says.append(f"{name}: a calibration to ±{view.diff(least)} or better (k = 2).")
        if expanded is not None and hold.soak_s is not None and hold.soak_s.low < hold.required_s:
            short = hold.required_s - hold.soak_s.low
            says.append(f"{name}: {duration(short)} more at temperature, with the sensor as it is.")
        return tuple(says)
    if hold.soak_s is not None and hold.soak_s.low < hold.required_s:
        says.append(f"{name}: {duration(hold.required_s - hold.soak_s.low)} more at temperature.")
        period_s = scene.edges_on.period_s
        if hold.soak_s.high >= hold.required_s and period_s > 1.0 and scene.source != "packet estimate":
            says.append(f"{name}: denser sampling than every {duration(period_s)}, without gaps.")
    if scene.source == "packet estimate":
        says.append(f"{name}: a sensor in the packet, or a packet model fitted to one such run.")
    return tuple(says)


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
