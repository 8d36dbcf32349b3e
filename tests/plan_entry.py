"""Where a generator of furnaces asks for plans: past heatings go into a log book, `plan` is asked as its user does.

Written for a hand that has not read how plans are made. A generator invents a furnace, a controller and blades, none of
whose figures the plan is told; it heats the furnace a few times before (``PastHeating``), asks (``PlanQuestion``), does
what the answer says (``PlanAnswer``) in its own furnace, and compares what its blades then really had.

What to do with an answer:

1. Type ``program`` into the controller: for each step a temperature, a rate (None: full power) and, where it is a hold,
   minutes. They count from when the display is there (the controller waits), and the last setpoint stays until the
   blades are out.
2. ``load_step`` None: the blades are in from the cold start. Else they go in, cold, ``load_wait_s`` after the display
   first shows ``load_shown_c`` in that step (the lower edge of its band as the display shows it).
3. Blade n comes out ``out_s[n]`` after ``since_s``: the display's first showing of ``out_shown_c`` in the last step, or
   the load if that is later.

Promised: each blade has then been at or above the last hold's true lower edge for at least what the recipe asks
(``hold_minutes``), from when the chamber came into the band until it is out, in 95 of 100; and, where ``both`` is true,
never longer than ``at_most_minutes``. Where ``both`` is false the most is kept and the least is not promised.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from click.testing import CliRunner

from soakwitness.analysis.calibration.correcting.correction import (
    Correction,
    CorrectionPoint,
    correction_to_dict,
)
from soakwitness.analysis.logbook.opening import LogBook, open_logbook
from soakwitness.analysis.logbook.runs import take_in
from soakwitness.analysis.logbook.sensors import add_calibration, fit_sensor
from soakwitness.analysis.record.moments import Stamp
from soakwitness.cli.main import soakwitness
from soakwitness.firmware_bridge.runfolder.contents import Column, Mark
from soakwitness.firmware_bridge.runfolder.line_format import sample_body, utc_text
from soakwitness.firmware_bridge.runfolder.marks import encode_mark
from soakwitness.firmware_bridge.runfolder.writer import RunFolder

FURNACE = "planned furnace"
OPENS = datetime(2026, 1, 12, 7, 30, tzinfo=UTC)


@dataclass(frozen=True)
class PastHeating:
    """One heating on record, a reading every few seconds from the cold start on [s, degC as the display shows it].

    ``setpoint_c`` and ``output_pct`` as the controller logs them (None: it logs none). ``load_c`` is a thermocouple in
    a blade of ``load_mm`` in its packet; None: there was none. ``load_s`` is the load mark (None: in from the cold
    start), ``pull_s`` the pull mark. ``slot``: where in the rack the instrumented one stood, and ``filled`` how many
    stood there (None: it stood alone).
    """

    t_s: Sequence[float]
    display_c: Sequence[float]
    pull_s: float
    load_s: float | None = None
    setpoint_c: Sequence[float] | None = None
    output_pct: Sequence[float] | None = None
    load_c: Sequence[float] | None = None
    load_mm: float = 3.0
    slot: int | None = None
    filled: int | None = None


@dataclass(frozen=True)
class Shelf:
    """A rack: so many slots, ``spacing_mm`` from middle to middle, packets ``width_mm`` high and ``length_mm`` long."""

    slots: int
    spacing_mm: float
    width_mm: float = 40.0
    length_mm: float = 250.0


@dataclass(frozen=True)
class PlanQuestion:
    """What is asked. ``recipe`` is the text of a recipe file; its last hold is the one that is promised.

    ``blades_mm``: thickness of each blade, alike or not. ``instrumented`` names the past heatings (from 0 on) that the
    packet is learned from; none: generic figures. ``reaches`` says the climb by hand (``600:20,900:45``) in place of
    past heatings. ``reads_high_c``: the display shows so much too much, as a calibration with the uncertainty
    ``expanded_c`` (k = 2) has it; None: nothing is known of it.
    """

    recipe: str
    past: tuple[PastHeating, ...] = ()
    blades_mm: tuple[float, ...] = (3.0,)
    foil: bool = True
    shelf: Shelf | None = None
    instrumented: tuple[int, ...] = ()
    reaches: str | None = None
    reads_high_c: float | None = None
    expanded_c: float = 2.0


@dataclass(frozen=True)
class TypedStep:
    """One step as typed in; ``hold_s`` None is a way to ``setpoint_c``, at ``rate_c_per_h`` or at full power (None)."""

    setpoint_c: float
    rate_c_per_h: float | None
    hold_s: float | None


@dataclass(frozen=True)
class PlanAnswer:
    """What the plan says; see the module. ``slots`` are the blades' places in the shelf (None: no shelf).

    ``soak_s`` is what it expects of each blade: low, likely, high [s]. ``earliest_s`` and ``latest_s`` (None: no most)
    count as ``out_s`` does.
    """

    program: tuple[TypedStep, ...]
    load_step: int | None
    load_wait_s: float
    load_shown_c: float
    out_shown_c: float
    out_s: tuple[float, ...]
    earliest_s: tuple[float, ...]
    latest_s: tuple[float | None, ...]
    slots: tuple[int | None, ...]
    soak_s: tuple[tuple[float, float, float], ...]
    both: bool
    measured: bool
    learned_runs: int
    all_said: dict[str, Any]


def ask(folder: Path, question: PlanQuestion) -> PlanAnswer:
    """Put a question to `plan`; ``folder`` is empty and gets log book and files."""
    recipe, book = folder / "recipe.toml", folder / "book"
    recipe.write_text(question.recipe, encoding="utf-8")
    names = [record(book, question, number) for number in range(len(question.past))]
    with open_logbook(book, create=True) as opened:
        take_in(opened, stamp=_stamp())
        if question.reads_high_c is not None:
            _calibrate(opened, question)
    words: list[str] = ["plan", str(recipe), "--at", utc_text(_when(400)), "--json"]
    words += ["--furnace", FURNACE] if question.past else []
    words += ["--reaches", question.reaches] if question.reaches else []
    words += ["--packet", str(_fitted(folder, book, question, names))] if question.instrumented else []
    return answer_of(_run(book, [*words, *_pieces(folder, book, question)]))


def answer_of(said: dict[str, Any]) -> PlanAnswer:
    """What ``plan --json`` said, as far as a generator needs it."""
    last, loaded = said["holds"][-1], next((hold for hold in said["holds"] if hold["loaded"]), None)
    pieces = last["pieces"]
    waits_s = 0.0 if loaded is None else said["load_s"]["best_s"] - loaded["enter_s"]["best_s"]
    return PlanAnswer(
        program=tuple(TypedStep(s["setpoint_c"], s["rate_c_per_h"], s["hold_s"]) for s in said["program"]),
        load_step=None if loaded is None else loaded["step"],
        load_wait_s=waits_s,
        load_shown_c=0.0 if loaded is None else loaded["shown_c"],
        out_shown_c=last["shown_c"],
        out_s=tuple(one["out_s"] for one in pieces),
        earliest_s=tuple(one["earliest_s"] for one in pieces),
        latest_s=tuple(one["latest_s"] for one in pieces),
        slots=tuple(one["slot"] for one in pieces),
        soak_s=tuple(tuple(one["soak_s"][name] for name in ("low_s", "best_s", "high_s")) for one in pieces),
        both=said["both"],
        measured=said["packet"]["measured"],
        learned_runs=0 if said["learned"] is None else said["learned"]["runs"],
        all_said=said,
    )


def record(book: Path, question: PlanQuestion, number: int) -> str:
    """Write one past heating as a sealed run folder of the log book; return its name."""
    past, start = question.past[number], _when(number)
    columns = [Column("control", "sensor", "C", role="control", thermocouple="K", resolution=0.1)]
    series = {"control": past.display_c}
    if past.load_c is not None:
        columns.append(Column("load", "sensor", "C", role="load", thickness_mm=past.load_mm, resolution=0.1))
        series["load"] = past.load_c
    for name, unit, values in (("setpoint", "C", past.setpoint_c), ("output", "%", past.output_pct)):
        if values is not None:
            columns.append(Column(name, "signal", unit))
            series[name] = values
    made = RunFolder.create(
        book, columns=columns, furnace_name=FURNACE, started_utc=start, zone="UTC", recipe_name="recipe.toml",
        recipe_file=question.recipe, furnace_file=_furnace_file(question.shelf),
        every_s=float(past.t_s[1] - past.t_s[0]),
    )  # fmt: skip
    names = [column.name for column in columns]
    made.write_bodies(
        [
            sample_body(t, utc_text(start.timestamp() + t), names, {n: round(float(series[n][i]), 1) for n in names})
            for i, t in enumerate(map(float, past.t_s))
        ]
    )
    marks = [("load", past.load_s), ("pull", past.pull_s)]
    for place, (act, at_s) in enumerate((act, at_s) for act, at_s in marks if at_s is not None):
        mark = Mark(at_s, act, mark_id=f"m{number:03d}{place}", entered_t_s=at_s)  # type: ignore[arg-type]
        made.write_event(at_s, utc_text(start.timestamp() + at_s), "mark", encode_mark(mark))
    end_s = float(past.t_s[-1])
    made.write_event(end_s, utc_text(start.timestamp() + end_s), "end")
    made.seal(sealed_utc=start + timedelta(seconds=end_s))
    return made.path.name


def _furnace_file(shelf: Shelf | None) -> str | None:
    """What the smith says of the rack; the foreign furnace has no floor: all that is not the neighbour is its walls."""
    if shelf is None:
        return None
    keys = (f"{name} = {getattr(shelf, name):g}" for name in Shelf.__dataclass_fields__)
    return f'name = "{FURNACE}"\n[rack]\nstands_on = "shelf"\n' + "\n".join(keys) + "\n"


def _calibrate(book: LogBook, question: PlanQuestion) -> None:
    """A calibration that takes off what the display shows too much, from 700 to 1200 degC."""
    life = fit_sensor(book, FURNACE, "control", fitted_utc="2026-01-01T08:00:00Z", stamp=_stamp(), thermocouple="K")
    off, u, day = -(question.reads_high_c or 0.0), question.expanded_c, utc_text(_when(398))[:10]
    table = (700.0, 1200.0)
    points = tuple(CorrectionPoint(at, off, u, 2.0) for at in table)
    made = Correction(
        furnace=FURNACE, sensor="control", model="constant", why="compared with a reference", method="run",
        done_on=day, due_on=None, done_by="Ana", points=points, table_reading_c=table, table_correction_c=(off, off),
        table_expanded_c=(u, u),
    )  # fmt: skip
    data = correction_to_dict(made)
    add_calibration(book, life=life, done_on=day, due_on=None, done_by="Ana", correction=data, stamp=_stamp())


def _pieces(folder: Path, book: Path, question: PlanQuestion) -> list[str]:
    """Blades alike are told; others stand in the log book."""
    foil = "--foil" if question.foil else "--bare"
    if len(set(question.blades_mm)) == 1:
        return ["--thickness", f"{question.blades_mm[0]:g}", "--count", str(len(question.blades_mm)), foil]
    from soakwitness.analysis.logbook.pieces import Piece, add_pieces

    named = [Piece(f"B-{n:02d}", thickness_mm=mm) for n, mm in enumerate(question.blades_mm, 1)]
    with open_logbook(book) as opened:
        add_pieces(opened, named, stamp=_stamp())
    return [*(word for one in named for word in ("--piece", one.id)), foil]


def _fitted(folder: Path, book: Path, question: PlanQuestion, names: Sequence[str]) -> Path:
    """The packet file that `packet fit` learns from the instrumented heatings."""
    out, first = folder / "packet.toml", question.past[question.instrumented[0]]
    words = ["packet", "fit", *(names[n] for n in question.instrumented), "--load", "load", "--out", str(out)]
    words += [] if question.foil else ["--no-foil"]
    if first.slot is not None:
        words += ["--slot", str(first.slot), "--filled", f"1-{first.filled}"]
    _run(book, [*words, "--json"])
    return out


def _run(book: Path, words: Sequence[str]) -> dict[str, Any]:
    env = {"SOAKWITNESS_LOGBOOK": str(book), "SOAKWITNESS_USER": "Ana"}
    answer = CliRunner().invoke(soakwitness, list(words), env=env)
    if answer.exception is not None and not isinstance(answer.exception, SystemExit):
        raise answer.exception
    assert answer.stdout.startswith("{"), answer.output
    said: dict[str, Any] = json.loads(answer.stdout)
    return said


def _when(day: int) -> datetime:
    return OPENS + timedelta(days=day)


def _stamp() -> Stamp:
    return Stamp(utc_text(_when(399)), "Ana")
