"""What the soak clock needs to know of a run, as plain data that another process gathers. Standard library only."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from soakwitness.analysis.packet.piece import PacketModel, packet_from_dict, packet_to_dict

Table = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class ClockInputs:
    """What is known of a run beside its readings.

    ``tables`` hold for each sensor its readings [degC] and what to add to them [K]. ``packets`` are those of the pieces
    by their names, ``packet`` that of a charge nobody named: of several pieces the one that lags most.
    """

    tables: Mapping[str, Table] = field(default_factory=dict)
    packets: Mapping[str, PacketModel] = field(default_factory=dict)
    packet: PacketModel | None = None

    def as_plain(self) -> dict[str, Any]:
        """The same as JSON can carry it."""
        return {
            "tables": {name: [list(row) for row in table] for name, table in self.tables.items()},
            "packets": {name: packet_to_dict(packet) for name, packet in self.packets.items()},
            "packet": None if self.packet is None else packet_to_dict(self.packet),
        }

    def corrected(self, sensor: str, temp_c: float) -> float:
        """A reading of a sensor with its correction [degC]; beyond the calibrated range that of its end."""
        table = self.tables.get(sensor, ())
        if not table or temp_c <= table[0][0]:
            return temp_c + (table[0][1] if table else 0.0)
        for (low, low_k), (high, high_k) in zip(table, table[1:], strict=False):
            if temp_c <= high:
                return temp_c + low_k + (high_k - low_k) * (temp_c - low) / (high - low)
        return temp_c + table[-1][1]


def clock_inputs_from(said: object) -> ClockInputs | None:
    """What ``as_plain`` made; None where something else came."""
    try:
        data: Mapping[str, Any] = said  # type: ignore[assignment]
        return ClockInputs(
            {str(n): tuple((float(a), float(b)) for a, b in table) for n, table in data["tables"].items()},
            {str(n): packet_from_dict(packet) for n, packet in data["packets"].items()},
            None if data["packet"] is None else packet_from_dict(data["packet"]),
        )
    except (KeyError, ValueError, TypeError, AttributeError):
        return None
