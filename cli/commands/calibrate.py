"""``soakwitness calibrate``: find a sensor's correction against a reference."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from soakwitness.cli.options.common import (
    CHART_ENDINGS,
    Finite,
    WrongUse,
    check_output,
    force_option,
    json_option,
    logbook_option,
    print_json,
    unit_option,
)
from soakwitness.cli.options.entering import by_option, new_stamp
from soakwitness.cli.options.screen import say_all
from soakwitness.cli.terminal.calibrating import (
    Compared,
    a_file,
    compare,
    comparison_options,
    days_of,
    keeping_options,
    report_place,
)
from soakwitness.cli.terminal.entering_calibrations import (
    beside_of,
    enter,
    record_options,
    stop_at_a_fault,
    tell_doubts,
    tell_entry,
)
from soakwitness.cli.terminal.following import follow
from soakwitness.cli.words.calibration_words import (
    doubts,
    due_words,
)
from soakwitness.firmware_bridge.common.units import Unit, to_kelvin

if TYPE_CHECKING:
    from soakwitness.analysis.calibration.correcting.calibrating import Calibration
    from soakwitness.analysis.calibration.correcting.correction import Correction
    from soakwitness.analysis.calibration.from_run import Pair

MONTHS = 12


@click.command()
@click.argument("run", required=False)
@comparison_options
@click.option("--furnace", help="Name of the furnace, for --readings without a run.")
@click.option("--ask", is_flag=True, help="By eye: be asked for everything, line by line.")
@click.option("--sheet", type=a_file, help="Where --ask writes the readings.  [default: readings-DAY.csv]")
@click.option("--bench", is_flag=True, help="Not in its place in the furnace: of new or noble wire only.")
@record_options
@click.option("--plugs-tried", is_flag=True, help="A tip was warmed in the hand: each plug is known to be its own.")
@click.option("--drift-base", type=Finite(0, 50), help="Drift assumed in a year, half-width.  [default: by the wire]")
@click.option("--drift-per-100h", type=Finite(0, 100), help="More for 100 h above 950 °C.  [default: by the wire]")
@click.option("--from", "from_day", metavar="DAY", help="Counts from this earlier day on purpose; say --why.")
@click.option("--why", help="The reason for --from.")
@click.option("--follow", is_flag=True, help="During a live run: say when it is stable and what to do next.")
@click.option(
    "--at", "wanted", type=Finite(-460, 5000), multiple=True, metavar="TEMP", help="Planned temperature, for --follow."
)
@click.option("--every", type=Finite(min=1), default=15.0, show_default=True, help="Seconds, for --follow.")
@click.option("--all", "everything", is_flag=True, help="Say everything: budgets, limits, the correction in steps.")
@click.option("--chart", type=a_file, help="Draw errors and correction: .png, .svg or .pdf.")
@keeping_options(MONTHS)
@by_option
@unit_option
@json_option
@force_option
@logbook_option
def calibrate(run: str | None, logbook: Path, unit: Unit | None, as_json: bool, **given: Any) -> None:
    """Find a sensor's correction against a reference.

    RUN is a run in which both were logged; or the reference was logged elsewhere (--second-log), or the readings were
    written down (--readings). Stable stretches are found by themselves. The correction goes into the log book.

    All numbers typed, and those of --readings, are in --unit (C where none is given).

    Example: soakwitness calibrate sample_logs/calibration/run --reference reference --no-entry
    """
    chart, given["unit"] = given["chart"], unit
    if chart is not None:
        check_output(chart, force=given["force"], suffixes=CHART_ENDINGS)
    if (given["from_day"] is None) != (given["why"] is None):
        raise WrongUse("--from and --why belong together: from which day it counts, and why.")
    if given["ask"]:
        unit = _ask(run, unit, given)
    if given["follow"]:
        follow(run, logbook, unit, given)
    made = compare(run, logbook, unit, given)
    correction = _correction(made, given)
    stop_at_a_fault(made, unit or "C", enter=not given["no_entry"])
    beside, correction = beside_of(logbook, correction, made, given)
    reference = None if made.pair is None else made.pair.reference
    load = reference.name if reference is not None and reference.role == "load" else None
    said = doubts(made.found, beside, plugs_tried=given["plugs_tried"], beside_a_load=load)
    answer = _answer(made, correction) | {
        "kind": beside.kind if beside else "calibration",
        "doubts": [str(words) for words in said],
    }
    before = beside.before if beside else None
    if not given["no_entry"]:
        assert beside is not None
        facts = {
            "place": "on a bench" if given["bench"] else "in its place, at the same depth",
            "plugs_tried": given["plugs_tried"],
        }
        answer["entry"] = enter(logbook, correction, made, beside, given, facts)
        chart = chart or report_place(made.run, f"calibration-{answer['entry']['calibration']}")
    if chart is not None:
        from soakwitness.cli.charts.calibration_chart import draw_calibration

        draw_calibration(chart, made.found, correction, pair=made.pair, before=before, unit=unit or "C")
    if as_json:
        print_json(answer)
    else:
        _show(made.found, correction, made.pair, unit or "C", every=given["everything"])
        tell_doubts(said, unit or "C")
        tell_entry(answer.get("entry"), correction, chart, due_words(beside, unit or "C"))


def _ask(run: str | None, unit: Unit | None, given: dict[str, Any]) -> Unit:
    """Be asked for the readings; with a run or a sheet there is nothing to ask."""
    from soakwitness.cli.terminal.asking import ask_for_readings

    if run is not None or given["readings"] is not None:
        raise WrongUse("--ask asks for the readings: leave out RUN and --readings.")
    day = days_of(given["day"], None, 0, None)[0]
    shown = ask_for_readings(given, unit, sheet=given["sheet"] or Path(f"readings-{day}.csv"))
    given["unit"] = shown
    return shown


def _correction(made: Compared, given: dict[str, Any]) -> Correction:
    """Correction with furnace, sensor, days and who did it."""
    from soakwitness.analysis.calibration.correcting.calibrating import correction_of

    done, due = days_of(given["day"], given["due"], MONTHS, made.run)
    unit = given["unit"]
    drift = {"base_c": to_kelvin(given["drift_base"], unit), "per_100_h_c": to_kelvin(given["drift_per_100h"], unit)}
    made_from = correction_of(
        made.found,
        furnace=made.furnace or "",
        sensor=made.sensor,
        done_on=done,
        due_on=due,
        done_by=new_stamp(given["by"]).by,
    )
    by_hand = {key: value for key, value in drift.items() if value is not None}
    return replace(made_from, drift=by_hand) if by_hand else made_from


def _answer(made: Compared, correction: Correction) -> dict[str, Any]:
    """Answer for programs."""
    from soakwitness.analysis.calibration.correcting.correction import correction_to_dict

    found, alignment = made.found, made.pair.alignment if made.pair else None
    return {
        "schema": "soakwitness/calibrate/1",
        "furnace": correction.furnace,
        "sensor": correction.sensor,
        "reference": str(found.reference.says),
        "limits": found.limits.as_dict() if found.limits else None,
        "comparing": found.comparing.as_dict(),
        "alignment": dict(vars(alignment)) if alignment else None,
        "points": [point.as_dict() for point in found.points],
        "left_out": [str(words) for words in found.left_out],
        "correction": correction_to_dict(correction),
        "entry": None,
    }


def _show(found: Calibration, correction: Correction, pair: Pair | None, unit: Unit, *, every: bool) -> None:
    """Print for people."""
    from soakwitness.cli.words.compared_words import calibration_lines

    say_all(calibration_lines(found, correction, pair, unit, every=every))
