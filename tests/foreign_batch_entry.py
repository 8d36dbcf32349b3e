"""Enters a case of foreign_workshop.py into a real log book, as a user's commands would, and asks `audit` of it.

What a command comes to take is entered here too, and ``CAN_ENTER`` grows with it: what counts as on record.
"""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from click.testing import CliRunner

from soakwitness.analysis.logbook.batches import add_to_batch
from soakwitness.analysis.logbook.charges import charge_pieces
from soakwitness.analysis.logbook.hardness import add_hardness
from soakwitness.analysis.logbook.opening import LogBook, open_logbook
from soakwitness.analysis.logbook.pieces import Piece, add_pieces
from soakwitness.analysis.logbook.run_loads import enter_load
from soakwitness.analysis.logbook.runs import take_in
from soakwitness.analysis.logbook.sensors import add_accuracy, fit_sensor
from soakwitness.analysis.logbook.treatments import add_treatment
from soakwitness.analysis.metallurgy.hardness_readings import HardnessReading
from soakwitness.analysis.recomputing.refreshing import refresh
from soakwitness.analysis.record.moments import Stamp
from soakwitness.cli.main import soakwitness
from soakwitness.firmware_bridge.runfolder.contents import Column, Mark
from soakwitness.firmware_bridge.runfolder.line_format import sample_body, utc_text
from soakwitness.firmware_bridge.runfolder.marks import encode_mark
from soakwitness.firmware_bridge.runfolder.writer import RunFolder
from tests.foreign_workshop import Batch, Blade, Case, House

FURNACE = "foreign furnace"
OPENS = datetime(2024, 1, 8, 7, 30, tzinfo=UTC)
CAN_ENTER = frozenset({"sensor test", "not done", "oven thermometer"})
STEP_S = 10.0


def entered(case: Case, folder: Path) -> Path:
    """Make the log book of a case in a folder, and return it."""
    house = case.house
    runs: dict[int, RunFolder] = {}
    for batch in (*case.good, case.question):
        runs[batch.day] = _recorded(folder, case, batch)
    with open_logbook(folder, create=True) as book:
        _sensor(book, house)
        take_in(book, stamp=_stamp(house, case.question.day))
        for batch in (*case.good, case.question):
            stamp = _stamp(house, batch.day)
            with book.writing(stamp):
                _pieces(book, case, batch, runs[batch.day].path.name, stamp)
        refresh(book, stamp=_stamp(house, case.question.day))  # else each question would start processes for it
    return folder


def audited(case: Case, folder: Path) -> dict[str, Any]:
    """Ask as the user does: the bad blades, and the good ones by name or not."""
    suspects = case.only or tuple(blade.name for blade in case.question.blades)
    words = ["audit", "--suspect", *suspects]
    if case.names_good:
        words += ["--good", *(blade.name for batch in case.good for blade in batch.blades)]
    env = {"SOAKWITNESS_LOGBOOK": str(folder), "SOAKWITNESS_USER": "Ana"}
    answer = CliRunner().invoke(soakwitness, [*words, "--json"], env=env)
    if answer.exception is not None and not isinstance(answer.exception, SystemExit):
        raise answer.exception
    assert answer.stdout.startswith("{"), answer.output
    said: dict[str, Any] = json.loads(answer.stdout)
    return said


def _when(house: House, day: int, after_s: float = 0.0) -> datetime:
    return OPENS + timedelta(seconds=round(house.start_s / 86400.0) * 86400.0 + day * 86400.0 + after_s)


def _stamp(house: House, day: int) -> Stamp:
    return Stamp(utc_text(_when(house, day, 5 * 86400.0)), "Ana")


