"""Beginning a run, or going on with one that a crash, a kill or a reboot cut off."""

from __future__ import annotations

import contextlib
import os
import platform
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from soakwitness.firmware_bridge.common.wording import duration, moment
from soakwitness.firmware_bridge.errors import RunFolderError
from soakwitness.firmware_bridge.furnace.sensors_and_links import Furnace
from soakwitness.firmware_bridge.marks.expecting import Practice
from soakwitness.firmware_bridge.recording.alarms import Alarms
from soakwitness.firmware_bridge.recording.clocks import Clock
from soakwitness.firmware_bridge.recording.keeping import Keeper
from soakwitness.firmware_bridge.recording.now import hottest_c
from soakwitness.firmware_bridge.recording.recorder import Recording
from soakwitness.firmware_bridge.recording.when_heating_begins import SAME_WITHIN_S, same_while_warm
from soakwitness.firmware_bridge.runfolder.contents import RunHeader
from soakwitness.firmware_bridge.runfolder.doubtful import SETTLED
from soakwitness.firmware_bridge.runfolder.events import append_events
from soakwitness.firmware_bridge.runfolder.files import Files
from soakwitness.firmware_bridge.runfolder.header import columns_of, read_header
from soakwitness.firmware_bridge.runfolder.line_format import event_body, read_utc, utc_text
from soakwitness.firmware_bridge.runfolder.lock import RUN_LOCK, Lock, LockHeld, is_held
from soakwitness.firmware_bridge.runfolder.reader import check_record, last_row, read_events
from soakwitness.firmware_bridge.runfolder.sealing import seal_run
from soakwitness.firmware_bridge.runfolder.writer import RunFolder, reduced_name

STOPPED = ("Ctrl-C", "Ctrl-Break", "SIGTERM")


@dataclass(frozen=True)
class RunFacts:
    """What a run says of itself beside its furnace."""

    logbook: Path
    recipe_name: str | None = None
    recipe_file: str | None = None
    practice: Practice = Practice()
    operator: str | None = None
    zone: str | None = None
    continues: str | None = None  # a sealed run of the same heating
    packet_name: str | None = None
    packet_file: str | None = None


@dataclass(frozen=True)
class CutOff:
    """An unsealed run that nobody records: where it stopped. ``temp_c`` is its hottest last reading [degC]."""

    path: Path
    header: RunHeader
    last_t_s: float
    last_utc_s: float
    temp_c: float | None


def begin(
    furnace: Furnace,
    clock: Clock,
    about: RunFacts,
    *,
    alarms: Alarms,
    started_s: float | None = None,
    files: Files | None = None,
    heard: Callable[[str, str], None] | None = None,
) -> Recording:
    """Begin a run now, or at an earlier moment ``started_s`` of the steady clock.

    Disk trouble shows in ``keeper.trouble``; the caller decides whether to go on without a disk.
    """
    now_s = clock.monotonic()
    started_s = now_s if started_s is None else started_s
    started_utc_s = clock.utc_s() - (now_s - started_s)
    locks: list[Lock] = []
    extra: dict[str, object] = {"clock": {"boot": clock.boot, "at_start_s": started_s}} if clock.boot else {}
    extra |= {"continues": about.continues} if about.continues else {}

    def make() -> RunFolder:
        folder = RunFolder.create(
            about.logbook,
            columns=columns_of(furnace),
            furnace_name=furnace.name,
            started_utc=started_utc_s,
            furnace_file=furnace.text or None,
            recipe_name=about.recipe_name,
            recipe_file=about.recipe_file,
            packet_name=about.packet_name,
            packet_file=about.packet_file,
            every_s=furnace.every_s,
            zone=about.zone,
            operator=about.operator,
            origin="simulated" if furnace.link.kind == "simulated" else "recorded",
            extra=extra,
            files=files,
        )
        locks.append(Lock(folder.path / RUN_LOCK, {"who": "recorder"}))
        return folder

    keeper = Keeper(make, furnace.columns, furnace.every_s, clock)
    recording = Recording(
        furnace, clock, keeper, started_s, alarms=alarms, practice=about.practice, heard=heard, locks=locks
    )
    where = f"on the computer {platform.node()}".rstrip()
    after = f", goes on from {about.continues}" if about.continues else ""
    keeper.wait()  # a folder that others find before they hear of the start; a slow disk is not waited for
    try:
        recording.event("start", where + after, now_s=started_s, utc_s=started_utc_s)
    except BaseException:
        recording.release()
        raise
    return recording


