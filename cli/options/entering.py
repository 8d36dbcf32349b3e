"""What commands that read or write the log book share: who, when, which log book, numbers a person typed."""

from __future__ import annotations

import contextlib
import os
import re
import sys
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextvars import ContextVar
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from soakwitness.cli.options.common import WrongUse, nearest
from soakwitness.cli.options.screen import say
from soakwitness.firmware_bridge.common.surfaces import Field
from soakwitness.firmware_bridge.common.wording import Says, joined

if TYPE_CHECKING:
    from soakwitness.analysis.logbook.opening import LogBook
    from soakwitness.analysis.record.moments import Stamp

F = TypeVar("F", bound=Callable[..., Any])
HOUR = re.compile(r"([01]?\d|2[0-3]):([0-5]\d)")


def by_option(function: F) -> F:
    """Option ``--by``, passed as ``by``: who makes an entry."""
    return click.option(
        "--by", envvar="SOAKWITNESS_USER", help="Who enters this; else the name of the computer's user."
    )(function)


def zone_option(function: F) -> F:
    """Option ``--zone``, passed as ``zone``: the time zone of times without one."""
    says = "Time zone of local times, such as Europe/Vienna or +01:00; else the computer's."
    return click.option("--zone", help=says)(function)


def why_option(function: F) -> F:
    """Option ``--why``, passed as ``why``; compulsory."""
    return click.option("--why", required=True, help="The reason.")(function)


def seen_option(function: F) -> F:
    """Option ``--seen``, passed as ``seen``: what had been entered about each piece or run when one looked."""
    return click.option(
        "--seen",
        multiple=True,
        metavar="NAME=COUNT",
        callback=_counts,
        help="Enter it only if no more than COUNT entries about this piece or run are on record: what history --json, "
        "or disposition --json, gave as entries.",
    )(function)


def _counts(ctx: click.Context, param: click.Parameter, given: tuple[str, ...]) -> dict[str, int]:
    counts = {}
    for text in given:
        name, _, count = text.rpartition("=")
        if not name or not count.isdecimal() or len(count) > 9:
            raise click.BadParameter(f"{text!r} is not written like B-041=7.", ctx, param)
        counts[name] = int(count)
    return counts


@contextlib.contextmanager
def entering(book: LogBook, stamp: Stamp, seen: Mapping[str, int]) -> Iterator[None]:
    """Write into the log book, unless something was entered since that nobody had seen."""
    from soakwitness.analysis.logbook.newer_entries import check_seen

    with book.writing(stamp):
        check_seen(book, seen)
        yield


def new_stamp(by: str | None) -> Stamp:
    """Who and now."""
    from soakwitness.analysis.record.moments import Stamp, utc_text

    return Stamp(utc_text(datetime.now(UTC)), by or _user())


def _user() -> str:
    import getpass

    try:
        return getpass.getuser()
    except (OSError, KeyError):
        return "unknown"


def moment(text: str | None, zone: str | None) -> str | None:
    """UTC text of a time a person typed; ``now`` is allowed. A local time without a zone is the computer's."""
    from soakwitness.analysis.record.moments import is_local, read_moment, utc_text
    from soakwitness.firmware_bridge.common.zones import computer_zone

    if text is None:
        return None
    if text == "now":
        return utc_text(datetime.now(UTC))
    here = computer_zone() if zone is None else zone
    at_utc = read_moment(text, zone=here)
    if zone is None and is_local(text):
        say(f"{text} was taken in {here}, the computer's zone.", err=True)
    return at_utc


def start_of(text: str | None, zone: str | None, *, now: datetime | None = None) -> tuple[str, str]:
    """When a furnace is to be started as UTC text, and the zone of its hours: an hour is the next such from now on."""
    from soakwitness.analysis.record.moments import read_moment, utc_text
    from soakwitness.firmware_bridge.common.zones import computer_zone, zone_of

    here = zone or computer_zone()
    now = now or datetime.now(UTC)
    found = HOUR.fullmatch((text or "").strip())
    if text is None:
        return utc_text(now), here
    if found is None:
        at_utc = moment(text, zone)
        assert at_utc is not None
        return at_utc, here
    local = now.astimezone(zone_of(here))
    day = local.date()
    if (int(found[1]), int(found[2])) < (local.hour, local.minute):
        day += timedelta(days=1)
    return read_moment(f"{day.isoformat()}T{int(found[1]):02d}:{found[2]}", zone=here), here


def open_book(logbook: Path, *, create: bool = False) -> LogBook:
    """Open the log book; what it has to tell goes to stderr."""
    from soakwitness.analysis.logbook.opening import open_logbook

    return open_logbook(logbook, create=create, told=lambda says: say(says, err=True))


