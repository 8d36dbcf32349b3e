"""A run and its verification made by hand, for tests of what is drawn and printed (not of what is computed)."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from soakwitness.analysis.recipes.recipe import Hold, PacketSpec, Quench, Ramp, Recipe
from soakwitness.analysis.record.run import Run, Trace
from soakwitness.analysis.verification.results.known_error import KnownError
from soakwitness.analysis.verification.results.verification import (
    Bounds,
    Finding,
    HoldResult,
    InBand,
    InShort,
    PieceResult,
    RampResult,
    RecordState,
    Verification,
    WorkTemperature,
)
from soakwitness.firmware_bridge.common.wording import Says
from soakwitness.firmware_bridge.runfolder.contents import Column, Event, Mark, RecordCheck, RunHeader

INJECTED = "<script>window.broken = 1</script>"


def made_recipe(name: str = "Paring blades, harden") -> Recipe:
    return Recipe(
        name=name,
        unit="C",
        steel="S44004",
        steps=(
            Ramp(1, 780.0),
            Hold(2, 780.0, 8.0, 8.0, 600.0),
            Ramp(3, 1040.0, 400.0),
            Hold(4, 1040.0, 6.0, 6.0, 1500.0, max_overshoot_c=6.0),
        ),
        packet=PacketSpec(),
        quench=Quench(within_s=30.0),
        digest="0" * 64,
    )


def made_run(tmp_path: Path, *, words: str = "") -> Run:
    t_s = np.arange(0.0, 9000.0, 5.0)
    corner_t = [0, 1900, 2600, 4940, 6700, 6710, 9000]
    control = np.interp(t_s, corner_t, [20, 780, 780, 1040, 1040, 900, 400])
    control[(t_s > 3000) & (t_s < 3200)] = np.nan
    load = np.interp(t_s, [0, 2000, 2600, 5600, 6700, 6760, 9000], [20, 770, 776, 1035, 1037, 60, 25])
    columns = (
        Column("chamber", "sensor", "C", role="control", thermocouple="K", resolution=0.1),
        Column(f"blade{words}", "sensor", "C", role="load", thermocouple="K"),
    )
    return Run(
        path=tmp_path,
        header=RunHeader("20260302T070000Z_shed_0001", "2026-03-02T07:00:00Z", columns, f"shed{words}", operator=words),
        t_s=t_s,
        values={"chamber": control, f"blade{words}": load},
        events=(Event(0.0, "2026-03-02T07:00:00Z", "start"), Event(8995.0, "2026-03-02T09:29:55Z", "end", words)),
        marks=(Mark(0.0, "load", note=words), Mark(6700.0, "pull", ("P-01",)), Mark(6712.0, "plates", ("P-01",))),
        check=RecordCheck(1800, (), False, True, True, None, ()),
        traces=(
            Trace("chamber", "control", t_s, control, 0.1, 5.0),
            Trace(f"blade{words}", "load", t_s, load, 0.1, 5.0),
        ),
    )


def made_verification(run: Run, *, words: str = "") -> Verification:
    def same(value: float) -> Bounds:
        return Bounds(value - 5, value, value + 5)

    def in_band(value: float) -> InBand:
        return InBand(same(value), same(value), same(value))

    piece = PieceResult(
        f"P-01{words}", "1", same(1120), "fail", "fail", "fail", load_s=0.0, pull_s=6700.0, plates_s=6712.0
    )
    estimate = WorkTemperature(
        "packet estimate", "packet", run.t_s, run.traces[1].temp_c - 6, run.traces[1].temp_c, run.traces[1].temp_c + 4
    )
    return Verification(
        in_short=InShort(Says("Too short: the blade was at 1040 °C for 11.5 of 25 min."), Says("Hold longer.")),
        run=run.header.run,
        recipe=f"Paring blades, harden{words}",
        verdict="fail",
        decided_on="reading",
        temperature_from="load",
        steps=(
            RampResult(1, 780.0, True, 0.0, 1890.0, 1440.0, 1447.0, curved=False),
            HoldResult(
                2, 780.0, (772.0, 788.0), 600.0, True, 1880.0, 2690.0, in_band(810), same(640), 1.0, verdict="pass"
            ),
            RampResult(3, 1040.0, True, 2600.0, 4900.0, 399.0, 400.0, 400.0),
            HoldResult(
                4,
                1040.0,
                (1034.0, 1046.0),
                1500.0,
                True,
                4886.0,
                6702.0,
                in_band(1816),
                same(1120),
                0.5,
                verdict="fail",
                as_read="fail",
                at_true_temperature="not proven",
                error_it_stands_c=None,
                lag_s=same(680),
                pieces=(piece,),
            ),
        ),
        findings=(
            Finding(
                "short soak",
                "fail",
                4,
                Says.plain(f"P-01 soaked 18.7 of 25 min.{words}"),
                Says.plain(f"Hold longer.{words}"),
                4886.0,
                6702.0,
            ),
            Finding(
                "no calibration", "warn", None, Says("The control sensor has no calibration."), Says("Calibrate it.")
            ),
        ),
        record=RecordState(1800, 0, 200.0, True, True, ((3000.0, 3200.0),)),
        sensor="chamber",
        known=KnownError(expanded_c=7.8, source="tolerance class"),
        work=estimate,
        not_seen=(Says("An excursion wholly between two readings would not show."),),
    )
