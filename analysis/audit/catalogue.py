"""The causes an audit knows: how each is weighed, where it acts, and what it explains."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from soakwitness.analysis.audit.causes import across_runs as causes_across
from soakwitness.analysis.audit.causes import after_quench as causes_after
from soakwitness.analysis.audit.causes import in_falls as causes_falls
from soakwitness.analysis.audit.causes import in_furnace as causes_furnace
from soakwitness.analysis.audit.causes import in_piece as causes_piece
from soakwitness.analysis.audit.causes import in_quench as causes_quench
from soakwitness.analysis.audit.causes import in_sensor as causes_sensor
from soakwitness.analysis.audit.causes import in_soak as causes_soak
from soakwitness.analysis.audit.causes import sensor_shifts as causes_shifts
from soakwitness.analysis.audit.contrasts.case import Case
from soakwitness.analysis.audit.contrasts.dose import Stage
from soakwitness.analysis.audit.contrasts.weighing import Scale

NOTHING = "the record shows nothing"


@dataclass(frozen=True)
class Cause:
    """One cause. ``explains`` names causes that are only its effect where both are seen.

    ``shows_in_hardness`` False: pieces may be as hard as they should be on the flat and yet have suffered. ``stage``:
    where it acts. ``whole_run``: it strikes every piece of the run alike.
    """

    name: str
    weigh: Callable[[Case], Scale | None]
    explains: tuple[str, ...] = ()
    shows_in_hardness: bool = True
    stage: Stage = "hardening"
    whole_run: bool = False


CAUSES: tuple[Cause, ...] = (
    Cause(
        "short soak",
        causes_soak.short_soak,
        whole_run=True,
    ),
    Cause(
        "packet lag ate the soak",
        causes_soak.packet_lag,
        explains=("short soak", "overloaded charge"),
    ),
    Cause(
        "loaded before the furnace had recovered",
        causes_soak.loaded_early,
        explains=("short soak", "packet lag ate the soak", "too cold"),
        whole_run=True,
    ),
    Cause(
        "too cold",
        causes_soak.too_cold,
        explains=("short soak", "packet lag ate the soak"),
        whole_run=True,
    ),
    Cause(
        "too hot",
        causes_soak.too_hot,
        whole_run=True,
    ),
    Cause(
        "program edited",
        causes_furnace.program_edited,
        explains=(
            "loaded before the furnace had recovered",
            "too cold",
            "too hot",
            "short soak",
            "packet lag ate the soak",
        ),
        whole_run=True,
    ),
    Cause(
        "controller offset changed",
        causes_sensor.offset_changed,
        explains=(
            "control sensor reads wrong",
            "too cold",
            "too hot",
            "short soak",
            "packet lag ate the soak",
            "thermocouple drift",
        ),
        whole_run=True,
    ),
    Cause(
        "wrong thermocouple type",
        causes_sensor.wrong_type,
        explains=(
            "control sensor reads wrong",
            "too cold",
            "too hot",
            "short soak",
            "thermocouple drift",
            "packet lag ate the soak",
            "low mains voltage or aged element",
        ),
        whole_run=True,
    ),
    Cause(
        "reversed or wrong extension lead",
        causes_sensor.wrong_lead,
        explains=(
            "control sensor reads wrong",
            "control sensor reads wrong",
            "too cold",
            "too hot",
            "short soak",
            "thermocouple drift",
            "packet lag ate the soak",
        ),
        whole_run=True,
    ),
    Cause(
        "thermocouple drift",
        causes_sensor.drift,
        explains=("too cold", "too hot", "short soak", "packet lag ate the soak"),
        whole_run=True,
    ),
    Cause(
        "open circuit",
        causes_sensor.open_circuit,
        explains=("too cold", "too hot", "short soak", "record gap", "packet lag ate the soak", "power cut"),
        whole_run=True,
    ),
    Cause(
        "°C/°F mix-up",
        causes_sensor.unit_mixed_up,
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
        whole_run=True,
    ),
    Cause(
        "control sensor reads wrong",
        causes_shifts.reads_wrong,
        explains=("too cold", "too hot", "short soak", "packet lag ate the soak"),
        whole_run=True,
    ),
    Cause(
        "calibration overdue",
        causes_sensor.calibration_overdue,
        whole_run=True,
    ),
    Cause(
        "low mains voltage or aged element",
        causes_furnace.power_low,
        explains=(
            "loaded before the furnace had recovered",
            "power cut",
            "too cold",
            "short soak",
            "packet lag ate the soak",
        ),
        whole_run=True,
    ),
    Cause(
        "overloaded charge",
        causes_furnace.overloaded,
        explains=(
            "packet lag ate the soak",
            "short soak",
            "too cold",
            "low mains voltage or aged element",
            "loaded before the furnace had recovered",
        ),
        whole_run=True,
    ),
    Cause(
        "door opened",
        causes_falls.door_opened,
        explains=("short soak", "too cold", "packet lag ate the soak"),
        whole_run=True,
    ),
    Cause(
        "power cut",
        causes_falls.power_cut,
        explains=("short soak", "too cold", "record gap", "packet lag ate the soak"),
        whole_run=True,
    ),
    Cause(
        "heating circuit tripped",
        causes_falls.tripped,
        explains=(
            "loaded before the furnace had recovered",
            "short soak",
            "too cold",
            "packet lag ate the soak",
            "power cut",
            "program edited",
        ),
        whole_run=True,
    ),
    Cause(
        "held too long",
        causes_soak.held_too_long,
        explains=("too hot",),
        whole_run=True,
    ),
    Cause(
        "late quench",
        causes_quench.late_quench,
    ),
    Cause(
        "plates warmed by the blades before",
        causes_quench.warm_plates,
        explains=("late quench", "poor plate contact"),
    ),
    Cause(
        "poor plate contact",
        causes_quench.poor_contact,
        stage="all",
    ),
    Cause(
        "temper missed",
        causes_after.temper_missed,
        explains=("temper too cold",),
        stage="temper",
    ),
    Cause(
        "temper late",
        causes_after.temper_late,
        stage="after",
    ),
    Cause(
        "temper too cold",
        causes_after.temper_too_cold,
        explains=("temper missed",),
        stage="temper",
    ),
    Cause(
        "temper too hot",
        causes_after.temper_too_hot,
        stage="temper",
    ),
    Cause(
        "cold treatment late or warm",
        causes_after.cold_treatment,
        stage="cold",
        explains=("tempering oven reads wrong",),
    ),
    Cause(
        "cold treatment left out",
        causes_after.cold_left_out,
        stage="cold",
        explains=("tempering oven reads wrong",),
    ),
    Cause(
        "tempering oven reads wrong",
        causes_across.oven_reads_wrong,
        stage="temper",
    ),
    Cause(
        "another thermocouple",
        causes_across.another_thermocouple,
        whole_run=True,
    ),
    Cause(
        "another hand at the furnace",
        causes_across.another_hand,
        stage="all",
        whole_run=True,
    ),
    Cause(
        "place in the furnace",
        causes_piece.place,
        explains=("too cold", "too hot", "poor plate contact"),
        stage="all",
    ),
    Cause(
        "leaking foil",
        causes_after.leaking_foil,
        explains=("poor plate contact", "late quench"),
        stage="all",
    ),
    Cause(
        "overheated in finish grinding",
        causes_after.overheated_in_grinding,
        explains=("poor plate contact", "temper too hot"),
        shows_in_hardness=False,
        stage="all",
    ),
    Cause(
        "mixed or wrong bar",
        causes_piece.mixed_bar,
        explains=("poor plate contact",),
        stage="all",
    ),
    Cause(
        "hardness tester",
        causes_piece.tester,
        explains=("poor plate contact",),
        stage="all",
    ),
    Cause(
        "record gap",
        causes_soak.record_gap,
        whole_run=True,
    ),
)
