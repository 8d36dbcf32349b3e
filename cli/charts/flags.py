"""Flags: what was found, at its place in time, in words above a chart and never over its data."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from soakwitness.cli.charts import style
from soakwitness.firmware_bridge.common.wording import duration

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from soakwitness.analysis.verification.results.verification import Finding, Verification

MOST_ROWS = 3
NEAR = 0.02  # of the run's length: the same words so near to each other are said once
CHARACTER_IN = 0.075  # mean width of a character of 8 points
IN_BARS = ("packet lag",)  # the bars show it
Pull = tuple[int, str | None, float | None]  # step, piece, when it was pulled [s]
LOOK = {"fail": (style.BLACK, "bold"), "warn": ("#444444", "normal")}


@dataclass(frozen=True)
class Flag:
    """Words at a time [s], in a row counted from the chart upwards."""

    at_s: float
    words: str
    severity: str
    row: int


def flag_words(finding: Finding) -> str:
    """Few words for a finding: its code, and whose it is."""
    whose = f" {finding.pieces[0]}" if len(finding.pieces) == 1 else ""
    timed = finding.code == "late quench" and finding.at_s is not None and finding.until_s is not None
    long = f", {duration((finding.until_s or 0.0) - (finding.at_s or 0.0))}" if timed else ""
    return f"{finding.code}{whose}{long}"


def has_a_place(finding: Finding) -> bool:
    """Whether it stands at a moment: what the bars show does not, nor a doubt about a whole hold."""
    return finding.code not in IN_BARS and not (finding.code == "out of band" and finding.brief is not None)


def place_s(finding: Finding, pulls: Iterable[Pull]) -> float:
    """Where a flag stands [s]: a soak too short at its end, the pull of its piece; all else where it began."""
    if finding.code != "short soak" or finding.until_s is None:
        return finding.at_s or 0.0
    own = (at_s for step, piece, at_s in pulls if step == finding.step and piece in finding.pieces)
    return min((at_s for at_s in own if at_s is not None), default=finding.until_s)


def is_told(seen: Iterable[tuple[str, float]], words: str, at_s: float, long_s: float) -> bool:
    """Whether a flag with these words stands already near that time of a run of ``long_s`` [s]."""
    return any(words == told and abs(at_s - t_s) <= NEAR * long_s for told, t_s in seen)


def flags_of(verification: Verification, start_s: float, end_s: float, width_in: float) -> list[Flag]:
    """The flags of what failed and of what warns, so that no two overlap; what finds no room is left to the words."""
    found = [f for f in verification.findings if f.severity in LOOK and f.at_s is not None and has_a_place(f)]
    found.sort(key=lambda f: (f.severity != "fail", f.at_s))
    per_s = width_in / max(end_s - start_s, 1.0)
    pulls = [(hold.step, piece.piece, piece.pull_s) for hold in verification.holds for piece in hold.pieces]
    taken: list[list[tuple[float, float]]] = [[] for _ in range(MOST_ROWS)]
    flags: list[Flag] = []
    seen: list[tuple[str, float]] = []
    for finding in found:
        at_s, words = min(max(place_s(finding, pulls), start_s), end_s), flag_words(finding)
        if is_told(seen, words, at_s, end_s - start_s):
            continue
        seen.append((words, at_s))
        begin, end = span_in(at_s, words, start_s, per_s, width_in)
        row = next((r for r in range(MOST_ROWS) if all(end < a or begin > b for a, b in taken[r])), None)
        if row is not None:
            taken[row].append((begin, end))
            flags.append(Flag(at_s, words, finding.severity, row))
    return flags


def span_in(at_s: float, words: str, start_s: float, per_s: float, width_in: float) -> tuple[float, float]:
    """Where the words of a flag begin and end [in]: to the right of its place, to the left where the right has none."""
    at_in, wide_in = (at_s - start_s) * per_s, CHARACTER_IN * len(words) + 0.15
    return (at_in, at_in + wide_in) if at_in + wide_in <= width_in else (at_in - wide_in, at_in)


def draw_flags(strip: Axes, whole: Axes, flags: list[Flag], width_in: float) -> None:
    """Write flags into a strip above a chart, a line from each down to its time."""
    start_s, end_s = whole.get_xlim()
    strip.set_xlim(start_s, end_s)
    strip.set_ylim(0.0, MOST_ROWS)
    strip.axis("off")
    per_s = width_in / max(end_s - start_s, 1.0)
    for flag in flags:
        colour, weight = LOOK[flag.severity]
        begin, _ = span_in(flag.at_s, flag.words, start_s, per_s, width_in)
        right = begin >= (flag.at_s - start_s) * per_s - 1e-9
        strip.plot([flag.at_s, flag.at_s], [0.0, flag.row + 0.75], color=colour, linewidth=1.0, clip_on=False)
        words = f" {flag.words}" if right else f"{flag.words} "
        strip.text(
            flag.at_s,
            flag.row + 0.45,
            words,
            ha="left" if right else "right",
            va="center",
            fontsize="small",
            color=colour,
            fontweight=weight,
            zorder=3,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.6},
        )
        whole.axvline(flag.at_s, color=colour, linewidth=0.9, linestyle=(0, (2, 2)), zorder=1.5)
