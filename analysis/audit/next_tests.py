"""The next tests in the order a smith would do them: what is at hand first, and nothing that is known already."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from soakwitness.analysis.audit.contrasts.case import Case
from soakwitness.analysis.audit.contrasts.stage_changes import TOLD_APART_HRC

MOST = 3


@dataclass(frozen=True)
class NextTest:
    """One test. ``known``: whether the record answers it already."""

    says: str
    known: Callable[[Case], bool] = lambda case: False


def _block_read(case: Case) -> bool:
    return any(h.test.block_readings for p in case.suspects_here for h in p.hardness)


def _ground(case: Case) -> bool:
    return any(h.ground_off_mm or "grinding" in h.stage for p in case.suspects_here for h in p.hardness)


def _as_quenched_known(case: Case) -> bool:
    return case.as_quenched.suspect is not None


def _second_sensor(case: Case) -> bool:
    return case.run is not None and bool(case.run.differences)


def _coupon(case: Case) -> bool:
    return any(p.coupon for p in (*case.evidence.suspects, *case.evidence.siblings))


BLOCK = NextTest("Read the tester on its block five times, then a good blade and a bad one in turn.", _block_read)
SKIN = NextTest("Grind 0.2 mm off at one place, cold, and test there again.", _ground)
FILE = NextTest("Draw a new file over edge and spine: where it bites the blade is soft, whatever the tester says.")
OLD_LOT = NextTest(
    "Put a scrap of the old lot beside one of this bar into the same packet of the next charge.", _coupon
)
FULL_HOLD = NextTest("Harden one scrap of the same bar with the full hold and compare.", _coupon)
AS_QUENCHED = NextTest(
    "Harden a scrap of this bar and measure it before any temper: it tells hardening from tempering.",
    _as_quenched_known,
)
GLOW = NextTest("Heat the empty furnace, open the door a hand's width and look whether every element glows alike.")
BREAKER = NextTest("Look at the breaker, the fuses, the relay and its terminals (supply isolated).")
ELECTRICIAN = NextTest("Only then let an electrician measure the mains under load and the elements' cold resistance.")
SECOND = NextTest("Hold a second thermocouple beside the charge in the next hold.", _second_sensor)
OFFSET = NextTest("Read type, unit and input offset in the controller's settings.")
COLD_READING = NextTest("Compare the reading of the cold furnace with a thermometer in it.")
ACCURACY = NextTest("Put a reference into the same hole as the control thermocouple: soakwitness accuracy.")
PLATES = NextTest("Put a thermometer on the plates before the first and after the last blade.")
BLUE = NextTest("Blue the plates and close them on a straight blade: bare spots show where they do not touch.")
WAY = NextTest("Time the way from the door to the plates with a cold blade, twice.")
OVEN = NextTest("Lay a second thermometer beside the blades in the tempering oven and watch it over a whole swing.")
TEMPER_ONE = NextTest("Temper one piece again at the right temperature and measure.")
COLD_ONE = NextTest("Cool one piece well below zero, temper it, and measure: two points more, and austenite was left.")
SPARK = NextTest("Hold both bars to the wheel side by side: other sparks, other steel; a magnet tells some as well.")
CERTIFICATE = NextTest("Read the supplier's certificate and the paint on the bar's end; else have one analysed.")
GRAIN = NextTest("Break a scrap of the charge and one of a good charge and look at the grain side by side.")
SURVEY = NextTest("Harden scraps of one bar at both places in one run; then: soakwitness survey.")
SWAP = NextTest("Harden the next charge with the places changed round.")
PACKET = NextTest("Put a thermocouple into a packet of that thickness in the next run: soakwitness packet fit.")
HALF = NextTest("Repeat the run with half the charge.")
ASK = NextTest("Ask who was there what he remembers of that hour; fit a door contact.")
BOTH = NextTest("Let both harden a scrap of one bar, one after the other, and watch the way to the plates.")
FOIL = NextTest("Open the foil of one piece carefully: scale inside, or a hole held to the light, shows the leak.")
ETCH = NextTest("Etch the edge: burnt spots darken.")
LEVEL = NextTest("Load the next charge only when the reading has been level for ten minutes.")
PROGRAM = NextTest("Compare the controller's program with: soakwitness recipe program.")
CRACKS = NextTest("Look for cracks with oil and chalk, or under a lens.")
CABLE = NextTest("Move the recorder's plugs and cables by hand while it records.")
OTHER_TESTER = NextTest("Measure a bad blade and a good one on both testers on the same day.")

FURNACE = (SECOND, OFFSET, AS_QUENCHED)
CHAIN = (OFFSET, COLD_READING, ACCURACY)
OF_CAUSE: dict[str, tuple[NextTest, ...]] = {
    "short soak": (FULL_HOLD, AS_QUENCHED),
    "packet lag ate the soak": (PACKET, FULL_HOLD),
    "loaded before the furnace had recovered": (LEVEL, FULL_HOLD),
    "too cold": FURNACE,
    "too hot": (COLD_ONE, *FURNACE),
    "program edited": (PROGRAM, FULL_HOLD),
    "controller offset changed": CHAIN,
    "wrong thermocouple type": CHAIN,
    "reversed or wrong extension lead": (
        NextTest("With the furnace isolated, warm the sensor's head with air: a fall tells a reversed or copper lead."),
        *CHAIN,
    ),
    "control sensor reads wrong": CHAIN,
    "thermocouple drift": (ACCURACY, OFFSET),
    "another thermocouple": (ACCURACY, OFFSET),
    "open circuit": (
        NextTest("Supply isolated: bend the lead at its terminals while reading, measure its resistance cold."),
        ACCURACY,
    ),
    "°C/°F mix-up": (OFFSET, PROGRAM),
    "calibration overdue": (ACCURACY,),
    "low mains voltage or aged element": (GLOW, ELECTRICIAN),
    "heating circuit tripped": (BREAKER, GLOW, ELECTRICIAN),
    "overloaded charge": (HALF, PACKET),
    "door opened": (ASK, FULL_HOLD),
    "power cut": (ASK, BREAKER),
    "held too long": (GRAIN, COLD_ONE),
    "late quench": (WAY, AS_QUENCHED),
    "plates warmed by the blades before": (PLATES, NextTest("Quench the next charge in the other order.")),
    "poor plate contact": (BLUE, FILE),
    "temper missed": (TEMPER_ONE,),
    "temper late": (CRACKS, COLD_ONE),
    "temper too cold": (TEMPER_ONE, OVEN),
    "temper too hot": (OVEN, AS_QUENCHED),
    "tempering oven reads wrong": (OVEN, AS_QUENCHED),
    "cold treatment late or warm": (COLD_ONE,),
    "cold treatment left out": (COLD_ONE,),
    "place in the furnace": (SWAP, SURVEY),
    "leaking foil": (SKIN, FOIL),
    "overheated in finish grinding": (FILE, ETCH),
    "mixed or wrong bar": (OLD_LOT, SPARK, CERTIFICATE),
    "another hand at the furnace": (BOTH,),
    "hardness tester": (BLOCK, OTHER_TESTER),
    "record gap": (CABLE, FULL_HOLD),
}
UNKNOWN = (BLOCK, SKIN, FILE, AS_QUENCHED, OLD_LOT, SPARK, OVEN)


def tests_for(case: Case, cause: str) -> tuple[str, ...]:
    """Tests of one cause that the record does not answer yet; the last one where it answers all."""
    every = OF_CAUSE.get(cause, UNKNOWN)
    return tuple(t.says for t in every if not t.known(case)) or (every[-1].says,)


def next_tests(case: Case, leaders: Sequence[str]) -> tuple[str, ...]:
    """Few tests for the whole case: of the leading causes in turn, then those that split what is left."""
    found: list[str] = []
    for cause in leaders[:2]:
        found += tests_for(case, cause)[:2]
    found += [t.says for t in splitting(case) if not t.known(case)]
    return tuple(dict.fromkeys(found))[:MOST]


def splitting(case: Case) -> tuple[NextTest, ...]:
    """Tests that part what nobody knows yet, by what hardness tells already."""
    after = case.changes.after
    if after is not None and after <= -TOLD_APART_HRC:
        return (OVEN, COLD_ONE, BLOCK)
    if case.as_quenched.direction == "low":
        return (BLOCK, SKIN, OLD_LOT, SECOND, SPARK)
    return (BLOCK, SKIN, AS_QUENCHED, OLD_LOT, OVEN)
