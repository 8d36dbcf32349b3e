"""Cheap tests that tell causes of a wrong reading apart, and choosing the one that tells most."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from soakwitness.analysis.calibration.diagnosing.faults import CAUSES, Cause


@dataclass(frozen=True)
class CheapTest:
    """One test; ``shows`` says what is seen for each cause, causes with the same words are not told apart by it."""

    name: str
    do: str
    otherwise: str
    shows: Mapping[Cause, str]

    def outcome(self, cause: str) -> str:
        """What would be seen if this were the cause."""
        return next((words for known, words in self.shows.items() if known == cause), self.otherwise)


# Cheapest first. What is seen follows from the circuit: see the equations in faults.py.
TESTS: tuple[CheapTest, ...] = (
    CheapTest(
        "look",
        "Read the instrument's settings (type, unit, input offset) and the letter on the thermocouple and its lead.",
        "everything is set as it should be",
        {
            "wrong type set": "the type set is not the type fitted",
            "degrees C and F mixed up": "the unit is not what was taken for granted",
        },
    ),
    CheapTest(
        "short circuit",
        "Supply isolated: take the sensor off, join the two input terminals with a short wire; switch on and read.",
        "it shows the temperature at its terminals",
        {
            "cold junction not sensed": "it shows 0 °C (32 °F)",
            "plain offset": "it shows the terminals' temperature with the same offset",
            "degrees C and F mixed up": "it shows the terminals' temperature in the other unit",
        },
    ),
    CheapTest(
        "warm head",
        "Furnace steady: warm the head, where the lead begins, by some 20 °C (36 °F; warm air); watch the reading.",
        "the reading stays",
        {
            "reversed extension lead": "the reading falls by about twice as much",
            "copper in place of extension lead": "the reading falls by about as much",
        },
    ),
    CheapTest(
        "ice point",
        "Sensor out and cold, tip 100 mm deep in stirred crushed ice and water.",
        "it shows 0 °C (32 °F)",
        {
            "cold junction not sensed": "it shows minus the terminals' temperature",
            "plain offset": "it shows the same offset",
            "degrees C and F mixed up": "it shows 32 where 0 is expected, or -18",
        },
    ),
    CheapTest(
        "same hole",
        "Furnace cold, supply isolated: push the tip in to where the reference sits, or both in one hole; read again.",
        "the error stays",
        {"tip pulled back": "the error goes away"},
    ),
    CheapTest(
        "swap",
        "Furnace cold, supply isolated: fit a new thermocouple of the same type in the same place; read again.",
        "the error stays",
        {"drift growing with temperature": "the error goes away", "wrong type set": "the error changes or stays"},
    ),
)
FOR_CAUSE: dict[Cause, str] = {
    "wrong type set": "look",
    "reversed extension lead": "warm head",
    "copper in place of extension lead": "warm head",
    "cold junction not sensed": "short circuit",
    "plain offset": "short circuit",
    "drift growing with temperature": "swap",
    "degrees C and F mixed up": "look",
    "tip pulled back": "same hole",
}


def named_test(name: str) -> CheapTest:
    """Test of that name."""
    return next(test for test in TESTS if test.name == name)


def best_test(chances: Mapping[str, float]) -> CheapTest:
    """Test whose outcome tells most about the cause.

    Returns the one with the largest entropy of its outcome; the cheaper one of equals.
    """
    return max(TESTS, key=lambda test: round(_told(test, chances), 6))


def _told(test: CheapTest, chances: Mapping[str, float]) -> float:
    """Entropy of the outcome."""
    seen: dict[str, float] = {}
    for cause in CAUSES:
        words = test.outcome(cause)
        seen[words] = seen.get(words, 0.0) + chances.get(cause, 0.0)
    total = sum(seen.values()) or 1.0
    return -sum(p / total * math.log(p / total) for p in seen.values() if p > 0)
