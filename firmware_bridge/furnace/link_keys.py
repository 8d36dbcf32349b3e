"""The table ``[link]`` of a furnace file."""

from __future__ import annotations

import re

from soakwitness.firmware_bridge.common.tables import Table
from soakwitness.firmware_bridge.furnace.sensors_and_links import LineSource, LinkSettings

LINK_KINDS = ("modbus", "lines", "simulated")
CHECKSUMS = ("none", "xor", "crc16", "crc16-modbus", "crc16-xmodem", "crc32")
_PARITIES = {"none": "N", "even": "E", "odd": "O", "N": "N", "E": "E", "O": "O"}
_PORT = 'a port in quotes, such as "/dev/serial/by-id/...", "COM3" or "socket://192.0.2.7:4001"'


def link_settings(table: Table) -> LinkSettings:
    """Check the table and return its settings."""
    kind = table.choice("kind", LINK_KINDS, needed=True)
    if kind == "simulated":
        speaks = table.choice("speaks", ("modbus", "lines"), "modbus")
        waits = {"timeout_s": _timeout(table, speaks), "silence_s": _silence(table)}
        settings = {"speaks": speaks}
        return LinkSettings(kind="simulated", port="", settings={**settings, **table.rest()}, **waits)  # type: ignore[arg-type]
    common = {
        "port": _port(table),
        "baud": table.whole("baud", 50, 4_000_000, 9600),
        "parity": _PARITIES[table.choice("parity", tuple(_PARITIES), "none")],
        "data_bits": table.whole("data_bits", 7, 8, 8),
        "stop_bits": table.whole("stop_bits", 1, 2, 1),
        "timeout_s": _timeout(table, kind),
        "dtr": table.flag("dtr", False),
        "rts": table.flag("rts", False),
    }
    more = _modbus(table) if kind == "modbus" else _lines(table)
    table.finish()
    return LinkSettings(kind=kind, **common, **more)  # type: ignore[arg-type]


def _timeout(table: Table, speaks: str) -> float:
    return table.number("timeout_s", 3.0 if speaks == "lines" else 1.0, low=0.01, high=3600.0)


def _silence(table: Table) -> float | None:
    return table.number("silence_s", low=0.0, high=60.0)


def _port(table: Table) -> str:
    table.required("port", _PORT)
    port = table.text("port", _PORT)
    assert port is not None
    if "://" in port:
        found = re.fullmatch(r"socket://([^/:\s]+|\[[0-9a-fA-F:]+\]):(\d{1,5})", port)
        if not found or not 0 < int(found[2]) < 65536:
            table.refuse("port", 'a network address is written "socket://HOST:PORT".')
    return port


def _modbus(table: Table) -> dict[str, object]:
    framing = table.choice("framing", ("rtu", "ascii"), "rtu")
    if framing == "rtu" and table.value("data_bits") == 7:
        table.refuse("data_bits", "RTU framing needs all 8 bits.")
    return {
        "framing": framing,
        "unit_id": table.whole("unit_id", 1, 247, 1),
        "silence_s": _silence(table),
        "late_reply_s": table.number("late_reply_s", 65.0, low=0.1, high=3600.0),
        "echo": table.flag("echo", False),
    }


def _lines(table: Table) -> dict[str, object]:
    pattern, separator = table.text("pattern", exact=True), table.value("separator")
    if pattern is not None and separator is not None:
        table.refuse("separator", "stands beside a pattern; give one of the two.")
    if separator is not None and (not isinstance(separator, str) or len(separator) != 1):
        table.refuse("separator", 'must be one character, such as ",".')
    groups = _groups(table, pattern) if pattern else ()
    return {
        "pattern": pattern,
        "separator": None if pattern else separator or ",",
        "decimal": _decimal(table, None if pattern else separator or ","),
        "agree_within": table.number("agree_within", low=0.0, high=1000.0),
        "checksum": table.choice("checksum", CHECKSUMS, "none"),
        "sequence": _sequence(table, groups),
    }


def _decimal(table: Table, separator: str | None) -> str | None:
    decimal = table.choice("decimal", (".", ","))
    if decimal is not None and decimal == separator:
        table.refuse("decimal", "is the separator too; give separator another character or use a pattern.")
    return decimal


def _groups(table: Table, pattern: str) -> tuple[str, ...]:
    try:
        groups = tuple(re.compile(pattern).groupindex)
    except re.error as error:
        table.refuse("pattern", f"is no regular expression: {error}. In TOML put it in single quotes.")
    if not groups:
        table.refuse("pattern", "has no named group; write (?P<work>...) for each number.")
    return groups


def _sequence(table: Table, groups: tuple[str, ...]) -> LineSource | None:
    value = table.value("sequence")
    if value is None:
        return None
    if groups:
        if value not in groups:
            table.refuse("sequence", f"must be one of {', '.join(groups)}.")
        return LineSource(group=value)
    return LineSource(field=table.whole("sequence", 1, 999))
