"""The record of a calibration as a page to print: HTML or PDF, by the layout of the run sheet."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from soakwitness.cli.sheets.contents import SheetContents, SheetTable
from soakwitness.cli.sheets.writing import Paper, sheet_html
from soakwitness.cli.words import cautions
from soakwitness.cli.words.calibration_words import correction_rows, point_rows, range_words, record_lines, stable_words
from soakwitness.firmware_bridge.common.units import Unit, from_celsius
from soakwitness.firmware_bridge.common.wording import difference, moment, number, temperature

if TYPE_CHECKING:
    from soakwitness.analysis.calibration.correcting.calibrating import Calibration
    from soakwitness.analysis.calibration.correcting.correction import Correction
    from soakwitness.analysis.logbook.calibration_records import KeptRecord
    from soakwitness.analysis.logbook.sensors import KeptCalibration
    from soakwitness.cli.sheets.pdf import Pages

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
    contents = calibration_contents(one, unit)
    if path.suffix.lower() == ".pdf":
        from soakwitness.cli.sheets.pdf import lay_out

        lay_out(contents, path, lambda pages: _chart_on_page(pages, one, unit), paper=paper)
    else:
        path.write_text(sheet_html(contents, _chart_svg(one, unit), paper=paper), encoding="utf-8")


def calibration_contents(one: Recorded, unit: Unit) -> SheetContents:
    """Everything on the sheet, in words."""
    about = one.record.record
    state = "withdrawn" if one.kept.struck_utc else "in the log book"
    why = one.correction.why
    name = f"{one.kept.kind} {one.kept.entry}"
    return SheetContents(
        title=f"Record of {name}: {about['sensor']} of {about['furnace']}, {one.kept.done_on}",
        verdict=f"{name}, {state}",
        measured=" ".join(
            [*stable_words(one.found, unit), f"{why[:1].upper()}{why[1:]}.", range_words(one.correction, unit)]
        ),
        facts=facts_of(about, unit),
        tables=(
            _table("Points", point_rows(one.found, unit)),
            _table("To be added to the reading", correction_rows(one.correction, unit)),
            *_budgets(one, unit),
            *_readings(one, unit),
        ),
        findings=SheetTable("On record", ("",), tuple((line,) for line in record_lines(one.kept, about, unit))),
        lines=(),
        cautions=cautions.CALIBRATING,
        foot=cautions.NOT_A_CERTIFICATE,
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


def _chart_on_page(pages: Pages, one: Recorded, unit: Unit) -> None:
    from soakwitness.cli.charts import style
    from soakwitness.cli.charts.calibration_chart import draw_errors
    from soakwitness.cli.sheets.pdf import chart_place

    page, (left, bottom, width, height) = chart_place(pages)
    with style.own_look(points=7.0):
        ax = page.add_axes((left + 0.07, bottom + 0.045, width - 0.08, height - 0.075))
        draw_errors(ax, one.found, one.correction, None, unit)


def _chart_svg(one: Recorded, unit: Unit) -> str:
    from matplotlib.figure import Figure

    from soakwitness.cli.charts import style
    from soakwitness.cli.charts.calibration_chart import draw_errors

    drawn = io.StringIO()
    with style.own_look():
        figure = Figure(figsize=(10.0, 4.4), layout="constrained")
        draw_errors(figure.subplots(), one.found, one.correction, None, unit)
        figure.savefig(drawn, format="svg", metadata={"Date": None})
    text = drawn.getvalue()
    return text[text.index("<svg") :]
