"""Runs without a seal: whether their recorder is well, was cut off, and whether the furnace is hot past its end."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from soakwitness.analysis.errors import AnalysisError
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.logbook.striking import struck_runs
from soakwitness.analysis.recipes.recipe import Hold, Recipe
from soakwitness.analysis.recipes.recipe_file import parse_recipe
from soakwitness.analysis.record.moments import from_utc_text, later, seconds_between, utc_text
from soakwitness.analysis.waiting.waiting_acts import (
    AskedAbout,
    Concern,
    RunBeingRecorded,
    Urgency,
    WaitingAct,
    command,
    how_long,
)
from soakwitness.firmware_bridge.common.chamber import Candidate, chamber_of
from soakwitness.firmware_bridge.common.units import to_celsius
from soakwitness.firmware_bridge.common.wording import Says, Temp, duration
from soakwitness.firmware_bridge.errors import BridgeError
from soakwitness.firmware_bridge.marks.charges import read_charges
from soakwitness.firmware_bridge.runfolder.contents import Event, RunHeader
from soakwitness.firmware_bridge.runfolder.lock import RUN_LOCK, is_held
from soakwitness.firmware_bridge.runfolder.marks import marks_of
from soakwitness.firmware_bridge.runfolder.reader import LastRow, read_events, read_header
from soakwitness.firmware_bridge.runfolder.still_open import last_written, thinned_rows, unsealed

SILENT_PERIODS, SILENT_S = 3.0, 15.0  # a busy disk takes seconds
SPARE_S = 1800.0  # over the recipe's hold: a packet lags up to a quarter of an hour, and a person needs time
DOOR_S = 600.0  # below the band for so long at most, it still is the same hold
HOT_C = 300.0


@dataclass(frozen=True)
class RecorderTold:
    """What a recorder itself tells at this moment, where somebody heard it: a program that follows it live."""

    link_lost: str | None = None
    trouble: str | None = None
    last_utc: str | None = None


@dataclass(frozen=True)
class OpenRun:
    """A run without a seal, as its folder tells it."""

    header: RunHeader
    folder: Path
    held: bool
    last: LastRow | None
    events: tuple[Event, ...] = field(repr=False)

    @property
    def started_utc(self) -> str:
        """Start as UTC text."""
        return utc_text(from_utc_text(self.header.started_utc))

    @property
    def last_utc(self) -> str | None:
        """When its last row was written."""
        return None if self.last is None else utc_text(from_utc_text(self.last.utc))


def open_runs(book: LogBook) -> tuple[OpenRun, ...]:
    """Runs in the log book's folder that have no seal; those struck out are left out."""
    rows = book.rows("SELECT folder FROM runs WHERE seal IS NOT NULL AND missing = 0")
    sealed, struck = {row["folder"].rpartition("/")[2] for row in rows}, struck_runs(book)
    found = []
    for path in unsealed(book.folder, sealed=sealed):
        try:
            header = read_header(path)
            run = OpenRun(header, path, is_held(path / RUN_LOCK), last_written(path), read_events(path))
            if header.run not in struck and run.started_utc:
                found.append(run)
        except (BridgeError, OSError, ValueError):
            continue  # ``logbook check`` says what is wrong with it
    return tuple(found)


def being_recorded(runs: Sequence[OpenRun]) -> tuple[RunBeingRecorded, ...]:
    """Those that go on."""
    return tuple(
        RunBeingRecorded(r.header.run, r.header.furnace_name, r.header.recipe_name, r.started_utc, r.last_utc)
        for r in runs
        if r.held
    )


def waiting_recordings(
    runs: Sequence[OpenRun], asking: AskedAbout, told: Mapping[str, RecorderTold], *, asked_since_utc: str
) -> Iterator[WaitingAct]:
    """Link or disk trouble, a recorder that is silent, a run cut off; and a furnace that is hot past its end."""
    for run in runs:
        if run.started_utc < asked_since_utc and not run.held:
            continue
        trouble = _trouble(run, asking.now_utc, told.get(run.header.run, RecorderTold()))
        if trouble is not None and asking.wanted("recording", run.header.run, run.header.furnace_name):
            yield _act("recording", "at once", run, trouble, asking)
        hot = _hot(run, asking.now_utc) if run.held else None
        if hot is not None and asking.wanted("hot", run.header.run, run.header.furnace_name):
            yield _act("hot", "at once", run, hot, asking)


@dataclass(frozen=True)
class _Trouble:
    says: Says
    since_utc: str
    settle: str


def _act(kind: str, urgency: Urgency, run: OpenRun, found: _Trouble, asking: AskedAbout) -> WaitingAct:
    return WaitingAct(
        kind=kind,
        urgency=urgency,
        says=found.says,
        concerns=(Concern("run", run.header.run), Concern("furnace", run.header.furnace_name)),
        settle=found.settle,
        page=("run", run.header.run),
        since_utc=found.since_utc,
        for_s=max(seconds_between(found.since_utc, asking.now_utc), 0.0),
    )


