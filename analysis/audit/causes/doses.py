"""What each cause can do to hardness, for air-hardening stainless of about 3 mm such as S44004.

Wide ranges on purpose: they are there to rule out what is far too little, not to predict. Where no source stands, the
figures are engineering guesses and are printed as such.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from soakwitness.analysis.audit.contrasts.dose import GUESS, MEASURED, Dose, between
from soakwitness.analysis.metallurgy.published_treatments import find_steel, published_steels

NONE = Dose(0.0, 0.0)
UNKNOWN = Dose(-20.0, 20.0)
SOFTER = Dose(-20.0, 0.0)

# (figure, softest, hardest); engineering guesses
TOO_COLD_K = ((0.0, 0.0, 0.0), (3.0, -0.1, 0.0), (10.0, -0.5, -0.2), (20.0, -1.2, -0.5), (40.0, -3.0, -1.2),
              (80.0, -12.0, -3.0), (150.0, -40.0, -8.0))  # fmt: skip
TOO_HOT_K = ((0.0, 0.0, 0.0), (10.0, -0.5, 0.2), (30.0, -1.5, 0.5), (60.0, -5.0, 0.5), (120.0, -15.0, 0.0))
TOO_HOT_THEN_COLD_K = ((0.0, 0.0, 0.0), (10.0, 0.0, 0.3), (30.0, 0.0, 1.0), (60.0, -1.5, 1.0), (120.0, -8.0, 0.5))
LATE_S = ((0.0, 0.0, 0.0), (20.0, -0.3, 0.0), (60.0, -1.0, 0.0), (120.0, -2.5, 0.0), (300.0, -6.0, -0.5))
LATE_INTO_LIQUID_S = ((0.0, 0.0, 0.0), (3.0, -2.0, 0.0), (10.0, -10.0, -0.5), (30.0, -25.0, -5.0))
COLD_LATE_H = (
    (0.0, 0.0, 0.0),
    (1.0, 0.0, 0.0),
    (5.0, -0.3, 0.0),
    (24.0, -0.7, 0.0),
    (48.0, -1.5, 0.0),
    (120.0, -2.0, 0.0),
)
TOO_LONG = ((1.0, 0.0, 0.0), (1.5, -0.3, 0.1), (3.0, -1.5, 0.2), (6.0, -3.0, 0.2), (12.0, -5.0, 0.2))
NO_COLD = Dose(-3.0, -1.0)
COLD_AFTER_TEMPER = Dose(-1.5, -0.5)
NO_TEMPER = Dose(1.0, 5.0)
ONE_TEMPER_LESS = Dose(0.0, 0.7)
TEMPER_LATE = Dose(-0.3, 0.3)
TWO_TESTERS = Dose(-2.0, 2.0, "test block and the ± 0.5 of the standard, for each of two testers")
BLOCK_HRC = 0.3
WARM_PLATES = Dose(-5.0, 0.0)
ANOTHER_PLACE = Dose(-8.0, 1.0)
NEVER_HELD = Dose(-40.0, -3.0)
UNSEEN = Dose(-4.0, 0.0)
OTHER_HAND = Dose(-4.0, 2.0)
OVEN_OFF = Dose(-4.0, 3.0)

SHORTEST_S = 300.0
SLOPE_HRC_PER_K = (0.018, 0.036)  # S44004: 60 HRC at 149, 59 at 204, 57 at 260, 56 at 316 degC
SLOPE_BASIS = "published tempers of S44004"
FLAT_FROM_C = 316.0
OTHER_STEELS = (0.6, 2.5)  # times that slope; without published figures of one's own steel


def short_soak(share: float, required_s: float) -> Dose:
    """A soak that was only a share of what the recipe asks."""
    few = min(SHORTEST_S / required_s, 0.4) if required_s > 0 else 0.4
    rows = (
        (0.0, -9.0, -1.5),
        (few, -4.0, -1.0),
        (0.5, -1.0, -0.3),
        (0.7, -0.5, 0.0),
        (0.9, -0.1, 0.0),
        (1.0, 0.0, 0.0),
    )
    return between(share, rows)


def level(off_k: float, *, then_cold: bool = False) -> Dose:
    """Hardened so many kelvin too cold (negative) or too hot; ``then_cold``: with a cold treatment after it."""
    if off_k < 0:
        return between(-off_k, TOO_COLD_K)
    basis = "retained austenite, Koistinen and Marburger; its start an engineering guess"
    return between(off_k, TOO_HOT_THEN_COLD_K if then_cold else TOO_HOT_K, basis)


def late_quench(late_s: float, medium: str) -> Dose:
    """So many seconds longer to the plates than usual; a liquid stands for a steel that needs it."""
    return between(late_s, LATE_INTO_LIQUID_S if medium in ("oil", "water", "brine", "polymer") else LATE_S)


def cold_late(late_s: float) -> Dose:
    """A cold treatment begun so much later after the quench."""
    return between(late_s / 3600.0, COLD_LATE_H)


def cold_warm(lowest_c: float, usual_c: float) -> Dose:
    """A cold treatment that went down to ``lowest_c`` only; in proportion to one that was left out."""
    share = min(1.0, max(0.0, (lowest_c - usual_c) / max(20.0 - usual_c, 1.0)))
    return Dose(1.2 * share * NO_COLD.low, 0.5 * share * NO_COLD.high)


def temper(off_k: float, at_c: float, steel: str | None = None) -> Dose:
    """A temper so many kelvin too hot (softer) or too cold (harder) [degC, K]."""
    slopes, basis = _slopes(steel)
    away = abs(off_k)
    if off_k > 0:  # what lies above the flat part's beginning counts half
        away -= 0.5 * max(0.0, at_c + off_k - max(FLAT_FROM_C, at_c))
    dose = Dose(-1.1 * slopes[1] * away, -0.9 * slopes[0] * away, basis)
    return dose if off_k > 0 else dose.turned()


def _slopes(steel: str | None) -> tuple[tuple[float, float], str]:
    known = find_steel(steel, published_steels()) if steel else None
    tables: dict[tuple[str, str], list[tuple[float, float]]] = {}
    for figure in known.of("temper") if known else ():
        if figure.low_c is not None and figure.hrc_low and figure.low_c <= FLAT_FROM_C:
            tables.setdefault((figure.source, figure.note), []).append((figure.low_c, figure.hrc_low))
    longest: list[tuple[float, float]] = max(tables.values(), key=len, default=[])
    points = sorted(longest)  # of one source: two that disagree are no slope
    found = [(a[1] - b[1]) / (b[0] - a[0]) for a, b in pairwise(points) if b[0] > a[0]]
    if known is not None and len(found) >= 2:
        return (min(found), max(found)), f"published tempers of {known.name}"
    wide = (OTHER_STEELS[0] * SLOPE_HRC_PER_K[0], OTHER_STEELS[1] * SLOPE_HRC_PER_K[1])
    return wide, GUESS


def tester_off(block_error: float) -> Dose:
    """A tester that read so much more on its block."""
    return Dose(block_error - BLOCK_HRC, block_error + BLOCK_HRC, "its test block")


def measured(change: float) -> Dose:
    """A change that was measured on the pieces themselves."""
    return Dose(change - 0.5, change + 0.5, MEASURED)


def too_long(times: float) -> Dose:
    """Held so many times as long as usual."""
    return between(times, TOO_LONG)


def worst(doses: Sequence[Dose]) -> Dose:
    """Of several that may have acted, the one that can have done most."""
    return max(doses, key=lambda d: max(-d.low, d.high), default=NONE)
