"""``soakwitness mark``: say that something was done, now or earlier."""

from __future__ import annotations

import time
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, cast

import click

from soakwitness.cli.options.common import Words, WrongUse, find_run, logbook_option
from soakwitness.cli.options.screen import say, say_words
from soakwitness.cli.words.mark_words import mark_words, one_of_marks
from soakwitness.firmware_bridge.common.surfaces import Field
from soakwitness.firmware_bridge.common.wording import Says, Value, joined
from soakwitness.firmware_bridge.runfolder.contents import ACTS, Act, Mark
from soakwitness.firmware_bridge.runfolder.origins import Origin, origin_words

if TYPE_CHECKING:
    from soakwitness.firmware_bridge.marks.charges import Known
    from soakwitness.firmware_bridge.runfolder.marks import DroppedMark

WAIT_S = 2.0


@dataclass(frozen=True)
class _Asked:
    """What is to be entered: ``at_s`` [s] into the run, None for now; ``zone`` for saying it back."""

    act: Act | None
    pieces: tuple[str, ...]
    note: str
    by: str | None
    at_s: float | None
    zone: str
    strike: str | None
    why: str
    undo: bool = False


@click.command()
@click.argument("act", type=click.Choice(ACTS), required=False)
@click.argument("pieces", nargs=-1, type=Words())
@click.option("--run", help="Which run; else the one that is being recorded.")
@click.option(
    "--at",
    metavar="TIME",
    help="When it was done: +1:25 into the run (hours and minutes, as on the charts), +1:25:30, +85 (seconds); "
    "14:05 by the clock; or ISO 8601. Else now.",
)
@click.option("--zone", help="Time zone of --at, such as Europe/Vienna or +01:00; else the computer's.")
@click.option("--outside", is_flag=True, help="It was done before the record began, or after it ended.")
@click.option("--note", "note", type=Words(), help="Words to keep with it.")
@click.option(
    "--by", type=Words(), envvar="SOAKWITNESS_USER", help="Who says so; else the name of the computer's user."
)
@click.option(
    "--strike", type=Words(), metavar="ID", help="Strike out the mark of this id; its entry stays. Needs --why."
)
@click.option("--why", type=Words(), help="Why a mark is struck out.")
@click.option(
    "--undo", is_flag=True, help="Take back the newest entry, without a reason, until 2 min after the door was opened."
)
@click.option(
    "--inferred", metavar="RUN", help="Door dips of a finished run that no mark explains, and the acts they may be."
)
@click.option("--confirm", is_flag=True, help="With --inferred: enter these acts, as inferred.")
@click.option("--list", "listed", is_flag=True, help="List the marks of the run.")
@logbook_option
def mark(
    act: Act | None,
    pieces: tuple[str, ...],
    run: str | None,
    at: str | None,
    zone: str | None,
    outside: bool,
    note: str | None,
    by: str | None,
    strike: str | None,
    why: str | None,
    undo: bool,
    inferred: str | None,
    confirm: bool,
    listed: bool,
    logbook: Path,
) -> None:
    """Say that something was done: load, pull, plates, hand-warm, door or note, with the PIECES it was done to.

    PIECES are names and ranges such as B-041..B-046; without them the whole charge is meant. The words after ``note``
    are the note. A run that is being recorded has the mark within a second; into a finished run it is entered later,
    says so, and needs --run and --at.

    The first pull of a piece counts, and so do the first plates; a load of what is in changes nothing. A mark that
    changes nothing, or names a piece that is not in the charge, is entered all the same, and that is said.

    Example: soakwitness mark load B-041 B-042
    """
    from soakwitness.firmware_bridge.runfolder.names import spelled_out

    _check_use(act, pieces, strike, why, {"list": listed, "undo": undo, "inferred": inferred is not None})
    if confirm and inferred is None:
        says = "{confirm} goes with {inferred}: look first at what would be entered."
        named = {"confirm": Field("confirm"), "inferred": Field("inferred", metavar="RUN")}
        raise WrongUse(Says.of(says, **named))
    if inferred is not None:
        _infer(inferred, logbook, confirm=confirm, by=by or _user())
        return
    if act == "note" and note is None:
        pieces, note = (), " ".join(pieces)
    pieces = spelled_out(pieces)
    path, recorded = _which_run(run, logbook)
    if listed:
        _list(path, logbook)
        return
    at_s, zone = _moment(path, at, zone, recorded=recorded, outside=outside)
    if undo and not recorded:
        says = f"{path.name} is not being recorded. Strike a mark of it out with the reason:"
        raise WrongUse(joined([says, Field("strike", metavar="ID"), Field("why")]))
    asked = _Asked(act, pieces, note or "", by or _user(), at_s, zone, strike, why or "", undo)
    marks = _marks(path)
    made, said = _hand_over(path, asked) if recorded else _enter(path, asked)
    say(said)
    _say_what_is_asked(marks, made, _known(path, logbook), None if recorded else run or path.name)


