"""What would turn "not proven" into "pass", and what this record cannot show."""

from __future__ import annotations

from collections.abc import Iterator

from soakwitness.analysis.verification.findings.cures import only_bounded
from soakwitness.analysis.verification.findings.view import View
from soakwitness.analysis.verification.inputs.bad_readings import BadReadings
from soakwitness.analysis.verification.results.verification import Finding, HoldResult
from soakwitness.firmware_bridge.common.wording import Diff, Says, Temp, duration

WORTH_SAYING_C = 0.05
DENSE_S = 2.0
WITHOUT_GAPS = Says("readings without the gaps in it.")


def what_would_prove_all(view: View, findings: tuple[Finding, ...]) -> tuple[Says, ...]:
    """What would turn a run's "not proven" into "pass": of all judged holds and ramps, and of the record."""
    says = [p for h in view.holds if h.judged for p in h.proves]
    says += [
        Says.of(
            "Hold at {target}: what shows that it stayed under its limit, though it is only reported.", target=Temp(at)
        )
        for at in dict.fromkeys(h.target_c for h in view.holds if not h.judged and h.limits_verdict == "not proven")
    ]
    says += [
        Says.of("Ramp to {to}: a record that covers it.", to=Temp(r.to_c))
        for r in view.ramps.values()
        if r.verdict == "not proven"
    ]
    if view.judged.cooling == "not proven":
        says.append(Says("The quench: readings closer together while the work cools."))
    if any(f.code == "record changed" and f.severity != "note" for f in findings):
        says.append(Says("The record: an unchanged copy of it."))
    if not any(h.judged for h in view.holds) and not any(r.verdict for r in view.ramps.values()):
        says.append(Says("The recipe: a hold that is judged."))
    return tuple(dict.fromkeys(says))


def what_would_prove(view: View, hold: HoldResult) -> tuple[Says, ...]:
    """What would turn a hold's "not proven" into "pass"; none where it passes or fails."""
    if hold.verdict != "not proven":
        return ()
    name = Says.of("Hold at {target}", target=Temp(hold.target_c))
    return tuple(Says.of("{name}: {what}", name=name, what=what) for what in _ways(view, hold))


def _ways(view: View, hold: HoldResult) -> Iterator[Says]:
    run = view.run
    if "unit" in hold.unproven:
        yield Says("the readings in the unit that they have: import them again.")
        return
    if not hold.found:
        yield Says("a longer hold." if hold.on_record else "a record that covers it.")
        return
    if "sensor" in hold.unproven:
        yield Says("the control sensor itself, or a survey of the place of the one that stands in for it.")
        return
    if run.recipe.load == "hot" and any(p.load_s is None for p in run.stays):
        yield Says("the load mark of the charge.")
        return
    if hold.as_read == "pass" and hold.known.lapsed is not None:
        yield Says("a calibration that is in force: by the one that lapsed it is not met.")
        return
    if hold.as_read == "pass":
        yield from _by_calibration(hold)
        return
    if hold.as_read == "fail":
        yield Says("as read it is not met; only a calibration can show that the sensor was off by so much.")
        return
    load = next((s for s in run.loads if s.name == hold.measured_by), None)
    lost = load is not None and hold.control_leave_s is not None and load.last_s < hold.control_leave_s
    if "load sensor" in hold.unproven or (lost and load is not None and load.last_s < run.end_s - 60.0):
        yield Says("a load sensor that reads to its end.")
        return
    says = [*_by_soak(view, hold), *_by_reading(view, hold)]
    if hold.temperature_from == "packet estimate" and not hold.fitted:
        says.append(Says("a sensor in the packet, or a packet model fitted to one such run."))
    yield from dict.fromkeys(says) or [Says("a sensor that reads through all of it.")]


def _by_calibration(hold: HoldResult) -> Iterator[Says]:
    """What a hold that passes as read lacks at true temperature."""
    stands = hold.error_it_stands_c
    least = min(-stands[0], stands[1]) if stands is not None else 0.0
    if least > WORTH_SAYING_C:
        yield Says.of("a calibration to ±{least} or better (k = 2).", least=Diff(least))
    else:
        yield Says("readings further inside its limits; as it is, it stands no error of the sensor.")
    # Where an error within U leaves nothing at temperature, more time would be no better.
    if hold.known.expanded_c is not None and hold.soak_s is not None and 0.0 < hold.soak_s.low < hold.required_s:
        yield Says(f"{duration(hold.required_s - hold.soak_s.low)} more at temperature, with the sensor as it is.")


