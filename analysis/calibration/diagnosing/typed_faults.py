"""A table of readings for the diagnosis: moments without a number, how fast it climbed, and what the notes tell."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from soakwitness.analysis.calibration.diagnosing.fault_evidence import LostReading, OtherEvidence, Side
from soakwitness.analysis.calibration.measured_pairs.paired_readings import (
    PairReading,
    ReadingsError,
    parse_readings,
)
from soakwitness.firmware_bridge.common.units import Unit, from_celsius, to_kelvin

STEPS = (10.0, 5.0, 2.0, 1.0)
UNDER = re.compile(r"\bunder|\bbelow|\blow\b|\blo\b", re.IGNORECASE)
OVER = re.compile(r"\bover|\babove|\bhigh\b|\bhi\b", re.IGNORECASE)
LOOSE = re.compile(r"jump|flick|comes? and go|came and went|\bopen\b|loose|intermit|wiggl|on and off", re.IGNORECASE)
RATE = re.compile(r"(-?\d+(?:[.,]\d+)?)\s*°?\s*[CF]?\s*(?:/|per|an)\s*h", re.IGNORECASE)


@dataclass(frozen=True)
class TypedFaults:
    """Readings with a number, and what else the table tells."""

    readings: tuple[PairReading, ...]
    other: OtherEvidence


def load_faults(path: Path, *, unit: Unit) -> TypedFaults:
    """Read a table as ``parse_readings`` does; a line whose sensor is empty or no number is a moment without one.

    Raises ReadingsError names file, line, column, value and what is allowed.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise ReadingsError(f"{path}: cannot be read ({error}). Give a CSV with the header reference,sensor.") from None
    return parse_faults(text, path.name, unit=unit)


def parse_faults(text: str, source: str, *, unit: Unit) -> TypedFaults:
    """The same of a text."""
    lines = text.splitlines()
    at = next((n for n, line in enumerate(lines) if line.strip() and not line.startswith("#")), None)
    header = [] if at is None else re.split("[;,]", lines[at].strip().lower())
    names = [name.strip() for name in header]
    if at is None or "sensor" not in names or "reference" not in names:
        return TypedFaults(parse_readings(text, source, unit=unit), OtherEvidence())
    sign = ";" if ";" in lines[at] else ","
    kept, lost_lines = [*lines], []
    for number, line in enumerate(lines):
        cells = [cell.strip() for cell in line.split(sign)]
        if number <= at or line.startswith("#") or not line.strip() or len(cells) <= names.index("sensor"):
            continue
        if not re.search(r"\d", cells[names.index("sensor")]):
            lost_lines.append((number, dict(zip(names, cells, strict=False))))
            kept[number] = "#"
    lost = tuple(_lost(cells, lines[at], f"{source}, line {n + 1}", sign, unit) for n, cells in lost_lines)
    lines_with = sum(bool(line.strip()) and not line.startswith("#") for line in kept) - 1
    readings = parse_readings("\n".join(kept), source, unit=unit) if lines_with or not lost else ()
    notes = [*(r.note for r in readings), *(str(cells.get("note", "")) for _, cells in lost_lines)]
    said = [*notes, *(str(cells["sensor"]) for _, cells in lost_lines)]
    return TypedFaults(
        readings,
        OtherEvidence(
            lost=lost,
            step_c=step_of(readings, unit),
            loose=any(LOOSE.search(words) for words in said),
            rates_c_per_h=tuple(_rate(r.note, unit) for r in readings),
        ),
    )


def _lost(cells: dict[str, str], header: str, place: str, sign: str, unit: Unit) -> LostReading:
    """One moment without a number; its other cells are checked as those of any reading."""
    filled = sign.join(cells.get(name.strip().lower(), "") for name in header.split(sign))
    names = [name.strip().lower() for name in header.split(sign)]
    row = filled.split(sign)
    row[names.index("sensor")] = row[names.index("reference")]
    (pair,) = parse_readings(f"{header}\n{sign.join(row)}", place, unit=unit)
    words = f"{cells['sensor']} {cells.get('note', '')}"
    side: Side = "under" if UNDER.search(words) else "over" if OVER.search(words) else "none"
    return LostReading(pair.reference_c, side, pair.head_c, pair.room_c)


def step_of(readings: tuple[PairReading, ...], unit: Unit) -> float:
    """Step of the display, as far as its numbers show it: the largest of which all are multiples [K]."""
    if not readings:
        return 0.1
    shown = np.array([from_celsius(r.sensor_c, unit) for r in readings])
    for step in STEPS:
        if np.allclose(shown / step, np.round(shown / step), atol=1e-6):
            return to_kelvin(step, unit)
    return 0.1


def _rate(note: str, unit: Unit) -> float:
    """How fast the furnace climbed, as a note says: ``climbing 400/h``; not a number where it says nothing."""
    found = RATE.search(note)
    return float("nan") if found is None else to_kelvin(float(found[1].replace(",", ".")), unit)


def with_trials(typed: TypedFaults, *, spare_helped: bool | None, moved_by_c: float | None) -> TypedFaults:
    """The same with what was tried beside."""
    return replace(typed, other=replace(typed.other, spare_helped=spare_helped, moved_by_c=moved_by_c))
