"""Where a sensor, signal or contact stands in what the instrument sends, checked against the link."""

from __future__ import annotations

import re

from soakwitness.firmware_bridge.common.tables import Table
from soakwitness.firmware_bridge.furnace.sensors_and_links import LineSource, LinkSettings, ModbusSource

NUMBER_FORMATS = ("int16", "uint16", "int32", "uint32", "float32")
_AS_SENT = " (the number sent on the wire: many manuals print it with 1, 30001 or 40001 added)"


class SourceReader:
    """Reads sources for one link; what is not of that link's kind is an unknown key."""

    def __init__(self, link: LinkSettings) -> None:
        speaks = link.settings.get("speaks", "modbus") if link.kind == "simulated" else link.kind
        self._modbus = speaks == "modbus"
        self._groups = tuple(re.compile(link.pattern).groupindex) if link.pattern else ()

    def number_source(self, table: Table) -> ModbusSource | LineSource:
        """Read the source of a sensor or signal."""
        if not self._modbus:
            return self._line_source(table)
        number_format = table.choice("format", NUMBER_FORMATS, "int16")
        return ModbusSource(
            table=table.choice("table", ("input", "holding"), needed=True),  # type: ignore[arg-type]
            register=self._register(table, "register", 65534 if number_format.endswith("32") else 65535),
            format=number_format,  # type: ignore[arg-type]
            word_order=table.choice("word_order", ("high first", "low first"), "high first"),  # type: ignore[arg-type]
        )

    def contact_source(self, table: Table) -> ModbusSource | LineSource:
        """Read the source of a contact: a register, perhaps one bit of it, or a field of the line."""
        if not self._modbus:
            return self._line_source(table)
        return ModbusSource(
            table=table.choice("table", ("input", "holding"), needed=True),  # type: ignore[arg-type]
            register=self._register(table, "register", 65535),
            format="uint16",
            bit=table.whole("bit", 0, 15),
        )

    def fault_source(self, table: Table, source: ModbusSource | LineSource) -> ModbusSource | LineSource | None:
        """Read where the sensor's fault bits stand, None where the file names nothing."""
        if isinstance(source, ModbusSource):
            if not table.has("fault_register"):
                table.value("fault_register")
                return None
            return ModbusSource(source.table, self._register(table, "fault_register", 65535), "uint16")
        if table.has("fault_field") or table.has("fault_group"):
            return self._line_source(table, "fault_field", "fault_group")
        table.value("fault_field"), table.value("fault_group")
        return None

    def resolution(self, source: ModbusSource | LineSource, scale: float) -> float | None:
        """Give the step of a whole number from the instrument, None where the format tells nothing."""
        whole = isinstance(source, ModbusSource) and source.format != "float32"
        return abs(scale) if whole else None

    def _register(self, table: Table, key: str, last: int) -> int:
        table.required(key, f"a whole number from 0 to {last}{_AS_SENT}")
        return table.whole(key, 0, last, 0, _AS_SENT)

    def _line_source(self, table: Table, field_key: str = "field", group_key: str = "group") -> LineSource:
        if self._groups:
            return LineSource(group=self._group(table, group_key))
        table.required(field_key, "the number of the field in the line, from 1")
        return LineSource(field=table.whole(field_key, 1, 999))

    def _group(self, table: Table, key: str) -> str:
        allowed = "a named group of the pattern: " + ", ".join(self._groups)
        group = table.required(key, allowed)
        if group not in self._groups:
            table.refuse(key, f"must be {allowed}.")
        return str(group)