def recipe(case: Case) -> str:
    """What the workshop wants; the same for the batch in question, whatever was typed."""
    house = case.house
    load = f"load_at = {house.set_c - 20:.0f}" if house.hot else 'load = "cold"'
    return f"""name = "Blades, harden"
unit = "C"
steel = "S44004"
{load}
[[step]]
ramp = "full power"
to = 780
[[step]]
hold_minutes = 5
tolerance = 8
judged = false
[[step]]
ramp = "full power"
to = {house.set_c:.0f}
[[step]]
hold_minutes = {house.asked_s / 60:.0f}
at_most_minutes = {house.asked_s / 60 * 3:.0f}
tolerance = 8
max_overshoot = 12
[packet]
thickness_mm = {house.thickness_mm:g}
[quench]
medium = "plates"
within_s = 40
[hardness]
final = [{case.limits[0]:.1f}, {case.limits[1]:.1f}]
"""


def _columns(house: House) -> list[Column]:
    shop = house.shop
    role = "recording" if shop.imported else "control"
    columns = [Column("chamber", "sensor", "C", role=role, thermocouple="K", resolution=0.1)]
    if shop.load_sensor:
        thick = house.thickness_mm
        columns.append(
            Column("dummy", "sensor", "C", role="load", thermocouple="K", resolution=0.1, thickness_mm=thick)
        )
    if shop.output:
        columns += [Column("setpoint", "signal", "C"), Column("output", "signal", "%")]
    return columns


def _recorded(folder: Path, case: Case, batch: Batch) -> RunFolder:
    house, shop, fired = case.house, case.house.shop, batch.fired
    start = _when(house, batch.day)
    run = RunFolder.create(
        folder, columns=_columns(house), furnace_name=FURNACE, started_utc=start, zone="UTC",
        recipe_name="Blades, harden", recipe_file=recipe(case), every_s=shop.every_s,
        operator=batch.operator if shop.names_who and not shop.imported else None,
        origin="imported" if shop.imported else "recorded",
    )  # fmt: skip
    rng = np.random.default_rng(abs(hash_of(batch.reading_seed, case.seed)))
    names = [column.name for column in run.header.columns]
    bodies = []
    for moment in fired.moments[:: round(shop.every_s / STEP_S)]:
        if (moment.dark and batch.dark_is_gap) or (batch.gap_s and batch.gap_s[0] <= moment.t_s < batch.gap_s[1]):
            continue
        chamber_c = moment.chamber_c if shop.imported else moment.reads_c
        row = {
            "chamber": round(chamber_c + rng.normal(0, 0.2), 1),
            "dummy": round(moment.load_c + rng.normal(0, 0.2), 1),
            "setpoint": round(moment.setpoint_c, 1) if moment.setpoint_c < 1e4 else None,
            "output": round(moment.output, 1),
        }
        bodies.append(sample_body(moment.t_s, utc_text(start.timestamp() + moment.t_s), names, row))
    run.write_bodies(bodies)
    for number, (t_s, act, pieces) in enumerate(_marks(house, batch)):
        mark = encode_mark(Mark(t_s, act, pieces, mark_id=f"{number:06x}", entered_t_s=t_s))  # type: ignore[arg-type]
        run.write_event(t_s, utc_text(start.timestamp() + t_s), "mark", mark)
    end_s = fired.moments[-1].t_s
    run.write_event(end_s, utc_text(start.timestamp() + end_s), "end")
    run.seal(sealed_utc=start + timedelta(seconds=end_s))
    return run


def hash_of(words: str, seed: int) -> int:
    """A number that is the same in every process."""
    return int.from_bytes(words.encode()[-7:], "little") ^ seed


def _marks(house: House, batch: Batch) -> list[tuple[float, str, tuple[str, ...]]]:
    how = house.shop.marks
    names = tuple(blade.name for blade in batch.blades)
    marks: list[tuple[float, str, tuple[str, ...]]] = []
    if how != "none":
        marks.append((batch.fired.load_s, "load", names if how == "each" else ()))
    if how == "together":
        marks.append((batch.blades[0].pull_s, "pull", names))
    if how == "each":
        for blade in batch.blades:
            marks.append((blade.pull_s, "pull", (blade.name,)))
            marks.append((blade.pull_s + blade.plates_s, "plates", (blade.name,)))
    return sorted(marks, key=lambda mark: mark[0])


