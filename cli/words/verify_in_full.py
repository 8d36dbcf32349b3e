"""A verification in words that can be read at the furnace: verdict first, then each step, then what to do."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

from soakwitness.cli.options.screen import screen_width, wrapped
from soakwitness.cli.words.figures import bounds
from soakwitness.cli.words.verdict_words import (
    PLACE_WORDS,
    SOURCE_WORDS,
    display_words,
    hottest_words,
    pace_words,
    place_words,
    rule_words,
    verdict_words,
)
from soakwitness.firmware_bridge.common.units import Unit
from soakwitness.firmware_bridge.common.wording import difference, duration, moment, rate, temperature

if TYPE_CHECKING:
    from soakwitness.analysis.recipes.recipe import Recipe
    from soakwitness.analysis.record.run import Run
    from soakwitness.analysis.verification.results.verification import HoldResult, RampResult, Verification
    from soakwitness.firmware_bridge.common.wording import Says

ALIKE_S = 30.0
SEVERITY_WORDS = {"fail": "FAIL", "warn": "Warning", "note": "Note"}


def verify_lines(run: Run, recipe: Recipe, verification: Verification, *, unit: Unit) -> list[str]:
    """Everything that ``verify`` says, line by line."""
    lines: list[str] = []
    short = verification.in_short
    lines += _wrapped(" ".join(says.text(unit) for says in (short.says, short.next) if says is not None))
    lines += ["", *_wrapped(f"{verdict_words(verification).upper()}: {recipe.name}")]
    lines += _wrapped(f"Run {verification.run}, {_measured(verification)}.")
    lines += _wrapped(f"Sensor error: {_error(verification, unit)}.")
    lines.append("")
    for says in step_sentences(verification, unit):
        lines += _wrapped(says, indent="   ")
    if verification.findings:
        lines += ["", "Findings"]
        for finding in verification.findings:
            where = f", step {finding.step}" if finding.step else ""
            head = f"{SEVERITY_WORDS[finding.severity]}: {finding.code}{where}."
            lines += _wrapped(f"{head} {finding.says.text(unit)} Next: {finding.next.text(unit)}", indent="   ")
    lines += _section("What would prove it", _said(verification.proves, unit))
    for other in verification.compared:
        lines += _section(
            f"Beside run {other.run}: {'the same' if other.same else 'not the same'}", _said(other.says, unit)
        )
    lines += _section("For comparison", comparison_words(run, verification, unit))
    lines += _section("Not seen", _said(verification.not_seen, unit))
    lines += ["", *_wrapped(f"Decided on the {verification.decided_on}. {rule_words(verification)}")]
    return lines


def step_sentences(verification: Verification, unit: Unit) -> list[str]:
    """Every step in full, a paragraph each."""
    return [
        f"Step {step.step}. "
        + (_ramp(step, unit) if step.kind == "ramp" else " ".join(_hold(step, unit, verification.sensor)))
        for step in verification.steps
    ]


def comparison_words(run: Run, verification: Verification, unit: Unit) -> tuple[str, ...]:
    """What each hold amounts to, one labelled sentence a hold."""
    from soakwitness.analysis.verification.results.hold_equivalents import equivalents_of_holds

    return tuple(amount.says(unit) for amount in equivalents_of_holds(run, verification))


def _wrapped(text: str, indent: str = "") -> list[str]:
    return wrapped(text, screen_width(), indent=indent)


def _section(title: str, sentences: tuple[str, ...]) -> Iterator[str]:
    if sentences:
        yield ""
        yield title
        for sentence in sentences:
            yield from _wrapped(sentence, indent="   ")


def _said(sentences: Iterable[Says], unit: Unit) -> tuple[str, ...]:
    return tuple(says.text(unit) for says in sentences)


def _measured(verification: Verification) -> str:
    words = SOURCE_WORDS[verification.temperature_from]
    return f"steps found on sensor {verification.sensor}, soak {words}"


def _error(verification: Verification, unit: Unit) -> str:
    spread = [h.known.expanded_c for h in verification.holds if h.known.expanded_c is not None]
    return verification.known.says.text(unit) + (f", U up to {difference(max(spread), unit)}" if spread else "")


def _ramp(ramp: RampResult, unit: Unit) -> str:
    pace = rate(ramp.required_rate_c_per_h, unit) if ramp.required_rate_c_per_h else "full power"
    head = f"Ramp to {temperature(ramp.to_c, unit)}, {pace}:"
    if not ramp.found or ramp.start_s is None or ramp.end_s is None:
        return f"{head} not found in this run."
    words = f"{head} took {duration(ramp.end_s - ramp.start_s)}, {pace_words(ramp, ramp.rate_c_per_h, unit)}"
    if ramp.curved:
        words += f" in its middle, {pace_words(ramp, ramp.end_to_end_rate_c_per_h, unit)} from end to end"
    return words + (f": {ramp.verdict}." if ramp.verdict else ".")


def _hold(hold: HoldResult, unit: Unit, control: str) -> Iterator[str]:
    from soakwitness.analysis.verification.inputs.sensor_errors import reads_words

    low, high = (temperature(edge, unit) for edge in hold.band_c)
    target = temperature(hold.target_c, unit)
    head = f"Hold {duration(hold.required_s)} at {target} ({low} to {high}):"
    reported = "" if hold.judged else " Reported only, not judged."
    if not hold.found:
        yield f"{head} {'not found' if hold.on_record else 'not on record'}: {hold.verdict}.{reported}"
        return
    soak = bounds(hold.soak_s) + PLACE_WORDS[hold.temperature_from]
    yield f"{head} soak {soak}: {_verdicts(hold)}.{reported}"
    if hold.enter_s is not None and hold.leave_s is not None:
        yield f"In the band from {moment(hold.enter_s)} to {moment(hold.leave_s)}{_in_band(hold)}."
    reads = reads_words(hold.shown_by, hold.shown_c) if hold.shown_c is not None else None
    if reads is not None:
        set_to = hold.shown_by.set_to_c if hold.measured_by == control else None
        setting = f": set {temperature(set_to, unit)} to be at {target}" if set_to is not None else ""
        yield f"It {reads.text(unit)}{setting}."
    if hold.highest_from_target_c is not None:
        hottest = hottest_words(hold, hold.highest_from_target_c, unit)
        yield f"{hottest[:1].upper()}{hottest[1:]}."
    if hold.lag_s is not None:
        yield f"The work was there {bounds(hold.lag_s)} after the furnace."
    if hold.display_may_read_c is not None:
        yield f"Holds if the display reads {display_words(hold.display_may_read_c, unit)}."
    soaks = [piece.soak_s.best for piece in hold.pieces]
    for piece in hold.pieces if soaks and max(soaks) - min(soaks) > ALIKE_S else ():
        yield f"{piece.piece}: soak {bounds(piece.soak_s)}{place_words(piece, hold)}, {piece.verdict}."


def _in_band(hold: HoldResult) -> str:
    if hold.in_band_s is None:
        return ""
    continuous, cumulative = hold.in_band_s.continuous.best, hold.in_band_s.cumulative.best
    if cumulative - continuous < 1.0:
        return f", {duration(continuous)} unbroken"
    return f", {duration(cumulative)} in all, {duration(continuous)} unbroken"


def _verdicts(hold: HoldResult) -> str:
    if hold.as_read != hold.at_true_temperature:
        both = f"{hold.as_read} as read, {hold.at_true_temperature} at true temperature"
    else:
        both = f"{hold.as_read} as read and at true temperature"
    if hold.known.place is not None and hold.known.basis == "reading":
        return f"{hold.verdict} at the work's place ({both})"
    if hold.verdict in (hold.as_read, hold.at_true_temperature):
        return both.replace(" as read and", ", as read and")
    return f"{hold.verdict} ({both})"
