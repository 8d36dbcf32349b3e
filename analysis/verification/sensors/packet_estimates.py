"""The packet estimate as work temperature: low, best and high trace of one piece over the measured chamber."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from soakwitness.analysis.errors import NotEnoughData
from soakwitness.analysis.packet.piece import WARM_C, begins_c
from soakwitness.analysis.verification.holds.placed_sensors import DecidingSensor
from soakwitness.analysis.verification.inputs.doors import DOOR_NEAR_S, DOOR_S
from soakwitness.analysis.verification.inputs.readings import Readings
from soakwitness.analysis.verification.inputs.stays import Stay
from soakwitness.analysis.verification.results.verification import WorkTemperature
from soakwitness.analysis.verification.sensors.work import Work

if TYPE_CHECKING:
    from soakwitness.analysis.packet.estimate import PacketEstimate
    from soakwitness.analysis.packet.piece import PacketModel
    from soakwitness.analysis.packet.rack import Beside, Row
    from soakwitness.analysis.recipes.recipe import Recipe
WORTH_BRIDGING_C = 5.0
BACK_SHARE = 0.15


class Estimates:
    """Estimates over one chamber: pieces alike that went in together share one."""

    def __init__(self, chamber: DecidingSensor, recipe: Recipe, doors_s: Sequence[float]) -> None:
        self._chamber, self._recipe = chamber, recipe
        self._made: dict[tuple[PacketModel, Beside | None, float | None], tuple[PacketEstimate, np.ndarray]] = {}
        self._rows: dict[tuple[Row, float | None, float, bool], tuple[PacketEstimate | None, ...]] = {}
        self._bridged = bridged_doors(chamber.readings, doors_s)

    def of(self, stay: Stay, model: PacketModel, where: Beside | None = None) -> Work | None:
        """The estimate for one stay, among its neighbours; None where it went in after the last reading."""
        key = (model, where, stay.load_s)
        if key not in self._made:
            try:
                self._made[key] = self._make(model, where, stay.load_s)
            except NotEnoughData:
                return None
        return self._work(*self._made[key], stay)

    def _make(
        self, model: PacketModel, where: Beside | None, load_s: float | None
    ) -> tuple[PacketEstimate, np.ndarray]:
        """The estimate, and the hottest that the blade can have been.

        A record that begins hot, without a load mark, says nothing of the blade's start: it lies between room and
        chamber. A door that was open for a while cools the sensor more than the walls. A piece whose place is not known
        may have stood at the end of the row.
        """
        trace = self._chamber.readings
        first_c = float(trace.temp_c[0])
        begins_hot = load_s is None and self._recipe.load == "cold" and first_c >= WARM_C
        start_c = begins_c(first_c, rides=load_s is None and self._recipe.load == "cold")
        found = self._estimate(trace, model, where, load_s, start_c)
        hottest = found.high_c
        if where is not None and not where.known:
            hottest = np.maximum(hottest, self._estimate(trace, model, None, load_s, start_c).high_c)
        for chamber, begin_c in ((self._bridged, start_c), (trace, first_c if begins_hot else None)):
            if chamber is not None and begin_c is not None and (chamber is not trace or begins_hot):
                at = where if where is not None and where.known else None
                hottest = np.maximum(hottest, self._estimate(chamber, model, at, load_s, begin_c).high_c)
        return found, hottest

    def _estimate(
        self, chamber: Readings, model: PacketModel, where: Beside | None, load_s: float | None, start_c: float
    ) -> PacketEstimate:
        """One estimate; those of a whole row are made together, once."""
        from soakwitness.analysis.packet.estimate import estimate, estimate_row  # most runs have a load sensor

        if where is None or where.alone:
            return estimate(chamber.t_s, chamber.temp_c, packet=model, load_t_s=load_s, start_c=start_c)
        key = (where.row, load_s, start_c, chamber is self._bridged)
        if key not in self._rows:
            self._rows[key] = estimate_row(chamber.t_s, chamber.temp_c, row=where.row, load_t_s=load_s, start_c=start_c)
        found = self._rows[key][where.slot]
        assert found is not None
        return found

    def _work(self, found: PacketEstimate, hottest_c: np.ndarray, stay: Stay) -> Work:
        period_s = self._chamber.readings.period_s
        low, best, high = (
            Readings(found.t_s, np.asarray(temp, dtype=np.float64), 0.0, period_s)
            for temp in (found.low_c, found.best_c, hottest_c)
        )

        def lag(
            level_c: float, since_s: float, until_s: float
        ) -> tuple[float | None, float | None, float | None, float]:
            result = found.lag_s(level_c, since_s, until_s)
            return result.low_s, result.best_s, result.high_s, result.never_reached

        name = stay.piece or stay.charge or "packet"
        shown = WorkTemperature(
            "packet estimate", name, found.t_s, found.low_c, found.best_c, hottest_c, found.fitted, found.biot
        )
        return Work("packet estimate", self._chamber, low, best, high, shown, lag, fitted=found.fitted)


def bridged_doors(readings: Readings, doors_s: Sequence[float]) -> Readings | None:
    """The chamber with straight lines across dips of at most 180 s that begin near a door [s]; None without any."""
    temp_c = readings.temp_c
    for at_s in doors_s:
        ends = _dip_at(readings, at_s)
        if ends is None:
            continue
        if temp_c is readings.temp_c:
            temp_c = temp_c.copy()
        across = slice(ends[0], ends[1] + 1)
        temp_c[across] = np.interp(readings.t_s[across], readings.t_s[list(ends)], temp_c[list(ends)])
    return None if temp_c is readings.temp_c else replace(readings, temp_c=temp_c)


def _dip_at(readings: Readings, door_s: float) -> tuple[int, int] | None:
    """Readings at which a dip that begins within a minute of a door began and was back; None where there is none.

    It begins with the last reading near the hottest before it: on a level, too, where the hottest may stand anywhere.
    """
    t, y = readings.t_s, readings.temp_c
    low, high = readings.between(door_s - DOOR_NEAR_S, door_s + DOOR_NEAR_S)
    if high - low < 2:
        return None
    hottest = low + int(y[low : low + int(y[low:high].argmin()) + 1].argmax())
    top_c = float(y[hottest])
    bottom = hottest + int(y[hottest : readings.between(0.0, float(t[hottest]) + DOOR_S)[1]].argmin())
    begin = hottest + int(np.flatnonzero(y[hottest : bottom + 1] >= top_c - readings.back_c)[-1])
    if t[begin] > door_s + DOOR_NEAR_S:
        return None
    part = y[begin : readings.between(0.0, float(t[begin]) + DOOR_S)[1]]
    bottom = int(part.argmin())
    depth = top_c - float(part[bottom])
    back = np.flatnonzero(part[bottom:] >= top_c - max(readings.back_c, BACK_SHARE * depth))
    if depth < WORTH_BRIDGING_C or not back.size or not bottom:
        return None
    return begin, begin + bottom + int(back[0])
