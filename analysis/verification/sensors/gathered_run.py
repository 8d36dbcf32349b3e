"""What one run and its sensors say of every hold of a recipe, as frozen data: what is measured and judged."""

from __future__ import annotations

from dataclasses import dataclass

from soakwitness.analysis.recipes.recipe import Hold, Recipe
from soakwitness.analysis.record.run import Run
from soakwitness.analysis.verification.holds.placed_sensors import DecidingSensor
from soakwitness.analysis.verification.inputs.sensor_choice import StandsIn
from soakwitness.analysis.verification.inputs.stays import Stay
from soakwitness.analysis.verification.inputs.uncertain_gaps import UncertainGap
from soakwitness.analysis.verification.measuring.dips import OwnCooling
from soakwitness.analysis.verification.measuring.intervals import Allowed
from soakwitness.analysis.verification.measuring.too_hot import Limit
from soakwitness.analysis.verification.results.known_error import KnownError
from soakwitness.analysis.verification.results.verification import UsualDifference
from soakwitness.analysis.verification.rules.edges import Edges
from soakwitness.analysis.verification.sensors.hold_on_trace import HoldOnTrace
from soakwitness.analysis.verification.sensors.work import Work
from soakwitness.firmware_bridge.common.wording import Says
from soakwitness.firmware_bridge.marks.questions import Question


@dataclass(frozen=True)
class WorkInHold:
    """One stay by one work temperature, and the hold on its sensor: as read, with its calibration, with an overdue one.

    ``placed``: as read and with the place difference alone, where one is known.
    ``asks_lapsed``: an overdue calibration has a say (``lapsed`` is None then where the hold is not there with it).
    """

    stay: Stay
    work: Work
    known: KnownError
    read: HoldOnTrace | None
    true: HoldOnTrace | None
    placed: HoldOnTrace | None
    lapsed: HoldOnTrace | None
    asks_lapsed: bool

    @property
    def deciding(self) -> HoldOnTrace | None:
        """The hold on the basis that the verdict rests on."""
        if self.known.basis == "true temperature":
            return self.true
        return self.read if self.known.place is None else self.placed


@dataclass(frozen=True)
class MissingInHold:
    """One stay by one work temperature where the hold is not there: the limits that count all the same."""

    stay: Stay
    work: Work
    known: KnownError
    correction_c: float
    limits: tuple[Limit, ...]
    allowed: Allowed | None


@dataclass(frozen=True)
class StayInHold:
    """One stay that a hold is asked for: which of the hold's works tell of it."""

    stay: Stay
    works: tuple[int, ...]


@dataclass(frozen=True)
class GatheredHold:
    """One hold of the recipe, by its ``number`` among the holds: on the chamber, and by every work that tells of it.

    ``known`` is what is known of the chamber there. ``works`` stand once: pieces alike that went in and out together
    share one. ``alone``: every charge went in later, so nothing was in the furnace then. ``missing`` are the works of a
    hold that the chamber does not have; ``control_edges`` its edges there, where it was in the band.
    """

    number: int
    hold: Hold
    known: KnownError
    chamber: HoldOnTrace | None
    control_edges: Edges | None = None
    alone: bool = False
    works: tuple[WorkInHold, ...] = ()
    stays: tuple[StayInHold, ...] = ()
    missing: tuple[MissingInHold, ...] = ()

    @property
    def there(self) -> bool:
        """Whether any work that tells of it has such a hold."""
        return any(one.deciding is not None for one in self.works)


@dataclass(frozen=True)
class GatheredRun:
    """One run and its recipe: the chamber's sensor and the load sensors, the stays of its pieces, every hold.

    ``chamber`` is what the steps were found on; ``estimates`` are the packet estimates by stay, where one was needed
    and no load sensor is there. ``doors_s`` are moments at which a door was open: marks and contacts; ``questions``
    what the marks leave to be asked; ``stands_in``: the chamber's sensor took over from one that broke.
    ``unknown_beside``: what is not known of packets side by side, where an estimate was made of one.
    ``other_unit``: what the holds look like in the other unit, where one is not there and more of them stand there.
    """

    record: Run
    recipe: Recipe
    chamber: DecidingSensor
    loads: tuple[DecidingSensor, ...]
    stays: tuple[Stay, ...]
    holds: tuple[GatheredHold, ...]
    estimates: tuple[Work | None, ...]
    cooling: OwnCooling
    doors_s: tuple[float, ...]
    usual: tuple[UsualDifference, ...]
    questions: tuple[Question, ...]
    stands_in: StandsIn | None
    uncertain: tuple[UncertainGap, ...]
    went_on: bool
    unknown_beside: Says | None
    other_unit: Says | None

    @property
    def end_s(self) -> float:
        """The chamber's last reading [s]."""
        return self.chamber.last_s

    @property
    def cold_treated(self) -> bool:
        """Whether a cold treatment was entered, done or left out, for every piece that is known to be in the run."""
        known = [stay.info for stay in self.stays if stay.info is not None]
        return bool(known) and all("cold treatment" in (*info.treated, *info.left_out) for info in known)

    @property
    def not_cold_treated(self) -> tuple[str, ...]:
        """Pieces whose cold treatment was entered as not done."""
        known = [stay.info for stay in self.stays if stay.info is not None]
        return tuple(dict.fromkeys(info.id for info in known if "cold treatment" in info.left_out))

    @property
    def sensors(self) -> tuple[DecidingSensor, ...]:
        """All that can decide."""
        return (self.chamber, *self.loads)

    def known(self, sensor: DecidingSensor, number: int) -> KnownError:
        """What is known of a sensor at a hold."""
        return sensor.errors.known_at(self.recipe.holds[number], self.recipe.decide_on)
