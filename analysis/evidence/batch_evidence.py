"""What an audit is given, as frozen data: pieces with what is known of them, and figures of every run they were in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from soakwitness.analysis.evidence.run_figures import ConditionFigures, RunFigures
from soakwitness.analysis.metallurgy.hardness_readings import HardnessReading
from soakwitness.analysis.recipes.recipe import Recipe


@dataclass(frozen=True)
class HardnessEvidence:
    """One hardness test. ``stage`` such as ``after quench``; ``spot`` such as ``edge``; ``ground_off_mm`` [mm]."""

    test: HardnessReading
    stage: str
    as_quenched: bool
    final: bool
    measured_utc: str = ""
    spot: str | None = None
    ground_off_mm: float | None = None
    tester: str | None = None


@dataclass(frozen=True)
class TreatmentEvidence:
    """One treatment without a run. ``lowest_c``, ``shown_c`` [degC], ``removed_mm`` [mm].

    ``not_done``: entered as left out, which is more than not on record. ``oven``: which oven or bath; ``second_c``:
    what a second thermometer in it showed [degC].
    """

    kind: str
    start_utc: str
    end_utc: str | None = None
    lowest_c: float | None = None
    shown_c: float | None = None
    removed_mm: float | None = None
    not_done: bool = False
    oven: str | None = None
    second_c: float | None = None


@dataclass(frozen=True)
class InspectionEvidence:
    """One look at a piece: file test, fracture, magnet, inside of the foil, warp or crack.

    ``result`` is its word, such as ``skates``; of a warp or a crack ``mm`` off straight or long [mm], 0 where none was
    found, None where a crack was not measured. ``stage`` such as ``after quench``; ``place`` on the piece.
    """

    kind: str
    seen_utc: str
    result: str | None = None
    mm: float | None = None
    place: str | None = None
    stage: str | None = None


@dataclass(frozen=True)
class PieceEvidence:
    """One piece. ``harden`` and ``tempers`` are ids of runs; ``quenched_utc`` when its hardening run ended.

    ``coupon``: a scrap of known steel that went with the charge, and no blade.
    """

    id: str
    steel: str | None = None
    lot: str | None = None
    thickness_mm: float | None = None
    place: str | None = None
    foil: bool | None = None
    blades: int | None = None
    heated_faces: int | None = None
    charge: str | None = None
    harden: str | None = None
    tempers: tuple[str, ...] = ()
    quenched_utc: str | None = None
    hardness: tuple[HardnessEvidence, ...] = ()
    treatments: tuple[TreatmentEvidence, ...] = ()
    coupon: bool = False
    inspections: tuple[InspectionEvidence, ...] = ()


@dataclass(frozen=True)
class CutOutEvidence:
    """The over-temperature cut-out on one day: set to, cut at, or let become so hot without a cut [degC].

    ``by_itself``: it cut in ``run`` and nobody tested.
    """

    day: str
    set_c: float
    tripped_c: float | None = None
    reached_c: float | None = None
    by_itself: bool = False
    run: str | None = None


@dataclass(frozen=True)
class AccuracyEvidence:
    """One accuracy test of the control sensor's chain: what it reads more than the reference [K]."""

    day: str
    sensor: str
    difference_c: float


@dataclass(frozen=True)
class Evidence:
    """Everything an audit may look at.

    ``suspects``: pieces that came out wrong, or are feared to. ``good``: pieces of other runs that are known to be
    good. ``suspect_runs``, ``good_runs``: runs of the hardening in question, and those to compare it with; pieces need
    not be known. ``runs``: figures of every run that is named, tempering runs included. ``history``: earlier runs of
    the same furnace in order of time, for what changes slowly. ``accuracy``: accuracy tests of that furnace in order of
    time. ``operators``: who ran which run. ``charge_kg``: mass of the whole charge with its fixtures, by run [kg].
    ``fixtures``: racks and the like in a run. ``empty``: runs that nobody put anything in. ``charges``: all pieces of a
    run, whether anything is known of them or not. ``cutouts``: tests of the furnace's cut-out in order of time.
    """

    suspects: tuple[PieceEvidence, ...]
    siblings: tuple[PieceEvidence, ...]
    good: tuple[PieceEvidence, ...]
    suspect_runs: tuple[str, ...]
    good_runs: tuple[str, ...]
    runs: Mapping[str, RunFigures]
    recipes: Mapping[str, Recipe] = field(default_factory=dict)
    condition: Mapping[str, ConditionFigures] = field(default_factory=dict)
    history: tuple[RunFigures, ...] = ()
    accuracy: tuple[AccuracyEvidence, ...] = ()
    chosen: str = ""
    operators: Mapping[str, str] = field(default_factory=dict)
    charge_kg: Mapping[str, float] = field(default_factory=dict)
    fixtures: Mapping[str, str] = field(default_factory=dict)
    empty: frozenset[str] = frozenset()
    charges: Mapping[str, tuple[PieceEvidence, ...]] = field(default_factory=dict)
    cutouts: tuple[CutOutEvidence, ...] = ()
