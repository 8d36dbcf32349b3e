"""``calibrate --ask``: a calibration by eye, asked line by line, and kept as a sheet that can be read again."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from soakwitness.cli.options.common import Finite, WrongUse, check_output
from soakwitness.cli.options.screen import say
from soakwitness.cli.terminal.calibrating import CLASSES, HOTTEST_C, LETTERS
from soakwitness.cli.words.cautions import CALIBRATING
from soakwitness.firmware_bridge.common.units import Unit
from soakwitness.firmware_bridge.common.wording import temperature

HEADER = "time,reference,sensor"


def ask_for_readings(given: dict[str, Any], unit: Unit | None, *, sheet: Path) -> Unit:
    """Ask for everything that is not given yet, and write the readings into a sheet.

    ``given`` gets what was answered. Returns the unit of the displays.
    """
    check_output(sheet, force=given["force"], suffixes=(".csv",))
    for words in CALIBRATING:
        say(words)
    say(
        "\nSet a level, shut the door, wait until both displays stand still for ten minutes. Read one display, then "
        "the other; three times a few minutes apart. Then the next level, and at the end the first one again."
    )
    asked = unit or click.prompt("Unit of the displays", type=click.Choice(["C", "F"]), default="C")
    shown: Unit = "F" if asked == "F" else "C"
    if not given["no_entry"]:
        given["furnace"] = given["furnace"] or click.prompt("Furnace")
    _ask_of_the_reference(given, shown)
    lines = _ask_line_by_line(shown)
    sheet.write_text("\n".join([HEADER, *lines]) + "\n", encoding="utf-8")
    say(f"Sheet: {sheet}")
    given["readings"] = sheet
    return shown


def _ask_of_the_reference(given: dict[str, Any], unit: Unit) -> None:
    """What is known of the reference, and of the meter it is read by."""
    known = (given["certificate"], given["stated"], given["reference_class"])
    if all(one is None for one in known):
        how = click.prompt(
            "What is known of the reference", type=click.Choice(["certificate", "class", "U"]), default="class"
        )
        if how == "certificate":
            given["certificate"] = Path(
                str(click.prompt("Certificate file", type=click.Path(exists=True, dir_okay=False)))
            )
        elif how == "U":
            given["stated"] = click.prompt(f"U (k = 2) of its readings, °{unit}", type=Finite(min=0.01))
        else:
            given["reference_type"] = click.prompt("Type of its wire", type=click.Choice(LETTERS, case_sensitive=False))
            given["reference_class"] = click.prompt("Class of its wire", type=click.Choice(CLASSES))
    if given["meter_accuracy"] is None and given["stated"] is None:
        says = f"Accuracy of its meter by the data sheet, cold junction included: ± °{unit}"
        given["meter_accuracy"] = click.prompt(says, type=Finite(min=0.0))
        given["meter_percent"] = click.prompt("and ± percent of the reading", type=Finite(0.0, 20.0), default=0.0)
    if not given["plugs_tried"]:
        given["plugs_tried"] = click.confirm("Was a tip warmed in the hand, so that each plug is known to be its own?")


def _ask_line_by_line(unit: Unit) -> list[str]:
    """Lines of the sheet; an empty time ends it."""
    from soakwitness.analysis.calibration.measured_pairs.paired_readings import ReadingsError, parse_readings

    lines: list[str] = []
    say("Each line: time, reference, sensor, as the displays show them, such as 10:35 780.4 777. Empty: done.")
    while line := click.prompt(f"{len(lines) + 1}", default="", show_default=False).strip():
        row = ",".join(line.replace(";", " ").replace(",", " ").split())
        try:
            (read,) = parse_readings(f"{HEADER}\n{row}\n", f"line {len(lines) + 1}", unit=unit)
        except ReadingsError as error:
            say(f"{error.says.text(unit)} Again.")
            continue
        if read.reference_c > HOTTEST_C and not _meant(read.reference_c, unit):
            continue
        lines.append(row)
    if not lines:
        raise WrongUse("no reading was typed: there is nothing to calibrate from.")
    return lines


def _meant(reference_c: float, unit: Unit) -> bool:
    """Ask about a reading that no furnace here shows in this unit."""
    return click.confirm(f"{temperature(reference_c, unit)} is hotter than any furnace here. Is the unit right?")