@contextlib.contextmanager
def refusing(path: Path) -> Iterator[None]:
    """Whatever lies in a run folder that was left behind, it stops no start: what trips over it refuses that run."""
    try:
        yield
    except RunFolderError:
        raise
    except Exception as error:
        says = f"{type(error).__name__}: {error}"[:200]
        raise RunFolderError(
            f"{path.name} cannot be gone on with ({says}). It is left as it is; look at it."
        ) from error


def cut_off_runs(logbook: Path, furnace: Furnace) -> list[CutOff]:
    """Unsealed runs of this furnace that nobody records, oldest first."""
    folder = logbook / "runs"
    if not folder.is_dir():
        return []
    found = []
    for path in sorted(folder.iterdir()):
        if (path / "seal.json").exists() or not (path / "run.json").exists() or is_held(path / RUN_LOCK):
            continue
        with contextlib.suppress(RunFolderError), refusing(path):
            header = read_header(path)
            if header.furnace_name == furnace.name and header.origin != "imported":
                found.append(_cut_off(path, header, furnace))
    return found


def stopped_run(logbook: Path, furnace: Furnace) -> CutOff | None:
    """The newest run of this furnace, where it was sealed because the recorder was told to end."""
    paths = sorted((logbook / "runs").glob(f"*_{reduced_name(furnace.name)}_*"), reverse=True)
    with contextlib.suppress(RunFolderError), refusing(paths[0] if paths else logbook):
        header, events = read_header(paths[0]), read_events(paths[0])
        if header.furnace_name == furnace.name and events[-1].event == "end" and events[-1].detail in STOPPED:
            return _cut_off(paths[0], header, furnace)
    return None


def _cut_off(path: Path, header: RunHeader, furnace: Furnace) -> CutOff:
    last = last_row(check_record(path))
    if last is None:
        return CutOff(path, header, 0.0, read_utc(header.started_utc), None)
    names = [column.name for column in header.columns]
    values = {name: float(cell) if cell else None for name, cell in zip(names, last.cells, strict=True)}
    return CutOff(path, header, last.t_s, read_utc(last.utc), hottest_c(furnace, values))


def _how_sure(gap: Gap) -> str:
    if gap.exact:
        return "exact"
    if gap.known:
        return "uncertain, by the computer's clock"
    behind = f"the computer's clock stands {duration(-gap.seconds)} before the last row"
    return f"uncertain, and longer than that: {behind}"


@dataclass(frozen=True)
class Gap:
    """How long nobody recorded [s]: exact within one boot of the computer, else what its clock says."""

    seconds: float
    exact: bool = False

    @property
    def known(self) -> bool:
        """Whether the number means anything: a clock that stands before the last row was not set since."""
        return self.exact or self.seconds > 0


def gap_since(run: CutOff, clock: Clock) -> Gap:
    """How long ago a run was cut off."""
    said = run.header.raw.get("clock")
    began_s = said.get("at_start_s") if isinstance(said, dict) and clock.boot is not None else None
    if isinstance(began_s, (int, float)) and isinstance(said, dict) and said.get("boot") == clock.boot:
        steady_s = clock.monotonic() - began_s - run.last_t_s
        if steady_s > 0:
            return Gap(steady_s, exact=True)
    return Gap(clock.utc_s() - run.last_utc_s)


def same_heating(run: CutOff, furnace: Furnace, clock: Clock, *, temp_c: float | None) -> bool:
    """Whether what the instrument shows now still is the heating of a run that was cut off."""
    if run.header.columns != columns_of(furnace):
        return False
    gap = gap_since(run, clock)
    if abs(gap.seconds) <= SAME_WITHIN_S:
        return True
    return same_while_warm(gap.seconds if gap.known else 0.0, run.temp_c, temp_c)


