"""``run.json``: what is written once, at the start of a run."""

from __future__ import annotations

import json
import math
from dataclasses import fields
from pathlib import Path
from typing import TYPE_CHECKING, Any

from soakwitness.firmware_bridge.errors import RunFolderError
from soakwitness.firmware_bridge.runfolder.contents import FORMAT_VERSION, Column, RunHeader
from soakwitness.firmware_bridge.runfolder.files import read_json
from soakwitness.firmware_bridge.runfolder.line_format import read_utc

if TYPE_CHECKING:
    from soakwitness.firmware_bridge.furnace.sensors_and_links import Furnace, Sensor, Signal

_COLUMN_KEYS = tuple(part.name for part in fields(Column))
_TEXTS = frozenset(part.name for part in fields(Column) if "str" in str(part.type) or "Literal" in str(part.type))


def columns_of(furnace: Furnace) -> tuple[Column, ...]:
    """Columns of ``samples.csv`` for a furnace: sensors, signals, contacts, each with what is known of it."""
    sensors = tuple(_sensor_column(sensor, furnace.unit) for sensor in furnace.sensors)
    signals = tuple(_signal_column(signal, furnace.unit) for signal in furnace.signals)
    contacts = tuple(Column(contact.name, "contact", means=contact.means) for contact in furnace.contacts)
    return (*sensors, *signals, *contacts)


def _sensor_column(sensor: Sensor, unit: str) -> Column:
    return Column(
        sensor.name,
        "sensor",
        unit,
        role=sensor.role,
        thermocouple=sensor.thermocouple,
        tolerance_class=sensor.tolerance_class,
        resolution=sensor.resolution,
        expanded_uncertainty=sensor.expanded_uncertainty,
        instrument_uncertainty=sensor.instrument_uncertainty,
        serial=sensor.serial,
        channel=sensor.channel,
        position=sensor.position,
        input_offset=sensor.input_offset,
        thickness_mm=sensor.thickness_mm,
    )


def _signal_column(signal: Signal, unit: str) -> Column:
    units = {"setpoint": unit, "output": "%"}
    return Column(signal.name, "signal", units.get(signal.name, ""))


def header_text(header: RunHeader) -> str:
    """``run.json`` as text; keys of ``header.raw`` that have no place of their own are kept."""
    recipe = None
    if header.recipe_name is not None or header.recipe_file is not None:
        recipe = {"name": header.recipe_name, "file": header.recipe_file}
    unit = next((column.unit for column in header.columns if column.kind == "sensor"), "C")
    own: dict[str, Any] = {
        "format": header.format,
        "run": header.run,
        "started_utc": header.started_utc,
        "zone": header.zone,
        "operator": header.operator,
        "software": header.software,
        "origin": header.origin,
        "furnace": {"name": header.furnace_name, "unit": unit, "file": header.furnace_file},
        "recipe": recipe,
        "sample": {"every_s": header.every_s},
        "columns": [_column_json(column) for column in header.columns],
    }
    if header.packet_file is not None:
        own["packet"] = {"name": header.packet_name, "file": header.packet_file}
    further = {key: value for key, value in header.raw.items() if key not in own}
    return json.dumps({**own, **further}, indent=1, ensure_ascii=False) + "\n"


def _column_json(column: Column) -> dict[str, Any]:
    pairs = ((name, getattr(column, name)) for name in _COLUMN_KEYS)
    return {name: value for name, value in pairs if value is not None}


def read_header(path: Path) -> RunHeader:
    """Read ``run.json`` of a run folder; unknown keys stay in ``raw``.

    Raises RunFolderError if it is missing, cannot be read, or was written in a higher major format version.
    """
    file = path / "run.json"
    try:
        found = read_json(file)
    except FileNotFoundError:
        raise RunFolderError(
            f"{path}: no run.json in it, so it is no run folder. Give a folder out of runs/ of a log book."
        ) from None
    except OSError as error:
        raise RunFolderError(f"{file} cannot be read: {error.strerror or error}.") from None
    except ValueError as error:
        raise RunFolderError(f"{file} is damaged: {error}. Take it from a copy of the log book.") from None
    return _parse(found, file)


def _parse(found: Any, file: Path) -> RunHeader:
    if not isinstance(found, dict):
        raise RunFolderError(f"{file} is damaged: it is no table of keys. Take it from a copy of the log book.")
    version = str(found.get("format", ""))
    _check_version(version, file)
    try:
        return RunHeader(
            run=str(found["run"]),
            started_utc=_moment(found["started_utc"]),
            columns=tuple(_parse_column(column) for column in found["columns"]),
            furnace_name=str(_part(found, "furnace")["name"]),
            furnace_file=_part(found, "furnace").get("file"),
            recipe_name=_part(found, "recipe").get("name"),
            recipe_file=_part(found, "recipe").get("file"),
            packet_name=_part(found, "packet").get("name"),
            packet_file=_part(found, "packet").get("file"),
            every_s=_number(_part(found, "sample").get("every_s")),
            zone=_text(found.get("zone")),
            operator=_text(found.get("operator")),
            software=str(found.get("software", "")),
            origin=str(found.get("origin", "recorded")),
            recorder_id=_part(found, "recorder").get("id"),
            recorder_counter=_part(found, "recorder").get("counter"),
            format=version,
            raw=found,
        )
    except (KeyError, TypeError, ValueError, AttributeError, OverflowError) as error:
        raise RunFolderError(f"{file} is damaged at {error}. Take it from a copy of the log book.") from None


def _check_version(version: str, file: Path) -> None:
    major = version.partition(".")[0]
    ours = FORMAT_VERSION.partition(".")[0]
    if not major.isdecimal():
        raise RunFolderError(f"{file}: format {version!r} is no version. Take it from a copy of the log book.")
    if int(major) > int(ours):
        raise RunFolderError(
            f"{file}: format {version} is newer than this soakwitness can read (up to {ours}.x). Install a newer one."
        )


def _part(found: dict[str, Any], key: str) -> dict[str, Any]:
    part = found.get(key) or {}
    if not isinstance(part, dict):
        raise ValueError(f"{key} = {part!r}")
    return part


def _moment(value: Any) -> str:
    if not math.isfinite(read_utc(str(value))):
        raise ValueError(f"started_utc = {value!r}")
    return str(value)


def _text(value: Any) -> str | None:
    return None if value is None else str(value)


def _number(value: Any) -> float | None:
    return None if value is None else float(value)


def _parse_column(found: dict[str, Any]) -> Column:
    known = {name: found[name] for name in _COLUMN_KEYS if found.get(name) is not None}
    if known.get("kind") not in ("sensor", "signal", "contact"):
        raise ValueError(f"column kind {known.get('kind')!r}")
    for name, value in known.items():
        if name in _TEXTS:
            known[name] = str(value)
        else:
            known[name] = float(value)
    return Column(**known)
