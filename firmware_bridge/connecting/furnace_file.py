"""Furnace files: a person's TOML text into ``furnace.model``, every mistake answered with its place.

Temperatures in ``[limits]`` and ``[alarm]`` are in the file's unit on paper and in degrees Celsius in the model.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from pathlib import Path

from soakwitness.firmware_bridge.common import tables
from soakwitness.firmware_bridge.common.tables import Table, shown
from soakwitness.firmware_bridge.common.units import Unit, to_celsius, to_kelvin
from soakwitness.firmware_bridge.errors import FurnaceFileError
from soakwitness.firmware_bridge.furnace.link_keys import LINK_KINDS, link_settings
from soakwitness.firmware_bridge.furnace.post_address import why_no_address
from soakwitness.firmware_bridge.furnace.rack import read_rack
from soakwitness.firmware_bridge.furnace.register_and_field_keys import SourceReader
from soakwitness.firmware_bridge.furnace.sensors_and_links import (
    ROLES,
    Alarm,
    Contact,
    Furnace,
    Limits,
    LinkKind,
    Sensor,
    Signal,
)
from soakwitness.firmware_bridge.furnace.templates import TEMPLATES

THERMOCOUPLES = ("B", "E", "J", "K", "N", "R", "S", "T")
TOLERANCE_CLASSES = ("1", "2", "special", "standard")
MEANINGS = ("load", "pull", "plates", "hand-warm", "door", "note", "next")
_TABLES = ("link", "sample", "limits", "alarm")
_ARRAYS = ("sensor", "signal", "contact")
_NAME = re.compile(r"[^\W\d_][\w .-]{0,39}")
_ADDRESS = 'an address such as "https://shed.example/alarms"'
_COMMAND = '["aplay", "/home/smith/bell.wav"]'
_TAKEN = ("t_s", "utc", "crc")


def load_furnace(path: Path | str) -> Furnace:
    """Read and check a furnace file; raises FurnaceFileError."""
    make = f"Make a furnace file with: soakwitness furnace new {path}"
    return parse_furnace(tables.read_file(path, FurnaceFileError, kind="a furnace file", make=make)[1], str(path))


def parse_furnace(text: str, source: str) -> Furnace:
    """Check the text of a furnace file; ``source`` is its name in messages. Raises FurnaceFileError."""
    text = text.replace("\r\n", "\n")
    top = tables.parse(text, source, FurnaceFileError, hint="Texts need quotes, numbers need none.")
    if top.has("step"):
        raise FurnaceFileError(
            f"{source}: this is a recipe, no furnace file. Check it with: soakwitness recipe check {source}"
        )
    return _furnace(top)


def template(link: LinkKind, **values: str) -> str:
    """Return a commented furnace file for that kind of link, which itself passes the parser.

    ``values`` replace what the template says for ``name``, ``unit`` and keys of ``[link]`` (written as in TOML).
    """
    lines = TEMPLATES[link].splitlines()
    for key, value in values.items():
        at = next(i for i, line in enumerate(lines) if re.match(rf"#?\s*{key} = ", line))
        comment = re.search(r"\s{2,}(#.*)$", lines[at])
        lines[at] = f"{f'{key} = {value}':<31} {comment[1]}" if comment else f"{key} = {value}"
    return "\n".join(lines) + "\n"


def _furnace(top: Table) -> Furnace:
    top.required("name", "the furnace's name, in quotes")
    name = top.text("name")
    assert name is not None
    unit = top.unit(needed=True)
    single = {key: top.table(key) or Table(top.file, (key,), {}) for key in _TABLES}
    arrays = {key: top.tables(key) for key in _ARRAYS}
    rack = read_rack(top.table("rack"))
    top.finish()
    if not top.has("link"):
        top.refuse("link", f"is missing; it needs a table [link] with kind = one of {', '.join(LINK_KINDS)}.")
    link = link_settings(single["link"])
    if link.kind == "simulated":
        from soakwitness.firmware_bridge.simulated.settings import read_settings

        read_settings(link.settings, unit=unit, source=top.file.name, text=top.file.text)
    reader = SourceReader(link)
    sensors = tuple(_sensor(table, reader) for table in arrays["sensor"])
    if not sensors:
        top.refuse("sensor", "is missing; it needs at least one table [[sensor]].")
    signals = tuple(_signal(table, reader) for table in arrays["signal"])
    contacts = tuple(_contact(table, reader) for table in arrays["contact"])
    _check_names(arrays, [*sensors, *signals, *contacts])
    for table, sensor in zip(arrays["sensor"], sensors, strict=True):
        others = [other.name for other in sensors if other.name != sensor.name and other.linear_uv_per_c is None]
        if sensor.cold_junction is not None and sensor.cold_junction not in others:
            table.refuse(
                "cold_junction", f"must be the name of another sensor: {', '.join(others) or 'there is none'}."
            )
    every_s = single["sample"].number("every_s", 1.0, low=0.05, high=3600.0)
    limits, alarm = _limits(single["limits"], unit), _alarm(single["alarm"], unit)
    for table in (single["sample"], single["limits"], single["alarm"]):
        table.finish()
    return Furnace(
        name=name,
        unit=unit,
        link=link,
        every_s=every_s,
        sensors=sensors,
        signals=signals,
        contacts=contacts,
        limits=limits,
        alarm=alarm,
        rack=rack,
        text=top.file.text,
        source=top.file.name,
    )


def _sensor(table: Table, reader: SourceReader) -> Sensor:
    role = table.choice("role", ROLES, needed=True)
    source = reader.number_source(table)
    scale = table.number("scale", 1.0)
    if scale == 0:
        table.refuse("scale", "must not be 0; every reading would be 0.")
    if table.has("thickness_mm") and role != "load":
        table.refuse("thickness_mm", 'only a sensor with role = "load" sits in a dummy piece of known thickness.')
    sensor = Sensor(
        name=_name(table),
        role=role,  # type: ignore[arg-type]
        source=source,
        scale=scale,
        offset=table.number("offset", 0.0),
        fault_values=table.numbers("fault_values"),
        resolution=table.number("resolution", reader.resolution(source, scale), low=1e-6, high=100.0),
        thermocouple=table.word_or_number("thermocouple", THERMOCOUPLES),
        tolerance_class=table.word_or_number("tolerance_class", TOLERANCE_CLASSES),
        expanded_uncertainty=table.number("expanded_uncertainty", low=0.0, high=200.0),
        instrument_uncertainty=table.number("instrument_uncertainty", low=0.0, high=200.0),
        serial=table.text("serial"),
        channel=table.text("channel"),
        position=table.text("position"),
        linear_uv_per_c=table.number("linear_uv_per_c", low=1.0, high=100.0),
        cold_junction=table.text("cold_junction"),
        input_offset=table.number("input_offset"),
        thickness_mm=table.number("thickness_mm", low=0.1, high=100.0),
        fault_source=reader.fault_source(table, source),
        fault_words=table.words("fault_words", '["open circuit", "short to ground"]'),
    )
    table.finish()
    if sensor.linear_uv_per_c is not None:
        table.required("thermocouple", "the letter of the wire's type, whose curve the converter took for a line")
        table.required("cold_junction", "the name of the sensor with the converter's own temperature")
    return sensor


def _signal(table: Table, reader: SourceReader) -> Signal:
    signal = Signal(
        name=_name(table),
        source=reader.number_source(table),
        scale=table.number("scale", 1.0),
        offset=table.number("offset", 0.0),
        fault_values=table.numbers("fault_values"),
    )
    table.finish()
    return signal


def _contact(table: Table, reader: SourceReader) -> Contact:
    bit = table.has("bit")
    contact = Contact(
        name=_name(table),
        source=reader.contact_source(table),
        means=table.choice("means", MEANINGS, "door"),
        closed_is=table.whole("closed_is", 0, 1 if bit else 65535, 1, " for one bit" if bit else ""),
    )
    table.finish()
    return contact


def _name(table: Table) -> str:
    allowed = "a name in quotes that begins with a letter: letters, digits, blanks and _ . - (at most 40)"
    name = table.required("name", allowed)
    if not isinstance(name, str) or not _NAME.fullmatch(name) or name != name.strip():
        table.refuse("name", f"must be {allowed}.")
    if name.lower() in _TAKEN:
        table.refuse("name", "samples.csv has its own column of that name; choose another.")
    return name


def _check_names(arrays: Mapping[str, Sequence[Table]], parts: Sequence[Sensor | Signal | Contact]) -> None:
    tables = [table for key in _ARRAYS for table in arrays[key]]
    seen: dict[str, str] = {}
    for table, part in zip(tables, parts, strict=True):
        first = seen.setdefault(part.name.lower(), table.title)
        if first != table.title:
            table.refuse("name", f"is already the name of {first}; each name stands once.")


def _limits(table: Table, unit: Unit) -> Limits:
    rate = table.number("max_rate_per_s", low=0.001, high=10_000.0)
    low, high = _celsius(table, "min_temp", unit), _celsius(table, "max_temp", unit)
    if low is not None and high is not None and low >= high:
        table.refuse("max_temp", f"must be above min_temp = {shown(table.value('min_temp'))}.")
    return Limits(max_temp_c=high, min_temp_c=low, max_rate_c_per_s=to_kelvin(rate, unit))


def _alarm(table: Table, unit: Unit) -> Alarm:
    command = table.words("command", _COMMAND)
    if command and not command[0].strip():
        table.refuse("command", f"must name a program first, such as {_COMMAND}.")
    post = table.text("post", _ADDRESS)
    if post is not None and (why := why_no_address(post)) is not None:
        table.refuse("post", f"must be {_ADDRESS}: {why}.")
    return Alarm(
        post=post,
        over_c=_celsius(table, "over", unit),
        command=command,
        bell=table.flag("bell", True),
        silent_s=table.number("silent_s", 10.0, low=0.1, high=86_400.0),
    )


def _celsius(table: Table, key: str, unit: Unit) -> float | None:
    temp = table.number(key, low=-460.0, high=4000.0, unit=f"°{unit}")
    return to_celsius(temp, unit)
