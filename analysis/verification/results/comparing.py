"""A run beside a proven run of the same furnace, sensor and recipe: for that, repeatability is enough."""

from __future__ import annotations

from soakwitness.analysis.record.run import Run
from soakwitness.analysis.verification.results.verification import HoldResult, RunComparison, Verification
from soakwitness.firmware_bridge.common.wording import Diff, Says, duration

SAME_C = 2.0
SAME_S = 60.0
DRIFT = Says(
    "It shows that the two runs read alike; it does not show a drift of the sensor since, nor that either was right."
)


def compare(verification: Verification, run: Run, other: Verification, other_run: Run) -> RunComparison:
    """Compare a run with an earlier one by the same recipe: level [K], peak [K] and soak [s] of each hold in words.

    ``same`` within 2 K and 1 min throughout.
    """
    differs = _unlike(run, other_run, verification, other)
    says, same = [*differs], not differs
    for mine, theirs in zip(verification.holds, other.holds, strict=False):
        words, alike = _hold(mine, theirs)
        says.append(words)
        same &= alike
    return RunComparison(other.run, (*says, DRIFT), same)


def _unlike(run: Run, other: Run, verification: Verification, theirs: Verification) -> list[Says]:
    """What forbids a comparison by repeatability alone."""
    says = []
    if run.header.furnace_name != other.header.furnace_name:
        says.append(Says.plain(f"Another furnace: {other.header.furnace_name}."))
    if verification.recipe != theirs.recipe:
        says.append(Says.plain(f"Another recipe: {theirs.recipe}."))
    mine = {c.name: (c.serial, c.input_offset) for c in run.columns if c.kind == "sensor"}
    those = {c.name: (c.serial, c.input_offset) for c in other.columns if c.kind == "sensor"}
    if mine.get(verification.sensor) != those.get(verification.sensor):
        words = f"Another sensor life of {verification.sensor}: repeatability says nothing across a change."
        says.append(Says.plain(words))
    return says


def _hold(mine: HoldResult, theirs: HoldResult) -> tuple[Says, bool]:
    name = f"Step {mine.step}"
    if mine.level_c is None or theirs.level_c is None or mine.soak_s is None or theirs.soak_s is None:
        return Says(f"{name}: not in both runs."), False
    level, soak = mine.level_c - theirs.level_c, mine.soak_s.best - theirs.soak_s.best
    alike = abs(level) <= SAME_C and abs(soak) <= SAME_S
    peak = Says("")
    if mine.overshoot_c is not None and theirs.overshoot_c is not None:
        peak = Says.of(", peak {peak}", peak=Diff(mine.overshoot_c - theirs.overshoot_c, signed=True))
        alike &= abs(mine.overshoot_c - theirs.overshoot_c) <= SAME_C
    says = Says.of(
        "{name}: level {level}{peak}, soak {soak} {longer}: {same} within {within} and 1 min.",
        name=name,
        level=Diff(level, signed=True),
        peak=peak,
        soak=duration(abs(soak)),
        longer="longer" if soak >= 0 else "shorter",
        same="the same" if alike else "not the same",
        within=Diff(SAME_C),
    )
    return says, alike
