"""Days of a workshop for tests of what waits: real run folders and a real log book, hour by hour from one morning."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

from soakwitness.analysis.logbook.charges import charge_pieces
from soakwitness.analysis.logbook.hardness import add_hardness
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.logbook.pieces import Piece, add_pieces, spelled_out
from soakwitness.analysis.logbook.runs import run_named, take_in
from soakwitness.analysis.logbook.treatments import add_treatment
from soakwitness.analysis.metallurgy.hardness_readings import HardnessReading
from soakwitness.analysis.record.moments import Stamp, utc_text
from soakwitness.analysis.rules import RULES_VERSION
from soakwitness.analysis.waiting.waiting_acts import Waiting, WaitingAct
from soakwitness.analysis.waiting.what_waits import what_waits
from soakwitness.firmware_bridge.runfolder.contents import Column
from soakwitness.firmware_bridge.runfolder.lock import RUN_LOCK, Lock
from soakwitness.firmware_bridge.runfolder.writer import RunFolder
from tests.log_books import new_book

MORNING = datetime(2026, 3, 2, 7, 0, tzinfo=UTC)
EVERY_S = 60.0
HARDEN = """
name = "Harden"
load = "cold"
{order}
[[step]]
ramp = "full power"
to = 1040
[[step]]
hold_minutes = 25
tolerance = 6
[quench]
medium = "plates"
[hardness]
final = [58, 61]
"""
PLAIN = HARDEN.format(order="")
COLD_FIRST = HARDEN.format(order='order = ["harden", "cold treatment", "temper", "temper"]')
TWICE = HARDEN.format(order='order = ["harden", "temper", "temper"]')
TEMPER = """
name = "Temper"
[[step]]
ramp = "full power"
to = 200
[[step]]
hold_minutes = 60
tolerance = 6
"""


@dataclass
class Workshop:
    """A log book at some hour after the first morning; ``hour`` of every call counts from there."""

    folder: Path
    furnace: str = "shed"
    unit: str = "C"
    book: LogBook = field(init=False)
    locks: list[Lock] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.book = new_book(self.folder)

    def pieces(self, *names: str, coupon: bool = False) -> None:
        """Enter pieces."""
        add_pieces(self.book, [Piece(n, coupon=coupon) for n in spelled_out(names)], stamp=stamp(0))

    def run(
        self,
        hour: float,
        recipe: str | None,
        *pieces: str,
        hours: float = 2.0,
        pull: Sequence[tuple[float, Sequence[str]]] = (),
        top_c: float | None = None,
        goes_on: bool = False,
        cut_off: bool = False,
        origin: str = "recorded",
        events: Sequence[tuple[float, str, str]] = (),
        temps: Sequence[float] | None = None,
        loads: Sequence[float] = (),
    ) -> str:
        """Record a run with a row a minute; ``pull`` and ``loads`` in hours since its start. Return its id."""
        start = moment(hour)
        top = top_c if top_c is not None else 205.0 if recipe == TEMPER else 1040.0
        run = RunFolder.create(
            self.folder,
            columns=[Column("control", "sensor", self.unit, role="control", thermocouple="K")],
            furnace_name=self.furnace,
            started_utc=start,
            recipe_name="recipe" if recipe else None,
            recipe_file=recipe,
            every_s=EVERY_S,
            origin=origin,
        )
        run.write_event(0, start.timestamp(), "start")
        for number, temp_c in enumerate(temps if temps is not None else [20.0, *[top] * round(hours * 60), 100.0]):
            run.write_row(number * EVERY_S, start.timestamp() + number * EVERY_S, {"control": temp_c})
        marks = [(at, "mark", "load; id a" + str(k)) for k, at in enumerate(loads)]
        for number, (at, names) in enumerate(pull):
            named = f"; pieces {', '.join(names)}" if names else ""
            marks.append((at, "mark", f"pull; id b{number}{named}"))
        for at, event, detail in (*marks, *events):
            run.write_event(at * 3600, start.timestamp() + at * 3600, event, detail)
        if not goes_on and not cut_off:
            end_s = (hours * 60 + 2) * EVERY_S
            run.write_event(end_s, start.timestamp() + end_s, "end")
            run.seal(sealed_utc=start.timestamp() + end_s)
        else:
            run.close()
        if goes_on:
            self.locks.append(Lock(run.path / RUN_LOCK, {"who": "record"}))
        take_in(self.book, stamp=stamp(hour))
        if pieces:
            charge_pieces(self.book, list(pieces), run=run.path.name, stamp=stamp(hour))
        with self.book.writing(stamp(hour)):
            state = self.book.row("SELECT files FROM runs WHERE run = ?", run.path.name)
            assert state is not None
            self.book.insert(
                "run_heat",
                run=run.path.name,
                sensor="control",
                files=state["files"],
                hours_800=hours,
                hours_950=hours,
                hottest_c=top,
            )
        return run.path.name

    def verdict(self, run: str, verdict: str, *failing: tuple[str, int | None]) -> None:
        """Keep a verdict of a run, as ``verify`` does."""
        findings = [{"code": code, "step": step, "severity": "fail"} for code, step in failing]
        digest = run_named(self.book, run).recipe_digest
        with self.book.writing(stamp(0)):
            self.book.connection.execute(
                "INSERT INTO verdicts VALUES (?, ?, ?, ?, ?, ?)",
                (run, digest, RULES_VERSION, stamp(0).at_utc, verdict, json.dumps({"findings": findings})),
            )

    def did(self, hour: float, kind: str, *pieces: str, hours: float = 2.0, not_done: bool = False) -> None:
        """Enter a treatment, or that it was left out."""
        end = None if not_done else utc_text(moment(hour + hours))
        start = utc_text(moment(hour))
        add_treatment(self.book, pieces, kind, start_utc=start, end_utc=end, not_done=not_done, stamp=stamp(hour))

    def hard(self, hour: float, piece: str, step: str = "temper") -> None:
        """Enter a hardness test after a step."""
        test = HardnessReading((59.5, 59.6, 59.4))
        at_utc = utc_text(moment(hour))
        add_hardness(self.book, piece, test, measured_utc=at_utc, side="after", step=step, stamp=stamp(hour))

    def waits(self, hour: float, **more: object) -> Waiting:
        """What waits then."""
        return what_waits(self.book, now_utc=stamp(hour).at_utc, zone="UTC", **more)  # type: ignore[arg-type]

    def acts(self, hour: float, *kinds: str, **more: object) -> list[WaitingAct]:
        """What waits then of some kinds."""
        return [act for act in self.waits(hour, **more).acts if act.kind in kinds]

    def says(self, hour: float, *kinds: str, **more: object) -> list[str]:
        """The same in words."""
        return [str(act.says) for act in self.acts(hour, *kinds, **more)]

    def close(self) -> None:
        """Let the recorders go."""
        for lock in self.locks:
            lock.release()


def moment(hour: float) -> datetime:
    """An hour after the first morning."""
    return MORNING + timedelta(hours=hour)


def stamp(hour: float) -> Stamp:
    """Ana, then."""
    return Stamp(utc_text(moment(hour)), "Ana")
