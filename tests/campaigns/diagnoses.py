"""Many simulated thermocouple faults with noise and few readings: is the right cause named first?

``python tests/campaigns/diagnoses.py [COUNT]`` prints the shares. The faults are made with the functions of another
program, ``thermocouple-its90``, so that a mistake in the project's own would show.
"""

from __future__ import annotations

import sys
from collections import Counter
from dataclasses import dataclass

import numpy as np
import thermocouple_its90

from soakwitness.analysis.calibration.diagnosing.diagnosis import Diagnosis, diagnose
from soakwitness.analysis.calibration.measured_pairs.paired_readings import PairReading

# The others of the program's causes are drawn by tests/foreign_diagnosis_cases.py.
CAUSES = (
    "wrong type set",
    "reversed extension lead",
    "copper in place of extension lead",
    "cold junction wrong",
    "plain offset",
    "drift growing with temperature",
    "degrees C and F mixed up",
    "tip pulled back",
)
PAIRS = ("KN", "NK", "JK", "KJ", "SR", "RS", "KE", "EK", "TK", "NJ")


@dataclass(frozen=True)
class FaultCase:
    """One fault and what a person would have read."""

    cause: str
    set_to: str
    readings: tuple[PairReading, ...]


def fault_case(seed: int) -> FaultCase:
    """3 to 6 readings, 150 to 1100 degC, noise 1 degC, wire off by a share of its own; head and room known or not."""
    rng = np.random.default_rng(seed)
    cause = CAUSES[seed % len(CAUSES)]
    wired, set_to = rng.choice(PAIRS) if cause == "wrong type set" else [rng.choice(["K", "N", "S", "K"])] * 2
    high = {"T": 380.0, "E": 950.0, "J": 1050.0}.get(str(wired), 1100.0)
    count = int(rng.integers(3, 7))
    true = np.sort(rng.uniform(150, high, count))
    true[-1] = max(true[-1], high - 150)
    room, rise = float(rng.uniform(16, 32)), float(rng.uniform(12, 60))
    steep = rng.choice([0.0, 1.0, rng.uniform(1.0, 3.0)])  # as warm always, with the furnace, or faster than it
    heads = room + rise * ((true - room) / 1000.0) ** steep
    own = rng.normal(0, 0.0008 if set_to in "RS" else 0.0025)
    size = _size(cause, seed)
    shown = np.array(
        [_shown(cause, t * (1 + own), h, room, str(wired), str(set_to), size) for t, h in zip(true, heads, strict=True)]
    )
    shown = shown + rng.normal(0, 1.0, count)
    head_known, room_known = rng.random() < 0.5, rng.random() < 0.5
    pairs = tuple(
        PairReading(
            float(t),
            float(s),
            float(h + rng.normal(0, 1.5)) if head_known else None,
            float(room + rng.normal(0, 1.0)) if room_known else None,
        )
        for t, s, h in zip(true, shown, heads, strict=True)
    )
    if not np.isfinite(shown).all():
        return fault_case(seed + 1_000_000 * len(CAUSES))
    return FaultCase(cause, str(set_to), pairs)


def _size(cause: str, seed: int) -> float:
    """Size of the fault."""
    rng = np.random.default_rng([seed, 7])
    sign = rng.choice([-1.0, 1.0])
    return {
        "plain offset": sign * rng.uniform(5, 40),
        "drift growing with temperature": sign * rng.uniform(10, 40),
        "tip pulled back": rng.uniform(0.02, 0.15),
        "degrees C and F mixed up": sign,
    }.get(cause, 0.0)


def _shown(cause: str, true: float, head: float, room: float, wired: str, set_to: str, size: float) -> float:
    """What is shown, by the circuit's own voltages."""
    wire, scale = thermocouple_its90.TYPES[wired], thermocouple_its90.TYPES[set_to]
    if cause == "plain offset":
        return true + size
    if cause == "drift growing with temperature":
        return float(true + size * (true / 1000.0) ** (1.0 + abs(size) % 2.0))  # in proportion, to its cube
    if cause == "tip pulled back":
        return true - size * (true - room)
    if cause == "degrees C and F mixed up":
        return 1.8 * true + 32.0 if size > 0 else (true - 32.0) / 1.8
    probe, lead = wire.emf(true, reference=head), wire.emf(head, reference=room)
    if cause == "reversed extension lead":
        lead = -lead
    elif cause == "copper in place of extension lead":
        lead = 0.0
    sensed = 0.0 if cause == "cold junction wrong" else room
    try:
        return scale.temperature(probe + lead, reference=sensed)
    except thermocouple_its90.RangeError:
        return float("nan")


@dataclass
class FaultTally:
    """Counts over many faults."""

    cases: int = 0
    named: int = 0
    named_right: int = 0
    told_apart: int = 0
    wrong: Counter[str] | None = None

    @property
    def right(self) -> int:
        """Right cause named or first, or "cannot tell" with a test that would."""
        return self.named_right + self.told_apart


def judge_fault(case: FaultCase, tally: FaultTally) -> Diagnosis:
    """Diagnose and compare with the truth."""
    found = diagnose(case.readings, set_to=case.set_to)
    tally.cases += 1
    tally.wrong = tally.wrong if tally.wrong is not None else Counter()
    if found.cause is not None:
        tally.named += 1
        tally.named_right += found.cause == case.cause
        if found.cause != case.cause:
            tally.wrong[f"{case.cause} taken for {found.cause}"] += 1
    elif found.candidates[0].cause == case.cause or would_tell(found, case.cause):
        tally.told_apart += 1
    else:
        tally.wrong[f"{case.cause} not told from {found.between}"] += 1
    return found


def would_tell(found: Diagnosis, cause: str) -> bool:
    """Whether the true cause is still in question and the test shows something else for the likeliest other one."""
    if cause not in found.between or found.test is None:
        return False
    others = [other for other in found.between if other != cause]
    return found.test.outcome(cause) != found.test.outcome(others[0])


def campaign(count: int, first_seed: int = 1) -> FaultTally:
    """Diagnose ``count`` faults."""
    tally = FaultTally()
    for seed in range(first_seed, first_seed + count):
        judge_fault(fault_case(seed), tally)
    return tally


if __name__ == "__main__":
    result = campaign(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
    print(f"{result.cases} faults: right in {result.right} ({result.right / result.cases:.1%})")
    print(f"  named alone {result.named}, of these right {result.named_right}")
    print(f"  cannot tell, with the test that would: {result.told_apart}")
    for words, number in (result.wrong or Counter()).most_common():
        print(f"  {number} x {words}")