def _infer(name: str, logbook: Path, *, confirm: bool, by: str | None) -> None:
    from soakwitness.cli.commands.mark_inferred import infer_marks

    path, recorded = _which_run(name, logbook)
    if recorded:
        says = f"{path.name} is being recorded: mark what was done with"
        then = Says.of("{at}; dips are read afterwards.", at=Field("at", metavar="TIME"))
        raise WrongUse(joined([says, then]))
    infer_marks(path, logbook, confirm=confirm, by=by)


def _moment(path: Path, at: str | None, zone: str | None, *, recorded: bool, outside: bool) -> tuple[float | None, str]:
    """The time that was typed [s into the run], and the zone that times are said in."""
    from soakwitness.firmware_bridge.common.zones import computer_zone, zone_of
    from soakwitness.firmware_bridge.runfolder.late import moment_in_run, outside_words

    zone = zone or computer_zone()
    zone_of(zone)
    if at is None:
        return None, zone
    at_s = moment_in_run(path, at, zone)
    away = outside_words(path, at_s, zone, now_utc_s=time.time() if recorded else None)
    if away is not None and not (outside and (at_s < 0 or not recorded)):
        says: list[Value] = [Says.of("{at}: {away}. Nothing was entered.", at=Field("at", at), away=away)]
        if at.strip().startswith("+"):
            says.append("Minutes and seconds are written +0:01:25.")
        if not (recorded and at_s > 0):
            says.append(Says.of("If it was done then all the same, add {outside}.", outside=Field("outside")))
        raise WrongUse(joined(says))
    return at_s, zone


def _marks(path: Path) -> tuple[Mark, ...]:
    from soakwitness.firmware_bridge.runfolder.reader import read_marks

    return read_marks(path)


def _known(path: Path, logbook: Path) -> tuple[Known, ...]:
    """Pieces that the log book has in this run; where it cannot be read, the marks alone are gone by."""
    from soakwitness.firmware_bridge.marks.charges import Known

    if not (logbook / "logbook.sqlite").exists():
        return ()
    from soakwitness.analysis.errors import AnalysisError
    from soakwitness.analysis.logbook.charges import pieces_in_run
    from soakwitness.analysis.logbook.opening import open_logbook
    from soakwitness.firmware_bridge.runfolder.reader import read_header

    try:
        with open_logbook(logbook) as book:
            inside = pieces_in_run(book, read_header(path).run)
    except AnalysisError:
        return ()
    return tuple(Known(one.piece, str(one.charge)) for one in inside if one.charge is not None)


def _say_what_is_asked(marks: tuple[Mark, ...], made: Mark, known: tuple[Known, ...], run: str | None) -> None:
    """Say what this mark, or the striking out of it, leaves to be asked."""
    from soakwitness.firmware_bridge.marks.charges import raised, read_charges

    others = tuple(mark for mark in marks if mark.mark_id != made.mark_id)
    before, after = (read_charges(each, known=known) for each in (marks, (*others, made)))
    for question in raised(before, after):
        say_words(joined([f"Note: {question.says}", question.next_of(run)]), err=True)


def _user() -> str | None:
    import getpass

    try:
        return getpass.getuser()
    except (OSError, KeyError):
        return None


def _check_use(
    act: Act | None, pieces: tuple[str, ...], strike: str | None, why: str | None, flags: dict[str, bool]
) -> None:
    asked: list[Value] = [*([act] if act else []), *([Field("strike")] if strike is not None else [])]
    asked += [Field(flag) for flag in flags if flags[flag]]
    if not asked:
        others = joined([Field("strike", metavar="ID"), *map(Field, flags)], ", ")
        raise WrongUse(Says.of("say what was done: {acts}; or {others}.", acts=", ".join(ACTS), others=others))
    if len(asked) > 1:
        raise WrongUse(joined([joined(asked, " and "), "do not go together: one thing at a time."]))
    if strike is not None and not (why or "").strip():
        says = "{strike} needs {why}: the reason stays with the mark."
        raise WrongUse(Says.of(says, strike=Field("strike"), why=Field("why")))
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
        says = f"{len(open_runs)} runs are being recorded: {names}. Say which:"
        raise WrongUse(joined([says, Field("run", metavar="NAME")]))
    if not open_runs:
        says = f"No recorder: nothing is being recorded in {logbook}."
        then = "To enter a mark into a finished run, name it and say when:"
        named = [Field("run", "last"), Field("at", metavar="TIME")]
        raise WrongUse(joined([says, *_watched(logbook), then, *named]))
    return open_runs[0], True


def _watched(logbook: Path) -> tuple[Says, ...]:
    """Say that a watch waits, which has no run to enter a mark into."""
    from soakwitness.firmware_bridge.runfolder.lock import is_held, read_holder

    holders = [read_holder(path) for path in sorted((logbook / "locks").glob("*.lock")) if is_held(path)]
    names = [str(holder.get("furnace", "a furnace")) for holder in holders if holder.get("who") == "watch"]
    if not names:
        return ()
    says = "{names} is watched: its run begins when it heats, and takes earlier marks then with {at}."
    return (Says.of(says, names=", ".join(names), at=Field("at", metavar="TIME")),)


