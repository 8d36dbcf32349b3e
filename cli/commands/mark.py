"""``soakwitness mark``: say that something was done, now or earlier."""

from __future__ import annotations

import time
from pathlib import Path
from typing import TYPE_CHECKING, cast

import click

from soakwitness.cli.common import Words, WrongUse, find_run, logbook_option
from soakwitness.firmware_bridge.runfolder.model import ACTS, Act, Mark

if TYPE_CHECKING:
    from soakwitness.firmware_bridge.runfolder.marks import DroppedMark

WAIT_S = 2.0


@click.command()
@click.argument("act", type=click.Choice(ACTS), required=False)
@click.argument("pieces", nargs=-1, type=Words())
@click.option("--run", help="Which run; else the one that is being recorded.")
@click.option("--at", help="When it was done: ISO 8601, 14:05 with --zone, or +1:23:04 into the run; else now.")
@click.option("--zone", help="Time zone of --at, such as Europe/Vienna.")
@click.option("--note", "note", type=Words(), help="Words to keep with it.")
@click.option(
    "--by", type=Words(), envvar="SOAKWITNESS_USER", help="Who says so; else the name of the computer's user."
)
@click.option(
    "--strike", type=Words(), metavar="ID", help="Strike out the mark of this id; its entry stays. Needs --why."
)
@click.option("--why", type=Words(), help="Why a mark is struck out.")
@click.option("--list", "listed", is_flag=True, help="List the marks of the run.")
@logbook_option
def mark(
    act: Act | None,
    pieces: tuple[str, ...],
    run: str | None,
    at: str | None,
    zone: str | None,
    note: str | None,
    by: str | None,
    strike: str | None,
    why: str | None,
    listed: bool,
    logbook: Path,
) -> None:
    """Say that something was done: load, pull, plates, hand-warm, door or note, with the PIECES it was done to.

    PIECES are names and ranges such as B-041..B-046; without them the whole charge is meant. The words after ``note``
    are the note. A run that is being recorded has the mark within a second; into a finished run it is entered later,
    says so, and needs --run and --at.

    Example: soakwitness mark load B-041 B-042
    """
    from soakwitness.firmware_bridge.runfolder.late import moment_in_run
    from soakwitness.firmware_bridge.runfolder.names import spelled_out

    _check_use(act, pieces, strike, why, listed)
    if act == "note" and note is None:
        pieces, note = (), " ".join(pieces)
    pieces = spelled_out(pieces)
    by = by or _user()
    path, recorded = _which_run(run, logbook)
    if listed:
        _list(path)
        return
    at_s = None if at is None else moment_in_run(path, at, zone)
    if recorded:
        said = _hand_over(path, act, pieces, note or "", by, at_s, strike, why or "")
    else:
        said = _enter(path, act, pieces, note or "", by, at_s, strike, why or "")
    click.echo(said)


def _user() -> str | None:
    import getpass

    try:
        return getpass.getuser()
    except (OSError, KeyError):
        return None


def _check_use(act: Act | None, pieces: tuple[str, ...], strike: str | None, why: str | None, listed: bool) -> None:
    if act is None and strike is None and not listed:
        raise WrongUse(f"say what was done: {', '.join(ACTS)}; or --strike ID, or --list.")
    if act is not None and (strike is not None or listed):
        raise WrongUse(f"{act} and --strike or --list do not go together: one thing at a time.")
    if strike is not None and not (why or "").strip():
        raise WrongUse("--strike needs --why: the reason stays with the mark.")
    if any(not piece.strip() for piece in pieces):
        raise WrongUse("a piece's name may not be empty.")


def _which_run(run: str | None, logbook: Path) -> tuple[Path, bool]:
    """The run folder, and whether it is being recorded."""
    from soakwitness.firmware_bridge.runfolder.lock import RUN_LOCK, is_held

    if run is not None:
        path = find_run(run, logbook)
        return path, is_held(path / RUN_LOCK)
    folder = logbook / "runs"
    open_runs = sorted(path.parent for path in folder.glob(f"*/{RUN_LOCK}") if is_held(path)) if folder.is_dir() else []
    if len(open_runs) > 1:
        names = ", ".join(path.name for path in open_runs)
        raise WrongUse(f"{len(open_runs)} runs are being recorded: {names}. Say which: --run NAME")
    if not open_runs:
        raise WrongUse(
            f"No recorder: nothing is being recorded in {logbook}.{_watched(logbook)} To enter a mark into a finished "
            "run, name it and say when: --run last --at TIME"
        )
    return open_runs[0], True


