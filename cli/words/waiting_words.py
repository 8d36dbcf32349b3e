"""What waits for a person, in lines for one screen and for programs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from soakwitness.cli.options.screen import emphasised, screen_width, wrapped
from soakwitness.firmware_bridge.common.units import Unit

if TYPE_CHECKING:
    from soakwitness.analysis.logbook.set_aside import SetAside
    from soakwitness.analysis.waiting.waiting_acts import RunBeingRecorded, Waiting, WaitingAct

MOST_LINES = 24
COLOURS = {"at once": "red", "today": "yellow", "soon": "yellow", "when it suits": "green"}


def today_lines(waiting: Waiting, unit: Unit, *, every: bool = False) -> list[str]:
    """Lines for the screen: what matters most first, each with its command; at most 24 unless all are asked for."""
    wide = screen_width()
    acts = waiting.acts
    head = [line for run in waiting.recording for line in wrapped(recording_words(run, waiting.now_utc), wide)]
    if not acts:
        aside = " What was set aside is listed by: soakwitness today --set-aside" if waiting.set_aside else ""
        return [*wrapped(f"Nothing is waiting.{aside}", wide), *head]
    blocks = [_block(act, unit, wide, first=number == 0) for number, act in enumerate(acts)]
    blocks[0] += head
    lines: list[str] = []
    for number, block in enumerate(blocks):
        room = MOST_LINES - (number + 1 < len(blocks))  # a line says what is left out
        if not every and lines and len(lines) + len(block) > room:
            return [*lines, f"Not shown: {len(blocks) - number} more: soakwitness today --all"]
        lines += block
    return lines


def _block(act: WaitingAct, unit: Unit, wide: int, *, first: bool) -> list[str]:
    says = wrapped(printable(act.says.text(unit)), wide, indent="  ")
    if first:
        says = [emphasised(line, COLOURS[act.urgency]) for line in says]
    return [*says, *(f"      {line}" for line in wrapped(printable(act.settle), wide - 6, indent="  "))]


def recording_words(run: RunBeingRecorded, now_utc: str) -> str:
    """What is being recorded, and for how long."""
    from soakwitness.analysis.record.moments import seconds_between
    from soakwitness.analysis.waiting.waiting_acts import how_long

    recipe = f", {run.recipe}" if run.recipe else ""
    since = how_long(max(seconds_between(run.started_utc, now_utc), 0.0))
    return printable(f"Being recorded: {run.furnace}{recipe}, for {since}.")


def printable(text: str) -> str:
    """A text without signs that a terminal would act on."""
    return "".join(sign if sign.isprintable() else "\N{REPLACEMENT CHARACTER}" for sign in text)


def today_json(waiting: Waiting, unit: Unit) -> dict[str, Any]:
    """The same for programs: every act, none left out."""
    return {
        "schema": "soakwitness/today/1",
        "now_utc": waiting.now_utc,
        "days": waiting.days,
        "set_aside": waiting.set_aside,
        "recording": [
            {
                "run": r.run,
                "furnace": r.furnace,
                "recipe": r.recipe,
                "started_utc": r.started_utc,
                "last_utc": r.last_utc,
            }
            for r in waiting.recording
        ],
        "waiting": [_act_json(act, unit) for act in waiting.acts],
    }


def _act_json(act: WaitingAct, unit: Unit) -> dict[str, Any]:
    return {
        "kind": act.kind,
        "urgency": act.urgency,
        "says": act.says.text(unit),
        "settle": act.settle,
        "concerns": [{"about": concern.about, "name": concern.name} for concern in act.concerns],
        "page": list(act.page),
        "since_utc": act.since_utc,
        "for_s": act.for_s,
        "due_on": act.due_on,
    }


def set_aside_words(one: SetAside) -> str:
    """One line about what need not be asked for."""
    about = one.subject or "all"
    until = f", until {one.until_day}" if one.until_day else ""
    return printable(
        f"{one.entry}  {one.kind}: {about}{until}, by {one.entered_by} on {one.entered_utc[:10]}: {one.why}"
    )
