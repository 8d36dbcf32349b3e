"""What the interactive chart of a run is drawn from: lines thinned for a part of it, gaps, bands, flags, marks.

Nothing heavy is imported: a server gives it out. Readings are as the instrument showed them; what was found comes from
the verdict that is kept.
"""

from __future__ import annotations

import math
from array import array
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from soakwitness.analysis.record.spikes import COLDEST_C, HOTTEST_C
from soakwitness.analysis.verification.results.report import findings_from
from soakwitness.cli.charts.flags import SHOWN, failed_of, flag_words, has_a_place, is_told, place_s
from soakwitness.cli.charts.windows_of_lines import TraceLine, line_of, part_of, usual_gap_s
from soakwitness.cli.words.mark_sentences import mark_sentence
from soakwitness.firmware_bridge.common.units import Unit, from_celsius, to_celsius
from soakwitness.firmware_bridge.common.wording import duration, duration_of, temperature
from soakwitness.firmware_bridge.runfolder.contents import Column, Mark, RunHeader
from soakwitness.firmware_bridge.runfolder.reader import read_marks
from soakwitness.firmware_bridge.runfolder.row_numbers import read_numbers

SCHEMA = "soakwitness/chart/1"
MOST_POINTS = 2000
Answer = Mapping[str, Any]
Gap = tuple[float, float]  # from and to [s]


@dataclass(frozen=True)
class DrawnLine:
    """One line [degC]: of a sensor its role, else ``setpoint``."""

    name: str
    role: str
    line: TraceLine


@dataclass(frozen=True)
class RunLines:
    """The readings of a run as lines, when it began and ended [s], and when nothing at all was read [s]."""

    header: RunHeader
    marks: tuple[Mark, ...]
    lines: tuple[DrawnLine, ...]
    start_s: float
    stop_s: float
    gaps: tuple[Gap, ...]


def read_lines(path: Path) -> RunLines:
    """Read a run folder.

    Raises RunFolderError if this is no run folder.
    """
    rows = read_numbers(path)
    gap_s = usual_gap_s(rows.t_s, rows.header.every_s)
    lines = tuple(
        DrawnLine(
            column.name, _role(column), line_of(rows.t_s, _celsius(rows.columns[column.name], column), gap_s=gap_s)
        )
        for column in rows.header.columns
        if column.unit in ("C", "F") and column.role != "ambient"
    )
    ends = (rows.t_s[0], rows.t_s[-1]) if len(rows.t_s) else (0.0, 0.0)
    return RunLines(rows.header, read_marks(path), lines, *ends, tuple(_unread(lines, *ends, gap_s)))


def _role(column: Column) -> str:
    return (column.role or "sensor") if column.kind == "sensor" else "setpoint"


def _celsius(values: array[float], column: Column) -> array[float]:
    """Readings in degC; what no thermocouple can show is none."""
    unit: Unit = "F" if column.unit == "F" else "C"
    shown = values if unit == "C" else array("d", (to_celsius(value, unit) for value in values))
    if not shown or (min(shown) >= COLDEST_C and max(shown) <= HOTTEST_C):
        return shown
    return array("d", (value if COLDEST_C <= value <= HOTTEST_C else math.nan for value in shown))


def _unread(lines: Sequence[DrawnLine], start_s: float, stop_s: float, gap_s: float) -> list[Gap]:
    """When no sensor was read: the gaps that all of them share."""
    shared: list[Gap] | None = None
    for one in lines:
        if one.role != "setpoint":
            own = _gaps(one.line, start_s, stop_s, gap_s)
            shared = own if shared is None else [(max(a, c), min(b, d)) for a, b in shared for c, d in own]
            shared = [(a, b) for a, b in shared if b - a > gap_s]
    return shared or []


def _gaps(line: TraceLine, start_s: float, stop_s: float, gap_s: float) -> list[Gap]:
    if not line.t_s:
        return [(start_s, stop_s)]
    gaps = [(start_s, line.t_s[0]), *((line.t_s[i], line.t_s[i + 1]) for i in line.breaks), (line.t_s[-1], stop_s)]
    return [(a, b) for a, b in gaps if b - a > gap_s]


