"""What a person says about a foreign log, and layouts that keep it by name for next week's file."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Sequence
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from typing import Any, Literal

from soakwitness.analysis.errors import ImportFileError
from soakwitness.firmware_bridge.common.jsontext import from_json
from soakwitness.firmware_bridge.common.units import Unit
from soakwitness.firmware_bridge.furnace.sensors_and_links import ROLES

TimeUnit = Literal["ms", "s", "min", "h"]
SECONDS_PER: dict[str, float] = {"ms": 0.001, "s": 1.0, "min": 60.0, "h": 3600.0}
FARTHEST_S = 1e10  # about three centuries; times beyond are mistakes
UNREAD_SHARE = 0.02
LAYOUT_FOLDER = "log-layouts"
OLDER_FOLDER = "import-profiles"  # where earlier versions kept them

_KINDS: dict[str, tuple[type, ...]] = {  # of the values in a layout; of others a text or nothing
    "time": (str,), "clock_offset_s": (int, float), "unread_share": (int, float), "notice_faults": (bool,),
    "expanded_uncertainty": (int, float, type(None)),
}  # fmt: skip
_CHOICES = {"time_unit": (None, *SECONDS_PER), "unit": (None, "C", "F"), "decimal": (None, ".", ",")}


@dataclass(frozen=True)
class ColumnChoice:
    """A column of the file: a sensor with its role, or a signal (``role`` None); ``name`` is what the run calls it."""

    name: str
    column: str
    role: str | None = None


@dataclass(frozen=True)
class ImportSettings:
    """How a file is to be read.

    ``time`` and ``date`` are columns; a date is set before the time with a blank. ``clock_offset_s`` is added to the
    times; ``expanded_uncertainty`` is in ``unit``. ``time_unit`` and ``unit`` are as the columns' names say where they
    are None, else seconds and degC. Cells that are one of ``fault_values`` are no readings; others of that kind are
    looked for unless ``notice_faults`` is False. ``unread_share`` is how much of a file may be unreadable.
    """

    time: str
    columns: tuple[ColumnChoice, ...]
    date: str | None = None
    time_format: str | None = None
    time_unit: TimeUnit | None = None
    zone: str | None = None
    unit: Unit | None = None
    thermocouple: str | None = None
    tolerance_class: str | None = None
    expanded_uncertainty: float | None = None
    furnace: str | None = None
    clock_offset_s: float = 0.0
    separator: str | None = None
    decimal: str | None = None
    fault_values: tuple[float, ...] = ()
    notice_faults: bool = True
    unread_share: float = UNREAD_SHARE

    @property
    def seconds_per(self) -> float:
        """Seconds in one unit of a time that is a number [s]."""
        return SECONDS_PER[self.time_unit or "s"]


def sensor_choices(words: Sequence[str]) -> tuple[ColumnChoice, ...]:
    """Read what was said about sensors.

    ``words``: each ``ROLE=COLUMN``, or ``ROLE:NAME=COLUMN`` where a role has several sensors. Returns A sensor's name
    is its role unless one is given; a second of the same role is ``load-2`` and so on.

    Raises ImportFileError with the word and the roles there are.
    """
    choices: list[ColumnChoice] = []
    for word in words:
        left, _, column = word.partition("=")
        role, _, name = left.partition(":")
        role, name, column = role.strip(), name.strip(), column.strip()
        if not column or role not in ROLES:
            raise ImportFileError(
                f"--sensor {word!r}: write ROLE=COLUMN, such as recording=Temp1, or ROLE:NAME=COLUMN. "
                f"Roles: {', '.join(ROLES)}."
            )
        taken = {choice.name for choice in choices}
        free = next(n for k in range(1, len(words) + 2) if (n := role if k == 1 else f"{role}-{k}") not in taken)
        choices.append(ColumnChoice(name or free, column, role))
    return tuple(choices)


def signal_choices(words: Sequence[str]) -> tuple[ColumnChoice, ...]:
    """Read what was said about signals.

    Raises ImportFileError with the word.
    """
    choices = []
    for word in words:
        name, _, column = word.partition("=")
        if not name.strip() or not column.strip():
            raise ImportFileError(f"--signal {word!r}: write NAME=COLUMN, such as setpoint=Setpoint or output=Power.")
        choices.append(ColumnChoice(name.strip(), column.strip()))
    return tuple(choices)


def checked_settings(settings: ImportSettings) -> ImportSettings:
    """Refuse settings that cannot be meant.

    ``settings``: as given; ``expanded_uncertainty`` is a difference in ``unit`` [K or degF].

    Raises ImportFileError with the value and what is allowed.
    """
    if not any(choice.role for choice in settings.columns):
        raise ImportFileError("No sensor is given. Say which column is what, such as --sensor recording=Temp1.")
    names = [choice.name for choice in settings.columns]
    for name in names:
        if names.count(name) > 1:
            raise ImportFileError(
                f"The name {name!r} is given twice; write --sensor ROLE:NAME=COLUMN with other names."
            )
        if name in ("t_s", "utc", "crc") or re.search(r'[,"\x00-\x1f]', name):
            raise ImportFileError(f"The name {name!r} cannot be used: no comma or quote, and not t_s, utc or crc.")
    spread = settings.expanded_uncertainty
    if spread is not None and not 0.0 <= spread <= 200.0:
        raise ImportFileError(f"--expanded-uncertainty {spread:g}: must be from 0 to 200 °{settings.unit or 'C'}.")
    if not 0.0 <= settings.unread_share <= 1.0:
        raise ImportFileError(f"--unread {100 * settings.unread_share:g}: must be from 0 to 100 percent.")
    if not abs(settings.clock_offset_s) <= FARTHEST_S:
        raise ImportFileError(f"--clock-offset {settings.clock_offset_s:g}: must be a number of seconds.")
    return settings


def fault_choices(words: Sequence[str]) -> tuple[tuple[float, ...], bool]:
    """Read what was said about fault values.

    Raises ImportFileError with the word.
    """
    values = []
    for word in words:
        try:
            value = float(word.replace(",", "."))
        except ValueError:
            value = math.nan
        if word != "none" and not math.isfinite(value):
            raise ImportFileError(f"--fault-value {word!r}: write a number such as 1372, or none.")
        values.append(value)
    return tuple(value for value in values if math.isfinite(value)), "none" not in words


def save_layout(logbook: Path, name: str, settings: ImportSettings) -> Path:
    """Keep settings by name in the log book's folder; an older layout of this name is replaced.

    ``name``: name of the layout: letters, digits, ``-`` and ``_``.

    Raises ImportFileError if the name cannot be used or the file cannot be written.
    """
    path = _layout_path(logbook, name)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(json.dumps(asdict(settings), indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    except OSError as error:
        raise ImportFileError(f"{path}: the layout cannot be written ({error.strerror}).") from None
    return path


def load_layout(logbook: Path, name: str) -> ImportSettings:
    """Return settings kept by name.

    Raises ImportFileError if there is none of this name (the message lists those there are), or it cannot be used.
    """
    path = _layout_path(logbook, name)
    older = logbook / OLDER_FOLDER / path.name
    if not path.exists() and older.exists():
        path = older
    if not path.exists():
        there = ", ".join(sorted(p.stem for p in path.parent.glob("*.json"))) or "none yet"
        raise ImportFileError(f"No log layout {name!r} in {path.parent}. Layouts there: {there}.")
    try:
        values: dict[str, Any] = from_json(path.read_text(encoding="utf-8"))
        chosen = tuple(ColumnChoice(**choice) for choice in values.pop("columns"))
        faults = tuple(float(value) for value in values.pop("fault_values", ()))
        kept = ImportSettings(columns=chosen, fault_values=faults, **_of_known_kind(values))
    except (OSError, ValueError, TypeError, KeyError, AttributeError) as error:
        raise ImportFileError(f"{path}: the layout cannot be used ({error}). Save it anew with --remember.") from None
    return kept


def _of_known_kind(values: dict[str, Any]) -> dict[str, Any]:
    """Keys of a layout that this version knows, each with a value that it can have."""
    known = {field.name for field in fields(ImportSettings)} - {"columns", "fault_values"}
    for name in known & set(values):
        value = values[name]
        if type(value) not in _KINDS.get(name, (str, type(None))) or value not in _CHOICES.get(name, (value,)):
            raise ValueError(f"{name} = {value!r}")
    return {name: values[name] for name in known & set(values)}


def _layout_path(logbook: Path, name: str) -> Path:
    if not re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9_-]{0,60}", name):
        raise ImportFileError(f"Layout name {name!r}: use letters, digits, - and _ only.")
    return logbook / LAYOUT_FOLDER / f"{name}.json"
