"""What is known of the sensor that decides: its error, its place, and what an overdue calibration said."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from soakwitness.firmware_bridge.common.wording import Says

Basis = Literal["reading", "true temperature"]
ErrorSource = Literal["calibration", "stated", "place difference", "tolerance class", "none"]


@dataclass(frozen=True)
class LapsedError:
    """What an overdue calibration said: it proves nothing, and still contradicts. Both [K], U (k = 2) grown since.

    ``of_place``: it is the place difference that is overdue.
    """

    correction_c: float
    expanded_c: float
    of_place: bool = False


@dataclass(frozen=True)
class KnownPlace:
    """What the work's place has more than the sensor's, with U (k = 2) [K], and where that comes from.

    ``holds_error``: the sensor's own error is in it, and no correction besides.
    """

    difference_c: float
    expanded_c: float
    says: Says
    holds_error: bool = False


@dataclass(frozen=True)
class KnownError:
    """What is known of the deciding sensor at one hold: one shift of its whole trace, true = reading + correction - e.

    ``correction_c`` is what calibration in force and place difference say to add [K], 0 without them; ``expanded_c`` U
    (k = 2) [K], None where nothing is known; ``says`` where that comes from; ``basis`` what the hold's verdict rests
    on; ``set_to_c`` what the sensor shows at the hold's target [degC]: a controller that is set to it is truly there.
    ``place`` is the place difference in it.
    """

    basis: Basis = "reading"
    correction_c: float = 0.0
    expanded_c: float | None = None
    source: ErrorSource = "none"
    says: Says = Says("no calibration and no tolerance class is on record")
    lapsed: LapsedError | None = None
    set_to_c: float | None = None
    place: KnownPlace | None = None

    @property
    def place_c(self) -> float:
        """The place difference in the correction [K]."""
        return 0.0 if self.place is None else self.place.difference_c

    @property
    def sensor_c(self) -> float:
        """What is added for the sensor's own error, its place left out [K]; of both together, all of it."""
        return self.correction_c - (0.0 if self.place is None or self.place.holds_error else self.place.difference_c)

    @property
    def decides_with_c(self) -> float:
        """What is added to the readings that decide [K]: as read the sensor's own error stays, its place does not."""
        return self.correction_c if self.basis == "true temperature" else self.place_c
