"""What a verdict and its figures are called, wherever they are told: terminal, sheet, page."""

from __future__ import annotations

from typing import TYPE_CHECKING

from soakwitness.firmware_bridge.common.units import Unit
from soakwitness.firmware_bridge.common.wording import difference, rate, temperature

if TYPE_CHECKING:
    from soakwitness.analysis.verification.results.verification import HoldResult, PieceResult, RampResult, Verification

SOURCE_WORDS = {
    "load": "measured at the load sensor",
    "packet estimate": "estimated in the packet from the furnace's sensor (a model, not a measurement of the blade)",
    "control": "measured at the control sensor, not in the blade",
}

PLACE_WORDS = {
    "load": " at the load sensor",
    "packet estimate": " estimated in the packet",
    "control": " at the control sensor",
    None: "",
}


def place_words(piece: PieceResult, hold: HoldResult) -> str:
    """Where a piece's soak was measured, where that is not what the hold's is."""
    return PLACE_WORDS[piece.temperature_from] if piece.temperature_from != hold.temperature_from else ""


def verdict_words(verification: Verification) -> str:
    """Verdict with what it rests on: ``pass, as read`` where only the reading was judged."""
    words: str = verification.verdict
    if verification.decided_on == "reading":
        words += ", as read" if verification.known.place is None else ", as read at the work's place"
    if verification.by_estimate and verification.verdict == "pass":
        words += ", by estimate"
    return words


def hottest_words(hold: HoldResult, from_target_c: float, unit: Unit) -> str:
    """How hot a hold was: ``hottest 1037.1 °C, 2.9 °C below the target``."""
    least = "at least " if hold.overshoot_is_at_least else ""
    side = "below" if from_target_c < 0.0 else "above"
    peak = temperature(hold.target_c + from_target_c, unit)
    return f"hottest {least}{peak}, {difference(abs(from_target_c), unit)} {side} the target"


def pace_words(ramp: RampResult, c_per_h: float | None, unit: Unit) -> str:
    """A ramp's rate; of full power, which follows mains and load, to tens alone."""
    return rate(c_per_h, unit, in_tens=ramp.required_rate_c_per_h is None)


def rule_words(verification: Verification) -> str:
    """The decision rule with the papers it is taken from."""
    from soakwitness.analysis.verification.results.verification import RULE_REFERENCES

    return f"{verification.rule} ({', '.join(RULE_REFERENCES)})"


def display_words(high_c: tuple[float, float], unit: Unit) -> str:
    """By how much a display may read high, from and to [K]: ``at most 4.6 °C high and at most 5.1 °C low``."""
    least, most = high_c
    if least > 0.0:
        return f"{difference(least, unit)} to {difference(most, unit)} high"
    if most < 0.0:
        return f"{difference(-most, unit)} to {difference(-least, unit)} low"
    return f"at most {difference(most, unit)} high and at most {difference(-least, unit)} low"
