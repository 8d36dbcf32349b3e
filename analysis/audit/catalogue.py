"""The causes an audit knows: how each is weighed, what it explains, and the next cheap test."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from soakwitness.analysis.audit.causes import after_quench as causes_after
from soakwitness.analysis.audit.causes import in_furnace as causes_furnace
from soakwitness.analysis.audit.causes import in_piece as causes_piece
from soakwitness.analysis.audit.causes import in_quench as causes_quench
from soakwitness.analysis.audit.causes import in_sensor as causes_sensor
from soakwitness.analysis.audit.causes import in_soak as causes_soak
from soakwitness.analysis.audit.contrasts.case import Case
from soakwitness.analysis.audit.contrasts.weighing import Scale

NOTHING = "the record shows nothing"
NOTHING_NEXT = (
    "Read the tester on its block, measure again beside the first place and after grinding 0.2 mm off, and harden a "
    "scrap of the same bar with the next good charge."
)


@dataclass(frozen=True)
class Cause:
    """One cause. ``explains`` names causes that are only its effect where both are seen.

    ``shows_in_hardness`` False: pieces may be as hard as they should be on the flat and yet have suffered.
    """

    name: str
    weigh: Callable[[Case], Scale | None]
    next: str
    explains: tuple[str, ...] = ()
    shows_in_hardness: bool = True


CAUSES: tuple[Cause, ...] = (
    Cause(
        "short soak",
        causes_soak.short_soak,
        "Harden one scrap of the same bar with the full hold and compare.",
    ),
    Cause(
        "packet lag ate the soak",
        causes_soak.packet_lag,
        "Put a thermocouple into a packet of that thickness in the next run: soakwitness packet fit.",
        explains=("short soak", "overloaded charge"),
    ),
    Cause(
        "loaded before the furnace had recovered",
        causes_soak.loaded_early,
        "Load the next charge only when the reading has been level for ten minutes.",
        explains=("short soak", "packet lag ate the soak", "too cold"),
    ),
    Cause(
        "too cold",
        causes_soak.too_cold,
        "Read a second thermocouple beside the charge in the next hold.",
        explains=("short soak", "packet lag ate the soak"),
    ),
    Cause(
        "too hot",
        causes_soak.too_hot,
        "Cool one piece well below zero before any temper: if it hardens by two points, it was too hot.",
    ),
    Cause(
        "program edited",
        causes_furnace.program_edited,
        "Compare the controller's program with: soakwitness recipe program.",
        explains=("too cold", "too hot", "short soak", "packet lag ate the soak"),
    ),
    Cause(
        "controller offset changed",
        causes_sensor.offset_changed,
        "Read the input offset in the controller's settings, and the reading of the cold furnace beside a thermometer.",
        explains=("too cold", "too hot", "short soak", "packet lag ate the soak", "thermocouple drift"),
    ),
    Cause(
        "wrong thermocouple type",
        causes_sensor.wrong_type,
        "Read the type set in the instrument and the letter on the thermocouple and its lead.",
        explains=(
            "too cold",
            "too hot",
            "short soak",
            "thermocouple drift",
            "packet lag ate the soak",
            "low mains voltage or aged element",
        ),
    ),
    Cause(
        "reversed or wrong extension lead",
        causes_sensor.wrong_lead,
        "With the furnace isolated, warm the thermocouple's head with air: if the reading falls, the lead is reversed "
        "or of copper.",
        explains=("too cold", "too hot", "short soak", "thermocouple drift", "packet lag ate the soak"),
    ),
    Cause(
        "thermocouple drift",
        causes_sensor.drift,
        "Put a reference beside the control thermocouple, in the same hole: soakwitness accuracy.",
        explains=("too cold", "too hot", "short soak", "packet lag ate the soak"),
    ),
    Cause(
        "open circuit",
        causes_sensor.open_circuit,
        "Supply isolated: measure the thermocouple's resistance cold, bend the lead at its terminals while reading.",
        explains=("too cold", "too hot", "short soak", "record gap", "packet lag ate the soak", "power cut"),
    ),
    Cause(
        "°C/°F mix-up",
        causes_sensor.unit_mixed_up,
        "Read the unit in the controller's settings and in the furnace file.",
        explains=(
            "too cold",
            "too hot",
            "short soak",
            "program edited",
            "packet lag ate the soak",
            "record gap",
            "open circuit",
            "temper missed",
            "temper too cold",
            "temper too hot",
        ),
    ),
    Cause(
        "calibration overdue",
        causes_sensor.calibration_overdue,
        "Test the control sensor at one temperature: soakwitness accuracy.",
    ),
    Cause(
        "low mains voltage or aged element",
        causes_furnace.power_low,
        "Let an electrician measure the mains under load and the element's cold resistance.",
        explains=("too cold", "short soak", "packet lag ate the soak"),
    ),
    Cause(
        "overloaded charge",
        causes_furnace.overloaded,
        "Repeat the run with half the charge.",
        explains=(
            "packet lag ate the soak",
            "short soak",
            "too cold",
            "low mains voltage or aged element",
            "loaded before the furnace had recovered",
        ),
    ),
    Cause(
        "door opened",
        causes_furnace.door_opened,
        "Ask who was at the furnace then; fit a door contact.",
        explains=("short soak", "too cold", "packet lag ate the soak"),
    ),
    Cause(
        "power cut",
        causes_furnace.power_cut,
        "Ask what else stood still at that time; look at the breaker.",
        explains=("short soak", "too cold", "record gap", "packet lag ate the soak"),
    ),
    Cause(
        "late quench",
        causes_quench.late_quench,
        "Time the way from the door to the plates with a cold blade.",
    ),
    Cause(
        "plates warmed by the blades before",
        causes_quench.warm_plates,
        "Quench the next charge in the other order, or cool the plates between blades.",
        explains=("late quench", "poor plate contact"),
    ),
    Cause(
        "poor plate contact",
        causes_quench.poor_contact,
        "Blue the plates with a straight blade between them; measure hardness along both sides.",
    ),
    Cause(
        "temper missed",
        causes_after.temper_missed,
        "Temper one piece again and measure: if it falls to the usual, a temper was missed.",
        explains=("temper too cold",),
    ),
    Cause(
        "temper late",
        causes_after.temper_late,
        "Look for cracks; cool one piece well below zero and temper it again.",
        shows_in_hardness=False,
    ),
    Cause(
        "temper too cold",
        causes_after.temper_too_cold,
        "Temper one piece again at the right temperature and measure.",
        explains=("temper missed",),
    ),
    Cause(
        "temper too hot",
        causes_after.temper_too_hot,
        "Read a second thermometer in the tempering oven over a whole swing.",
    ),
    Cause(
        "cold treatment late or warm",
        causes_after.cold_treatment,
        "Cool one piece again, colder, then temper and measure.",
    ),
    Cause(
        "place in the furnace",
        causes_piece.place,
        "Harden scraps of one bar at both places in one run; then: soakwitness survey.",
        explains=("too cold", "too hot", "poor plate contact"),
    ),
    Cause(
        "leaking foil",
        causes_after.leaking_foil,
        "Grind 0.2 mm off at another place and measure; look for scale inside the foil.",
        explains=("poor plate contact", "late quench"),
    ),
    Cause(
        "overheated in finish grinding",
        causes_after.overheated_in_grinding,
        "Etch the edge: burnt spots darken.",
        explains=("poor plate contact", "temper too hot"),
        shows_in_hardness=False,
    ),
    Cause(
        "mixed or wrong bar",
        causes_piece.mixed_bar,
        "Spark-test both bars side by side, or have one analysed; read the supplier's certificate.",
        explains=("poor plate contact",),
    ),
    Cause(
        "hardness tester",
        causes_piece.tester,
        "Read the test block five times, then measure again on a flat, thick place.",
        explains=("poor plate contact",),
    ),
    Cause(
        "record gap",
        causes_soak.record_gap,
        "Repeat the run with the recorder watched; look for the cable that came loose.",
    ),
)
