"""What a verification found, as frozen data. ``verifying.verify`` makes it, ``report.as_json`` prints it for programs.

Times are seconds on the run's ``t_s``; temperatures degC; differences K; None is "not known".
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Literal

from soakwitness.analysis.runs import FloatArray

Verdict = Literal["pass", "fail", "not proven"]
Severity = Literal["fail", "warn", "note"]
Basis = Literal["reading", "true temperature"]
Looks = Literal["door", "power", "gap", "marked"]
Source = Literal["load", "packet estimate", "control"]
ErrorSource = Literal["calibration", "stated", "tolerance class", "none"]

FINDING_CODES = (
    "overshoot",
    "short soak",
    "long soak",
    "packet lag",
    "hold missing",
    "run ended early",
    "slow ramp",
    "fast ramp",
    "out of band",
    "program differs",
    "sensor fault",
    "stuck reading",
    "gap in record",
    "record changed",
    "no calibration",
    "calibration overdue",
    "late quench",
    "not on record",
    "tempered before it was cool",
    "loaded before recovery",
    "wrong unit suspected",
)

RULE = (
    "Simple acceptance on the reading as read; at true temperature a guard band of U (k = 2) on either side: "
    "pass if met for every error within U, fail if met for none, else not proven."
)
RULE_REFERENCES = ("ILAC-G8:09/2019", "JCGM 106:2012")


@dataclass(frozen=True)
class Bounds:
    """A figure with what readings cannot show: ``low`` <= ``best`` <= ``high``."""

    low: float
    best: float
    high: float


@dataclass(frozen=True)
class Finding:
    """One thing flagged: ``says`` is one sentence with the numbers, ``next`` what to do or check.

    ``at_s`` and ``until_s`` place it on the run's clock where it has a place.
    """

    code: str
    severity: Severity
    step: int | None
    says: str
    next: str
    at_s: float | None = None
    until_s: float | None = None
    pieces: tuple[str, ...] = ()


@dataclass(frozen=True)
class SensorErrors:
    """What is known of a sensor's error: one shift of its whole trace, true = corrected reading - e, |e| <= U.

    Parameters
    ----------
    expanded_c : float or None
        U, k = 2 [K]; None where nothing is known or where it depends on the temperature.
    expanded_at : callable or None
        U at a temperature [degC] where it depends on it [K].
    source : str
        ``calibration``, ``stated``, ``tolerance class`` or ``none``.
    correction : callable or None
        What to add to a reading [degC] at that reading, arrays in and out [K].
    overdue : bool
        The calibration is older than its interval.
    says : str
        Where the figure comes from, in words for the output.
    """

    expanded_c: float | None = None
    source: ErrorSource = "none"
    expanded_at: Callable[[float], float | None] | None = None
    correction: Callable[[FloatArray], FloatArray] | None = None
    overdue: bool = False
    says: str = ""

    @property
    def known(self) -> bool:
        """Whether the verdict may rest on the true temperature by itself."""
        return self.source in ("calibration", "stated") and not self.overdue

    def at(self, temp_c: float) -> float | None:
        """U at a temperature [K], None where nothing is known."""
        return self.expanded_at(temp_c) if self.expanded_at is not None else self.expanded_c


@dataclass(frozen=True)
class PieceInfo:
    """What the log book knows of one piece in this run."""

    id: str
    thickness_mm: float | None = None
    foil: bool | None = None
    heated_faces: int | None = None
    blades: int | None = None
    charge: str | None = None
    place: str | None = None


@dataclass(frozen=True)
class InBand:
    """The three in-band figures between enter and leave [s]."""

    continuous: Bounds
    cumulative: Bounds
    above_lower_edge: Bounds


@dataclass(frozen=True)
class PieceResult:
    """One piece in one hold: from its charge's load mark to its pull mark or the hold's leave."""

    piece: str | None
    charge: str | None
    soak_s: Bounds
    verdict: Verdict
    as_read: Verdict
    at_true_temperature: Verdict
    load_s: float | None = None
    pull_s: float | None = None
    plates_s: float | None = None
    quench_delay_s: float | None = None
    lag_s: Bounds | None = None
    longest_s: Bounds | None = None  # time above the lower edge, dips or not, for a maximum soak
    error_it_stands_c: tuple[float, float] | None = None
    unmet: tuple[str, ...] = ()  # requirements that fail on what the verdict rests on
    unproven: tuple[str, ...] = ()  # requirements that it leaves open


@dataclass(frozen=True)
class RampResult:
    """One ramp. ``rate_c_per_h`` is signed, Theil-Sen over 10 to 90 % of the span; ``curved``: more than 5 % apart."""

    step: int
    to_c: float
    found: bool
    start_s: float | None = None
    end_s: float | None = None
    rate_c_per_h: float | None = None
    end_to_end_rate_c_per_h: float | None = None
    required_rate_c_per_h: float | None = None
    curved: bool = False
    cycle: int = 1
    verdict: Verdict | None = None  # None: observed, not judged
    kind: Literal["ramp"] = "ramp"


@dataclass(frozen=True)
class Dip:
    """A time below the lower edge within a hold: it pauses the soak or starts it again.

    ``looks_like`` a door opened (within seconds), a power cut (for minutes), or is a gap; or marks say what it was.
    """

    start_s: float
    end_s: float
    lowest_c: float
    effect: Literal["pause", "new start"]
    looks_like: Looks = "door"


@dataclass(frozen=True)
class HoldResult:
    """One hold. Figures are of the worst piece; ``measured_by`` names the sensor whose edges these are."""

    step: int
    target_c: float
    band_c: tuple[float, float]
    required_s: float
    found: bool
    enter_s: float | None = None
    leave_s: float | None = None
    in_band_s: InBand | None = None
    soak_s: Bounds | None = None
    overshoot_c: float | None = None
    overshoot_is_at_least: bool = False
    overshoot_at_s: float | None = None
    above_band_s: float | None = None
    level_c: float | None = None  # median reading between enter and leave
    lag_s: Bounds | None = None
    noise_c: float | None = None  # random part of a reading's error, beside the shift of the whole trace
    as_read: Verdict = "not proven"
    at_true_temperature: Verdict = "not proven"
    error_it_stands_c: tuple[float, float] | None = None
    verdict: Verdict = "not proven"
    judged: bool = True
    pieces: tuple[PieceResult, ...] = ()
    at_most_s: float | None = None
    max_overshoot_c: float | None = None
    measured_by: str | None = None
    temperature_from: Source | None = None
    control_enter_s: float | None = None
    control_leave_s: float | None = None
    dips: tuple[Dip, ...] = ()
    stays: tuple[tuple[float, float], ...] = ()  # pieces of the record assigned to this hold
    never_reached: float | None = None  # share of packet draws that never reach the band
    on_record: bool = True  # False: the record does not cover this step
    cycle: int = 1
    proves: tuple[str, ...] = ()  # what would turn "not proven" into "pass"
    longest_s: Bounds | None = None  # longest time above the lower edge of any piece, dips or not
    unmet: tuple[str, ...] = ()  # requirements that fail on what the verdict rests on
    unproven: tuple[str, ...] = ()  # requirements that it leaves open
    kind: Literal["hold"] = "hold"


StepResult = RampResult | HoldResult


@dataclass(frozen=True)
class WorkTemperature:
    """The temperature the soak rests on, with its band; a measured sensor has low = best = high."""

    source: Source
    name: str
    t_s: FloatArray
    low_c: FloatArray
    best_c: FloatArray
    high_c: FloatArray
    fitted: bool = True
    biot: float | None = None
    eats_s: Mapping[int, Bounds] = field(default_factory=dict)  # hold's step: minutes the packet eats


@dataclass(frozen=True)
class RecordState:
    """How far the record itself can be trusted."""

    rows: int
    bad_rows: int
    gaps_s: float
    sealed: bool
    intact: bool
    gaps: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True)
class Comparison:
    """The run beside a proven run: differences that need repeatability only."""

    run: str
    says: tuple[str, ...]
    same: bool


@dataclass(frozen=True)
class Verification:
    """Everything ``verify`` found in one run.

    ``sensor`` is the trace the steps were found on; ``not_seen`` what this record cannot show; ``proves`` what would
    turn "not proven" into "pass"; ``rule`` the decision rule in words.
    """

    run: str
    recipe: str
    verdict: Verdict
    decided_on: Basis
    temperature_from: Source
    steps: tuple[StepResult, ...]
    findings: tuple[Finding, ...]
    record: RecordState
    sensor: str
    errors: SensorErrors
    work: WorkTemperature | None = None
    marks_used: tuple[str, ...] = ()
    not_seen: tuple[str, ...] = ()
    proves: tuple[str, ...] = ()
    rule: str = RULE
    by_estimate: bool = False
    as_read: Verdict = "not proven"
    quench_cooling_s: Bounds | None = None  # between the recipe's two temperatures, by a load sensor in the quench
    compared: tuple[Comparison, ...] = ()

    @property
    def holds(self) -> tuple[HoldResult, ...]:
        """The holds in order."""
        return tuple(s for s in self.steps if isinstance(s, HoldResult))

    def step(self, number: int) -> StepResult | None:
        """The step of this number, or None."""
        return next((s for s in self.steps if s.step == number), None)
