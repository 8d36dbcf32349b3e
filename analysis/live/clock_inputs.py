"""What the soak clock needs to know of a run, as plain data that another process gathers. Standard library only."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any

from soakwitness.analysis.packet.piece import PacketModel, packet_from_dict, packet_to_dict
from soakwitness.analysis.verification.results.verification import PieceInfo


@dataclass(frozen=True)
class Calibrated:
    """What is known of one sensor's error.

    ``added_c`` [K] is what a calibration in force that reaches a hold says to add there, in the recipe's order, nought
    where the hold is decided as read; ``reach_c`` [K] how far beside its band a level may lie and still be a hold.
    ``place_c`` [K] is the part of that which is for the work's place.
    """

    added_c: tuple[float, ...] = ()
    reach_c: float = 0.0
    place_c: tuple[float, ...] = ()


@dataclass(frozen=True)
class ClockInputs:
    """What is known of a run beside its readings.

    ``sensors`` by their names; ``pieces`` as the log book has them. ``packets`` are those of the pieces by their names,
    ``packet`` that of a charge nobody named: of several pieces the one that lags most.
    """

    sensors: Mapping[str, Calibrated] = field(default_factory=dict)
    pieces: tuple[PieceInfo, ...] = ()
    packets: Mapping[str, PacketModel] = field(default_factory=dict)
    packet: PacketModel | None = None

    def of(self, sensor: str) -> Calibrated:
        """What is known of a sensor."""
        return self.sensors.get(sensor, Calibrated())

    def as_plain(self) -> dict[str, Any]:
        """The same as JSON can carry it."""
        return {
            "sensors": {name: asdict(one) for name, one in self.sensors.items()},
            "pieces": [asdict(piece) for piece in self.pieces],
            "packets": {name: packet_to_dict(packet) for name, packet in self.packets.items()},
            "packet": None if self.packet is None else packet_to_dict(self.packet),
        }


def _piece(said: Mapping[str, Any]) -> PieceInfo:
    """One piece; what is said of treatments is there, what was left out came later."""
    return PieceInfo(**{**said, "treated": tuple(said["treated"]), "left_out": tuple(said.get("left_out", ()))})


def clock_inputs_from(said: object) -> ClockInputs | None:
    """What ``as_plain`` made; None where something else came."""
    try:
        data: Mapping[str, Any] = said  # type: ignore[assignment]
        return ClockInputs(
            {str(name): _calibrated(one) for name, one in data["sensors"].items()},
            tuple(_piece(piece) for piece in data["pieces"]),
            {str(n): packet_from_dict(packet) for n, packet in data["packets"].items()},
            None if data["packet"] is None else packet_from_dict(data["packet"]),
        )
    except (KeyError, ValueError, TypeError, AttributeError):
        return None


def _calibrated(data: Mapping[str, Any]) -> Calibrated:
    added, place = (tuple(float(kelvin) for kelvin in data[name]) for name in ("added_c", "place_c"))
    return Calibrated(added, float(data["reach_c"]), place)