def _hand_over(path: Path, asked: _Asked) -> tuple[Mark, str]:
    """Give it to the recorder; return the mark as it stands then, and what to say."""
    from soakwitness.firmware_bridge.marks.handing_over import present_t_s, taken_back
    from soakwitness.firmware_bridge.runfolder.late import moment_words, time_in_run
    from soakwitness.firmware_bridge.runfolder.line_format import utc_text
    from soakwitness.firmware_bridge.runfolder.marks import DroppedMark, drop_mark, mark_to_strike, new_mark_id

    marks, now_utc_s, struck = _marks(path), time.time(), None
    if asked.undo:
        struck, dropped = taken_back(marks, present_t_s(path, now_utc_s), utc_s=now_utc_s, by=asked.by)
    else:
        struck = mark_to_strike(marks, asked.strike) if asked.strike is not None else None
        dropped = DroppedMark(
            mark_id=new_mark_id(),
            utc=utc_text(now_utc_s),
            act=asked.act,
            pieces=asked.pieces,
            note=asked.note,
            by=asked.by,
            later=asked.at_s is not None,
            at_s=asked.at_s,
            strike=struck.mark_id if struck is not None else None,
            why=asked.why,
            origin=None if asked.act is None else _origin(asked),
        )
    file = drop_mark(path, dropped)
    until = time.monotonic() + WAIT_S
    while file.exists() and time.monotonic() < until:
        time.sleep(0.02)
    taken = "" if not file.exists() else f"; the recorder has not taken it within {WAIT_S:g} s, it will find it"
    when = "" if asked.at_s is None else f" at {moment_words(path, asked.at_s, asked.zone)}"
    said = f"{_words(dropped)} entered into {path.name}{when}{taken}."
    if asked.undo and struck is not None:
        said = f"Taken back from {path.name}{taken}: {one_of_marks(struck, marks)}."
    if struck is not None:
        return replace(struck, struck=True), said
    t_s = max(time_in_run(path, now_utc_s), *(mark.t_s for mark in marks), 0.0) if asked.at_s is None else asked.at_s
    return Mark(t_s, cast(Act, asked.act), asked.pieces, asked.note, dropped.mark_id), said


def _origin(asked: _Asked) -> Origin:
    return "command" if asked.at_s is None else "typed"


def _words(dropped: DroppedMark) -> str:
    if dropped.strike is not None:
        return f"Striking out of {dropped.strike}"
    return mark_words(Mark(0.0, cast(Act, dropped.act), dropped.pieces, dropped.note, dropped.mark_id))


def _enter(path: Path, asked: _Asked) -> tuple[Mark, str]:
    """Write it into a run that nobody records; return the mark as it stands then, and what to say."""
    from soakwitness.firmware_bridge.runfolder.late import enter_late, last_t_s, moment_words, strike_late
    from soakwitness.firmware_bridge.runfolder.marks import new_mark_id

    say(f"No recorder writes {path.name}; this is entered later, and says so.", err=True)
    if asked.strike is not None:
        struck = strike_late(path, asked.strike, why=asked.why, by=asked.by, now_utc=time.time())
        return replace(struck, struck=True), f"{one_of_marks(struck, _marks(path))} struck out of {path.name}."
    if asked.act is None:
        raise WrongUse("say what was done.")
    if asked.at_s is None and asked.act != "note":
        says = f"{path.name} is not being recorded, so say when it was done:"
        raise WrongUse(joined([says, Field("at", metavar="TIME")]))
    t_s = last_t_s(path) if asked.at_s is None else asked.at_s
    late = Mark(
        t_s, asked.act, asked.pieces, asked.note, new_mark_id(), entered_later=True, by=asked.by, origin="typed"
    )
    enter_late(path, late, now_utc=time.time())
    return (
        late,
        f"{one_of_marks(late, _marks(path))} entered into {path.name} at {moment_words(path, t_s, asked.zone)}.",
    )


def _when(t_s: float) -> str:
    from soakwitness.firmware_bridge.common.wording import moment

    return moment(t_s) if t_s >= 0 else f"{moment(-t_s)} before the start"


def _list(path: Path, logbook: Path) -> None:
    """Every mark, and what it leaves to be asked."""
    from soakwitness.firmware_bridge.marks.charges import read_charges

    marks = _marks(path)
    questions = read_charges(marks, known=_known(path, logbook)).questions
    for found in marks:
        more = [f"by {found.by}"] if found.by else []
        more += [words] if (words := origin_words(found)) else []
        more += [f"struck out: {found.struck_why}"] if found.struck else []
        more += [question.says for question in questions if question.mark == found]
        say(f"{_when(found.t_s)}  {mark_words(found)}{'; ' if more else ''}{'; '.join(more)}")
