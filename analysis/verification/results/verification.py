"""What a verification found, as frozen data. ``verifying.verify`` makes it, ``report.as_json`` prints it for programs.

Times are seconds on the run's ``t_s``; temperatures degC; differences K; None is "not known".
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from soakwitness.analysis.verification.results.known_error import Basis, KnownError
from soakwitness.firmware_bridge.common.wording import Says
from soakwitness.firmware_bridge.runfolder.contents import Act

if TYPE_CHECKING:  # the soak clock takes words of this page, and no numpy
    from soakwitness.analysis.record.run import FloatArray

Verdict = Literal["pass", "fail", "not proven"]
Severity = Literal["fail", "warn", "note"]
Looks = Literal["door", "power", "cycling", "undershoot", "noise", "gap", "marked", "not told"]
Source = Literal["load", "packet estimate", "control"]

FAR_BELOW = 2.0  # of the lower tolerance under the target

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
    "sensors differ",
    "gap in record",
    "record changed",
    "no calibration",
    "calibration overdue",
    "late quench",
    "slow cooling",
    "not on record",
    "not done",
    "mark in doubt",
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

    @property
    def endless(self) -> bool:
        """Whether nobody knows how much it was at most: a gap in it was longer than it is on record."""
        return math.isinf(self.high)


@dataclass(frozen=True)
class Finding:
    """One thing flagged: ``says`` is one sentence with the numbers, ``next`` what to do or check.

    ``at_s`` and ``until_s`` place it on the run's clock where it has a place; ``brief`` is its reason in a few words,
    for a sentence that tells it with others; ``sensors`` names those it is about, none where it is about all,
    and ``moments`` what else happened on its account, each with its time.
    """

    code: str
    severity: Severity
    step: int | None
    says: Says
    next: Says
    at_s: float | None = None
    until_s: float | None = None
    pieces: tuple[str, ...] = ()
    brief: Says | None = None
    sensors: tuple[str, ...] = ()
    moments: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True)
class InShort:
    """What a person reads first: the verdict with its reason, the next act, what is not known.

    ``shows_cause``: whether the record shows what brought a fail or a gap about.
    """

    says: Says
    next: Says | None = None
    not_known: tuple[Says, ...] = ()
    shows_cause: bool = True


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
    treated: tuple[str, ...] = ()  # kinds of treatment that were entered for it
    left_out: tuple[str, ...] = ()  # kinds that were entered as not done


@dataclass(frozen=True)
class UsualDifference:
    """By how much one sensor read above another in an earlier run [K], both level at about ``at_c`` [degC]."""

    sensor: str
    other: str
    at_c: float
    kelvin: float


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
    limits_verdict: Verdict = "pass"  # of too hot and overshoot alone, which count where the hold is not judged
    pull_c: float | None = None  # its work temperature at its pull, corrected as the hold is
    bounds: tuple[tuple[Act, float], ...] = ()  # acts whose moment was inferred, and by how much it may be wrong [s]
    temperature_from: Source | None = None


@dataclass(frozen=True)
class TooHot:
    """How far the work was over its limit from load to pull, by what was held for as long as counts [K, degC].

    ``at_s`` is when that began, ``over_s`` how long it was over the limit in all [s], ``over`` when: from, to each.
    """

    by_c: float
    limit_c: float
    reached_c: float
    at_s: float
    over_s: float
    over: tuple[tuple[float, float], ...] = ()


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

    ``looks_like`` names a cause only where the shape and this furnace's own cooling speak for it.
    """

    start_s: float
    end_s: float
    lowest_c: float
    effect: Literal["pause", "new start"]
    looks_like: Looks = "not told"


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
    level_c: float | None = None  # median of its level part, on what the verdict rests on
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
    proves: tuple[Says, ...] = ()  # what would turn "not proven" into "pass"
    longest_s: Bounds | None = None  # longest time above the lower edge of any piece, dips or not
    unmet: tuple[str, ...] = ()  # requirements that fail on what the verdict rests on
    unproven: tuple[str, ...] = ()  # requirements that it leaves open
    known: KnownError = KnownError()  # what its verdict rests on
    shown_by: KnownError = KnownError()  # what is known of the sensor that its figures are of
    sensors: tuple[tuple[str, KnownError], ...] = ()  # all that its pieces' soaks rest on
    limits_verdict: Verdict = "pass"  # of too hot and overshoot alone, which count where the hold is not judged
    too_hot: TooHot | None = None  # None: never over its limit for as long as counts
    load_s: float | None = None  # of the piece that its figures are of
    pull_s: float | None = None
    began: bool = True  # the record shows how it began, and how it ended for that piece
    ended: bool = True
    all_out: bool = False  # every piece was pulled within the record
    fitted: bool = False  # a packet estimate rests on a measured packet
    kind: Literal["hold"] = "hold"

    @property
    def added_c(self) -> float:
        """What was added to its reading [K]."""
        return self.shown_by.decides_with_c

    @property
    def display_may_read_c(self) -> tuple[float, float] | None:
        """How much the display may read high, from and to [K] (negative: low), for the verdict to stand."""
        stands = self.error_it_stands_c
        own_c = self.shown_by.sensor_c if self.shown_by.basis == "true temperature" else 0.0
        return None if stands is None else (stands[0] - own_c, stands[1] - own_c)

    @property
    def highest_from_target_c(self) -> float | None:
        """Its overshoot [K], negative where it came near the target alone; None where it stayed far below."""
        near_c = -FAR_BELOW * (self.target_c - self.band_c[0])
        return self.overshoot_c if self.overshoot_c is not None and self.overshoot_c >= near_c else None

    @property
    def shown_c(self) -> float | None:
        """Its level as the sensor showed it [degC]."""
        return None if self.level_c is None else self.level_c - self.added_c


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


@dataclass(frozen=True)
class RecordState:
    """How far the record itself can be trusted."""

    rows: int
    bad_rows: int
    gaps_s: float
    sealed: bool
    intact: bool
    seen: bool = False  # a log book knows this very seal
    changed: bool = False  # by another program, while it was being recorded
    gaps: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True)
class RunComparison:
    """The run beside a proven run: differences that need repeatability only."""

    run: str
    says: tuple[Says, ...]
    same: bool


@dataclass(frozen=True)
class Verification:
    """Everything ``verify`` found in one run.

    ``sensor`` is the trace the steps were found on; ``known`` what the run's basis rests on, at its worst judged hold;
    ``not_seen`` what this record cannot show; ``proves`` what would turn "not proven" into "pass".
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
    known: KnownError
    work: WorkTemperature | None = None
    not_seen: tuple[Says, ...] = ()
    proves: tuple[Says, ...] = ()
    rule: str = RULE
    by_estimate: bool = False
    as_read: Verdict = "not proven"
    quench_cooling_s: Bounds | None = None  # between the recipe's two temperatures, by a load sensor in the quench
    beside_unknown: bool = False  # what stood beside a packet that was estimated is not on record
    compared: tuple[RunComparison, ...] = ()
    in_short: InShort = InShort(Says(""))

    @property
    def holds(self) -> tuple[HoldResult, ...]:
        """The holds in order."""
        return tuple(s for s in self.steps if isinstance(s, HoldResult))

    def step(self, number: int) -> StepResult | None:
        """The step of this number, or None."""
        return next((s for s in self.steps if s.step == number), None)
