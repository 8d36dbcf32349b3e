"""A run beside a proven run of the same furnace, sensor and recipe: for that, repeatability is enough."""

from __future__ import annotations

from soakwitness.analysis.recipes.words import Unit, difference, duration
from soakwitness.analysis.runs import Run
from soakwitness.analysis.verification.model import Comparison, HoldResult, Verification

SAME_C = 2.0
SAME_S = 60.0
DRIFT = (
    "It shows that the two runs read alike; it does not show a drift of the sensor since, nor that either was right."
)


def compare(verification: Verification, run: Run, other: Verification, other_run: Run, unit: Unit = "C") -> Comparison:
    """Compare a run with an earlier one.

    Parameters
    ----------
    verification, other : Verification
        Both runs by the same recipe.
    run, other_run : Run
        The runs.
    unit : str
        Unit of the sentences, ``C`` or ``F``.

    Returns
    -------
    Comparison
        Differences of level [K], peak [K] and soak [s] per hold in words; ``same`` within 2 K and 1 min throughout.
    """
    differs = _unlike(run, other_run, verification, other)
    says, same = [*differs], not differs
    for mine, theirs in zip(verification.holds, other.holds, strict=False):
        words, alike = _hold(mine, theirs, unit)
        says.append(words)
        same &= alike
    return Comparison(other.run, (*says, DRIFT), same)


def _unlike(run: Run, other: Run, verification: Verification, theirs: Verification) -> list[str]:
    """What forbids a comparison by repeatability alone."""
    says = []
    if run.header.furnace_name != other.header.furnace_name:
        says.append(f"Another furnace: {other.header.furnace_name}.")
    if verification.recipe != theirs.recipe:
        says.append(f"Another recipe: {theirs.recipe}.")
    mine = {c.name: (c.serial, c.input_offset) for c in run.columns if c.kind == "sensor"}
    those = {c.name: (c.serial, c.input_offset) for c in other.columns if c.kind == "sensor"}
    if mine.get(verification.sensor) != those.get(verification.sensor):
        says.append(f"Another sensor life of {verification.sensor}: repeatability says nothing across a change.")
    return says


def _hold(mine: HoldResult, theirs: HoldResult, unit: Unit) -> tuple[str, bool]:
    name = f"Step {mine.step}"
    if mine.level_c is None or theirs.level_c is None or mine.soak_s is None or theirs.soak_s is None:
        return f"{name}: not in both runs.", False
    level, soak = mine.level_c - theirs.level_c, mine.soak_s.best - theirs.soak_s.best
    alike = abs(level) <= SAME_C and abs(soak) <= SAME_S
    peak = ""
    if mine.overshoot_c is not None and theirs.overshoot_c is not None:
        peak = f", peak {_signed(mine.overshoot_c - theirs.overshoot_c, unit)}"
        alike &= abs(mine.overshoot_c - theirs.overshoot_c) <= SAME_C
    longer = "longer" if soak >= 0 else "shorter"
    words = f"{name}: level {_signed(level, unit)}{peak}, soak {duration(abs(round(soak)))} {longer}"
    return f"{words}: {'the same' if alike else 'not the same'} within {difference(SAME_C, unit)} and 1 min.", alike


def _signed(kelvin: float, unit: Unit) -> str:
    return ("+" if kelvin >= 0 else "-") + difference(abs(kelvin), unit)
