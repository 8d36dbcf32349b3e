"""Flags: what was found, at its place in time, in words above a chart and never over its data."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from soakwitness.cli.charts import style
from soakwitness.firmware_bridge.common.wording import duration, listed

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from soakwitness.analysis.record.run import Run
    from soakwitness.analysis.verification.results.verification import Finding, HoldResult, Verification

MOST_ROWS = 3
NEAR = 0.02  # of the run's length: the same words so near to each other are said once
CHARACTER_IN = 0.075  # mean width of a character of 8 points
CLEAR_IN = 0.03
IN_BARS = ("packet lag",)  # the bars show it
Pull = tuple[int, str | None, float | None]  # step, piece, when it was pulled [s]
SHOWN = ("fail", "warn")
DIPS = {"door": "door open", "power": "heat off", "gap": "gap", "cycling": "swings out of its band"}
LIMITS = ("out of band", "overshoot")


def failed_of(pieces: Iterable[tuple[str, str]], findings: Iterable[Finding]) -> set[str]:
    """The pieces that something failed of where it did not of all, by their verdicts in the holds that are judged: the
    sign of their pull is filled.
    """
    results = list(pieces)
    failed = {piece for piece, verdict in results if verdict == "fail"}
    failed |= {name for f in findings if f.severity == "fail" for name in f.pieces}
    return failed if {piece for piece, _ in results} - failed else set()


@dataclass(frozen=True)
class Flag:
    """Words at a time [s], in a row counted from the chart upwards; ``left``: they stand to the left of it."""

    at_s: float
    words: str
    severity: str
    row: int
    left: bool = False


def flag_words(finding: Finding, hold: HoldResult | None = None) -> str:
    """Few words for a finding: what it is, and whose."""
    whose = f" {finding.pieces[0]}" if len(finding.pieces) == 1 else ""
    if finding.code in LIMITS and hold is not None:
        return _limit_words(finding, hold)
    if finding.sensors:
        names = listed(finding.sensors, most=2)
        return f"{names} not read" if finding.code == "gap in record" else f"{finding.code}: {names}"
    timed = finding.code == "late quench" and finding.at_s is not None and finding.until_s is not None
    long = f", {duration((finding.until_s or 0.0) - (finding.at_s or 0.0))}" if timed else ""
    return f"{finding.code}{whose}{long}"


def _limit_words(finding: Finding, hold: HoldResult) -> str:
    """Heat beside its band: too hot and for how long, or who was below, or what a dip looks like."""
    if is_hot(finding, hold):
        return "too hot" + (f", {duration(max(hold.too_hot.over_s, 1.0))}" if hold.too_hot is not None else "")
    if finding.code == "overshoot":
        return "furnace overshoot" if hold.temperature_from != "control" else "overshoot"
    dips = [d for d in hold.dips if d.start_s == finding.at_s]
    who = "load " if hold.temperature_from == "load" else ""
    beside = f"{who}above its band" if not dips and (hold.level_c or 0.0) > hold.band_c[1] else f"{who}below its band"
    return DIPS.get(dips[0].looks_like, beside) if dips else beside


def is_hot(finding: Finding, hold: HoldResult | None) -> bool:
    """Whether a finding is of heat over the limit that failed its hold."""
    above = {"too hot", "overshoot", "level"}
    if hold is None or finding.code not in LIMITS or finding.severity != "fail" or not above & set(hold.unmet):
        return False
    return hold.too_hot is not None or finding.code == "overshoot" or (hold.level_c or 0.0) > hold.band_c[1]


def has_a_place(finding: Finding, hold: HoldResult | None = None) -> bool:
    """Whether it stands at a moment: what bars or marks show does not, nor a doubt about a whole hold."""
    marked = [d.start_s for d in hold.dips if d.looks_like == "marked"] if hold is not None else []
    if finding.code == "out of band" and finding.at_s in marked:
        return False
    return finding.code not in IN_BARS and not (finding.code == "out of band" and finding.brief is not None)


def place_s(
    finding: Finding, pulls: Iterable[Pull], hold: HoldResult | None = None, passing_s: float | None = None
) -> float:
    """Where a flag stands [s]: a soak too short at its end, the pull of its piece; all else where it began.

    Heat over the limit of its ``hold`` stands where the limit was crossed, a hold that was never held where the furnace
    went through its temperature (``passing_s``).
    """
    if hold is not None and hold.too_hot is not None and hold.too_hot.over and is_hot(finding, hold):
        return hold.too_hot.over[0][0]
    if finding.code == "hold missing" and passing_s is not None:
        return passing_s
    if finding.code != "short soak" or finding.until_s is None:
        return finding.at_s or 0.0
    own = (at_s for step, piece, at_s in pulls if step == finding.step and piece in finding.pieces)
    return min((at_s for at_s in own if at_s is not None), default=finding.until_s)


def is_told(seen: Iterable[tuple[str, float]], words: str, at_s: float, long_s: float) -> bool:
    """Whether a flag with these words stands already near that time of a run of ``long_s`` [s]."""
    return any(words == told and abs(at_s - t_s) <= NEAR * long_s for told, t_s in seen)


def flags_of(
    verification: Verification, start_s: float, end_s: float, width_in: float, run: Run | None = None
) -> list[Flag]:
    """The flags of what failed and of what warns, so that no two overlap; what finds no room is left to the words."""
    holds = {h.step: h for h in verification.holds}
    found = [f for f in verification.findings if f.severity in SHOWN and f.at_s is not None]
    found = [f for f in found if has_a_place(f, holds.get(f.step or 0)) and not _told_by_fault(f, found)]
    found.sort(key=lambda f: (f.severity != "fail", f.at_s))
    per_s = width_in / max(end_s - start_s, 1.0)
    pulls = [(hold.step, piece.piece, piece.pull_s) for hold in verification.holds for piece in hold.pieces]
    flags: list[Flag] = []
    seen: list[tuple[str, float]] = []
    for finding in found:
        hold = holds.get(finding.step or 0)
        passing_s = _passing_s(verification, hold, run) if finding.code == "hold missing" else None
        words = flag_words(finding, hold)
        for told, t_s in ((words, place_s(finding, pulls, hold, passing_s)), *finding.moments):
            at_s = min(max(t_s, start_s), end_s)
            if is_told(seen, told, at_s, end_s - start_s):
                continue
            seen.append((told, at_s))
            more = _arranged([*flags, Flag(at_s, told, finding.severity, 0)], start_s, per_s, width_in)
            flags = more if more is not None else flags
    return flags


def _passing_s(verification: Verification, hold: HoldResult | None, run: Run | None) -> float | None:
    from soakwitness.cli.charts.hold_panels import passed_s  # draws, and loads what draws

    return passed_s(run, verification.sensor, hold.target_c) if hold is not None and run is not None else None


def _arranged(
    flags: list[Flag], start_s: float, per_s: float, width_in: float, done: tuple[Flag, ...] = ()
) -> list[Flag] | None:
    """Flags with their rows and sides so that none is in another's way; None where there is no such order."""
    if len(done) == len(flags):
        return list(done)
    for row in range(MOST_ROWS):
        for left in (False, True):
            one = replace(flags[len(done)], row=row, left=left)
            if _has_room(one, done, start_s, per_s, width_in):
                all_of = _arranged(flags, start_s, per_s, width_in, (*done, one))
                if all_of is not None:
                    return all_of
    return None


