"""Where published figures of one steel do not say the same."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

from soakwitness.analysis.metallurgy.published_treatments import Steel, SteelFigure, span_words
from soakwitness.firmware_bridge.common.units import Unit
from soakwitness.firmware_bridge.common.wording import number

NEAR_C = 3.0  # tempers so near to each other are one
APART_HRC = 2.0  # less is a difference of testers
ENDS_APART_C = 15.0


def disagreements(steel: Steel, unit: Unit = "C") -> tuple[str, ...]:
    """Say where sources disagree: hardness after a temper, hardening ranges, cold treatment before or after it."""
    return (*_ranges(steel, unit), *_tempers(steel, unit), *_cold(steel))


def _tempers(steel: Steel, unit: Unit) -> Iterator[str]:
    known = [f for f in steel.of("temper") if f.low_c == f.high_c and f.hrc_low is not None]
    for one, other in combinations(known, 2):
        near = abs((one.low_c or 0.0) - (other.low_c or 0.0)) <= NEAR_C
        low, high = sorted((one, other), key=lambda f: f.hrc_low or 0.0)
        apart = (high.hrc_low or 0.0) - (low.hrc_high or low.hrc_low or 0.0)
        if near and one.source != other.source and apart >= APART_HRC:
            said = [f"{number(f.hrc_low or 0.0)} HRC ({f.source})" for f in (low, high)]
            yield f"Sources disagree: tempered at {span_words(one, unit)} {' or '.join(said)}."


def _ranges(steel: Steel, unit: Unit) -> Iterator[str]:
    ranges = steel.of("harden")
    ends = [((f.low_c or 0.0), (f.high_c or f.low_c or 0.0)) for f in ranges]
    far = any(abs(a[side] - b[side]) > ENDS_APART_C for a, b in combinations(ends, 2) for side in (0, 1))
    if far:
        yield f"Sources disagree on the hardening temperature: {_each(ranges, unit)}."


def _each(ranges: tuple[SteelFigure, ...], unit: Unit) -> str:
    return "; ".join(f"{span_words(figure, unit)} ({figure.source})" for figure in ranges)


def _cold(steel: Steel) -> Iterator[str]:
    told = steel.all("cold treatment")
    before, after = (next((f for f in told if word in f.note.split()), None) for word in ("before", "after"))
    if before is not None and after is not None:
        yield (
            f"Sources disagree on a cold treatment: before the first temper ({before.source}), or after it, with "
            f"another temper after that ({after.source})."
        )
