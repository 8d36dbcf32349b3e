"""The controller: a program of ramps and holds, followed by a PID with anti-windup."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class ProgramRamp:
    """Setpoint to ``to_c`` at ``rate_c_per_h``; None: at once, so that the furnace climbs with full power."""

    to_c: float
    rate_c_per_h: float | None = None


@dataclass(frozen=True)
class ProgramHold:
    """Setpoint stays for ``hold_s``, counted by the controller's own sensor once the ramp's end is reached."""

    hold_s: float


ProgramStep = ProgramRamp | ProgramHold


class ControllerProgram:
    """The setpoint [degC] over time.

    With ``waits_for_furnace`` a ramp ends, and its hold begins, only when the control sensor is within ``within_c`` of
    its end; without, the setpoint runs its times and the furnace follows as it can.
    """

    def __init__(
        self,
        steps: tuple[ProgramStep, ...],
        *,
        start_c: float,
        waits_for_furnace: bool = True,
        within_c: float = 3.0,
    ) -> None:
        self.steps = steps
        self.waits_for_furnace = waits_for_furnace
        self.within_c = within_c
        self.setpoint_c = start_c
        self.ended_s: list[float] = []  # when each step was over
        self._in_step_s = 0.0
        self._now_s = 0.0

    @property
    def step_number(self) -> int:
        """Number of the present step from 1; 0 when the program is over."""
        return len(self.ended_s) + 1 if len(self.ended_s) < len(self.steps) else 0

    def step(self, dt_s: float, control_c: float) -> float:
        """Move on by ``dt_s``; return the setpoint."""
        self._now_s += dt_s
        if not self.step_number:
            return self.setpoint_c
        now = self.steps[self.step_number - 1]
        self._in_step_s += dt_s
        over = self._climb(now, dt_s, control_c) if isinstance(now, ProgramRamp) else self._in_step_s >= now.hold_s
        if over:
            self.ended_s.append(self._now_s)
            self._in_step_s = 0.0
        return self.setpoint_c

    def _climb(self, ramp: ProgramRamp, dt_s: float, control_c: float) -> bool:
        if ramp.rate_c_per_h is None:
            self.setpoint_c = ramp.to_c
            return abs(control_c - ramp.to_c) <= self.within_c
        span = dt_s * ramp.rate_c_per_h / 3600.0
        behind = abs(control_c - self.setpoint_c) > max(self.within_c, 25.0)
        if not (self.waits_for_furnace and behind):
            gap = ramp.to_c - self.setpoint_c
            self.setpoint_c = ramp.to_c if abs(gap) <= span + 1e-6 else self.setpoint_c + (span if gap > 0 else -span)
        arrived = not self.waits_for_furnace or abs(control_c - ramp.to_c) <= self.within_c
        return self.setpoint_c == ramp.to_c and arrived


@dataclass(frozen=True)
class PidParts:
    """Gain [1/degC], times [s]. ``setpoint_share`` is how much of the setpoint's change the derivative sees."""

    gain_per_c: float = 0.08
    integral_s: float = 300.0
    derivative_s: float = 30.0
    filter_s: float = 5.0
    setpoint_share: float = 0.73


class Pid:
    """Output 0 to 1. The integral stands still while the output is at its end and would only go further."""

    def __init__(self, parts: PidParts | None = None) -> None:
        self.parts = parts or PidParts()
        self._integral = 0.0
        self._derivative = 0.0
        self._last: float | None = None

    def step(self, dt_s: float, setpoint_c: float, control_c: float) -> float:
        """Move on by ``dt_s``; return the output."""
        p = self.parts
        error = setpoint_c - control_c
        slope_of = p.setpoint_share * setpoint_c - control_c
        slope = 0.0 if self._last is None else (slope_of - self._last) / dt_s
        self._last = slope_of
        self._derivative += (p.gain_per_c * p.derivative_s * slope - self._derivative) * dt_s / (p.filter_s + dt_s)
        wanted = p.gain_per_c * error + self._integral + self._derivative
        output = min(1.0, max(0.0, wanted))
        if wanted == output or (wanted - output) * error < 0.0:
            self._integral += p.gain_per_c * error * dt_s / p.integral_s
        return output
