"""Whether a certificate is that of the reference it is used for, and still says something of it."""

from __future__ import annotations

from datetime import date

from soakwitness.analysis.calibration.measured_pairs.reference import Reference
from soakwitness.analysis.errors import ContradictionError
from soakwitness.firmware_bridge.runfolder.contents import Column

MOST_DAYS = 730  # after so long a certificate counts only with the drift that is stated since; common practice


def check_certificate(certificate: Reference, column: Column | None, done_on: str | None) -> None:
    """Refuse a certificate of another thermocouple, of a later day, or too old to say anything without a drift.

    ``column``: what the run says of the reference; ``done_on``: local day of the calibration.
    """
    name = f"{certificate.says}"
    if column is not None:
        _check_type(certificate, column, name)
        _check_serial(certificate, column, name)
    if done_on is None or not certificate.day:
        return
    if certificate.day > done_on:
        raise ContradictionError(
            f"the {name} is of a later day than the calibration, {done_on}. Give the certificate that was in force "
            "then, or the right --date."
        )
    days = (date.fromisoformat(done_on) - date.fromisoformat(certificate.day)).days
    if days > MOST_DAYS and certificate.drift_c <= 0.0:
        raise ContradictionError(
            f"the {name} is {days} days old, {days - MOST_DAYS} more than the {MOST_DAYS} for which it counts by "
            "itself. Have the reference calibrated, or state in the file what it may have drifted: drift = 1.0"
        )


def _check_type(certificate: Reference, column: Column, name: str) -> None:
    if certificate.thermocouple and column.thermocouple and certificate.thermocouple != column.thermocouple:
        raise ContradictionError(
            f"the {name} is for type {certificate.thermocouple}, but {column.name} is type {column.thermocouple} in "
            "the run. Give the certificate of that thermocouple, or see which of the two is named wrongly."
        )


def _check_serial(certificate: Reference, column: Column, name: str) -> None:
    if certificate.serial and column.serial and certificate.serial.casefold() != column.serial.casefold():
        raise ContradictionError(
            f"the {name} is for serial {certificate.serial}, but {column.name} has serial {column.serial} in the run. "
            "Give the certificate of that thermocouple, or see which of the two is named wrongly."
        )
