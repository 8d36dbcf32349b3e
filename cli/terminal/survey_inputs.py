"""What survey, place and accuracy share: the sensors that were named, their certificates, corrections that count."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from soakwitness.cli.options.common import WrongUse
from soakwitness.cli.options.entering import open_book
from soakwitness.cli.options.screen import say

if TYPE_CHECKING:
    from soakwitness.analysis.calibration.correcting.correction import Correction
    from soakwitness.analysis.calibration.measured_pairs.reference import Reference
    from soakwitness.analysis.record.run import Run
    from soakwitness.firmware_bridge.common.units import Unit
    from soakwitness.firmware_bridge.runfolder.contents import Column


def sensors_named(opened: Run, option: str, names: str) -> list[str]:
    """Sensors of a run by their names, with commas, or all of one role."""
    wanted = [name.strip() for name in names.split(",") if name.strip()]
    if len(wanted) == 1:
        wanted = [c.name for c in opened.columns if c.kind == "sensor" and c.role == wanted[0]] or wanted
    doubled = [name for name in wanted if wanted.count(name) > 1]
    if doubled:
        raise WrongUse(f"{option}: {doubled[0]} stands twice.")
    return wanted


def certificates_of(given: tuple[str, ...], wanted: list[str], option: str) -> dict[str, Reference]:
    """Certificates by sensor; one without a name is for all."""
    from soakwitness.analysis.calibration.measured_pairs.reference import load_certificate

    found: dict[str, Reference] = {}
    for text in given:
        name, sign, file = text.partition("=")
        if not sign:
            found |= {sensor: load_certificate(text) for sensor in wanted if sensor not in found}
        elif name not in wanted:
            raise WrongUse(f"--certificate {text}: {name} is not among {option} {','.join(wanted)}.")
        else:
            found[name] = load_certificate(file)
    return found


def corrections_of(
    opened: Run, logbook: Path, unit: Unit | None, columns: Sequence[Column] | None = None
) -> dict[str, Correction]:
    """Corrections as they counted at the start of the run, U grown since; those lapsed then prove nothing and are said.

    ``columns``: the sensors asked for, else all of the run.
    """
    from soakwitness.analysis.logbook.copies import DATABASE
    from soakwitness.analysis.record.moments import local_day
    from soakwitness.analysis.run_inputs.corrections_in_force import corrections_for
    from soakwitness.cli.verdicts.verified import take_in

    if not (logbook / DATABASE).exists():
        return {}
    take_in(logbook, opened)  # U grows by hours hot, so every run since counts
    with open_book(logbook) as book:
        found, refused = corrections_for(book, opened.header, columns)
    for words in refused:
        say(words.text(unit or "C"), err=True)
    return counting(found, local_day(opened.header.started_utc, opened.header.zone))


def counting(found: Mapping[str, Correction], day: str) -> dict[str, Correction]:
    """Those that count on a day; of the others it is said why they are not used."""
    for name, one in found.items():
        if one.overdue_on(day):
            say(f"{name}: the calibration of {one.done_on} is not used: {one.lapsed_by}.", err=True)
    return {name: one for name, one in found.items() if not one.overdue_on(day)}
