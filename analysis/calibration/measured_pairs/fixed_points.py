"""Points of nature as a reference: ice, boiling water, freezing tin and zinc, each with its own budget and cautions.

For whoever has no reference thermocouple. They reach up to 420 degC: nothing is learnt of hardening temperatures.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from soakwitness.analysis.calibration.measured_pairs.reference import Reference, at_points
from soakwitness.analysis.calibration.uncertainty.budget import Budget, BudgetRow, combined, rectangular
from soakwitness.analysis.errors import AnalysisError
from soakwitness.firmware_bridge.common.wording import Diff, Says, Temp, difference

# IAPWS-IF97, table 34: coefficients of the saturation line.
SATURATION = (0.11670521452767e4, -0.72421316703206e6, -0.17073846940092e2, 0.12020824702470e5, -0.32325550322333e7)
SATURATION_ALSO = (0.14915108613530e2, -0.48232657361591e4, 0.40511340542057e6, -0.23855557567849, 0.65017534844798e3)
PointName = Literal["ice", "boiling", "solder", "tin", "zinc"]
ITS_90 = "ITS-90 (Preston-Thomas, Metrologia 27, 3 (1990), table 1)"
SEA_LEVEL_HPA = 1013.25
WEATHER_HPA = 20.0  # half-width of what weather does to a pressure known by altitude alone
GAUGE_HPA = 2.0  # half-width of a station's pressure at the place
HPA_PER_MPA = 1e4
ZERO_C_IN_K = 273.15
NEAR_C = 40.0  # a reading farther from its point is a slip or a fault


class FixedPointError(AnalysisError):
    """A fixed point that cannot be used: says which, why, and what to take instead."""


@dataclass(frozen=True)
class FixedPoint:
    """One point: its temperature [degC], budget rows of its realisation, how it is made, and what to beware of."""

    name: PointName
    temp_c: float
    rows: tuple[BudgetRow, ...]
    says: Says
    do: str
    beware: str
    marked: str = ""

    @property
    def standard_c(self) -> float:
        """Standard uncertainty of its realisation [K]."""
        return combined(row.contribution_c for row in self.rows)


DRY_IT = "Dry the sensor before it goes into a hot furnace or into metal."
MOLTEN = (
    "Molten metal: face shield, gloves, leather apron, dry floor; dry everything that goes in, a drop of water throws "
    "it about; ventilate; use a sheath that you can spare, and never the furnace the blades go into."
)
HALF_WIDTHS_C: dict[PointName, float] = {"ice": 0.2, "boiling": 0.3, "solder": 3.0, "tin": 1.0, "zinc": 1.5}
REFUSED = {
    "aluminium": "molten aluminium eats metal sheaths within minutes: the thermocouple is lost and the metal is dirty",
    "silver": "silver freezes about 10 °C (18 °F) low in open air, by the oxygen that it takes up: 961.8 °C needs "
    "graphite and a cover gas",
    "copper": "copper in open air freezes some 20 °C (36 °F) low, as its eutectic with its oxide",
    "lead": "lead fumes poison, and it is no better than tin: take tin",
}


def ice() -> FixedPoint:
    """Crushed ice and water."""
    return FixedPoint(
        "ice",
        0.0,
        (rectangular("ice of tap water, as stirred", HALF_WIDTHS_C["ice"]),),
        Says.of("ice point, {at}", at=Temp(0.0)),
        "Crushed ice, just covered with water, in a vacuum flask; tip 100 mm deep, stir, wait five minutes, read.",
        f"Ice floats on warmer water: ice must reach below the tip. {DRY_IT}",
    )


def boiling_water(*, pressure_hpa: float | None = None, altitude_m: float | None = None) -> FixedPoint:
    """Water that boils at the pressure of the place, or at that of its altitude in ordinary weather.

    Raises FixedPointError if neither is given, or the pressure is none of this world.
    """
    if (pressure_hpa is None) == (altitude_m is None):
        raise FixedPointError(
            "boiling water needs the pressure of the place in hPa (not reduced to sea level), or its altitude in "
            "metres; one of them: --pressure 981 or --altitude 270"
        )
    known_hpa = GAUGE_HPA if pressure_hpa is not None else WEATHER_HPA
    at_hpa = pressure_at_hpa(altitude_m or 0.0) if pressure_hpa is None else pressure_hpa
    if not 500.0 <= at_hpa <= 1100.0:
        raise FixedPointError(
            f"a pressure of {at_hpa:g} hPa is none that a workshop has (500 to 1100). Give that of the place itself, "
            "in hPa (1 inHg is 33.86 hPa)."
        )
    at_c = boiling_c(at_hpa)
    slope = (boiling_c(at_hpa + 1.0) - boiling_c(at_hpa - 1.0)) / 2.0
    how = f"{at_hpa:.0f} hPa" if altitude_m is None else f"{altitude_m:g} m above the sea"
    return FixedPoint(
        "boiling",
        at_c,
        (
            rectangular("boiling water, as boiled", HALF_WIDTHS_C["boiling"]),
            rectangular("air pressure", known_hpa, sensitivity=slope, unit="hPa"),
        ),
        Says.of("water boiling at {how}, {at}", how=how, at=Temp(at_c)),
        "Water at a rolling boil in a tall pot, lid ajar; tip in the steam just above it or 100 mm deep; read.",
        f"Steam burns. Salt or sugar raise it; a simmer is colder. {DRY_IT}",
    )


def metal(name: Literal["solder", "tin", "zinc"]) -> FixedPoint:
    """A freezing metal: the level at which it stands while it sets."""
    at_c = {"solder": 183.0, "tin": 231.928, "zinc": 419.527}[name]
    beware = {
        "solder": "Lead: wash hands, no food near it, ventilate.",
        "tin": "It cools some degrees below its point before it begins to set, then comes up to it: read the level.",
        "zinc": "Zinc fume makes ill: outdoors or under a hood, not over 500 °C (930 °F); it eats steel slowly.",
    }[name]
    marked = "common practice, not a fixed point of ITS-90: only for solder of 63 % tin and 37 % lead"
    return FixedPoint(
        name,
        at_c,
        (rectangular(f"{name} as bought, as it sets", HALF_WIDTHS_C[name]),),
        Says.of("{name} as it sets, {at}", name=name, at=Temp(at_c)),
        "Melt 200 g or more, tip in the middle 60 mm deep, let it cool slowly; read while it stands for a minute.",
        f"{beware} {MOLTEN}",
        marked if name == "solder" else "",
    )


def refused(name: str) -> FixedPointError:
    """Why a point that people ask for is not offered."""
    why = REFUSED.get(name)
    if why is None:
        return FixedPointError(f"{name!r} is no fixed point here. There are: ice, boiling, solder, tin, zinc.")
    return FixedPointError(
        f"{name} is not offered: {why}. For hardening temperatures take a fresh thermocouple of special limits "
        "(class 1), used once, tip to tip with yours, as the reference: soakwitness calibrate"
    )


def reference_of_points(points: Sequence[FixedPoint]) -> Reference:
    """The points as a reference for a calibration: no readout, no cold junction and no furnace of its own."""
    names = ", ".join(p.name for p in sorted(points, key=lambda p: p.temp_c))
    return at_points([(p.temp_c, _row_of(p)) for p in points], f"fixed points: {names}")


def _row_of(point: FixedPoint) -> BudgetRow:
    """All that is not known of a point, as one source."""
    if len(point.rows) == 1:
        return point.rows[0]
    origin = ", ".join(f"{each.source} {difference(each.contribution_c, 'C', digits=2)}" for each in point.rows)
    return BudgetRow(f"{point.name} point", Budget(point.rows).combined_c, origin=origin)


def check_reading(point: FixedPoint, reading_c: float) -> None:
    """Refuse a reading that is none of its point.

    Raises FixedPointError if it is farther away than a sensor with any use left can be.
    """
    if abs(reading_c - point.temp_c) > NEAR_C:
        raise FixedPointError(
            Says.of(
                "{name}: {reading} is {by} from {at}. Is it another point, the other unit, or a fault? For that: "
                "soakwitness sensor diagnose",
                name=point.name,
                reading=Temp(reading_c),
                by=Diff(reading_c - point.temp_c, signed=True),
                at=Temp(point.temp_c),
            )
        )


def pressure_at_hpa(altitude_m: float) -> float:
    """Pressure at an altitude by the standard atmosphere.

    Source: ISO 2533:1975, p = 1013.25 (1 - 2.25577e-5 h)^5.25588.
    """
    if not -450.0 <= altitude_m <= 5500.0:
        raise FixedPointError(f"an altitude of {altitude_m:g} m is none that a workshop has (-450 to 5500).")
    return SEA_LEVEL_HPA * math.pow(1.0 - 2.25577e-5 * altitude_m, 5.25588)


def boiling_c(pressure_hpa: float) -> float:
    """Temperature at which water boils.

    Source: IAPWS-IF97 (2007), equation 31 with table 34.
    """
    n1, n2, n3, n4, n5 = SATURATION
    n6, n7, n8, n9, n10 = SATURATION_ALSO
    beta = math.pow(pressure_hpa / HPA_PER_MPA, 0.25)
    e = beta**2 + n3 * beta + n6
    f = n1 * beta**2 + n4 * beta + n7
    g = n2 * beta**2 + n5 * beta + n8
    d = 2.0 * g / (-f - math.sqrt(f**2 - 4.0 * e * g))
    return (n10 + d - math.sqrt((n10 + d) ** 2 - 4.0 * (n9 + n10 * d))) / 2.0 - ZERO_C_IN_K