def _told_by_fault(finding: Finding, found: list[Finding]) -> bool:
    """Whether a sensor's time without readings is told by the fault of that very sensor."""
    faults = [f for f in found if f.code == "sensor fault" and set(f.sensors) & set(finding.sensors)]
    return finding.code == "gap in record" and bool(faults)


def _has_room(flag: Flag, others: Sequence[Flag], start_s: float, per_s: float, width_in: float) -> bool:
    """Whether the words of a flag overlap no other's, touch no line of one, and its own line crosses none."""
    begin, end = span_in(flag.at_s, flag.words, start_s, per_s, width_in, left=flag.left)
    if begin < 0.0 or end > width_in:
        return False
    at_in = (flag.at_s - start_s) * per_s
    for other in others:
        a, b = span_in(other.at_s, other.words, start_s, per_s, width_in, left=other.left)
        line_in = (other.at_s - start_s) * per_s
        apart = abs(line_in - at_in) > 1e-6
        if other.row == flag.row and not (end < a or begin > b):
            return False
        if other.row > flag.row and apart and begin - CLEAR_IN <= line_in <= end + CLEAR_IN:
            return False
        if other.row < flag.row and apart and a - CLEAR_IN <= at_in <= b + CLEAR_IN:
            return False
    return True


def span_in(
    at_s: float, words: str, start_s: float, per_s: float, width_in: float, *, left: bool | None = None
) -> tuple[float, float]:
    """Where the words of a flag begin and end [in]: to the right of its place, to the left where the right has none."""
    at_in, wide_in = (at_s - start_s) * per_s, CHARACTER_IN * len(words) + 0.15
    left = at_in + wide_in > width_in if left is None else left
    return (at_in - wide_in, at_in) if left else (at_in, at_in + wide_in)


def draw_flags(strip: Axes, whole: Axes, flags: list[Flag]) -> None:
    """Write flags into a strip above a chart, a line from each down to its time."""
    strip.set_xlim(*whole.get_xlim())
    strip.set_ylim(0.0, MOST_ROWS)
    strip.axis("off")
    for flag in flags:
        strip.plot([flag.at_s, flag.at_s], [0.0, flag.row + 0.75], color=style.BLACK, linewidth=1.0, clip_on=False)
        strip.text(
            flag.at_s,
            flag.row + 0.45,
            f"{flag.words} " if flag.left else f" {flag.words}",
            ha="right" if flag.left else "left",
            va="center",
            fontsize="small",
            fontweight="bold",
            zorder=3,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.6},
        )
        whole.axvline(flag.at_s, color=style.BLACK, linewidth=0.9, linestyle=(0, (2, 2)), zorder=1.5)
