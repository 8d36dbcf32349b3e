"""What is known of a sensor's error, decided once a hold: a calibration in force, a stated U, the class of new wire."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING

import numpy as np

from soakwitness.analysis.recipes.recipe import Hold
from soakwitness.analysis.record.run import FloatArray
from soakwitness.analysis.verification.results.known_error import (
    Basis,
    ErrorSource,
    KnownError,
    KnownPlace,
    LapsedError,
)
from soakwitness.firmware_bridge.common.units import to_kelvin
from soakwitness.firmware_bridge.common.wording import Diff, Says, Temp
from soakwitness.firmware_bridge.runfolder.contents import Column

if TYPE_CHECKING:
    from soakwitness.analysis.calibration.correcting.correction import Correction
    from soakwitness.analysis.calibration.correcting.place_difference import PlaceDifference, PlacePoint

MARGIN_C = 25.0  # how far beyond its range a calibration still speaks, where it states no margin of its own
NOTHING = Says("no calibration and no tolerance class is on record")


@dataclass(frozen=True)
class SensorErrors:
    """What is on record of one sensor; ask ``known_at`` what that says at one hold.

    ``stated_c`` is U as stated with the run [K], ``calibration`` its newest correction and ``day`` the day of the run,
    ``wire`` type and class of new wire with ``instrument_c``, the instrument's own U [K]. ``place`` is what the work's
    place has more or less than the sensor's.
    """

    stated_c: float | None = None
    calibration: Correction | None = None
    day: str = ""
    wire: tuple[str, str] | None = None
    instrument_c: float | None = None
    place: PlaceDifference | None = None

    @property
    def overdue(self) -> bool:
        """Whether the calibration has lapsed on the day of the run."""
        return self.calibration is not None and self.calibration.overdue_on(self.day)

    def known_at(self, hold: Hold, decide_on: Basis | None = None) -> KnownError:
        """What is known of the sensor at one hold, and what the verdict there rests on."""
        calibrated = self._calibrated(hold)
        lapsed = calibrated if self.overdue else None
        in_force = None if self.overdue else calibrated
        source, expanded_c, says = self._uncertainty(hold, in_force)
        known = source in ("calibration", "stated")
        bare = KnownError(
            basis=decide_on or ("true temperature" if known else "reading"),
            correction_c=in_force[0] if in_force else 0.0,
            expanded_c=expanded_c,
            source=source,
            says=says,
            lapsed=LapsedError(lapsed[0], lapsed[1] * self._grown()) if lapsed else None,
            set_to_c=self.calibration.shown_at(hold.target_c) if in_force and self.calibration else None,
        )
        return bare if decide_on == "reading" else self._at_the_work(bare, hold, in_force, decide_on)

    def _at_the_work(
        self, bare: KnownError, hold: Hold, in_force: tuple[float, float] | None, decide_on: Basis | None
    ) -> KnownError:
        """The same with the place difference that speaks for the hold: applied after the correction, named apart."""
        point = None if self.place is None else self.place.at(hold.target_c)
        if point is None:
            return bare if self.place is None else replace(bare, says=_without_place(bare.says, hold))
        if point.overdue_on(self.day):
            return _with_lapsed_place(bare, point, in_force, self.day)
        place = KnownPlace(point.difference_c, point.expanded_c, point.says, point.holds_error)
        if point.holds_error:
            return replace(
                bare,
                basis=decide_on or "true temperature",
                correction_c=point.difference_c,
                expanded_c=point.expanded_c,
                source="place difference",
                says=Says.of("{place}; the sensor's own error is in it", place=point.says),
                lapsed=None,
                set_to_c=hold.target_c - point.difference_c,
                place=place,
            )
        u_c, lapsed = bare.expanded_c, bare.lapsed
        at_sensor_c = hold.target_c - point.difference_c
        calibration = self.calibration if in_force else None
        if u_c is not None:
            u_c = point.with_calibration(in_force[0], u_c) if in_force else math.hypot(u_c, point.expanded_c)
        if lapsed is not None:
            lapsed_u_c = point.with_calibration(lapsed.correction_c, lapsed.expanded_c)
            lapsed = LapsedError(lapsed.correction_c + point.difference_c, lapsed_u_c)
        return replace(
            bare,
            correction_c=bare.correction_c + point.difference_c,
            expanded_c=u_c,
            says=Says.of("{says}; {place}", says=bare.says, place=point.says),
            lapsed=lapsed,
            set_to_c=at_sensor_c if calibration is None else calibration.shown_at(at_sensor_c),
            place=place,
        )

    def added_c(self, temp_c: FloatArray) -> FloatArray:
        """What calibration in force and place add to readings [K, degC], nothing beyond their reach; shape (n,)."""
        correction = self.calibration
        added: FloatArray = np.zeros_like(temp_c)
        if correction is not None and not self.overdue:
            reaches = (temp_c >= correction.low_c - MARGIN_C) & (temp_c <= correction.high_c + MARGIN_C)
            added = np.where(reaches, correction.correction_c(temp_c), 0.0)
        return added if self.place is None else self.place.added_to(temp_c, added, self.day)

    def reach_c(self, holds: Sequence[Hold]) -> float:
        """How far beside its band a level can still be a hold: the sensor's error may have put it there [K]."""
        return max(((self.known_at(h).expanded_c or 0.0) + max(h.above_c, h.below_c) for h in holds), default=0.0)

    def _calibrated(self, hold: Hold) -> tuple[float, float] | None:
        """Correction and U [K] of the calibration at a hold; None where it does not reach target and both edges."""
        correction = self.calibration
        if correction is None:
            return None
        low, high = correction.low_c - MARGIN_C, correction.high_c + MARGIN_C
        if not all(low <= temp_c <= high for temp_c in (hold.lower_c, hold.target_c, hold.upper_c)):
            return None
        at_c = min(max(hold.target_c, correction.low_c), correction.high_c)
        return float(correction.correction_c(at_c)), float(correction.expanded_c(at_c))

    def _uncertainty(
        self, hold: Hold, calibrated: tuple[float, float] | None
    ) -> tuple[ErrorSource, float | None, Says]:
        told: list[tuple[ErrorSource, float, Says]] = []
        if self.stated_c is not None:
            told.append(("stated", self.stated_c, Says("stated with the run (k = 2)")))
        if calibrated is not None and self.calibration is not None:
            told.append(("calibration", calibrated[1], self._calibration_words(self.calibration)))
        if len(told) == 2:
            larger, smaller = sorted(told, key=lambda one: -one[1])
            says = Says.of("{larger}, larger than that of the {smaller}", larger=larger[2], smaller=smaller[2])
            return larger[0], larger[1], says
        if told:
            return told[0]
        if self.wire is not None:
            from soakwitness.analysis.thermocouples.tolerance import tolerance_c

            at_c = _finite(float(tolerance_c(*self.wire, hold.target_c)))
            wire = f"new type {self.wire[0]} wire, class {self.wire[1]}"
            if at_c is None:
                says = Says.of("{wire} has no tolerance at {target}", wire=wire, target=Temp(hold.target_c))
                return "none", None, self._with_lapse(says)
            also = "" if self.instrument_c is None else ", with the instrument's own"
            both = math.hypot(at_c, self.instrument_c or 0.0)
            return "tolerance class", both, self._with_lapse(Says(f"tolerance of {wire}{also}"))
        return "none", None, self._with_lapse(self._nothing(hold))

    def _calibration_words(self, calibration: Correction) -> Says:
        words = f"calibration of {calibration.done_on}"
        if calibration.ageing is None:
            return Says(words)
        return Says.of("{words}, {ageing}", words=words, ageing=calibration.ageing)

    def _nothing(self, hold: Hold) -> Says:
        if self.calibration is None or self.overdue:
            return NOTHING if self.calibration is None else Says("")
        return Says.of(
            "nothing is known of it at {target}: the calibration of {day} goes from {low} to {high}",
            target=Temp(hold.target_c),
            day=self.calibration.done_on,
            low=Temp(self.calibration.low_c),
            high=Temp(self.calibration.high_c),
        )

    def _with_lapse(self, says: Says) -> Says:
        if not self.overdue or self.calibration is None:
            return says
        late = f"calibration of {self.calibration.done_on}, {self.calibration.lapsed_by}"
        return Says.of("{late}; {says}", late=late, says=says) if says.template else Says(late)

    def _grown(self) -> float:
        """Factor on U of a lapsed calibration: doubled when it is as late again as it was to last (assumption)."""
        assert self.calibration is not None
        done, due = date.fromisoformat(self.calibration.done_on), date.fromisoformat(self.calibration.due_on or "")
        late = (date.fromisoformat(self.day[:10]) - due).days
        return 1.0 + max(late, 0) / max((due - done).days, 1)


