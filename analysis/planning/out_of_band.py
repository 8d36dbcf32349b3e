"""A furnace that swings about its level: out of the band at each turn, where the soak of what follows it stands."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from soakwitness.analysis.planning.expected_chamber import ChamberCourse
from soakwitness.analysis.recipes.recipe import Hold

MOST_OUT = 0.5  # a hold in which more is out is none that minutes could mend


@dataclass(frozen=True)
class OutOfBand:
    """Share of a hold's time below its band: likely, and at the most."""

    likely: float = 0.0
    most: float = 0.0

    def needs_s(self, soak_s: float) -> float:
        """How long it takes for so much in the band, at the most [s]."""
        return soak_s / (1.0 - self.most)


def out_of_band(hold: Hold, swing_c: float, courses: Sequence[ChamberCourse], *, by_blade: bool) -> OutOfBand:
    """By how a chamber stands in a hold that its courses end in, the likely course first; ``swing_c``: half its swing.

    The swing of a controller that switches on and off is a saw's, and a thin blade follows it: engineering guesses.
    """
    shares = [_below(hold, swing_c, each, by_blade=by_blade) for each in courses]
    return OutOfBand(shares[0], max(shares))


def _below(hold: Hold, swing_c: float, chamber: ChamberCourse, *, by_blade: bool) -> float:
    true_c = chamber.reads_low_c + (chamber.place_c if by_blade else 0.0)
    over_c = float(chamber.temp_c[-1]) + true_c - hold.lower_c
    return min(max((swing_c - over_c) / (2.0 * swing_c), 0.0), MOST_OUT) if swing_c > 0.0 else 0.0