def resume(
    run: CutOff,
    furnace: Furnace,
    clock: Clock,
    about: RunFacts,
    *,
    alarms: Alarms,
    files: Files | None = None,
    heard: Callable[[str, str], None] | None = None,
) -> Recording:
    """Go on with a run that was cut off; ``t_s`` goes on exactly within one boot, else from UTC.

    Raises RunFolderError if what lies in its folder cannot be gone on with; it is left as it is.
    """
    lock = Lock(run.path / RUN_LOCK, {"who": "recorder"})
    try:
        with refusing(run.path):
            return _resumed(run, furnace, clock, about, lock, alarms=alarms, files=files, heard=heard)
    except BaseException:
        lock.release()
        raise


def _resumed(
    run: CutOff,
    furnace: Furnace,
    clock: Clock,
    about: RunFacts,
    lock: Lock,
    *,
    alarms: Alarms,
    files: Files | None,
    heard: Callable[[str, str], None] | None,
) -> Recording:
    gap = gap_since(run, clock)
    started_s = clock.monotonic() - run.last_t_s - (gap.seconds if gap.exact else max(gap.seconds, furnace.every_s))
    keeper = Keeper(
        lambda: RunFolder.resume(run.path, files=files),
        furnace.columns,
        furnace.every_s,
        clock,
        last_t_s=run.last_t_s,
    )
    recording = Recording(
        furnace,
        clock,
        keeper,
        started_s,
        alarms=alarms,
        practice=about.practice,
        known=read_events(run.path),
        heard=heard,
        locks=[lock],
    )
    now_t_s = recording.t_s(clock.monotonic())
    says = f"gap {now_t_s - run.last_t_s:.3f} s, from {run.last_t_s:.3f} to {now_t_s:.3f} s"
    recording.event("resumed", f"{says}; {_how_sure(gap)}")
    return recording


def finish_lost(run: CutOff, *, utc_s: float, files: Files | None = None) -> None:
    """Seal a run that was cut off and will not be resumed; its end says so. Raises RunFolderError."""
    detail = "the recorder was cut off after this; sealed when that was found"
    with refusing(run.path):
        _seal_lost(run, detail, utc_s, files)


def _seal_lost(run: CutOff, detail: str, utc_s: float, files: Files | None) -> None:
    try:
        append_events(run.path, [event_body(run.last_t_s, utc_text(utc_s), "end", detail)], files=files)
    except OSError as error:
        raise RunFolderError(f"{run.path} cannot be written: {error.strerror or error}.") from None
    seal_run(run.path, sealed_utc=utc_s, files=files)
    with contextlib.suppress(OSError):
        os.unlink(run.path / RUN_LOCK)


def begin_or_resume(
    furnace: Furnace,
    clock: Clock,
    about: RunFacts,
    *,
    alarms: Alarms,
    temp_c: float | None,
    started_s: float | None = None,
    fresh: bool = False,
    files: Files | None = None,
    heard: Callable[[str, str], None] | None = None,
) -> tuple[Recording, list[str]]:
    """Go on with the newest run that was cut off, if this is the same heating, else begin one; seal all others.

    ``started_s``: steady time of the first sample, at which a new run begins. Returns the recording, and sentences
    about runs that were cut off.

    Raises RunFolderError if a new run cannot be made on the disk.
    """
    says: list[str] = []
    lost = cut_off_runs(about.logbook, furnace)
    candidate = lost.pop() if lost and not fresh and same_heating(lost[-1], furnace, clock, temp_c=temp_c) else None
    for run in lost:
        try:
            finish_lost(run, utc_s=clock.utc_s(), files=files)
            says.append(f"{run.path.name} had been cut off and is sealed now.")
        except RunFolderError as error:
            says.append(str(error))
    if candidate is not None:
        try:
            recording = resume(candidate, furnace, clock, about, alarms=alarms, files=files, heard=heard)
        except LockHeld:
            raise
        except RunFolderError as error:
            says.append(str(error))
        else:
            if recording.doubtful is not None:
                recording.event(SETTLED, "a person records it")
            says.append(f"Going on with {candidate.path.name}, which was cut off at {moment(candidate.last_t_s)}.")
            return recording, says
    recording = begin(furnace, clock, about, alarms=alarms, started_s=started_s, files=files, heard=heard)
    check_begun(recording)
    return recording, says


def check_begun(recording: Recording) -> None:
    """Raise RunFolderError where the disk has no place for a run; a slow one may be about to make it."""
    if recording.keeper.folder is None and recording.keeper.trouble is not None:
        raise RunFolderError(f"no run can be begun: {recording.keeper.trouble}")
