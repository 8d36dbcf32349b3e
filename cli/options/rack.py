"""In which slot of the rack a packet stood, and what beside it, as options say."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from soakwitness.cli.options.common import WrongUse

if TYPE_CHECKING:
    from soakwitness.analysis.packet.piece import PacketModel
    from soakwitness.analysis.packet.rack import Beside
    from soakwitness.analysis.record.run import Run
    from soakwitness.firmware_bridge.furnace.rack import Rack


def stood_in_slot(
    runs: Sequence[Run], packet: PacketModel, *, slot: int | None, filled: str | None, rack_path: Path | None
) -> Beside | None:
    """The packet in its slot among its like; None where no slot is told: it stood alone."""
    from soakwitness.analysis.packet.rack import alike

    if slot is None:
        if filled is not None or rack_path is not None:
            raise WrongUse(
                "--filled and --rack say what stood beside the packet: say its own slot too, such as --slot 3"
            )
        return None
    if packet.heated_faces == 1:
        raise WrongUse("A packet that lies on the hearth (--heated-faces 1) stands in no slot. Leave --slot out.")
    rack = _rack(runs, rack_path)
    slots = list(range(1, rack.slots + 1)) if filled is None else _slots(filled)
    beyond = next((number for number in (slot, *slots) if not 1 <= number <= rack.slots), None)
    if beyond is not None:
        raise WrongUse(f"Slot {beyond}: the rack has {rack.slots} slots, counted from 1.")
    return alike(rack, packet, slot, slots)


def _rack(runs: Sequence[Run], rack_path: Path | None) -> Rack:
    from soakwitness.firmware_bridge.connecting.furnace_file import load_furnace
    from soakwitness.firmware_bridge.furnace.rack import rack_in

    if rack_path is not None:
        given = load_furnace(rack_path).rack
        if given is None:
            raise WrongUse(f"{rack_path}: has no [rack]. Page furnace-file of the guide shows one.")
        return given
    racks = {rack_in(run.header.furnace_file) for run in runs}
    rack = next(iter(racks)) if len(racks) == 1 else None
    if rack is None:
        raise WrongUse(
            f"{runs[0].header.run}: its furnace file has no [rack] (or several runs have different ones), so --slot "
            "cannot be placed. Name a furnace file with one: --rack FURNACE.toml"
        )
    return rack


def _slots(text: str) -> list[int]:
    """Slots as written: ``1-6``, ``1,2,5``."""
    found: list[int] = []
    for part in text.split(","):
        ends = part.strip().split("-")
        if not 1 <= len(ends) <= 2 or not all(end.strip().isdecimal() and len(end.strip()) < 4 for end in ends):
            raise WrongUse(f"--filled {text}: {part.strip()!r} is no slot. Write slots such as 1-6 or 1,2,5.")
        found += range(int(ends[0]), int(ends[-1]) + 1)
    return found