def _trouble(run: OpenRun, now_utc: str, told: RecorderTold) -> _Trouble | None:
    furnace = run.header.furnace_name
    last_utc = told.last_utc or run.last_utc
    since_utc = last_utc or run.started_utc
    ago = how_long(max(seconds_between(since_utc, now_utc), 0.0))
    if not run.held:
        level = _chamber_c(run)
        says = "{furnace}: the recorder was cut off {ago} ago and nobody went on with the run" + (
            ", the last reading is {level}." if level is not None else "."
        )
        values = {} if level is None else {"level": Temp(level, digits=0)}
        return _Trouble(Says.of(says, furnace=furnace, ago=ago, **values), since_utc, _again(run))
    if told.trouble is not None:
        says = "{furnace}: the record is not being written ({why})."
        return _Trouble(Says.of(says, furnace=furnace, why=told.trouble), since_utc, command("runs", run.header.run))
    lost = told.link_lost or (None if told.last_utc is not None else _link_lost(run.events))
    if lost is not None:
        says = "{furnace}: no link to the instrument for {ago} ({why})."
        return _Trouble(Says.of(says, furnace=furnace, ago=ago, why=lost.rstrip(".")), since_utc, command("ports"))
    if seconds_between(since_utc, now_utc) > SILENT_PERIODS * (run.header.every_s or 1.0) + SILENT_S:
        says = "{furnace}: its recorder runs, but has written nothing for {ago}."
        return _Trouble(Says.of(says, furnace=furnace, ago=ago), since_utc, command("runs", run.header.run))
    return None


def _again(run: OpenRun) -> str:
    """What goes on with a run that was cut off, or seals it; an imported one is imported anew."""
    return command("runs", run.header.run) if run.header.origin == "imported" else command("record", "FURNACE.toml")


def _link_lost(events: Sequence[Event]) -> str | None:
    """Why there is no link now; None where there is one."""
    links = [event for event in events if event.event in ("link lost", "link back", "resumed")]
    if not links or links[-1].event != "link lost":
        return None
    return links[-1].detail.partition(" (last reading")[0].partition(" (no reading")[0]


# Hot past its end


def _hot(run: OpenRun, now_utc: str) -> _Trouble | None:
    """A hold that lasts longer than the recipe has it, or goes on while every blade is out."""
    recipe = _recipe(run)
    hold = recipe.holds[-1] if recipe is not None and recipe.holds else None
    level = _chamber_c(run)
    if recipe is None or hold is None or level is None or level < hold.lower_c or run.last is None:
        return None
    hottest = all(hold.target_c >= other.target_c for other in recipe.holds)
    try:
        since_s = _held_since(run, hold, hottest=hottest)
    except OSError:
        return None
    marks = [mark for mark in marks_of(run.events) if not mark.struck]
    charges = read_charges(marks, cold_since_s=0.0)
    pulls = [stay.pull_s for stay in charges.stays if stay.pull_s is not None]
    loaded_s = max((mark.t_s for mark in marks if mark.act == "load"), default=0.0)
    if since_s is None:
        return None
    if pulls and not charges.inside and run.last.t_s - max(pulls) > SPARE_S:
        out = how_long(run.last.t_s - max(pulls))
        return _hot_says(run, "load", level, max(pulls), f"every blade is out for {out}, and it still is at {{level}}")
    since_s = max(since_s, loaded_s)
    held_s, longest_s = run.last.t_s - since_s, hold.at_most_s or hold.required_s + SPARE_S
    if held_s <= longest_s or (pulls and not charges.inside):
        return None
    asked = f"the recipe's last hold is {duration(hold.required_s)}"
    asked += f", {duration(hold.at_most_s)} at most" if hold.at_most_s is not None else ""
    return _hot_says(run, "pull", level, since_s, f"at {{level}} for {how_long(held_s)}; {asked}")


def _hot_says(run: OpenRun, act: str, level_c: float, since_s: float, words: str) -> _Trouble:
    says = Says.of("{furnace}: " + words + ".", furnace=run.header.furnace_name, level=Temp(level_c, digits=0))
    return _Trouble(says, later(run.started_utc, since_s), command("mark", act, "--run", run.header.run))


def _recipe(run: OpenRun) -> Recipe | None:
    text = run.header.recipe_file
    try:
        return None if text is None else parse_recipe(text, "the run's recipe")
    except AnalysisError:
        return None


def _held_since(run: OpenRun, hold: Hold, *, hottest: bool) -> float | None:
    """Since when the chamber is at the hold, up to the last row; short dips (a door) taken along [s of the run]."""
    since_s, left_s = None, -math.inf
    for row in thinned_rows(run.folder):
        level = _row_c(run, row)
        if level is None:
            continue
        if level < hold.lower_c or (level > hold.upper_c and not hottest):
            left_s = row.t_s if left_s == -math.inf else left_s
            since_s = None if row.t_s - left_s > DOOR_S else since_s
        else:
            left_s = -math.inf
            since_s = row.t_s if since_s is None else since_s
    return since_s


def _chamber_c(run: OpenRun) -> float | None:
    return None if run.last is None else _row_c(run, run.last)


def _row_c(run: OpenRun, row: LastRow) -> float | None:
    """Temperature of the chamber in one row [degC]."""
    values = dict(zip((column.name for column in run.header.columns), row.cells, strict=False))
    sensors = [column for column in run.header.columns if column.kind == "sensor" and column.role]
    name = chamber_of(Candidate(c.name, c.role or "", fit=bool(values.get(c.name))) for c in sensors)
    unit = next((column.unit for column in sensors if column.name == name), "C")
    try:
        value = math.nan if name is None else float(values[name])
    except ValueError:
        return None
    return to_celsius(value, "F" if unit == "F" else "C") if math.isfinite(value) else None
