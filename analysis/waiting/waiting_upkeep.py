"""Furnaces and log book that wait: cut-out, calibrations, checks and surveys due, wire, first runs, disk, backup."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from soakwitness.analysis.logbook.backing_up import last_backup_utc
from soakwitness.analysis.logbook.cutouts import CutOutTest, cutout_tests
from soakwitness.analysis.logbook.lately import FurnaceInUse, LifeInForce, first_run_utc, lives_in_force
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.logbook.sensors import Check, accuracy_tests, surveys
from soakwitness.analysis.record.moments import days_between, local_day, seconds_between
from soakwitness.analysis.thermocouples.wire_life import ends_h
from soakwitness.analysis.waiting.waiting_acts import (
    AskedAbout,
    Concern,
    Urgency,
    WaitingAct,
    command,
    how_long,
)
from soakwitness.analysis.waiting.waiting_first_runs import first_runs
from soakwitness.firmware_bridge.common.wording import Says, Temp, counted, number

SOON_DAYS = 14  # what falls due is told so long before
CUT_OUT_DAYS = 183  # half a year between two tests; common practice, no source
NEARLY = 0.8  # of the hours that a wire is good for: from there on it is told
NEW_RUNS, NEW_DAYS = 12, 365  # a furnace with more runs, or known for longer, is asked for no first runs
LITTLE_BYTES, ROOM_BYTES = 200_000_000, 1_000_000_000
PAGE = ("guide", "files")  # that of the log book itself
BACKUP_DAYS, FIRST_BACKUP_DAYS = 30, 7


def waiting_furnaces(book: LogBook, found: Iterable[FurnaceInUse], asking: AskedAbout) -> Iterator[WaitingAct]:
    """What waits for the furnaces in use; one that is only simulated has no cut-out and no wire."""
    for furnace in found:
        if not furnace.simulated:
            yield from _cut_out(book, furnace.furnace, asking)
        for life in lives_in_force(book, furnace.furnace):
            yield from _calibration(life, asking)
            yield from _wire(life, asking)
        newest = {test.sensor: test for test in accuracy_tests(book, furnace.furnace)}
        for sensor, test in newest.items():
            yield from _due_check("accuracy test", test, f"{sensor} of {furnace.furnace}", asking)
        for survey in surveys(book, furnace.furnace)[-1:]:
            yield from _due_check("survey", survey, furnace.furnace, asking)
        if not furnace.simulated:
            yield from _first_runs(book, furnace, asking)


def _about(furnace: str, sensor: str | None = None) -> tuple[Concern, ...]:
    here = Concern("furnace", furnace)
    return (here,) if sensor is None else (Concern("sensor", f"{sensor} of {furnace}"), here)


def _cut_out(book: LogBook, furnace: str, asking: AskedAbout) -> Iterator[WaitingAct]:
    tests = cutout_tests(book, furnace)
    last = tests[-1] if tests else None
    days = None if last is None else days_between(last.done_on, asking.today)
    if last is not None and last.did_not_cut:
        if asking.wanted("cut-out fault", furnace):
            failed = "{furnace}: its cut-out, set to {at}, did NOT cut up to {reached} on {day}."
            at, reached = Temp(last.set_c), Temp(last.reached_c or last.set_c)
            says = Says.of(failed, furnace=furnace, at=at, reached=reached, day=last.done_on)
            yield _cut_out_act("cut-out fault", "at once", furnace, says, last)
    elif (days is None or days > CUT_OUT_DAYS) and asking.wanted("cut-out test", furnace):
        words = "no test of its over-temperature cut-out is on record"
        if days is not None:
            words = f"the last test of its over-temperature cut-out on record was {days} days ago"
        says = Says.of(f"{{furnace}}: {words}.", furnace=furnace)
        yield _cut_out_act("cut-out test", "when it suits" if days is None else "soon", furnace, says, last)


def _cut_out_act(kind: str, urgency: Urgency, furnace: str, says: Says, last: CutOutTest | None) -> WaitingAct:
    return WaitingAct(
        kind=kind,
        urgency=urgency,
        says=says,
        concerns=_about(furnace),
        settle=command("cutout", furnace, "--set", "TEMPERATURE", "--tripped-at", "TEMPERATURE"),
        page=("furnace", furnace),
        due_on=None if last is None else last.done_on,
    )


def _calibration(found: LifeInForce, asking: AskedAbout) -> Iterator[WaitingAct]:
    life = found.life
    name = f"{life.sensor} of {life.furnace}"
    if not asking.wanted("calibration", name, life.furnace):
        return
    settle = command("calibrate", "--help")
    about = _about(life.furnace, life.sensor)
    if not found.calibrated and found.calibrated_before:
        says = f"{name}: fitted on {local_day(life.fitted_utc, asking.zone)}, no calibration of it on record yet."
        yield _act("calibration", "soon", says, about, settle)
    elif found.due_on is not None:
        yield from _due("calibration", found.due_on, name, about, settle, asking)


def _due_check(kind: str, check: Check, name: str, asking: AskedAbout) -> Iterator[WaitingAct]:
    if check.due_on is not None and asking.wanted(kind, name, check.furnace):
        about = _about(check.furnace, check.sensor)
        verb = "survey" if kind == "survey" else "accuracy"
        yield from _due(kind, check.due_on, name, about, command(verb, "--help"), asking)


def _due(
    kind: str, due_on: str, name: str, about: tuple[Concern, ...], settle: str, asking: AskedAbout
) -> Iterator[WaitingAct]:
    left = days_between(asking.today, due_on)
    if left < 0:
        says = f"{name}: the {kind} was due on {due_on}, {counted(-left, 'day')} ago."
        yield _act(kind, "soon", says, about, settle, due_on)
    elif left <= SOON_DAYS:
        when = f"in {counted(left, 'day')}" if left else "today"
        yield _act(kind, "when it suits", f"{name}: the {kind} is due on {due_on}, {when}.", about, settle, due_on)


def _act(
    kind: str, urgency: Urgency, says: str, about: tuple[Concern, ...], settle: str, due_on: str | None = None
) -> WaitingAct:
    page = ("furnace", about[-1].name)
    return WaitingAct(kind, urgency, Says.plain(says), about, settle, page, due_on=due_on)


def _wire(found: LifeInForce, asking: AskedAbout) -> Iterator[WaitingAct]:
    life = found.life
    most_h, name = ends_h(life.thermocouple, life.diameter_mm), f"{life.sensor} of {life.furnace}"
    if most_h is None or found.hours_950 < NEARLY * most_h or not asking.wanted("thermocouple", name, life.furnace):
        return
    says = "{name}: {heats} and {hours} h above {hot}; such wire is renewed at {most} h."
    yield WaitingAct(
        kind="thermocouple",
        urgency="soon" if found.hours_950 >= most_h else "when it suits",
        says=Says.of(
            says,
            name=name,
            heats=counted(found.heats, "heat"),
            hours=number(found.hours_950, 0),
            hot=Temp(950.0),
            most=number(most_h, 0),
        ),
        concerns=_about(life.furnace, life.sensor),
        settle=command("sensor", "fitted", life.sensor, "--furnace", life.furnace),
        page=("furnace", life.furnace),
    )


def _first_runs(book: LogBook, furnace: FurnaceInUse, asking: AskedAbout) -> Iterator[WaitingAct]:
    """The next of the first three runs of a new furnace: by what is on record of it, whatever its runs were called."""
    name = furnace.furnace
    known_s = seconds_between(furnace.first_utc, asking.now_utc)
    if furnace.runs > NEW_RUNS or known_s > NEW_DAYS * 86400.0 or not asking.wanted("first runs", name):
        return
    three = first_runs(book, name)
    for one in three:
        if not one.done and one.missing is not None and one.settle is not None:
            says = "{name}, {made} of its 3 first runs on record: {missing}; {good_for}."
            made = str(sum(each.done for each in three))
            told = Says.of(says, name=name, made=made, missing=one.missing, good_for=one.good_for)
            yield WaitingAct("first runs", "when it suits", told, _about(name), one.settle, ("furnace", name))
            return


def waiting_book(book: LogBook, asking: AskedAbout, *, free_bytes: int | None) -> Iterator[WaitingAct]:
    """Room on the log book's disk, and a backup somewhere else."""
    about = (Concern("log book", book.folder.name),)
    settle = command("logbook", "backup", "FILE.zip")
    if free_bytes is not None and free_bytes < ROOM_BYTES and asking.wanted("disk", "log book"):
        says = f"Only {free_bytes // 1_000_000} MB are free on the log book's disk."
        urgency: Urgency = "today" if free_bytes < LITTLE_BYTES else "when it suits"
        yield WaitingAct("disk", urgency, Says.plain(says), about, settle, PAGE)
    last_utc, first_utc = last_backup_utc(book), first_run_utc(book)
    since_utc, days = (last_utc, BACKUP_DAYS) if last_utc is not None else (first_utc, FIRST_BACKUP_DAYS)
    if since_utc is None or not asking.wanted("backup", "log book"):
        return
    for_s = seconds_between(since_utc, asking.now_utc)
    if for_s > days * 86400.0:
        says = f"The last backup of the log book on record was made {how_long(for_s)} ago."
        if last_utc is None:
            says = "No backup of the log book is on record; its daily copies lie on the same disk."
        yield WaitingAct(
            "backup", "when it suits", Says.plain(says), about, settle, PAGE, since_utc=since_utc, for_s=for_s
        )
