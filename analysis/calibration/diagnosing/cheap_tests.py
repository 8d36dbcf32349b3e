"""Cheap tests that tell causes of a wrong reading apart, and choosing the one that tells most."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from soakwitness.analysis.calibration.diagnosing.faults import CAUSES, NOTHING, Cause


@dataclass(frozen=True)
class CheapTest:
    """One test; ``shows`` says what is seen for each cause, causes with the same words are not told apart by it."""

    name: str
    do: str
    otherwise: str
    shows: Mapping[str, str]

    def outcome(self, cause: str) -> str:
        """What would be seen if this were the cause."""
        return self.shows.get(cause, self.otherwise)


GONE = "the error goes away"
OFF = "it is off the temperature of the terminals"
JUMPS = "the reading jumps"
# Cheapest first. What is seen follows from the circuit: see the equations in circuits.py.
TESTS: tuple[CheapTest, ...] = (
    CheapTest(
        "settings",
        "Read the instrument's settings (type, unit, input offset, filter) and the letter on the thermocouple.",
        "everything is set as it should be",
        {
            "wrong type set": "the type set is not the type fitted",
            "degrees C and F mixed up": "the unit is not what was taken for granted",
            "plain offset": "an input offset is set",
            "slow filter": "a filter of a minute or more is set",
        },
    ),
    CheapTest(
        "repeat",
        "Take five more readings at one temperature, the furnace steady, and look at their mean and at single ones.",
        "the error is there in each of them",
        {
            NOTHING: "the mean is near nought",
            "coarse display": "the mean is near nought",
            "contact that comes and goes": JUMPS,
            "slow filter": GONE,
        },
    ),
    CheapTest(
        "wait",
        "Let the furnace stand steady for a quarter of an hour, then read.",
        "the error stays",
        {"slow filter": GONE, "contact that comes and goes": JUMPS},
    ),
    CheapTest(
        "wires",
        "Supply isolated: follow both wires from head to terminals: colour, polarity (a magnet draws "
        "the negative leg of K), the lead's kind.",
        "both legs are of the right wire and the right way round",
        {
            "reversed extension lead": "the lead is crossed at both its ends",
            "thermocouple reversed": "the wires are crossed once",
            "copper in place of extension lead": "the lead is copper",
            "wrong extension lead": "the lead is for another thermocouple",
            "wrong type set": "the wire is not what is set",
        },
    ),
    CheapTest(
        "short circuit",
        "Supply isolated: take the sensor off, join the two input terminals with a short wire; switch on and read.",
        "it shows the temperature at its terminals",
        {
            "cold junction wrong": OFF,
            "plain offset": OFF,
            "degrees C and F mixed up": "it shows the terminals' temperature in the other unit",
        },
    ),
    CheapTest(
        "warm head",
        "Furnace steady: warm the head, where the lead begins, by some 20 °C (36 °F; warm air); watch the reading.",
        "the reading stays",
        {
            "reversed extension lead": "the reading moves",
            "copper in place of extension lead": "the reading moves",
            "wrong extension lead": "the reading moves",
            "short at the head": "the reading follows the head",
        },
    ),
    CheapTest(
        "wiggle",
        "Furnace steady: wiggle the lead at head, plug and terminals with a dry stick; tighten what is loose.",
        "the reading stays",
        {"contact that comes and goes": JUMPS, "short at the head": JUMPS},
    ),
    CheapTest(
        "ohms",
        "Supply isolated, sensor off the instrument: measure the loop's resistance, leads both ways round.",
        "some ohms to some tens of ohms",
        {
            "high loop resistance": "hundreds of ohms",
            "contact that comes and goes": "it jumps or is open",
            "short at the head": "much less than of its like",
        },
    ),
    CheapTest(
        "same hole",
        "Furnace cold, supply isolated: push the tip in to where the reference sits, or both in one hole; read again.",
        "the error stays",
        {"tip pulled back": GONE, "place difference": GONE, "inhomogeneous wire": "the error changes otherwise"},
    ),
    CheapTest(
        "insulation",
        "Supply isolated, right after a hot run: measure the insulation between wires and sheath, hot and cold.",
        "megohms cold, much the same as of its like hot",
        {"hot shunt in the insulation": "it falls to some hundred ohms hot", "short at the head": "none"},
    ),
    CheapTest(
        "swap",
        "Furnace cold, supply isolated: fit a new thermocouple of the same type in the same place; take readings.",
        "the error stays",
        {
            "drift growing with temperature": GONE,
            "inhomogeneous wire": GONE,
            "hot shunt in the insulation": GONE,
            "short at the head": GONE,
        },
    ),
    CheapTest(
        "finer display",
        "Show a decimal more, or note where the last digit changes on a slow climb.",
        "the error stays",
        {"coarse display": "it is within the step"},
    ),
)
FOR_CAUSE: dict[Cause, str] = {
    "wrong type set": "settings",
    "reversed extension lead": "wires",
    "copper in place of extension lead": "wires",
    "wrong extension lead": "wires",
    "thermocouple reversed": "wires",
    "cold junction wrong": "short circuit",
    "plain offset": "settings",
    "drift growing with temperature": "swap",
    "inhomogeneous wire": "swap",
    "hot shunt in the insulation": "insulation",
    "short at the head": "warm head",
    "contact that comes and goes": "wiggle",
    "high loop resistance": "ohms",
    "slow filter": "wait",
    "degrees C and F mixed up": "settings",
    "tip pulled back": "same hole",
    "place difference": "same hole",
    "coarse display": "finer display",
}


def named_test(name: str) -> CheapTest:
    """Test of that name."""
    return next(test for test in TESTS if test.name == name)


def best_test(chances: Mapping[str, float]) -> CheapTest:
    """Test that tells most: the one by which the foremost cause is most likely found out, if it is not the right one.

    Of equals the one whose outcome has the largest entropy, then the cheaper one.
    """
    first = max(chances, key=lambda cause: chances[cause])

    def told(test: CheapTest) -> float:
        others = sum(p for cause, p in chances.items() if cause != first and test.outcome(cause) != test.outcome(first))
        rest = 1.0 - chances[first] or 1.0
        return others / rest + 0.1 * _entropy(test, chances)

    return max(TESTS, key=lambda test: round(told(test), 6))


def _entropy(test: CheapTest, chances: Mapping[str, float]) -> float:
    """Entropy of the outcome."""
    seen: dict[str, float] = {}
    for cause in (NOTHING, *CAUSES):
        words = test.outcome(cause)
        seen[words] = seen.get(words, 0.0) + chances.get(cause, 0.0)
    total = sum(seen.values()) or 1.0
    return -sum(p / total * math.log(p / total) for p in seen.values() if p > 0)