def _sensor(book: LogBook, house: House) -> None:
    if house.shop.kind in ("careful bench", "load sensor"):
        fit_sensor(
            book, FURNACE, "chamber", fitted_utc=utc_text(_when(house, -20)), stamp=_stamp(house, -25), role="control",
            thermocouple="K", position="back wall, middle",
        )  # fmt: skip


def _pieces(book: LogBook, case: Case, batch: Batch, run: str, stamp: Stamp) -> None:
    house, shop = case.house, case.house.shop
    sloppy = shop.kind == "sloppy"
    add_pieces(
        book,
        [
            Piece(b.name, steel=b.steel if shop.names_who else "S44004", lot=None if sloppy else b.lot,
                  thickness_mm=b.thickness_mm) for b in batch.blades
        ],
        stamp=stamp,
    )  # fmt: skip
    add_to_batch(book, batch.blades[0].name.split("-")[0], [b.name for b in batch.blades], stamp=stamp)
    number = None
    if not sloppy:
        enter_load(book, run=run, kg=round(batch.mass_kg, 2), stamp=stamp)
    for blade in batch.blades:
        number = charge_pieces(
            book, [blade.name], stamp=stamp, run=run, number=number, place=blade.place if shop.places else None,
            foil=True, blades=None if sloppy else blade.crowd,
        )  # fmt: skip
        if not sloppy:
            _treated(book, house, batch, blade, stamp)
        _tested(book, house, batch, blade, stamp)
    if batch.sensor_test_c is not None:
        day = utc_text(_when(house, batch.day + 2))[:10]
        result = {"difference_c": round(batch.sensor_test_c, 1), "at_c": 1000.0, "verdict": "fail"}
        add_accuracy(book, FURNACE, "chamber", done_on=day, due_on=None, result=result, stamp=stamp)


def _treated(book: LogBook, house: House, batch: Batch, blade: Blade, stamp: Stamp) -> None:
    quenched_s = batch.fired.end_s + 300.0

    def enter(kind: str, after_h: float, for_h: float, **facts: Any) -> None:
        start, end = (utc_text(_when(house, batch.day, quenched_s + 3600.0 * h)) for h in (after_h, after_h + for_h))
        add_treatment(book, [blade.name], kind, start_utc=start, end_utc=end, stamp=stamp, **facts)

    if blade.cold_hours is not None:
        enter("cold treatment", blade.cold_hours, 1.0, lowest_c=-75.0)
    for kind, left_out in (
        ("cold treatment", house.cold and blade.cold_hours is None), ("temper", blade.tempers == 0),
    ):  # fmt: skip
        if left_out:
            said_utc = utc_text(_when(house, batch.day, quenched_s + 3600.0 * 24.0))
            add_treatment(book, [blade.name], kind, start_utc=said_utc, not_done=True, stamp=stamp)
    for number in range(blade.tempers):
        after_h = (blade.cold_hours or 0.0) + 3.0 + 3.0 * number
        enter("temper", after_h, 2.0, shown_c=blade.temper_shown_c, second_c=blade.oven_test_c)


def _tested(book: LogBook, house: House, batch: Batch, blade: Blade, stamp: Stamp) -> None:
    block = (batch.block_value, batch.block) if batch.block else (None, ())
    tester = batch.tester if house.shop.names_who else None
    late_h = (blade.cold_hours or 0.0) + 12.0
    tests = [
        (blade.quenched, "quench", 0.2, None),
        (blade.final, "temper", late_h, None),
        (blade.ground, "grinding", late_h + 1.0, 0.2),
    ]
    for readings, step, after_h, ground_mm in tests:
        if readings:
            at = utc_text(_when(house, batch.day, batch.fired.end_s + 300.0 + 3600.0 * after_h))
            add_hardness(
                book, blade.name, HardnessReading(readings, block_value=block[0], block_readings=block[1]),
                measured_utc=at, side="after", step=step, stamp=stamp, tester=tester, ground_off_mm=ground_mm,
            )  # fmt: skip
