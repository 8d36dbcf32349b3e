"""The record of a calibration as a page to print: HTML or PDF, by the layout of the run sheet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from soakwitness.cli.sheets.blocks import Box, Chart, Lines, Sheet, SheetTable
from soakwitness.cli.sheets.writing import Paper, write_sheets
from soakwitness.cli.words import cautions
from soakwitness.cli.words.calibration_words import correction_rows, point_rows, range_words, record_lines, stable_words
from soakwitness.firmware_bridge.common.units import Unit, from_celsius
from soakwitness.firmware_bridge.common.wording import difference, moment, number, temperature

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from soakwitness.analysis.calibration.correcting.calibrating import Calibration
    from soakwitness.analysis.calibration.correcting.correction import Correction
    from soakwitness.analysis.logbook.calibration_records import KeptRecord
    from soakwitness.analysis.logbook.sensors import KeptCalibration

MOST_READINGS = 600  # more are printed as every n-th; all are in the log book and its export
IN_A_ROW = 4
METHODS = {
    "run": "both logged in one run",
    "two logs": "two logs, by shape",
    "by eye": "read by eye",
    "fixed points": "at points of nature, read by eye",
}


@dataclass(frozen=True)
class Recorded:
    """A calibration of the log book with its record, computed again from what was kept; its budgets in words."""

    kept: KeptCalibration
    record: KeptRecord
    found: Calibration
    correction: Correction
    budgets: tuple[Sequence[Sequence[str]], ...] = ()


def write_calibration_sheet(one: Recorded, path: Path, *, unit: Unit, paper: Paper = "A4") -> None:
    """Write the sheet; the ending of ``path`` says whether as HTML or as PDF."""
    write_sheets([calibration_contents(one, unit)], path, paper=paper)


def calibration_contents(one: Recorded, unit: Unit) -> Sheet:
    """Everything on the sheet, in words; budgets and readings stand in the annex."""
    about = one.record.record
    withdrawn = one.kept.struck_utc is not None
    why = one.correction.why
    name = f"{one.kept.kind} {one.kept.entry}"
    return Sheet(
        title=f"Record of {name}: {about['sensor']} of {about['furnace']}, {one.kept.done_on}",
        where=f"{about['sensor']} of {about['furnace']}, {one.kept.done_on}",
        tag=f"{name}, {'withdrawn' if withdrawn else 'in the log book'}",
        tone="bad" if withdrawn else "",
        sentence=range_words(one.correction, unit),
        below=(*stable_words(one.found, unit), f"{why[:1].upper()}{why[1:]}."),
        facts=facts_of(about, unit),
        blocks=(
            _table("Points", point_rows(one.found, unit)),
            _table("To be added to the reading", correction_rows(one.correction, unit)),
            Chart(lambda figure, box: _draw(figure, box, one, unit), "the error found over temperature, with its U"),
            Lines("On record", tuple(record_lines(one.kept, about, unit))),
            Lines("Cautions", (" ".join(cautions.CALIBRATING),), small=True),
        ),
        foot=cautions.NOT_A_CERTIFICATE,
        annex=(*_budgets(one, unit), *_readings(one, unit)),
    )


def facts_of(about: Mapping[str, Any], unit: Unit) -> tuple[tuple[str, str], ...]:
    """Who, when, where and with what."""
    life, columns = about.get("life") or {}, about.get("columns") or {}
    two = about["method"] != "fixed points"  # thermocouples, one of them the reference
    pairs = [
        ("Done on", about["done_on"]),
        ("Done by", about["done_by"]),
        ("Method", METHODS[about["method"]]),
        ("Run", about.get("run") or ""),
        ("Sensor", _thermocouple(life)),
        ("As it was", "as found, before adjusting" if about["as_found"] else "after adjusting"),
        ("Where", about["place"]),
        ("Instrument", _instrument(life, columns.get("sensor") or {}, about, unit)),
        ("Reference", about["reference"]["says"]),
        ("Its column", _thermocouple(columns.get("reference") or {})),
        ("Tips apart", f"{about['comparing']['distance_mm']:g} mm" if two else ""),
        ("Plugs", "" if not two else "tried by warming a tip" if about["plugs_tried"] else "not tried"),
        ("Made with", about["software"]),
    ]
    return tuple((name, words) for name, words in pairs if words)


def _thermocouple(facts: Mapping[str, Any]) -> str:
    known = [
        (word, facts.get(key))
        for word, key in (
            ("type", "thermocouple"),
            ("class", "tolerance_class"),
            ("serial", "serial"),
            ("at", "position"),
        )
    ]
    return ", ".join(f"{word} {value}" for word, value in known if value)


def _instrument(life: Mapping[str, Any], column: Mapping[str, Any], about: Mapping[str, Any], unit: Unit) -> str:
    offset = life.get("input_offset_c")
    known = [
        ("channel", life.get("channel") or column.get("channel")),
        ("type set", column.get("thermocouple")),
        ("input offset", None if offset is None else difference(offset, unit, signed=True)),
        ("filter", about.get("instrument_filter")),
    ]
    return ", ".join(f"{word} {value}" for word, value in known if value)


def _table(heading: str, rows: Sequence[Sequence[str]]) -> SheetTable:
    return SheetTable(heading, tuple(rows[0]), tuple(tuple(row) for row in rows[1:]))


def _budgets(one: Recorded, unit: Unit) -> list[SheetTable]:
    return [
        _table(f"Budget of point {n}, {temperature(point.reference_c, unit)}", rows)
        for n, (point, rows) in enumerate(zip(one.found.points, one.budgets, strict=True), 1)
    ]


def _readings(one: Recorded, unit: Unit) -> list[SheetTable]:
    """Every reading used, several in a row; of very many every n-th, and that is said."""
    every = max(1, -(-sum(len(level) for level in one.record.levels) // MOST_READINGS))
    made = []
    typed = one.record.record.get("typed") or []
    for place, level in enumerate(one.record.levels, 1):
        cells = []
        for t_s, reference_c, sensor_c in level[::every]:
            when = moment(t_s) if not typed else str(typed[int(t_s)][0] or int(t_s) + 1)
            cells.append((when, f"{_shown(reference_c, unit)} / {_shown(sensor_c, unit)}"))
        cells += [("", "")] * (-len(cells) % IN_A_ROW)
        rows = [
            tuple(word for cell in cells[i : i + IN_A_ROW] for word in cell) for i in range(0, len(cells), IN_A_ROW)
        ]
        part = "" if every == 1 else f", every {every}th of {len(level)}; all are in the log book and its export"
        head = ("at", f"reference / sensor °{unit}") * IN_A_ROW
        made.append(SheetTable(f"Readings used, level {place}{part}", head, tuple(rows)))
    return made


def _shown(temp_c: float, unit: Unit) -> str:
    return number(from_celsius(temp_c, unit))


def _draw(figure: Figure, box: Box, one: Recorded, unit: Unit) -> None:
    from soakwitness.cli.charts.calibration_chart import draw_errors

    left, bottom, width, height = box
    wide_in, high_in = figure.get_size_inches()
    ax = figure.add_axes(
        (left + 0.6 / wide_in, bottom + 0.42 / high_in, width - 0.7 / wide_in, height - 0.66 / high_in)
    )
    draw_errors(ax, one.found, one.correction, None, unit)
