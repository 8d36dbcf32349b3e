"""What is known of one run, as frozen data, and the one way to judge the run by it."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from soakwitness.analysis.recipes.recipe import Recipe
from soakwitness.analysis.run_inputs.measured_packets import UsedPacket
from soakwitness.analysis.verification.results.verification import PieceInfo, UsualDifference

if TYPE_CHECKING:
    from soakwitness.analysis.calibration.correcting.correction import Correction
    from soakwitness.analysis.calibration.correcting.place_difference import PlaceDifference
    from soakwitness.analysis.evidence.run_figures import SensorFigures
    from soakwitness.analysis.logbook.run_loads import RunLoad
    from soakwitness.analysis.logbook.treatments import Treatment
    from soakwitness.analysis.packet.piece import PacketModel
    from soakwitness.analysis.record.run import Run
    from soakwitness.analysis.verification.results.verification import Verification
    from soakwitness.firmware_bridge.common.units import Unit
    from soakwitness.firmware_bridge.common.wording import Says
    from soakwitness.firmware_bridge.runfolder.contents import RunHeader


@dataclass(frozen=True)
class RunInputs:
    """What is known of one run; plain data, so that another process can be handed it.

    ``header`` is the run's own with type and class of its thermocouples as the log book knows them. ``recipe`` None:
    there is none, or it cannot be read, and ``trouble`` says why. ``packet`` is one that was measured. ``refused`` says
    what on record is not used, and why. ``sensors``, ``corrections``, ``places`` by the sensor's name, ``treatments``
    by the piece's; ``usual`` by how much pairs of sensors differed in earlier runs. ``seal_seen``: the log book knows
    the seal; ``seal_doubt`` says what it knows against it. ``load``: what was said of all
    that the run held.
    """

    folder: Path
    header: RunHeader
    recipe: Recipe | None = None
    trouble: str | None = None
    pieces: tuple[PieceInfo, ...] = ()
    corrections: Mapping[str, Correction] = field(default_factory=dict)
    places: Mapping[str, PlaceDifference] = field(default_factory=dict)
    packet: UsedPacket | None = None
    refused: tuple[Says, ...] = ()
    sensors: Mapping[str, SensorFigures] = field(default_factory=dict)
    treatments: Mapping[str, tuple[Treatment, ...]] = field(default_factory=dict)
    usual: tuple[UsualDifference, ...] = ()
    seal_seen: bool = False
    seal_doubt: str | None = None
    load: RunLoad | None = None

    @property
    def model(self) -> PacketModel | None:
        """The measured packet as ``verify`` takes it."""
        return None if self.packet is None else self.packet.model

    def on_record(self, run: Run) -> Run:
        """The run with what the log book knows of its thermocouples and of its seal."""
        check = replace(run.check, seen=self.seal_seen)
        if self.seal_doubt is not None:
            first = check.first_difference or "seal.json"
            check = replace(check, intact=False, first_difference=first, doubt=self.seal_doubt)
        return replace(run, header=self.header, check=check)

    def judged(self, run: Run, only: Collection[str] | None = None) -> Verification:
        """Verify the run by all that is known of it, or for these pieces alone; there must be a recipe."""
        from soakwitness.analysis.verification.verifying import verify

        assert self.recipe is not None
        return verify(
            self.on_record(run),
            self.recipe,
            packet=self.model,
            pieces=self.pieces,
            corrections=self.corrections,
            usual=self.usual,
            places=self.places,
            only=only,
        )

    def answer(self, verification: Verification, unit: Unit = "C") -> dict[str, Any]:
        """A verification as ``verify --json`` writes it, with the packet where it rests on one."""
        from soakwitness.analysis.verification.results.report import as_json

        packet = self.packet.as_dict() if self.packet is not None and verification.by_estimate else None
        return as_json(verification, unit) | {"packet": packet}