def chart_data(
    run: RunLines,
    answer: Answer | None,
    *,
    unit: Unit,
    from_s: float | None = None,
    to_s: float | None = None,
    most: int = MOST_POINTS,
) -> dict[str, Any]:
    """A part of a run as plain data; ``answer`` is its verdict as ``verify --json`` gives it, None where none is kept.

    ``from_s``, ``to_s``: the part [s of the run], else all of it. Temperatures are in ``unit``.
    """
    start_s = run.start_s if from_s is None else from_s
    stop_s = run.stop_s if to_s is None else to_s
    return {
        "schema": SCHEMA,
        "run": run.header.run,
        "unit": unit,
        "whole_s": [run.start_s, run.stop_s],
        "part_s": [start_s, stop_s],
        "lines": [_line(one, start_s, stop_s, most, unit) for one in run.lines],
        "gaps_s": [list(gap) for gap in run.gaps],
        "holds": [] if answer is None else list(_holds(answer, unit)),
        "flags": [] if answer is None else list(_flags(answer, run.stop_s - run.start_s)),
        "marks": list(_marks(run, answer)),
        "zero": round(from_celsius(0.0, unit), 2),
    }


def _marks(run: RunLines, answer: Answer | None) -> Iterator[dict[str, Any]]:
    """Marks that stand; ``full``: a pull of a piece that something failed of, where not of all."""
    holds = [
        step for step in (answer or {}).get("steps", ()) if step.get("kind") == "hold" and step.get("judged", True)
    ]
    pieces = [(p["piece"], str(p.get("verdict"))) for hold in holds for p in hold.get("pieces", ()) if p.get("piece")]
    failed = failed_of(pieces, findings_from(answer or {}))
    for mark in run.marks:
        if not mark.struck:
            full = mark.act == "pull" and bool(failed & set(mark.pieces))
            yield {"at_s": mark.t_s, "act": mark.act, "words": mark_sentence(mark), "full": full}


def _line(one: DrawnLine, start_s: float, stop_s: float, most: int, unit: Unit) -> dict[str, Any]:
    part = part_of(one.line, start_s, stop_s, most=most)
    shown = [None if value is None else round(from_celsius(value, unit), 2) for value in part.value]
    return {"name": one.name, "role": one.role, "t_s": [round(t, 3) for t in part.t_s], "shown": shown}


def _holds(answer: Answer, unit: Unit) -> Iterator[dict[str, Any]]:
    """Each hold that was found: its band from where the work came into it, as long as it was asked to be."""
    for step in answer.get("steps", ()):
        enter_s = step.get("enter_s")
        if step.get("kind") != "hold" or enter_s is None:
            continue
        low, high = (from_celsius(edge, unit) for edge in step["band_c"])
        aligned_s = step.get("control_enter_s")
        yield {
            "step": step["step"],
            "words": f"{duration(step['required_s'])} at {temperature(step['target_c'], unit)}",
            "had": had_words(step),
            "verdict": step.get("verdict"),
            "target": round(from_celsius(step["target_c"], unit), 2),
            "low": round(low, 2),
            "high": round(high, 2),
            "from_s": enter_s,
            "until_s": enter_s + step["required_s"],
            "left_s": step.get("leave_s"),
            "aligned_s": enter_s if aligned_s is None else aligned_s,
        }


def had_words(step: Mapping[str, Any]) -> str:
    """How much of a hold's time the work had: ``11.4 of 15 min``."""
    best = (step.get("soak_s") or {}).get("best")
    return (
        f"nothing is known of {duration(step['required_s'])}" if best is None else duration_of(best, step["required_s"])
    )


def _flags(answer: Answer, long_s: float) -> Iterator[dict[str, Any]]:
    """What failed and what warns, where it has a moment."""
    seen: list[tuple[str, float]] = []
    pulls = [(s["step"], p["piece"], p["pull_s"]) for s in answer.get("steps", ()) for p in s.get("pieces", ())]
    for number, finding in enumerate(findings_from(answer)):
        if finding.at_s is None or finding.severity not in SHOWN or not has_a_place(finding):
            continue
        at_s = place_s(finding, pulls)
        words = flag_words(finding)
        if not is_told(seen, words, at_s, long_s):
            seen.append((words, at_s))
            yield {"at_s": at_s, "words": words, "severity": finding.severity, "finding": number}