def take_in_runs(book: LogBook, stamp: Stamp) -> None:
    """Bring the list of runs in step with the run folders, and give waiting charges their run."""
    from soakwitness.analysis.logbook.charges import bind_waiting
    from soakwitness.analysis.logbook.run_loads import bind_loads
    from soakwitness.analysis.logbook.runs import take_in

    with progress_bar("Reading run folders") as bar:
        taken = take_in(book, stamp=stamp, progress=bar)
    for says in taken.unreadable:
        say(f"Left out: {says}", err=True)
    bind_waiting(book, stamp=stamp)
    bind_loads(book, stamp=stamp)
    measure_hours(book, stamp)


def measure_hours(book: LogBook, stamp: Stamp) -> None:
    """Measure how long sensors were hot in runs of which that is not known yet."""
    from soakwitness.analysis.logbook.calibration_records import runs_without_hours

    if not runs_without_hours(book):
        return  # what measures loads numpy, and most commands find nothing to measure
    from soakwitness.analysis.recomputing.measuring_hours import measure_hours_hot

    with progress_bar("Measuring hours hot") as bar:
        measure_hours_hot(book, stamp=stamp, progress=bar)


def furnace_named(book: LogBook, text: str) -> str:
    """The furnace's name as runs have it: of its file, of a run, or of a furnace file here or beside the log book."""
    from soakwitness.analysis.logbook.runs import furnaces
    from soakwitness.firmware_bridge.connecting.furnace_file import load_furnace

    if Path(text).is_file():
        return load_furnace(text).name
    known = {name.casefold(): name for name in (*names_in_files(Path(), book.folder.parent), *furnaces(book))}
    if text.casefold() not in known:
        there = ", ".join(sorted(known.values())) or "none"
        unknown = f"no run and no furnace file here has this name.{nearest(text, known.values())} Known: {there}."
        file = joined(["Name the furnace file itself for one that never ran:", Field("furnace", metavar="FILE.toml")])
        raise WrongUse(joined([Says.of("{given}: {unknown}", given=Field("furnace", text), unknown=unknown), file]))
    return known[text.casefold()]


def names_in_files(*folders: Path) -> list[str]:
    """Names of the furnaces whose files lie in some folders."""
    from soakwitness.firmware_bridge.connecting.furnace_file import load_furnace
    from soakwitness.firmware_bridge.errors import FurnaceFileError

    names = []
    for path in sorted({path.resolve() for folder in folders for path in folder.glob("*.toml")}):
        with contextlib.suppress(FurnaceFileError):  # a recipe, or another program's file
            names.append(load_furnace(path).name)
    return names


def refresh_runs(book: LogBook, stamp: Stamp, runs: Sequence[str]) -> None:
    """Judge and measure anew those of the runs that need it; what could not be, and what changed, goes to stderr."""
    from soakwitness.analysis.recomputing.refreshing import refresh
    from soakwitness.firmware_bridge.common.wording import counted

    with progress_bar("Verifying runs") as bar:
        done = refresh(book, stamp=stamp, runs=runs, processes=os.cpu_count() or 1, progress=bar)
    for says in done.troubles:
        say(f"Left out: {says}", err=True)
    if done.changed:
        first = done.changed[0].run
        say(
            f"{counted(len(done.changed), 'run')} judged otherwise than before: soakwitness logbook verdicts {first}",
            err=True,
        )


# who else is told how far it is; with one there is no bar
told_progress: ContextVar[Callable[[int, int], None] | None] = ContextVar("told_progress", default=None)


class progress_bar:  # noqa: N801 (used like a function)
    """A bar on stderr that shows itself after two seconds, and only at a terminal. Call it with (done, of)."""

    def __init__(self, label: str) -> None:
        self._label = label
        self._begun = time.monotonic()
        self._shown = False

    def __enter__(self) -> progress_bar:
        return self

    def __call__(self, done: int, of: int) -> None:
        """Show how far it is."""
        if (told := told_progress.get()) is not None:
            return told(done, of)
        if not self._shown and time.monotonic() - self._begun < 2.0:
            return
        if sys.stderr.isatty():
            self._shown = True
            filled = round(30 * done / max(of, 1))
            click.echo(f"\r{self._label} {'=' * filled}{' ' * (30 - filled)} {done}/{of}", nl=False, err=True)

    def __exit__(self, *error: object) -> None:
        if self._shown:
            say(err=True)


def shown_time(at_utc: str | None, zone: str | None = None) -> str:
    """A moment as people write it: in the zone given, else in the computer's own."""
    from soakwitness.analysis.record.moments import from_utc_text
    from soakwitness.firmware_bridge.common.zones import zone_of

    if at_utc is None:
        return "-"
    there = from_utc_text(at_utc).astimezone(zone_of(zone) if zone else None)
    return there.strftime("%Y-%m-%d %H:%M")
