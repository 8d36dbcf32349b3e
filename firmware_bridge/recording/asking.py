"""What the controller asks for: its setpoint and its output, a minute at a time. Pure: fed with readings."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

from soakwitness.firmware_bridge.recording.trail import HALF_HOUR_S, MINUTE_S

ASKS_C = 15.0
RAISED_C = 20.0
OFF_BELOW, FULL_OUTPUT = 1.0, 50.0  # %: nothing comes out; with this no furnace stays as it is
TRICKLES_S = 1200.0
FOLLOWED = "the setpoint is followed"
RAISED = "the setpoint was raised"
ON = "the output is on"


@dataclass(frozen=True)
class AskedFor:
    """What the controller asked for, up to a moment."""

    t_s: float
    setpoint_c: float | None
    output: float | None


class Asking:
    """Follows one controller for half an hour.

    ``on``: output from which it heats [%]. ``warm_c``: a setpoint below asks for no heat. ``works_s``: so long a high
    output must last to be heat whatever the sensors show.
    """

    def __init__(self, *, on: float, warm_c: float, works_s: float) -> None:
        self._on = on
        self._warm_c = warm_c
        self._works_s = works_s
        self._minutes: deque[AskedFor] = deque()
        self._outputs: list[float] = []
        self._setpoint_c: float | None = None
        self._has_asked = False

    def read(self, setpoint_c: float | None, output: float | None) -> None:
        """Take one reading."""
        self._outputs += [] if output is None else [output]
        self._setpoint_c = setpoint_c if setpoint_c is not None else self._setpoint_c

    def close_minute(self, t_s: float) -> None:
        """Make a minute of the readings since the last one."""
        self._minutes.append(AskedFor(t_s, self._setpoint_c, mean_of(self._outputs)))
        self._has_asked = self._has_asked or (self._setpoint_c or 0.0) >= self._warm_c
        self._setpoint_c, self._outputs = None, []
        while self._minutes[0].t_s < t_s - HALF_HOUR_S:
            self._minutes.popleft()

    def stand_still(self) -> None:
        """Nothing heats: what its setpoint asked for is over."""
        self._has_asked = False

    @property
    def now(self) -> AskedFor:
        """The last minute."""
        return self._minutes[-1]

    @property
    def is_on(self) -> bool:
        """Whether the output is on now."""
        return self.now.output is not None and self.now.output >= self._on

    @property
    def stands_still(self) -> bool:
        """Whether nobody touched the setpoint."""
        return len(set(self.setpoints())) == 1

    @property
    def let_go(self) -> bool:
        """Whether its setpoint asked for heat and asks for none now: its program is over, which no power cut does."""
        return self._has_asked and self.now.setpoint_c is not None and self.now.setpoint_c < self._warm_c

    def setpoints(self) -> list[float]:
        """Setpoints of the last half hour, oldest first."""
        return [asked.setpoint_c for asked in self._minutes if asked.setpoint_c is not None]

    def outputs(self, within_s: float = HALF_HOUR_S) -> list[float]:
        """Outputs of the last minutes, oldest first."""
        from_s = self.now.t_s - within_s
        return [asked.output for asked in self._minutes if asked.output is not None and asked.t_s >= from_s]

    def heat(self, temp_c: float) -> str | None:
        """How it asks for heat where it is so warm: its output is on, or its setpoint was raised or is followed."""
        outputs = self.outputs(3 * MINUTE_S)
        if outputs:
            return ON if sum(outputs) / len(outputs) >= self._on else None
        setpoint_c = self.now.setpoint_c
        if setpoint_c is None or setpoint_c < max(self._warm_c, temp_c - ASKS_C):
            return None
        if setpoint_c >= min(self.setpoints()) + RAISED_C:
            return RAISED
        return FOLLOWED if setpoint_c <= temp_c + ASKS_C else None

    def works(self) -> bool:
        """Whether the output was high for so long, or on while a program ran: it heats, whatever its sensors show."""
        outputs = self.outputs(self._works_s)
        seen = self.now.t_s - self._minutes[0].t_s >= self._works_s
        return seen and len(outputs) >= 3 and min(outputs) >= (self._on if self.moves_setpoint() else FULL_OUTPUT)

    def trickles(self) -> bool:
        """Whether something, however little, came out for twenty minutes on end."""
        outputs = self.outputs(TRICKLES_S)
        seen = self.now.t_s - self._minutes[0].t_s >= TRICKLES_S
        return seen and len(outputs) >= 3 and min(outputs) >= OFF_BELOW

    def moves_setpoint(self) -> bool:
        """Whether a program runs: the setpoint goes on and on."""
        setpoints = self.setpoints()
        return len(set(setpoints)) >= 3 and setpoints[-1] >= self._warm_c


def mean_of(values: list[float]) -> float | None:
    """Mean, None of nothing."""
    return sum(values) / len(values) if values else None