def _by_soak(view: View, hold: HoldResult) -> Iterator[Says]:
    soak = hold.soak_s
    if soak is None or soak.low >= hold.required_s:
        return
    if soak.best >= hold.required_s and view.has_gap(hold):
        yield WITHOUT_GAPS
        return
    if only_bounded(hold):
        yield Says("the moments of load and pull as somebody saw them: inferred ones only bound the soak.")
    yield Says(f"{duration(hold.required_s - soak.low)} more at temperature.")
    period_s = view.run.chamber.readings.period_s
    if soak.high >= hold.required_s and period_s >= DENSE_S and hold.temperature_from != "packet estimate":
        yield Says(f"denser sampling than every {duration(period_s)}, without gaps.")


def _by_reading(view: View, hold: HoldResult) -> Iterator[Says]:
    """What would settle the other requirements that the readings leave open."""
    if {"overshoot", "level", "mean", "too hot"} & set(hold.unproven) and hold.noise_c is not None:
        if hold.temperature_from == "packet estimate":
            yield Says("a sensor in the packet: by the estimate it is too near its limit.")
        elif view.has_gap(hold):
            yield WITHOUT_GAPS
        else:
            yield Says.of("readings surer than ±{noise}; it is too near its limit.", noise=Diff(hold.noise_c))
    if "longest soak" in hold.unproven and hold.longest_s is not None and hold.at_most_s is not None:
        over_s = hold.longest_s.high - hold.at_most_s
        if hold.longest_s.endless:
            yield WITHOUT_GAPS
        elif over_s > 0.0:
            yield Says(f"{duration(over_s)} less above the lower edge, or denser sampling.")
        else:
            yield Says("the pull mark, or a record until the furnace has cooled.")


def not_seen(view: View, bad: tuple[BadReadings, ...]) -> tuple[Says, ...]:
    """What this record cannot show; ``bad`` are the readings that were taken out."""
    run = view.run
    apart = duration(run.chamber.readings.period_s)
    says = [Says(f"An excursion wholly between two readings ({apart} apart) is not seen.")]
    sources = {h.temperature_from for h in view.holds if h.temperature_from is not None}
    if not sources or sources == {"control"}:
        says.append(Says("The steel itself was not measured: this is what the control sensor read."))
    if "packet estimate" in sources:
        fitted = all(h.fitted for h in view.holds if h.temperature_from == "packet estimate")
        kind = "a fitted model" if fitted else "a model with generic figures"
        until = "" if fitted else ", until an instrumented packet was run"
        says.append(Says(f"The steel's temperature is {kind}, not a measurement{until}."))
        if run.unknown_beside is not None:
            says.append(run.unknown_beside)
    if "load" in sources:
        names = ", ".join(dict.fromkeys(h.measured_by or "" for h in view.holds if h.temperature_from == "load"))
        says.append(Says.plain(f"The load sensor ({names}) speaks for pieces up to its own dummy's thickness."))
    if not run.record.check.sealed:
        says.append(Says("The record is not sealed: it may be incomplete."))
    if any(gap.longer for gap in run.uncertain):
        says.append(
            Says(
                "The computer restarted within the run with its clock behind; that gap was longer than it is on "
                "record, nobody knows by how much, and it never counts as soak."
            )
        )
    elif run.uncertain:
        says.append(
            Says("The computer restarted within the run; the length of that gap is uncertain and never counts as soak.")
        )
    if bad:
        says.append(Says("Where readings were no temperature nothing is known of the furnace."))
    thick = _too_thick(view)
    return tuple([*says, thick] if thick else says)


def _too_thick(view: View) -> Says | None:
    """Pieces thicker than the dummy that carries the load sensor are not covered by it."""
    run = view.run
    dummies = [load.thickness_mm for load in run.loads if load.thickness_mm is not None]
    if not dummies:
        return None
    over = [p.info.id for p in run.stays if p.info and p.info.thickness_mm and p.info.thickness_mm > max(dummies)]
    if not over:
        return None
    return Says.plain(
        f"{', '.join(over)}: thicker than the load sensor's dummy ({max(dummies):g} mm), so judged by the estimate."
    )
