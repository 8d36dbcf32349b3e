"""Table of figures of the run in question beside the good ones': median, MAD, how many spreads apart."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

from soakwitness.analysis.audit.contrasts.case import Case
from soakwitness.analysis.audit.contrasts.statistics import FigureComparison, compare
from soakwitness.analysis.evidence.run_figures import HoldFigures, RunFigures
from soakwitness.firmware_bridge.common.wording import Says, Temp

Kind = Literal["temperature", "difference", "time", "rate", "share", "count"]


@dataclass(frozen=True)
class DifferenceRow:
    """One figure: ``kind`` says how to print it (degC, K, s, K/h, %, a number)."""

    name: Says
    kind: Kind
    beside: FigureComparison

    @property
    def stands_out(self) -> bool:
        """Whether it lies more than three spreads from the good ones' median."""
        return self.beside.spreads is not None and abs(self.beside.spreads) > 3.0


def differences_table(case: Case) -> tuple[DifferenceRow, ...]:
    """Compare every figure that run and good runs have in common.

    Returns holds in order, then the run's own figures, then the furnace's.
    """
    if case.run is None:
        return ()
    rows: list[DifferenceRow] = []
    for hold in case.run.holds:
        rows += _hold_rows(case, hold)
    rows += _run_rows(case, case.run)
    rows += _furnace_rows(case)
    return tuple(rows)


HOLD_FIGURES: tuple[tuple[str, Kind, float, Callable[[HoldFigures], float | None]], ...] = (
    ("work temperature", "temperature", 1.5, lambda h: h.work_c),
    ("control reading", "temperature", 1.5, lambda h: h.control_c),
    ("setpoint", "temperature", 1.0, lambda h: h.setpoint_c),
    ("in band", "time", 30.0, lambda h: h.in_band_s),
    ("soak", "time", 30.0, lambda h: h.soak_s),
    ("overshoot", "difference", 1.0, lambda h: h.overshoot_c),
    ("lag", "time", 30.0, lambda h: h.lag_s),
    ("output", "share", 2.0, lambda h: h.output_pct),
)
RUN_FIGURES: tuple[tuple[str, Kind, float, Callable[[RunFigures], float | None]], ...] = (
    ("recovery after loading", "time", 45.0, lambda r: r.recovery_s),
    ("loaded at", "temperature", 5.0, lambda r: r.loaded_at_c),
    ("longest way to the plates", "time", 4.0, lambda r: _longest([p.quench_delay_s for p in r.pieces])),
    ("falls within seconds", "count", 1.0, lambda r: float(sum(d.quick for d in r.dips))),
    ("deepest fall", "difference", 5.0, lambda r: max((d.depth_c for d in r.dips), default=0.0)),
    ("readings missing", "time", 30.0, lambda r: sum(b - a for a, b in r.gaps)),
)


def _longest(values: Sequence[float | None]) -> float | None:
    return max((v for v in values if v is not None), default=None)


def _hold_rows(case: Case, hold: HoldFigures) -> list[DifferenceRow]:
    rows = []
    for name, kind, floor, get in HOLD_FIGURES:
        value = get(hold)
        good = [v for v in map(get, case.good_holds(hold.step)) if v is not None]
        if value is not None and good:
            rows.append(DifferenceRow(Says.plain(f"step {hold.step}: {name}"), kind, compare(value, good, floor=floor)))
    return rows


def _run_rows(case: Case, run: RunFigures) -> list[DifferenceRow]:
    rows = []
    for name, kind, floor, get in RUN_FIGURES:
        value = get(run)
        if value is not None and case.good:
            beside = case.beside_good(value, get, floor=floor)
            if beside.good_count:
                rows.append(DifferenceRow(Says.plain(name), kind, beside))
    for d in run.differences:
        good = [g.difference_c for r in case.good for g in r.differences if (g.sensor, g.step) == (d.sensor, d.step)]
        if good:
            where = "cold" if d.step is None else f"in step {d.step}"
            rows.append(
                DifferenceRow(
                    Says.plain(f"control minus {d.sensor} {where}"),
                    "difference",
                    compare(d.difference_c, good, floor=1.0),
                )
            )
    return rows


def _furnace_rows(case: Case) -> list[DifferenceRow]:
    rows = []
    for window, rate in sorted((case.condition.full_power or {}).items() if case.condition else (), key=_number):
        good = [g.full_power[window] for g in case.good_condition if g.full_power and window in g.full_power]
        if good:
            name = Says.of("full power from {window}", window=Temp(float(window)))
            rows.append(DifferenceRow(name, "rate", compare(rate, good, floor=0.04 * rate)))
    return rows


def _number(item: tuple[str, float]) -> float:
    return float(item[0])