def errors_of(
    column: Column | None,
    corrections: Mapping[str, Correction],
    day: str,
    places: Mapping[str, PlaceDifference] | None = None,
) -> SensorErrors:
    """What run and log book say of one sensor, its uncertainties (k = 2) in kelvin; ``day`` is the run's local day.

    The instrument's own uncertainty belongs to the class of the wire alone: a stated U is that of the reading, and a
    calibration was made through the instrument.
    """
    if column is None:
        return SensorErrors(day=day)
    return SensorErrors(
        stated_c=_kelvin(column.expanded_uncertainty, column),
        calibration=corrections.get(column.name),
        day=day,
        wire=_wire(column),
        instrument_c=_kelvin(column.instrument_uncertainty, column),
        place=(places or {}).get(column.name),
    )


def _without_place(says: Says, hold: Hold) -> Says:
    return Says.of("{says}; its place difference is not known at {target}", says=says, target=Temp(hold.target_c))


def _with_lapsed_place(
    bare: KnownError, point: PlacePoint, in_force: tuple[float, float] | None, day: str
) -> KnownError:
    """An overdue place difference earns no pass and excuses no failure, as an overdue calibration does."""
    before = bare.lapsed or (LapsedError(*in_force) if in_force else None)
    u_c = point.expanded_c if before is None else point.with_calibration(before.correction_c, before.expanded_c)
    done, due = date.fromisoformat(point.done_on), date.fromisoformat(point.due_on or day[:10])
    grown = 1.0 + max((date.fromisoformat(day[:10]) - due).days, 0) / max((due - done).days, 1)
    says = Says.of("{says}; {place}, overdue since {due}", says=bare.says, place=point.says, due=point.due_on or "")
    correction_c = 0.0 if before is None or point.holds_error else before.correction_c
    return replace(bare, says=says, lapsed=LapsedError(correction_c + point.difference_c, u_c * grown, of_place=True))