def _watched(logbook: Path) -> str:
    """Say that a watch waits, which has no run to enter a mark into."""
    from soakwitness.firmware_bridge.runfolder.lock import is_held, read_holder

    holders = [read_holder(path) for path in sorted((logbook / "locks").glob("*.lock")) if is_held(path)]
    names = [str(holder.get("furnace", "a furnace")) for holder in holders if holder.get("who") == "watch"]
    if not names:
        return ""
    return f" {', '.join(names)} is watched: its run begins when it heats, and takes earlier marks then with --at TIME."


def _hand_over(
    path: Path,
    act: Act | None,
    pieces: tuple[str, ...],
    note: str,
    by: str | None,
    at_s: float | None,
    strike: str | None,
    why: str,
) -> str:
    from soakwitness.firmware_bridge.runfolder.format import utc_text
    from soakwitness.firmware_bridge.runfolder.marks import DroppedMark, drop_mark, mark_to_strike, new_mark_id
    from soakwitness.firmware_bridge.runfolder.reader import read_marks

    if strike is not None:
        strike = mark_to_strike(read_marks(path), strike).mark_id
    dropped = DroppedMark(
        mark_id=new_mark_id(),
        utc=utc_text(time.time()),
        act=act,
        pieces=pieces,
        note=note,
        by=by,
        later=at_s is not None,
        at_s=at_s,
        strike=strike,
        why=why,
    )
    file = drop_mark(path, dropped)
    until = time.monotonic() + WAIT_S
    while file.exists() and time.monotonic() < until:
        time.sleep(0.02)
    taken = "" if not file.exists() else f"; the recorder has not taken it within {WAIT_S:g} s, it will find it"
    return f"{_words(dropped)} entered into {path.name}{taken}."


def _words(dropped: DroppedMark) -> str:
    if dropped.strike is not None:
        return f"Striking out of {dropped.strike}"
    return mark_words(Mark(0.0, cast(Act, dropped.act), dropped.pieces, dropped.note, dropped.mark_id))


def mark_words(mark: Mark) -> str:
    """A mark as ``Load of B-041, B-042 (id 3fa2c1)``."""
    pieces = f" of {', '.join(mark.pieces)}" if mark.pieces else ""
    note = f": {mark.note}" if mark.note else ""
    return f"{mark.act.capitalize()}{pieces}{note} (id {mark.mark_id})"


def _enter(
    path: Path,
    act: Act | None,
    pieces: tuple[str, ...],
    note: str,
    by: str | None,
    at_s: float | None,
    strike: str | None,
    why: str,
) -> str:
    from soakwitness.firmware_bridge.runfolder.late import enter_late, last_t_s, strike_late
    from soakwitness.firmware_bridge.runfolder.marks import new_mark_id

    click.echo(f"No recorder writes {path.name}; this is entered later, and says so.", err=True)
    if strike is not None:
        struck = strike_late(path, strike, why=why, by=by, now_utc=time.time())
        return f"{mark_words(struck)} struck out of {path.name}."
    if act is None:
        raise WrongUse("say what was done.")
    if at_s is None and act != "note":
        raise WrongUse(f"{path.name} is not being recorded, so say when it was done: --at TIME")
    t_s = last_t_s(path) if at_s is None else at_s
    late = Mark(t_s, act, pieces, note, new_mark_id(), entered_later=True, by=by)
    enter_late(path, late, now_utc=time.time())
    return f"{mark_words(late)} entered into {path.name} at {_when(t_s)}."


def _when(t_s: float) -> str:
    from soakwitness.firmware_bridge.common.wording import moment as clock_words

    return clock_words(t_s) if t_s >= 0 else f"{clock_words(-t_s)} before the start"


def _list(path: Path) -> None:
    from soakwitness.firmware_bridge.runfolder.reader import read_marks

    for found in read_marks(path):
        more = [f"by {found.by}"] if found.by else []
        more += ["entered later"] if found.entered_later else []
        more += [f"struck out: {found.struck_why}"] if found.struck else []
        click.echo(f"{_when(found.t_s)}  {mark_words(found)}{'; ' if more else ''}{'; '.join(more)}")
