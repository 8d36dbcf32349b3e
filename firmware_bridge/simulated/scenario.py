"""What happens in a simulated run, as frozen data: program, pieces, faults."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from soakwitness.firmware_bridge.simulated.controller import PidParts, ProgramHold, ProgramRamp, ProgramStep
from soakwitness.firmware_bridge.simulated.heated_packet import PacketParts
from soakwitness.firmware_bridge.simulated.physics import FurnaceParts

LOADS = 4  # load sensors that the instrument has inputs for

FaultKind = Literal[
    "mains sag",
    "aged element",
    "relay stuck",
    "door",
    "open circuit",
    "drift",
    "offset",
    "noise",
    "stuck reading",
    "wrong type",
    "cable pulled",
    "late replies",
    "garbled replies",
]
# what: (what `size` is, its default)
FAULTS: dict[FaultKind, tuple[str, float]] = {
    "mains sag": ("share of the mains voltage that is left", 0.85),
    "aged element": ("resistance as a multiple of a new element's", 1.25),
    "relay stuck": ("output that the element gets whatever the controller says, 0 to 1", 1.0),
    "door": ("how far the door stands open, 0 to 1", 1.0),
    "open circuit": ("not used", 0.0),
    "drift": ("degrees Celsius an hour", -2.0),
    "offset": ("degrees Celsius", -5.0),
    "noise": ("standard deviation in degrees Celsius", 2.0),
    "stuck reading": ("not used", 0.0),
    "wrong type": ("not used; `set_as` names the type that the input is set to", 0.0),
    "cable pulled": ("not used", 0.0),
    "late replies": ("seconds of real time that a late reply takes", 1.5),
    "garbled replies": ("not used", 0.0),
}
LINK_FAULTS = ("cable pulled", "late replies", "garbled replies")


@dataclass(frozen=True)
class Moment:
    """A moment of furnace time: ``at_s`` after the start, or ``plus_s`` after a program step is over."""

    at_s: float = 0.0
    after_step: int | None = None
    plus_s: float = 0.0

    def seconds(self, ended_s: list[float]) -> float | None:
        """Seconds since the start; None while the step it waits for is not over."""
        if self.after_step is None:
            return self.at_s
        if len(ended_s) < self.after_step:
            return None
        return ended_s[self.after_step - 1] + self.plus_s


@dataclass(frozen=True)
class ScenarioPiece:
    """A piece in its packet. ``load`` None: it is in from the start; ``pull`` None: it stays.

    ``sensor``: a load sensor sits in it (the first such piece is load sensor 1, and so on). The door stands open for
    ``door_s`` at a hot load and at a pull; the plates close ``plates_s`` after the pull.
    """

    packet: PacketParts = PacketParts()
    load: Moment | None = None
    pull: Moment | None = None
    sensor: bool = False
    door_s: float = 15.0
    plates_s: float = 8.0


@dataclass(frozen=True)
class Fault:
    """Something wrong from ``begin`` on, for ``for_s`` (None: to the end).

    ``sensor`` is ``control``, ``recording``, ``load 1`` to ``load 4`` or ``room``; ``share`` is how many replies of a
    link fault are hit.
    """

    what: FaultKind
    begin: Moment = Moment()
    for_s: float | None = None
    size: float | None = None
    sensor: str = "control"
    share: float = 0.2
    wired: str = "K"
    set_as: str = "N"

    @property
    def amount(self) -> float:
        """``size``, or the default of this kind of fault."""
        return FAULTS[self.what][1] if self.size is None else self.size

    def lasts(self, now_s: float, ended_s: list[float]) -> float | None:
        """Seconds since it began, if it is there now."""
        begin_s = self.begin.seconds(ended_s)
        if begin_s is None or now_s < begin_s:
            return None
        since_s = now_s - begin_s
        return since_s if self.for_s is None or since_s < self.for_s else None


def _usual_program() -> tuple[ProgramStep, ...]:
    return (ProgramRamp(780.0), ProgramHold(600.0), ProgramRamp(1040.0, 400.0), ProgramHold(1500.0))


@dataclass(frozen=True)
class Scenario:
    """All that a simulated run is made from; the same scenario gives the same run.

    ``noise_c`` is the standard deviation of every reading. ``recording_offset_c`` is how far the place of the recording
    sensor is from that of the control sensor. With ``after_program`` "stay" the controller keeps its last setpoint
    until the last piece is out.
    """

    seed: int = 1
    room_c: float = 20.0
    start_c: float = 20.0
    program: tuple[ProgramStep, ...] = field(default_factory=_usual_program)
    waits_for_furnace: bool = True
    after_program: Literal["off", "stay"] = "off"
    pieces: tuple[ScenarioPiece, ...] = ()
    faults: tuple[Fault, ...] = ()
    noise_c: float = 0.05
    recording_offset_c: float = -1.5
    parts: FurnaceParts = FurnaceParts()
    pid: PidParts = PidParts()