def _wire(column: Column) -> tuple[str, str] | None:
    """Type and class of the wire, where they have a tolerance."""
    kind, name = column.thermocouple, column.tolerance_class
    if not kind or not name:
        return None
    from soakwitness.analysis.thermocouples.tolerance import tolerance_of

    return (kind, name) if tolerance_of(kind, name) is not None else None


def _kelvin(difference: float | None, column: Column) -> float | None:
    return None if difference is None else to_kelvin(difference, column.unit)


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def reads_words(known: KnownError, shown_c: float) -> Says | None:
    """How a person says a calibration: ``reads 1060.0, is 1053.7 ± 2.2``; None without one [degC]."""
    place = known.place
    if place is not None:
        return _reads_at_work(known, place, shown_c)
    if known.correction_c == 0.0 or known.expanded_c is None:
        return None
    true_c = shown_c + known.correction_c
    return Says.of("reads {shown}, is {true} ± {u}", shown=Temp(shown_c), true=Temp(true_c), u=Diff(known.expanded_c))


def _reads_at_work(known: KnownError, place: KnownPlace, shown_c: float) -> Says:
    """The same with a place difference, named apart: ``reads 1052.0, the work's place is at 1040.0 ± 3.0``."""
    own = Says("")
    if known.sensor_c != 0.0 and not place.holds_error and known.basis == "true temperature":
        own = Says.of("is {true}, ", true=Temp(shown_c + known.sensor_c))
    u_c = known.expanded_c if known.basis == "true temperature" else place.expanded_c
    unknown = "" if known.basis == "true temperature" else ", the sensor's own error not counted"
    return Says.of(
        "reads {shown}, {own}the work's place is at {work} ± {u} ({place}{unknown})",
        shown=Temp(shown_c),
        own=own,
        work=Temp(shown_c + known.decides_with_c),
        u=Diff(u_c or 0.0),
        place=place.says,
        unknown=unknown,
    )
