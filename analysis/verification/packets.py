"""The packet estimate as work temperature: low, best and high trace of one piece over the measured chamber."""

from __future__ import annotations

import numpy as np

from soakwitness.analysis.errors import NotEnoughData
from soakwitness.analysis.packet.model import PacketEstimate, estimate
from soakwitness.analysis.packet.piece import PacketModel, for_piece, generic_packet
from soakwitness.analysis.recipes.model import PacketSpec
from soakwitness.analysis.verification.edges import Readings
from soakwitness.analysis.verification.model import WorkTemperature
from soakwitness.analysis.verification.pieces import Stay
from soakwitness.analysis.verification.scene import Scene, Work, measured_work

ROOM_C = 20.0


Known = dict[tuple[PacketModel, float | None, float], PacketEstimate]


def estimated_work(
    scene: Scene, stay: Stay, packet: object, spec: PacketSpec | None, known: Known | None = None
) -> Work:
    """Estimate the work temperature of one stay.

    Parameters
    ----------
    scene : Scene
        The verification.
    stay : Stay
        The piece in the furnace.
    packet : PacketModel or None
        A measured packet; its thickness is the piece's where that is known.
    spec : PacketSpec or None
        What is known of the piece.
    known : dict, optional
        Estimates made for other stays of this run: pieces alike that went in together share one.

    Returns
    -------
    Work
        The estimate; the chamber itself where the piece went in after the last reading.
    """
    model = _model(scene, packet, spec)
    cold = stay.load_s is None and scene.recipe.load == "cold"
    start_c = float(scene.chamber.temp_c[0]) if cold and scene.chamber.temp_c[0] < 60.0 else ROOM_C
    known = {} if known is None else known
    key = (model, stay.load_s, start_c)
    if key not in known:
        chamber = scene.chamber
        try:
            known[key] = estimate(chamber.t_s, chamber.temp_c, packet=model, load_t_s=stay.load_s, start_c=start_c)
        except NotEnoughData:
            return measured_work(scene.source, scene.chamber)
    return _as_work(scene, known[key], stay)


def _model(scene: Scene, packet: object, spec: PacketSpec | None) -> PacketModel:
    if isinstance(packet, PacketModel):
        return packet if spec is None else for_piece(packet, spec, scene.recipe.steel)
    return generic_packet(spec or PacketSpec(), scene.recipe.steel)


def _as_work(scene: Scene, found: PacketEstimate, stay: Stay) -> Work:
    low, best, high = (
        Readings(found.t_s, np.asarray(temp, dtype=np.float64), 0.0, scene.chamber.period_s)
        for temp in (found.low_c, found.best_c, found.high_c)
    )

    def lag(level_c: float, since_s: float, until_s: float) -> tuple[float | None, float | None, float | None, float]:
        result = found.lag_s(level_c, since_s, until_s)
        return result.low_s, result.best_s, result.high_s, result.never_reached

    name = stay.piece or stay.charge or "packet"
    shown = WorkTemperature(
        "packet estimate", name, found.t_s, found.low_c, found.best_c, found.high_c, found.fitted, found.biot
    )
    return Work("packet estimate", low, best, high, result=shown, lag=lag, may_fail=found.fitted)
